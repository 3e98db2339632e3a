"""The journal: what came in and what went out, one JSON object a line.

The first line is a header with the format's version, the settings and the whole style, so that
a journal plays again after its style has changed or gone. Every other line has `ms`, the time
since the session began (exact to the nanosecond), and `kind`. A replay reads the lines of what
came in, and must produce the others again.

What came in stands in the order in which it was taken, so its times never go back: where they
do, the file has been edited or two have been joined, and which order was meant is not known.
"""

import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from ripieno import __version__
from ripieno.errors import AuthorError
from ripieno.perform import events as ev
from ripieno.perform import message
from ripieno.perform.events import Input, Send
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Heard
from ripieno.perform.settings import (
    BPM_RANGE,
    MOST_SEED,
    SWING_RANGE,
    TRANSPOSE_RANGE,
    ReadKeys,
    Settings,
)
from ripieno.perform.transport import Transport
from ripieno.style.load import style_from_data, style_to_data
from ripieno.style.model import Style, meter_named
from ripieno.style.yaml_marks import shown
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.hand import Side
from ripieno.theory.key import Key, key_named
from ripieno.theory.symbol import symbol
from ripieno.units import ms_from_ns, ns_from_ms

VERSION = 1
MAX_LINE = 1 << 20
LONGEST_MS = 24 * 60 * 60 * 1000  # a day; a replay keeps all of it in memory

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
            "transpose": settings.transpose,
            "muted": None if settings.muted is None else settings.muted.value,
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
    if status == 0xB0 and data[1] == message.SUSTAIN:
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
    ev.SetSplit: lambda e: {"kind": "split", "split": e.split},
    ev.SetTranspose: lambda e: {"kind": "transpose", "semitones": e.semitones},
    ev.SetReading: lambda e: {"kind": "reading", "reading": e.reading.value},
    ev.SetMuted: lambda e: {"kind": "mute", "muted": None if e.muted is None else e.muted.value},
    ev.Show: lambda e: {"kind": "show", "notes": list(e.notes), "velocity": e.velocity},
    ev.Resume: lambda e: _resume_line(e),
}  # fmt: skip


def _resume_line(event: ev.Resume) -> Line:
    chord, transport = event.chord, event.transport
    return {
        "kind": "resume",
        "root": chord.root,
        "quality": chord.quality.id,
        "bass": chord.bass,
        "added": list(chord.added),
        "omitted": list(chord.omitted),
        "level": event.level,
        "meter": str(transport.meter),
        "anchor_ns": transport.anchor_ns,
        "anchor": str(transport.anchor_quarters),
        "quarter_ns": str(transport.ns_per_quarter),
        "bar": transport.bar_number,
        "bar_at": str(transport.bar_quarters),
    }


# Reading. A journal may have been cut off anywhere or edited: each fault is one line.

# What may pass through: notes and controllers among it would escape the ledger.
_PASSING = {
    message.POLY_PRESSURE,
    message.PROGRAM_CHANGE,
    message.CHANNEL_PRESSURE,
    message.PITCH_BEND,
}
_RATIO = re.compile(r"[0-9]{1,24}(/[1-9][0-9]{0,15})?")
_MOST_NS = 1 << 62
_MOST_BARS = 10**9
_QUARTER_NS_RANGE = (1e6, 1e12)

