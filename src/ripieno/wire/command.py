"""What can be told to a running daemon, and the one grammar for it.

A command is a list of words. The socket, `ripieno tell`, learned controls and a dashboard all
read it here. `command_from` and `words_of` are each other's inverse; a command written in
several ways (`key Em`, `key E minor`) becomes one value, so that two commands can be compared.
"""

import difflib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias, Union

from ripieno.errors import AuthorError
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_name, note_named
from ripieno.wire.time_commands import (
    TIME_BARE,
    TIME_READERS,
    TIME_TABLE,
    TimeCommand,
    time_words,
)
from ripieno.wire.words import WHOLE, Row, shown

# The same as perform.settings has them for a session's beginning; a test holds them together,
# because neither part may import the other.
TRANSPOSE_RANGE = (-24, 24)
READINGS = ("played", "from-key")
HANDS = ("left", "right")

MOST_WORDS, MOST_LETTERS = 16, 100  # our choice: no command is longer, so messages stay short

# What no control can do: it needs an answer, or a second press.
UNLEARNT = ("learn", "forget", "show", "figure", "styles", "status", "watch")

_METER = re.compile(r"[1-9][0-9]?/[1-9][0-9]?")


@dataclass(frozen=True, slots=True)
class ChooseStyle:
    """By its id. Whether there is such a style, the host knows."""

    style: str


@dataclass(frozen=True, slots=True)
class StepStyle:
    """To the next style (+1) or the previous one (-1), in the alphabetical order of ids."""

    by: int


@dataclass(frozen=True, slots=True)
class ChooseMeter:
    """Written N/D. Whether it can be played, the host knows."""

    meter: str


@dataclass(frozen=True, slots=True)
class ChooseKey:
    """The song's key as `theory.key` writes it, such as `E minor`; None for no key."""

    key: str | None


@dataclass(frozen=True, slots=True)
class ChooseHold:
    """Whether the harmony stays when the keys are lifted; None for the other way than now."""

    on: bool | None


@dataclass(frozen=True, slots=True)
class ChooseSplit:
    """The lowest key of the melody zone, 0..127; None for a keyboard that is all chords."""

    note: int | None


@dataclass(frozen=True, slots=True)
class Transpose:
    """All keys sound so many semitones higher, -24..24; not added to what was before."""

    semitones: int


@dataclass(frozen=True, slots=True)
class ChooseReading:
    """One of READINGS."""

    reading: str


@dataclass(frozen=True, slots=True)
class PressDegree:
    """The triad on a degree, 1..7, of the song's key is pressed; None: its keys come up."""

    degree: int | None


@dataclass(frozen=True, slots=True)
class Mute:
    """The hand that is silent, for somebody to play it: one of HANDS; None for neither."""

    hand: str | None


@dataclass(frozen=True, slots=True)
class Show:
    """Notes, 0..127, that sound until the next of these, a stop or a silence."""

    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Hear:
    """Some chords in a style, to hear it; None: no more."""

    style: str | None


@dataclass(frozen=True, slots=True)
class AskFigure:
    """What both hands do in a bar or more, in this style, on the chord that is on."""


@dataclass(frozen=True, slots=True)
class AskStyles:
    """All styles with what they are like, or one of them."""

    style: str | None


@dataclass(frozen=True, slots=True)
class Stop:
    """The figure ends and all is released; the next chord is a downbeat."""


@dataclass(frozen=True, slots=True)
class Silence:
    """As Stop, and every channel is told to be quiet."""


@dataclass(frozen=True, slots=True)
class Reload:
    """The configuration and the styles are read again."""


@dataclass(frozen=True, slots=True)
class Learn:
    """The next controller, note or program change that is pressed will do it."""

    do: "Command"


@dataclass(frozen=True, slots=True)
class StopLearning:
    """What was to be learned is not."""


@dataclass(frozen=True, slots=True)
class Forget:
    """No control does it any more."""

    do: "Command"


@dataclass(frozen=True, slots=True)
class AskStatus:
    """The status, once."""


@dataclass(frozen=True, slots=True)
class Watch:
    """The status, from now on whenever it changes."""


Command: TypeAlias = Union[  # noqa: UP007 - a `|` of names cannot hold a forward reference
    TimeCommand, ChooseStyle, StepStyle, ChooseMeter, ChooseKey, ChooseHold, ChooseSplit,
    Transpose, ChooseReading, PressDegree, Mute, Show, Hear, Stop, Silence, Reload, Learn,
    StopLearning, Forget, AskFigure, AskStyles, AskStatus, Watch,
]  # fmt: skip


