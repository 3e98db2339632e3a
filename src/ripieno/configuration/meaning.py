"""What a configuration's controls mean, and what is wrong with them though their form is right."""

import shlex
from collections.abc import Iterator, Sequence

from ripieno.configuration.model import Control
from ripieno.errors import AuthorError
from ripieno.perform.press import Press, press_named
from ripieno.style.yaml_marks import Complaint, shown
from ripieno.wire.command import command_from, words_of

_SPLITS = set(" \t\"'\\")  # what a word may not hold as it stands


def complaints(data: object) -> list[Complaint]:
    """What is wrong with presses and commands; what is no text is left to the form."""
    controls = data.get("controls") if isinstance(data, dict) else None
    return list(_of_controls(controls)) if isinstance(controls, list) else []


def control_from(press: str, do: str) -> Control:
    """Raises AuthorError."""
    return Control(press_named(press), words_done(do))


def words_done(text: str) -> tuple[str, ...]:
    """The words of a command that a control can do, as `wire.command` writes them.

    A word with spaces stands between quotes. Raises AuthorError.
    """
    try:
        words = shlex.split(text)
    except ValueError as fault:
        raise AuthorError(f"found {shown(text)} ({fault}); expected a command; mend it") from None
    command = command_from(words)
    try:
        command_from(["learn", *words])
    except AuthorError:
        raise AuthorError(
            f"no control can do {shown(text)}; expected a command such as next or tempo +2"
        ) from None
    return words_of(command)


def text_done(words: Sequence[str]) -> str:
    """The text from which `words_done` has the words."""
    return " ".join(shlex.quote(word) if set(word) & _SPLITS else word for word in words)


def _of_controls(controls: list[object]) -> Iterator[Complaint]:
    first: dict[Press, int] = {}
    for i, control in enumerate(controls):
        if not isinstance(control, dict):
            continue
        press = control.get("press")
        if isinstance(press, str):
            yield from _of_press(press, i, first)
        do = control.get("do")
        if isinstance(do, str):
            yield from _of_command(do, i)


def _of_press(text: str, i: int, first: dict[Press, int]) -> Iterator[Complaint]:
    path = ("controls", i, "press")
    try:
        press = press_named(text)
    except AuthorError as fault:
        yield Complaint(path, _printable(str(fault)))
        return
    if press in first:
        yield Complaint(
            path,
            f"'{press}' stands here again, first in control {first[press] + 1}; expected each "
            "press once; keep one of them",
        )
    first.setdefault(press, i)


def _of_command(text: str, i: int) -> Iterator[Complaint]:
    try:
        words_done(text)
    except AuthorError as fault:
        yield Complaint(("controls", i, "do"), _printable(str(fault)))


def _printable(message: str) -> str:
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in message)
