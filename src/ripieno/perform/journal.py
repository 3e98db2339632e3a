"""The journal: what came in and what went out, one JSON object a line.

The first line is a header with the format's version, the settings and the whole style, so that
a journal plays again after its style has changed or gone. Every other line has `ms`, the time
since the session began (exact to the nanosecond), and `kind`. A replay reads the lines of what
came in, and must produce the others again.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from ripieno import __version__
from ripieno.errors import AuthorError
from ripieno.perform import events as ev
from ripieno.perform.events import Input, Send
from ripieno.perform.message import SUSTAIN
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Heard
from ripieno.perform.settings import ReadKeys, Settings
from ripieno.style.load import style_from_data, style_to_data
from ripieno.style.model import Style, meter_named
from ripieno.theory.key import Key, key_named
from ripieno.theory.symbol import symbol
from ripieno.units import ms_from_ns, ns_from_ms

VERSION = 1
MAX_LINE = 1 << 20

Line = dict[str, object]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Session:
    """A journal read back: enough to play it again."""

    settings: Settings
    style: Style
    events: tuple[Input, ...]
    end_ns: int


def header(settings: Settings, style: Style) -> Line:
    """The first line."""
    return {
        "kind": "ripieno-journal",
        "version": VERSION,
        "program": __version__,
        "settings": {
            "bpm": settings.bpm,
            "meter": str(settings.meter),
            "swing": str(settings.swing),
            "hold": settings.hold,
            "reading": settings.reading.value,
            "key": _key_text(settings.key),
            "split": settings.split,
            "channel": settings.channel,
            "span": settings.span,
            "seed": settings.seed,
        },
        "style": _style_line(style),
    }


def line(happening: Happening, key: Key | None) -> tuple[Line, Key | None]:
    """The line for what happened, and the song's key after it; `key` spells chord symbols."""
    if isinstance(happening, Heard):
        return _heard_line(happening, key), key
    if isinstance(happening, ev.SetKey):
        key = happening.key
    return _line(happening), key


def end(at_ns: int) -> Line:
    """The last line of a session that was closed."""
    return {"ms": ms_from_ns(at_ns), "kind": "end"}


def dump(line: Line) -> str:
    """A line as it is written, with its newline."""
    return json.dumps(line, separators=(",", ":")) + "\n"


def _line(happening: Input | Send) -> Line:
    if isinstance(happening, Send):
        return {"ms": ms_from_ns(happening.due_ns)} | _sent(happening.data)
    return {"ms": ms_from_ns(happening.at_ns)} | _WRITE[type(happening)](happening)


def _sent(data: bytes) -> Line:
    status, channel = data[0] & 0xF0, data[0] & 0x0F
    if status in (0x80, 0x90):
        down = status == 0x90
        return {
            "kind": "note",
            "down": down,
            "note": data[1],
            "velocity": data[2],
            "channel": channel,
        }
    if status == 0xB0 and data[1] == SUSTAIN:
        return {"kind": "pedal", "value": data[2], "channel": channel}
    return {"kind": "sent", "data": data.hex()}


def _heard_line(heard: Heard, key: Key | None) -> Line:
    chord = heard.reading.chord
    return {
        "ms": ms_from_ns(heard.at_ns),
        "kind": "chord",
        "symbol": symbol(chord, key),
        "root": chord.root,
        "quality": chord.quality.id,
        "bass": chord.bass,
        "keys": list(heard.reading.keys),
        "strike_ms": ms_from_ns(heard.strike_ns),
        "amends": heard.amends,
    }


def _key_text(key: Key | None) -> str | None:
    return None if key is None else str(key)


def _style_line(style: Style) -> Line:
    return {"id": style.id} | style_to_data(style)


def _key_line(event: ev.KeyDown | ev.KeyUp) -> Line:
    return {
        "kind": "key",
        "down": isinstance(event, ev.KeyDown),
        "note": event.note,
        "velocity": event.velocity,
        "channel": event.channel,
    }


_WRITE: dict[type, Callable[..., Line]] = {
    ev.KeyDown: _key_line,
    ev.KeyUp: _key_line,
    ev.Controller: lambda e: {
        "kind": "control", "number": e.number, "value": e.value, "channel": e.channel
    },
    ev.Passing: lambda e: {"kind": "message", "data": e.data.hex()},
    ev.Stop: lambda _: {"kind": "stop"},
    ev.Silence: lambda _: {"kind": "silence"},
    ev.SetStyle: lambda e: {"kind": "style", "style": _style_line(e.style)},
    ev.SetTempo: lambda e: {"kind": "tempo", "bpm": e.bpm},
    ev.SetMeter: lambda e: {"kind": "meter", "meter": str(e.meter)},
    ev.SetHold: lambda e: {"kind": "hold", "hold": e.hold},
    ev.SetKey: lambda e: {"kind": "tonality", "key": _key_text(e.key)},
}  # fmt: skip


# Reading. A journal may have been cut off anywhere or edited: each fault is one line.