_READ: dict[str, Callable[[int, Line], Input]] = {
    "key": lambda at, d: _key_event(at, d),
    "control": lambda at, d: ev.Controller(
        at, _int(d, "number", 119), _int(d, "value"), _int(d, "channel", 15)
    ),
    "message": lambda at, d: ev.Passing(at, _passing(d)),
    "stop": lambda at, _: ev.Stop(at),
    "silence": lambda at, _: ev.Silence(at),
    "style": lambda at, d: ev.SetStyle(at, _style(d["style"])),
    "tempo": lambda at, d: ev.SetTempo(at, _number(d, "bpm", *BPM_RANGE)),
    "meter": lambda at, d: ev.SetMeter(at, meter_named(_text(d, "meter"))),
    "hold": lambda at, d: ev.SetHold(at, _flag(d, "hold")),
    "tonality": lambda at, d: ev.SetKey(at, _key(d["key"])),
    "split": lambda at, d: ev.SetSplit(at, None if d["split"] is None else _int(d, "split")),
    "transpose": lambda at, d: ev.SetTranspose(at, _transpose(d, "semitones")),
    "reading": lambda at, d: ev.SetReading(at, _reading(d)),
    "mute": lambda at, d: ev.SetMuted(at, _muted(d)),
    "show": lambda at, d: ev.Show(at, _ints(d, "notes", 127), _int(d, "velocity", least=1)),
    "resume": lambda at, d: _resume(at, d),
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
        if event is None:
            continue
        if events and event.at_ns < events[-1].at_ns:
            raise AuthorError(
                f"{name}:{number}: goes back in time, from {ms_from_ns(events[-1].at_ns):g} ms to "
                f"{ms_from_ns(event.at_ns):g} ms; put what came in in its order, or take one out"
            )
        events.append(event)
    # One that was cut off still has its last event played: the end comes just after it.
    return Session(settings, style, tuple(events), end_ns if closed else end_ns + 1)


def _parse(name: str, number: int, written: str) -> Line:
    try:
        data = json.loads(written) if len(written) <= MAX_LINE else None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        found = shown(written.strip() or None)
        raise AuthorError(f"{name}:{number}: found {found} where a JSON object was expected")
    return data


def _told(name: str, number: int, read_one: Callable[[], T]) -> T:
    """The result, or each fault with its place."""
    try:
        return read_one()
    except KeyError as fault:
        raise AuthorError(f"{name}:{number}: {fault} is missing") from None
    except RecursionError:
        raise AuthorError(f"{name}:{number}: is nested deeper than any journal") from None
    except (AuthorError, ValueError) as fault:
        faults = str(fault).splitlines()
        raise AuthorError("\n".join(f"{name}:{number}: {text}" for text in faults)) from None


def _event(data: Line) -> tuple[int, Input | None]:
    at_ns = ns_from_ms(_number(data, "ms", 0, LONGEST_MS))
    kind = _text(data, "kind")
    if kind in _OUTGOING:
        return at_ns, None
    if kind not in _READ:
        known = ", ".join(sorted(_READ.keys() | _OUTGOING))
        raise ValueError(f"kind {shown(kind)} is not one of {known}")
    return at_ns, _READ[kind](at_ns, data)


def _key_event(at_ns: int, data: Line) -> ev.KeyDown | ev.KeyUp:
    kind, least = (ev.KeyDown, 1) if _flag(data, "down") else (ev.KeyUp, 0)
    velocity = _int(data, "velocity", least=least)
    return kind(at_ns, _int(data, "note"), velocity, _int(data, "channel", 15))


def _passing(data: Line) -> bytes:
    text = _text(data, "data")
    try:
        whole = bytes.fromhex(text)
    except ValueError:
        whole = b""
    if not message.is_legal(whole) or whole[0] & 0xF0 not in _PASSING:
        raise ValueError(
            f"'data' is {shown(text)}; a program change, bend or pressure in hex was expected"
        )
    return whole


def _settings(data: object) -> Settings:
    if not isinstance(data, dict):
        raise ValueError("'settings' should be an object")
    split = data["split"]
    return Settings(
        bpm=_number(data, "bpm", *BPM_RANGE),
        meter=meter_named(_text(data, "meter")),
        swing=_swing(data),
        hold=_flag(data, "hold"),
        reading=_reading(data),
        key=_key(data["key"]),
        split=None if split is None else _int(data, "split"),
        transpose=_transpose(data, "transpose"),
        muted=_muted(data),
        channel=_int(data, "channel", 15),
        span=_int(data, "span", 24),
        seed=_int(data, "seed", MOST_SEED),
    )


def _transpose(data: Line, field: str) -> int:
    least, most = TRANSPOSE_RANGE
    return _int(data, field, most, least=least)


def _muted(data: Line) -> Side | None:
    value = data["muted"]
    if value is not None and value not in list(Side):
        raise ValueError(f"'muted' is {shown(value)}; left, right or null was expected")
    return None if value is None else Side(str(value))


def _resume(at_ns: int, data: Line) -> ev.Resume:
    transport = Transport(
        anchor_ns=_int(data, "anchor_ns", _MOST_NS, least=-_MOST_NS),
        anchor_quarters=_ratio(data, "anchor"),
        ns_per_quarter=_ratio(data, "quarter_ns", *_QUARTER_NS_RANGE),
        meter=meter_named(_text(data, "meter")),
        bar_quarters=_ratio(data, "bar_at"),
        bar_number=_int(data, "bar", _MOST_BARS),
    )
    return ev.Resume(at_ns, _chord(data), _int(data, "level", least=1), transport)


def _chord(data: Line) -> Chord:
    quality = _text(data, "quality")
    if quality not in QUALITIES:
        raise ValueError(f"'quality' is {shown(quality)}; one of {', '.join(QUALITIES)} expected")
    return Chord(
        _int(data, "root", 11),
        QUALITIES[quality],
        _int(data, "bass", 11),
        _ints(data, "added", 11),
        _ints(data, "omitted", 13),
    )


def _ratio(data: Line, field: str, least: float = 0, most: float = 1e9) -> Fraction:
    text = _text(data, field)
    ratio = Fraction(text) if _RATIO.fullmatch(text) else None
    if ratio is None or not least <= ratio <= most:
        raise ValueError(
            f"'{field}' is {shown(text)}; a ratio from {least:g} to {most:g} was expected"
        )
    return ratio


def _swing(data: Line) -> Fraction:
    return _ratio(data, "swing", *SWING_RANGE)


def _reading(data: Line) -> ReadKeys:
    text = _text(data, "reading")
    if text not in list(ReadKeys):
        raise ValueError(f"'reading' is {shown(text)}; {' or '.join(ReadKeys)} was expected")
    return ReadKeys(text)


def _style(data: object) -> Style:
    if not isinstance(data, dict):
        raise ValueError("'style' should be an object")
    return style_from_data({k: v for k, v in data.items() if k != "id"}, _text(data, "id"))


def _key(data: object) -> Key | None:
    if data is not None and not isinstance(data, str):
        raise ValueError(f"'key' is {shown(data)}; a text or null was expected")
    return None if data is None else key_named(data)


def _int(data: Line, field: str, most: int = 127, *, least: int = 0) -> int:
    value = data[field]
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise ValueError(
            f"'{field}' is {shown(value)}; a whole number from {least} to {most} was expected"
        )
    return value


def _ints(data: Line, field: str, most: int) -> tuple[int, ...]:
    values = data[field]
    if not isinstance(values, list) or len(values) > most:
        raise ValueError(f"'{field}' is {shown(values)}; a list of whole numbers was expected")
    return tuple(_int({field: value}, field, most) for value in values)


def _number(data: Line, field: str, least: float, most: float) -> float:
    value = data[field]
    number = float("nan") if isinstance(value, bool) else value
    if not isinstance(number, int | float) or not least <= number <= most:
        raise ValueError(
            f"'{field}' is {shown(value)}; a number from {least:g} to {most:g} was expected"
        )
    return number


def _flag(data: Line, field: str) -> bool:
    value = data[field]
    if not isinstance(value, bool):
        raise ValueError(f"'{field}' is {shown(value)}; true or false was expected")
    return value


def _text(data: Line, field: str) -> str:
    value = data[field]
    if not isinstance(value, str):
        raise ValueError(f"'{field}' is {shown(value)}; a text was expected")
    return value
