"""One view alone on a screen, with somebody in the daemon's place who writes down what is told.

daemon = Daemon(styles={"styles": [...]})
async with screen(StylesView(daemon.tell)) as pilot: ...
"""

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractContextManager, asynccontextmanager, nullcontext
from typing import Any

from textual.app import App, ComposeResult
from textual.pilot import Pilot
from textual.widget import Widget

from ripieno.dashboard.said import Said
from ripieno.errors import RipienoError

Answer = dict[str, object] | RipienoError | Callable[[Sequence[str]], dict[str, object]]


class Daemon:
    """`answers` by a command's name: a result, what it is refused with, or what makes one."""

    def __init__(self, **answers: Answer) -> None:
        self.answers = answers
        self.told: list[list[str]] = []

    async def tell(self, words: Sequence[str]) -> dict[str, object]:
        self.told.append(list(words))
        answer = self.answers.get(words[0], {})
        if isinstance(answer, RipienoError):
            raise answer
        return answer if isinstance(answer, dict) else answer(words)


class _Screen(App[None]):
    AUTO_FOCUS = None
    lent = 0  # how often the terminal has been

    def __init__(self, view: Widget) -> None:
        super().__init__()
        self.view = view

    def compose(self) -> ComposeResult:
        yield self.view

    def suspend(self) -> AbstractContextManager[None]:
        """There is no terminal to lend."""
        self.lent += 1
        return nullcontext()


@asynccontextmanager
async def screen(view: Widget, size: tuple[int, int] = (80, 24)) -> AsyncIterator[Pilot[Any]]:
    app = _Screen(view)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        yield pilot


async def press(pilot: Pilot[Any], *keys: str) -> None:
    """And wait for all that comes of it."""
    await pilot.press(*keys)
    await settled(pilot)


async def settled(pilot: Pilot[Any]) -> None:
    await pilot.pause()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


def said(view: Widget, id: str) -> str:  # noqa: A002 - a widget's
    return view.query_one(f"#{id}", Said).plain


def seen(pilot: Pilot[Any]) -> str:
    """All that can be read on the screen."""
    width, height = pilot.app.size
    strips = pilot.app.screen._compositor.render_strips()
    return "\n".join(strip.text.rstrip() for strip in strips[:height]) if width else ""
