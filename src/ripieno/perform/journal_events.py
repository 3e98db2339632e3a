"""What came in, as a journal's lines: each event written, and read back as it was."""

from collections.abc import Callable
from fractions import Fraction

from ripieno.perform import events as ev
from ripieno.perform import message
from ripieno.perform.clock import TICKS_A_SIXTEENTH
from ripieno.perform.events import Input
from ripieno.perform.journal_fields import Line, flag, number, one_of, ratio, text, whole, wholes
from ripieno.perform.settings import (
    BPM_RANGE,
    COUNT_BARS,
    ENDING_BEATS,
    MOST_LEAN,
    MOST_NUDGE_MS,
    MOST_PICKUP,
    RAMP_BEATS,
    SWING_RANGE,
    TRANSPOSE_RANGE,
    Follow,
    ReadKeys,
    Start,
)
from ripieno.perform.transport import Transport
from ripieno.style.load import style_from_data, style_to_data
from ripieno.style.model import Style, meter_named
from ripieno.style.yaml_marks import shown
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.hand import Side
from ripieno.theory.key import Key, key_named
from ripieno.units import ms_from_ns, ns_from_ms


def event_line(event: Input) -> Line:
    """All but when it was."""
    return _WRITE[type(event)](event)


def event_from(kind: str, at_ns: int, data: Line) -> Input:
    """The event of a line whose kind is one of KINDS. Raises KeyError and ValueError."""
    return _READ[kind](at_ns, data)


def key_text(key: Key | None) -> str | None:
    return None if key is None else str(key)


def style_line(style: Style) -> Line:
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
    ev.SetStyle: lambda e: {"kind": "style", "style": style_line(e.style)},
    ev.SetTempo: lambda e: {"kind": "tempo", "bpm": e.bpm},
    ev.SetMeter: lambda e: {"kind": "meter", "meter": str(e.meter)},
    ev.SetHold: lambda e: {"kind": "hold", "hold": e.hold},
    ev.SetKey: lambda e: {"kind": "tonality", "key": key_text(e.key)},
    ev.SetSplit: lambda e: {"kind": "split", "split": e.split},
    ev.SetTranspose: lambda e: {"kind": "transpose", "semitones": e.semitones},
    ev.SetReading: lambda e: {"kind": "reading", "reading": e.reading.value},
    ev.SetMuted: lambda e: {"kind": "mute", "muted": None if e.muted is None else e.muted.value},
    ev.Show: lambda e: {"kind": "show", "notes": list(e.notes), "velocity": e.velocity},
    ev.Resume: lambda e: _resume_line(e),
    ev.Tapped: lambda e: {"kind": "tap", "beat_ms": ms_from_ns(e.beat_ns), "bpm": e.bpm},
    ev.Nudge: lambda e: {"kind": "nudge", "later_ms": e.later_ms},
    ev.Ramp: lambda e: {"kind": "ramp", "bpm": e.bpm, "beats": e.beats},
    ev.Scale: lambda e: {"kind": "scale", "factor": str(e.factor)},
    ev.Downbeat: lambda e: {"kind": "downbeat", "beat_ms": ms_from_ns(e.beat_ns)},
    ev.Break: lambda _: {"kind": "break"},
    ev.CountIn: lambda e: {"kind": "count-in", "bars": e.bars},
    ev.Ending: lambda e: {"kind": "ending", "beats": e.beats},
    ev.SetFollow: lambda e: {"kind": "follow", "follow": e.follow.value},
    ev.SetLean: lambda e: {"kind": "lean", "lean": e.lean},
    ev.SetStart: lambda e: {"kind": "start", "start": e.start.value},
    ev.SetPickup: lambda e: {"kind": "pickup", "beats": e.pickup},
    ev.SetSwing: lambda e: {"kind": "swing", "swing": swing_text(e.swing)},
    ev.SetSendClock: lambda e: {"kind": "send-clock", "on": e.send_clock},
    ev.ClockTick: lambda _: {"kind": "clock"},
    ev.ClockStart: lambda _: {"kind": "clock-start"},
    ev.ClockContinue: lambda _: {"kind": "clock-continue"},
    ev.ClockStop: lambda _: {"kind": "clock-stop"},
    ev.SongPosition: lambda e: {
        "kind": "song-position", "sixteenths": e.sixteenths, "ticks": e.ticks
    },
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