TABLE = (
    Row("style", "ID", "play in this style"),
    Row("next", "", "play in the next style, in the alphabet of their ids"),
    Row("previous", "", "play in the style before"),
    *TIME_TABLE,
    Row("meter", "M", "beats over a note value, such as 3/4"),
    Row("key", "KEY or none", "the song's key, such as G or E minor", ("none",)),
    Row(
        "hold",
        "[on or off]",
        "whether the harmony goes on after the keys are lifted; without a word, the other way",
        ("on", "off"),
    ),
    Row("split", "NOTE or none", "the lowest key of the melody, such as C4", ("none",)),
    Row("transpose", "N", "all keys sound so many semitones higher, -24 to 24"),
    Row(
        "reading",
        "played or from-key",
        "whether the keys are the chord, or one key is a degree of the song's key",
        READINGS,
    ),
    Row(
        "degree",
        "1 to 7 or none",
        "press the triad on that degree of the key, or lift it; C major without a key",
        ("none",),
    ),
    Row("mute", "left, right or none", "silence a hand, to play it oneself", (*HANDS, "none")),
    Row("show", "NOTE... or none", "sound these notes until the next `show`", ("none",)),
    Row("hear", "ID or none", "play four chords in a style, while nothing else plays", ("none",)),
    Row("figure", "", "what both hands do in a bar or more of this style"),
    Row("styles", "[ID]", "what all styles are like, or one"),
    Row("stop", "", "end the figure and release all; the next chord is a downbeat"),
    Row("silence", "", "the same, and tell every channel to be quiet"),
    Row("reload", "", "read the configuration and the styles again"),
    Row(
        "learn",
        "[COMMAND...]",
        "the next controller, note or program change pressed will do the command; without one, "
        "wait no longer for it",
    ),
    Row("forget", "COMMAND...", "no control does the command any more"),
    Row("status", "", "what is played, on what, and what is wrong"),
    Row("watch", "", "the status from now on, on a connection that stays"),
)

_ROWS = {row.name: row for row in TABLE}


def command_from(words: Sequence[str]) -> Command:
    """The command that the words are. Raises AuthorError with one line."""
    _check_size(words)
    name, *rest = words
    read = _READERS.get(name)
    if read is None:
        raise AuthorError(f"there is no command {shown(name)}; {_hint(name)}")
    return read(rest)


def words_of(command: Command) -> tuple[str, ...]:
    """The words that `command_from` makes the same command of."""
    if isinstance(command, TimeCommand):
        return time_words(command)
    match command:
        case ChooseStyle(style):
            return "style", style
        case StepStyle(by):
            return ("next" if by > 0 else "previous",)
        case ChooseMeter(meter):
            return "meter", meter
        case ChooseKey(key):
            return "key", *("none" if key is None else key).split()
        case ChooseHold(on):
            return ("hold",) if on is None else ("hold", "on" if on else "off")
        case ChooseSplit(note):
            return "split", "none" if note is None else note_name(note)
        case Transpose(semitones):
            return "transpose", str(semitones)
        case ChooseReading(reading):
            return "reading", reading
        case PressDegree(degree):
            return "degree", "none" if degree is None else str(degree)
        case Mute(hand):
            return "mute", hand or "none"
        case Show(notes):
            return "show", *([note_name(note) for note in notes] or ["none"])
        case Hear(style):
            return "hear", style or "none"
        case AskStyles(style):
            return ("styles",) if style is None else ("styles", style)
        case Learn(do):
            return "learn", *words_of(do)
        case Forget(do):
            return "forget", *words_of(do)
        case _:
            return _BARE_WORDS[type(command)]


def _check_size(words: Sequence[str]) -> None:
    """Whatever passes can be repeated in a message: printable, and not long."""
    if not words:
        raise AuthorError(f"no command; write one of {', '.join(_ROWS)}")
    if len(words) > MOST_WORDS:
        raise AuthorError(f"{len(words)} words; a command has at most {MOST_WORDS}")
    for word in words:
        if not word.strip() or not word.isprintable() or len(word) > MOST_LETTERS:
            raise AuthorError(
                f"{shown(word)} is no word of a command: write 1 to {MOST_LETTERS} printable "
                "letters"
            )


def _hint(name: str) -> str:
    near = difflib.get_close_matches(name.lower(), _ROWS, n=3)
    return f"did you mean {' or '.join(near)}?" if near else f"there are {', '.join(_ROWS)}"


