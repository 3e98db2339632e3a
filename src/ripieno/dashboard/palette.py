"""What the command palette finds: the views, the looks, and all that a daemon can be told."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from textual.command import DiscoveryHit, Hit, Hits, Provider

from ripieno.errors import AuthorError
from ripieno.wire.command import TABLE, command_from, words_of
from ripieno.wire.words import Row

if TYPE_CHECKING:
    from ripieno.dashboard.app import Dashboard

_NOT_FROM_HERE = {"watch", "status", "show", "figure", "styles"}  # the screen asks them itself
_FIRST = 1000.0  # a score that no likeness to what was typed comes near


class Orders(Provider):
    """Rows of the protocol's table; one that needs words more asks for them.

    What is typed is itself offered as soon as it is a whole command, such as `tempo 97`.
    """

    async def discover(self) -> Hits:
        for text, does, act in self._all():
            yield DiscoveryHit(text, act, help=does)

    async def search(self, query: str) -> Hits:
        typed = query.split()
        if _is_command(typed):
            told = " ".join(typed)
            yield Hit(_FIRST, f"tell: {told}", lambda: self._dashboard.order(typed), help="do this")
        matcher = self.matcher(query)
        for text, does, act in self._all():
            score = max(matcher.match(text), matcher.match(does) / 2)
            if score > 0:
                yield Hit(score, matcher.highlight(text), act, help=does)

    def _all(self) -> Iterator[tuple[str, str, Callable[[], None]]]:
        yield from self._dashboard.own_orders()
        for row in TABLE:
            if row.name not in _NOT_FROM_HERE:
                yield f"{row.name} {row.form}".strip(), row.does, self._doing(row)

    def _doing(self, row: Row) -> Callable[[], None]:
        if _is_command([row.name]) and not row.form:
            return lambda: self._dashboard.order([row.name])
        return lambda: self._dashboard.ask(row.name, row.form)

    @property
    def _dashboard(self) -> "Dashboard":
        from ripieno.dashboard.app import Dashboard

        assert isinstance(self.app, Dashboard), "no other app has these orders"
        return self.app


def _is_command(words: list[str]) -> bool:
    """Whether they are one that can be told from here."""
    try:
        name = words_of(command_from(words))[0]
    except AuthorError:
        return False
    return name not in _NOT_FROM_HERE