# What may pass through: notes and controllers among it would escape the ledger.
_PASSING = {
    message.POLY_PRESSURE,
    message.PROGRAM_CHANGE,
    message.CHANNEL_PRESSURE,
    message.PITCH_BEND,
}
_MOST_NS = 1 << 62
_MOST_MS = 1e12
_LONGEST_TAP_MS = 1e5
_POSITIONS = (-1e9, 1e9)
_MOST_BARS = 10**9
_QUARTER_NS_RANGE = (1e6, 1e12)

_READ: dict[str, Callable[[int, Line], Input]] = {
    "key": lambda at, d: _key_event(at, d),
    "control": lambda at, d: ev.Controller(
        at, whole(d, "number", 119), whole(d, "value"), whole(d, "channel", 15)
    ),
    "message": lambda at, d: ev.Passing(at, _passing(d)),
    "stop": lambda at, _: ev.Stop(at),
    "silence": lambda at, _: ev.Silence(at),
    "style": lambda at, d: ev.SetStyle(at, style_from(d["style"])),
    "tempo": lambda at, d: ev.SetTempo(at, number(d, "bpm", *BPM_RANGE)),
    "meter": lambda at, d: ev.SetMeter(at, meter_named(text(d, "meter"))),
    "hold": lambda at, d: ev.SetHold(at, flag(d, "hold")),
    "tonality": lambda at, d: ev.SetKey(at, key_from(d["key"])),
    "split": lambda at, d: ev.SetSplit(at, None if d["split"] is None else whole(d, "split")),
    "transpose": lambda at, d: ev.SetTranspose(at, transpose_from(d, "semitones")),
    "reading": lambda at, d: ev.SetReading(at, reading_from(d)),
    "mute": lambda at, d: ev.SetMuted(at, muted_from(d)),
    "show": lambda at, d: ev.Show(at, wholes(d, "notes", 127), whole(d, "velocity", least=1)),
    "resume": lambda at, d: _resume(at, d),
    "tap": lambda at, d: ev.Tapped(at, _beat_ns(at, d), number(d, "bpm", *BPM_RANGE)),
    "nudge": lambda at, d: ev.Nudge(at, number(d, "later_ms", -MOST_NUDGE_MS, MOST_NUDGE_MS)),
    "ramp": lambda at, d: ev.Ramp(
        at, number(d, "bpm", *BPM_RANGE), _within(d, "beats", *RAMP_BEATS)
    ),
    "scale": lambda at, d: ev.Scale(at, ratio(d, "factor", 0.5, 2)),
    "downbeat": lambda at, d: ev.Downbeat(at, _beat_ns(at, d)),
    "break": lambda at, _: ev.Break(at),
    "count-in": lambda at, d: ev.CountIn(at, _within(d, "bars", *COUNT_BARS)),
    "ending": lambda at, d: ev.Ending(at, _within(d, "beats", 0, ENDING_BEATS[1])),
    "follow": lambda at, d: ev.SetFollow(at, one_of(d, "follow", Follow)),
    "lean": lambda at, d: ev.SetLean(at, whole(d, "lean", MOST_LEAN)),
    "start": lambda at, d: ev.SetStart(at, one_of(d, "start", Start)),
    "pickup": lambda at, d: ev.SetPickup(at, whole(d, "beats", MOST_PICKUP)),
    "swing": lambda at, d: ev.SetSwing(at, swing_from(d)),
    "send-clock": lambda at, d: ev.SetSendClock(at, flag(d, "on")),
    "clock": lambda at, _: ev.ClockTick(at),
    "clock-start": lambda at, _: ev.ClockStart(at),
    "clock-continue": lambda at, _: ev.ClockContinue(at),
    "clock-stop": lambda at, _: ev.ClockStop(at),
    "song-position": lambda at, d: ev.SongPosition(
        at, whole(d, "sixteenths", _MOST_BARS), whole(d, "ticks", TICKS_A_SIXTEENTH - 1)
    ),
}
KINDS = frozenset(_READ)