def _style(words: Sequence[str]) -> Command:
    return ChooseStyle(_ROWS["style"].one(words))


def _meter(words: Sequence[str]) -> Command:
    text = _ROWS["meter"].one(words)
    if _METER.fullmatch(text) is None:
        raise AuthorError(
            f"{shown(text)} is no meter: write beats over a note value, as 4/4 or 6/8"
        )
    return ChooseMeter(text)


def _key(words: Sequence[str]) -> Command:
    if not words:
        raise _ROWS["key"].wrong(words)
    return ChooseKey(None if words == ["none"] else str(key_named(" ".join(words))))


def _hold(words: Sequence[str]) -> Command:
    if not words:
        return ChooseHold(None)
    text = _ROWS["hold"].one(words)
    if text not in _ROWS["hold"].fixed:
        raise _ROWS["hold"].wrong(words)
    return ChooseHold(text == "on")


def _split(words: Sequence[str]) -> Command:
    text = _ROWS["split"].one(words)
    return ChooseSplit(None if text == "none" else note_named(text))


def _transpose(words: Sequence[str]) -> Command:
    text, (least, most) = _ROWS["transpose"].one(words), TRANSPOSE_RANGE
    if WHOLE.fullmatch(text) is None or not least <= int(text) <= most:
        raise AuthorError(
            f"{shown(text)} is no transposition: write whole semitones from {least} to {most}"
        )
    return Transpose(int(text))


def _reading(words: Sequence[str]) -> Command:
    text = _ROWS["reading"].one(words)
    if text not in READINGS:
        raise _ROWS["reading"].wrong(words)
    return ChooseReading(text)


def _degree(words: Sequence[str]) -> Command:
    text = _ROWS["degree"].one(words)
    if text != "none" and text not in "1234567":
        raise _ROWS["degree"].wrong(words)
    return PressDegree(None if text == "none" else int(text))


def _mute(words: Sequence[str]) -> Command:
    text = _ROWS["mute"].one(words)
    if text not in (*HANDS, "none"):
        raise _ROWS["mute"].wrong(words)
    return Mute(None if text == "none" else text)


def _show(words: Sequence[str]) -> Command:
    if not words:
        raise _ROWS["show"].wrong(words)
    return Show(() if list(words) == ["none"] else tuple(note_named(word) for word in words))


def _hear(words: Sequence[str]) -> Command:
    text = _ROWS["hear"].one(words)
    return Hear(None if text == "none" else text)


def _styles(words: Sequence[str]) -> Command:
    return AskStyles(_ROWS["styles"].one(words) if words else None)


def _learn(words: Sequence[str]) -> Command:
    return Learn(_learnable("learn", words)) if words else StopLearning()


def _forget(words: Sequence[str]) -> Command:
    if not words:
        raise _ROWS["forget"].wrong(words)
    return Forget(_learnable("forget", words))


def _learnable(name: str, words: Sequence[str]) -> Command:
    """A command that a control can do."""
    if words[0] in UNLEARNT:
        raise AuthorError(f"found '{words[0]}' after '{name}'; no control can do that")
    return command_from(words)


def _bare(name: str, command: Command) -> Callable[[Sequence[str]], Command]:
    """A reader for a command that is its name alone."""

    def read(words: Sequence[str]) -> Command:
        if words:
            raise _ROWS[name].wrong(words)
        return command

    return read


_BARE: dict[str, Command] = {
    "next": StepStyle(1),
    "previous": StepStyle(-1),
    "stop": Stop(),
    "silence": Silence(),
    "reload": Reload(),
    "figure": AskFigure(),
    "status": AskStatus(),
    "watch": Watch(),
}
_BARE_WORDS: dict[type[Command], tuple[str, ...]] = {
    **{type(command): (name,) for name, command in _BARE.items()},
    StopLearning: ("learn",),
}
_READERS: dict[str, Callable[[Sequence[str]], Command]] = {
    **TIME_READERS,
    **{name: _bare(name, command) for name, command in TIME_BARE.items()},
    **{name: _bare(name, command) for name, command in _BARE.items()},
    "style": _style,
    "meter": _meter,
    "key": _key,
    "hold": _hold,
    "split": _split,
    "transpose": _transpose,
    "reading": _reading,
    "degree": _degree,
    "mute": _mute,
    "show": _show,
    "hear": _hear,
    "styles": _styles,
    "learn": _learn,
    "forget": _forget,
}