_READ: dict[str, Callable[[int, Line], Input]] = {
    "key": lambda at, d: (ev.KeyDown if _flag(d, "down") else ev.KeyUp)(
        at, _int(d, "note"), _int(d, "velocity"), _int(d, "channel", 15)
    ),
    "control": lambda at, d: ev.Controller(
        at, _int(d, "number", 119), _int(d, "value"), _int(d, "channel", 15)
    ),
    "message": lambda at, d: ev.Passing(at, bytes.fromhex(_text(d, "data"))),
    "stop": lambda at, _: ev.Stop(at),
    "silence": lambda at, _: ev.Silence(at),
    "style": lambda at, d: ev.SetStyle(at, _style(d["style"])),
    "tempo": lambda at, d: ev.SetTempo(at, _number(d, "bpm")),
    "meter": lambda at, d: ev.SetMeter(at, meter_named(_text(d, "meter"))),
    "hold": lambda at, d: ev.SetHold(at, _flag(d, "hold")),
    "tonality": lambda at, d: ev.SetKey(at, _key(d["key"])),
}
_OUTGOING = {"chord", "note", "pedal", "sent", "end"}


def read(name: str, text: Iterable[str]) -> Session:
    """A session from a journal's lines; `name` is the file's, for messages.

    Raises AuthorError with the line and what was found and expected.
    """
    source = iter(text)
    first = _parse(name, 1, next(source, ""))
    if first.get("kind") != "ripieno-journal" or first.get("version") != VERSION:
        raise AuthorError(
            f"{name}:1: no header of a journal of version {VERSION}; "
            "give a file that 'ripieno render --journal' or 'ripieno play --journal' wrote"
        )
    settings, style = _told(name, 1, lambda: (_settings(first["settings"]), _style(first["style"])))
    events: list[Input] = []
    end_ns, closed = 0, False
    for number, written in enumerate(source, 2):
        data = _parse(name, number, written)
        at_ns, event = _told(name, number, lambda data=data: _event(data))  # type: ignore[misc]
        end_ns, closed = max(end_ns, at_ns), data["kind"] == "end"
        if event is not None:
            events.append(event)
    # One that was cut off still has its last event played: the end comes just after it.
    return Session(settings, style, tuple(events), end_ns if closed else end_ns + 1)


def _parse(name: str, number: int, written: str) -> Line:
    try:
        data = json.loads(written) if len(written) <= MAX_LINE else None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        found = written.strip()[:40] or "nothing"
        raise AuthorError(f"{name}:{number}: found '{found}' where a JSON object was expected")
    return data


def _told(name: str, number: int, read_one: Callable[[], T]) -> T:
    """The result, or the fault with its place."""
    try:
        return read_one()
    except (KeyError, TypeError, ValueError, ZeroDivisionError) as fault:
        raise AuthorError(f"{name}:{number}: {_plain(fault)}") from None
    except AuthorError as fault:
        raise AuthorError(f"{name}:{number}: {fault}") from None


def _plain(fault: Exception) -> str:
    return f"{fault} is missing" if isinstance(fault, KeyError) else str(fault)


def _event(data: Line) -> tuple[int, Input | None]:
    at_ns = ns_from_ms(_number(data, "ms"))
    kind = _text(data, "kind")
    if kind in _OUTGOING:
        return at_ns, None
    if kind not in _READ:
        raise ValueError(f"kind '{kind}' is not one of {', '.join(sorted(_READ))}")
    return at_ns, _READ[kind](at_ns, data)


def _settings(data: object) -> Settings:
    if not isinstance(data, dict):
        raise ValueError("'settings' should be an object")
    split = data["split"]
    return Settings(
        bpm=_number(data, "bpm"),
        meter=meter_named(_text(data, "meter")),
        swing=Fraction(_text(data, "swing")),
        hold=_flag(data, "hold"),
        reading=ReadKeys(_text(data, "reading")),
        key=_key(data["key"]),
        split=None if split is None else _int(data, "split"),
        channel=_int(data, "channel", 15),
        span=_int(data, "span", 24),
        seed=_int(data, "seed", 1 << 62),
    )


def _style(data: object) -> Style:
    if not isinstance(data, dict):
        raise ValueError("'style' should be an object")
    return style_from_data({k: v for k, v in data.items() if k != "id"}, _text(data, "id"))


def _key(data: object) -> Key | None:
    return None if data is None else key_named(str(data))


def _int(data: Line, field: str, most: int = 127) -> int:
    value = data[field]
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= most:
        raise ValueError(f"'{field}' is {value!r}; a whole number from 0 to {most} was expected")
    return value


def _number(data: Line, field: str) -> float:
    value = data[field]
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < 1e12:
        raise ValueError(f"'{field}' is {value!r}; a number was expected")
    return value


def _flag(data: Line, field: str) -> bool:
    value = data[field]
    if not isinstance(value, bool):
        raise ValueError(f"'{field}' is {value!r}; true or false was expected")
    return value


def _text(data: Line, field: str) -> str:
    value = data[field]
    if not isinstance(value, str):
        raise ValueError(f"'{field}' is {value!r}; a text was expected")
    return value