def _within(data: Line, field: str, least: int, most: int) -> int:
    return whole(data, field, most, least=least)


def _beat_ns(at_ns: int, data: Line) -> int:
    """A beat that was tapped lies no more than some taps before."""
    return min(at_ns, ns_from_ms(number(data, "beat_ms", -_LONGEST_TAP_MS, _MOST_MS)))


def _key_event(at_ns: int, data: Line) -> ev.KeyDown | ev.KeyUp:
    kind, least = (ev.KeyDown, 1) if flag(data, "down") else (ev.KeyUp, 0)
    velocity = whole(data, "velocity", least=least)
    return kind(at_ns, whole(data, "note"), velocity, whole(data, "channel", 15))


def _passing(data: Line) -> bytes:
    written = text(data, "data")
    try:
        whole = bytes.fromhex(written)
    except ValueError:
        whole = b""
    if not message.is_legal(whole) or whole[0] & 0xF0 not in _PASSING:
        raise ValueError(
            f"'data' is {shown(written)}; a program change, bend or pressure in hex was expected"
        )
    return whole


def transpose_from(data: Line, field: str) -> int:
    least, most = TRANSPOSE_RANGE
    return whole(data, field, most, least=least)


def muted_from(data: Line) -> Side | None:
    value = data["muted"]
    if value is not None and value not in list(Side):
        raise ValueError(f"'muted' is {shown(value)}; left, right or null was expected")
    return None if value is None else Side(str(value))


def _resume(at_ns: int, data: Line) -> ev.Resume:
    transport = Transport(
        anchor_ns=whole(data, "anchor_ns", _MOST_NS, least=-_MOST_NS),
        anchor_quarters=ratio(data, "anchor", *_POSITIONS),
        ns_per_quarter=ratio(data, "quarter_ns", *_QUARTER_NS_RANGE),
        meter=meter_named(text(data, "meter")),
        bar_quarters=ratio(data, "bar_at", *_POSITIONS),
        bar_number=whole(data, "bar", _MOST_BARS, least=-_MOST_BARS),
    )
    return ev.Resume(at_ns, _chord(data), whole(data, "level", least=1), transport)


def _chord(data: Line) -> Chord:
    quality = text(data, "quality")
    if quality not in QUALITIES:
        raise ValueError(f"'quality' is {shown(quality)}; one of {', '.join(QUALITIES)} expected")
    return Chord(
        whole(data, "root", 11),
        QUALITIES[quality],
        whole(data, "bass", 11),
        wholes(data, "added", 11),
        wholes(data, "omitted", 13),
    )


def swing_from(data: Line) -> Fraction | None:
    return None if data["swing"] is None else ratio(data, "swing", *SWING_RANGE)


def swing_text(swing: Fraction | None) -> str | None:
    return None if swing is None else str(swing)


def reading_from(data: Line) -> ReadKeys:
    return one_of(data, "reading", ReadKeys)


def style_from(data: object) -> Style:
    if not isinstance(data, dict):
        raise ValueError("'style' should be an object")
    return style_from_data({k: v for k, v in data.items() if k != "id"}, text(data, "id"))


def key_from(data: object) -> Key | None:
    if data is not None and not isinstance(data, str):
        raise ValueError(f"'key' is {shown(data)}; a text or null was expected")
    return None if data is None else key_named(data)
