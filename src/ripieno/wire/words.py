"""The words of commands: a command's row in the table, numbers, and what is said of wrong ones."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ripieno.errors import AuthorError

NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", re.ASCII)
WHOLE = re.compile(r"[+-]?[0-9]{1,3}", re.ASCII)
_LONGEST_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Row:
    """A command as help, documentation and completion show it.

    `form` is what follows the name, in brackets what may be left out; `fixed` are those of the
    words that can follow which are always the same.
    """

    name: str
    form: str
    does: str
    fixed: tuple[str, ...] = ()

    def wrong(self, words: Sequence[str]) -> AuthorError:
        """What was found after the name, and what could stand there."""
        found = shown(" ".join(words)) if words else "nothing"
        return AuthorError(f"found {found} after '{self.name}'; expected {self.form or 'nothing'}")

    def one(self, words: Sequence[str]) -> str:
        """The one word after the name. Raises AuthorError."""
        if len(words) != 1:
            raise self.wrong(words)
        return words[0]

    def one_fixed(self, words: Sequence[str]) -> str:
        """The one word after the name, which is one of `fixed`. Raises AuthorError."""
        if self.one(words) not in self.fixed:
            raise self.wrong(words)
        return words[0]


def whole(text: str, least: int, most: int, what: str) -> int:
    """A whole number in a range. Raises AuthorError that says it is no `what`."""
    if WHOLE.fullmatch(text) is None or not least <= int(text) <= most:
        raise AuthorError(
            f"{shown(text)} is no {what}: write a whole number from {least} to {most}"
        )
    return int(text)


def shown(word: str) -> str:
    """A word in a message: quoted, not long, printable."""
    short = word if len(word) <= _LONGEST_SHOWN else f"{word[:_LONGEST_SHOWN]}..."
    return "'" + "".join(c if c.isprintable() else ascii(c)[1:-1] for c in short) + "'"


def plain(number: float) -> str:
    """The shortest text that reads back as the same number."""
    return repr(float(number)).removesuffix(".0")


def signed(number: float) -> str:
    """As `plain`, with its sign, also where it is plus."""
    text = plain(number)
    return text if text.startswith("-") else f"+{text}"
