"""What a daemon is doing, as it goes over the wire.

The fields are plain for JSON. A reader ignores keys it does not know, so that programs of
different versions understand each other; a key that is missing or of another type is refused,
but for keys that have come later, which have a default.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import TypeVar

from ripieno.errors import AuthorError

T = TypeVar("T")

_MOST = 1e15  # either way; beyond it a float no longer has each whole number


@dataclass(frozen=True, slots=True)
class ControlStatus:
    """A learned control: what is pressed, such as `controller 20 on channel 1`, and the words."""

    press: str
    do: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Status:
    """`split`, `left`, `right` and `sounding` are MIDI note numbers; `transpose` semitones.
    `channel` is the accompaniment's, from 1.

    `bar` and `beat` count from 1, and are None while nothing is played; so is `quarters`, the
    place in a bar of `bar_quarters`. `serial` counts the strikes. `keys` are those that are down.
    `follow` is who leads the time, `lean` how closely it follows the hands; `clock` is whether the
    clock that it follows is heard, missing or stopped, '' if it follows none. `starting` is strike
    or downbeat, `pickup` in beats. `counting`: whether bars are counted in, `ending`: whether the
    music slows down into its last chord, `waiting`: whether a chord waits for its downbeat.
    `muted` is the hand that is silent, `hearing` the style that is heard before it is chosen.
    `degree` is the chord's in the key, as a Roman numeral. `input` and `output`
    are names of ports, '' while there is none; `input_why` and `output_why` are a sentence, which
    then says what is missing. `engine` is playing, starting or lost. `learning` are the words that
    the next press will do, `journal` the path of the file, `notices` sentences on what is wrong.
    `restarts` counts the engines that were begun anew, `renewals` those of them that were wanted,
    and `last_end` says why the last one ended. `system` is the MIDI system's name, `scheduling` and
    `memory` are sentences on what the machine granted.
    """

    style: str
    style_name: str
    bpm: float
    meter: str
    key: str | None
    hold: bool
    split: int | None
    transpose: int
    channel: int
    reading: str
    swing: str
    follow: str
    lean: int
    clock: str
    starting: str
    pickup: int
    send_clock: bool
    counting: bool
    ending: bool
    waiting: bool
    chord: str | None
    degree: str | None
    bar: int | None
    beat: int | None
    quarters: float | None
    bar_quarters: float
    serial: int
    keys: tuple[int, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]
    sounding: tuple[int, ...]
    pedal: bool
    muted: str | None
    hearing: str | None
    input: str
    output: str
    input_why: str
    output_why: str
    engine: str
    restarts: int
    scheduling: str
    counts: dict[str, int]
    learning: tuple[str, ...] | None
    controls: tuple[ControlStatus, ...]
    journal: str | None
    notices: tuple[str, ...]
    uptime_s: float
    system: str = ""
    memory: str = ""
    renewals: int = 0
    last_end: str = ""


def status_to_data(status: Status) -> dict[str, object]:
    """The object that is written."""
    return asdict(status)


def status_from_data(data: object) -> Status:
    """The status of an object that was read. Raises AuthorError with one line."""
    read = _Reader(data, "the status")
    return Status(
        style=read.get("style", _text),
        style_name=read.get("style_name", _text),
        bpm=read.get("bpm", _number),
        meter=read.get("meter", _text),
        key=read.get("key", _or_none(_text)),
        hold=read.get("hold", _flag),
        split=read.get("split", _or_none(_whole)),
        transpose=read.get("transpose", _whole),
        channel=read.get("channel", _whole),
        reading=read.get("reading", _text),
        swing=read.get("swing", _text),
        follow=read.get("follow", _text),
        lean=read.get("lean", _whole),
        clock=read.get("clock", _text),
        starting=read.get("starting", _text),
        pickup=read.get("pickup", _whole),
        send_clock=read.get("send_clock", _flag),
        counting=read.get("counting", _flag),
        ending=read.get("ending", _flag),
        waiting=read.get("waiting", _flag),
        chord=read.get("chord", _or_none(_text)),
        degree=read.get("degree", _or_none(_text)),
        bar=read.get("bar", _or_none(_whole)),
        beat=read.get("beat", _or_none(_whole)),
        quarters=read.get("quarters", _or_none(_number)),
        bar_quarters=read.get("bar_quarters", _number),
        serial=read.get("serial", _whole),
        keys=read.get("keys", _several(_whole)),
        left=read.get("left", _several(_whole)),
        right=read.get("right", _several(_whole)),
        sounding=read.get("sounding", _several(_whole)),
        pedal=read.get("pedal", _flag),
        muted=read.get("muted", _or_none(_text)),
        hearing=read.get("hearing", _or_none(_text)),
        input=read.get("input", _text),
        output=read.get("output", _text),
        input_why=read.get("input_why", _text),
        output_why=read.get("output_why", _text),
        engine=read.get("engine", _text),
        restarts=read.get("restarts", _whole),
        scheduling=read.get("scheduling", _text),
        counts=read.get("counts", _counts),
        learning=read.get("learning", _or_none(_several(_text))),
        controls=read.get("controls", _several(_control)),
        journal=read.get("journal", _or_none(_text)),
        notices=read.get("notices", _several(_text)),
        uptime_s=read.get("uptime_s", _number),
        system=read.get("system", _text, ""),
        memory=read.get("memory", _text, ""),
        renewals=read.get("renewals", _whole, 0),
        last_end=read.get("last_end", _text, ""),
    )


class _WrongTypeError(Exception):
    """Its text is what was expected."""


class _Reader:
    """Reads the values of one object by name."""

    def __init__(self, data: object, whose: str) -> None:
        if not isinstance(data, Mapping):
            raise AuthorError(f"{whose} is {_kind(data)}; expected an object")
        self._data, self._whose = data, whose

    def get(self, name: str, read: Callable[[object], T], missing: T | None = None) -> T:
        """`missing` stands in for a key that older daemons do not have."""
        if name not in self._data:
            if missing is not None:
                return missing
            raise AuthorError(f"{self._whose} has no '{name}'")
        value = self._data[name]
        try:
            return read(value)
        except _WrongTypeError as expected:
            raise AuthorError(
                f"'{name}' of {self._whose} is {_kind(value)}; expected {expected}"
            ) from None


def _kind(value: object) -> str:
    match value:
        case None:
            return "null"
        case bool():
            return "true or false"
        case int() | float():
            return "a number"
        case str():
            return "a text"
        case list() | tuple():
            return "a list"
        case _:
            return "an object"


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    raise _WrongTypeError("a text")


def _flag(value: object) -> bool:
    if isinstance(value, bool):
        return value
    raise _WrongTypeError("true or false")


def _whole(value: object) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) <= _MOST:
        return value
    raise _WrongTypeError("a whole number")


def _number(value: object) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= _MOST:
        return float(value)
    raise _WrongTypeError("a number")


def _or_none(read: Callable[[object], T]) -> Callable[[object], T | None]:
    def reads(value: object) -> T | None:
        return None if value is None else read(value)

    return reads


def _several(read: Callable[[object], T]) -> Callable[[object], tuple[T, ...]]:
    def reads(value: object) -> tuple[T, ...]:
        if not isinstance(value, list | tuple):
            raise _WrongTypeError("a list")
        return tuple([read(item) for item in value])

    return reads


def _counts(value: object) -> dict[str, int]:
    if not isinstance(value, Mapping):
        raise _WrongTypeError("an object of numbers")
    return {_text(name): _whole(count) for name, count in value.items()}


def _control(value: object) -> ControlStatus:
    read = _Reader(value, "a control")
    return ControlStatus(read.get("press", _text), read.get("do", _several(_text)))
