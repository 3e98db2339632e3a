"""The journal: what came in and what went out, one JSON object a line.

The first line is a header with the format's version, the settings and the whole style, so that
a journal plays again after its style has changed or gone. Every other line has `ms`, the time
since the session began (exact to the nanosecond), and `kind`. A replay reads the lines of what
came in, and must produce the others again.

What came in stands in the order in which it was taken, so its times never go back: where they
do, the file has been edited or two have been joined, and which order was meant is not known.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import TypeVar

from ripieno import __version__
from ripieno.errors import AuthorError
from ripieno.perform import events as ev
from ripieno.perform import message
from ripieno.perform.events import Input, Send
from ripieno.perform.journal_events import (
    KINDS,
    event_from,
    event_line,
    key_from,
    key_text,
    muted_from,
    reading_from,
    style_from,
    style_line,
    swing_from,
    swing_text,
    transpose_from,
)
from ripieno.perform.journal_fields import Line, flag, number, one_of, text, whole
from ripieno.perform.journal_time import MOST_CHANGES, time_from, time_line
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Heard
from ripieno.perform.settings import (
    BPM_RANGE,
    MOST_LEAN,
    MOST_PICKUP,
    MOST_SEED,
    Follow,
    Settings,
    Start,
)
from ripieno.perform.time_map import TimeMap
from ripieno.style.model import Style, meter_named
from ripieno.style.yaml_marks import shown
from ripieno.theory.key import Key
from ripieno.theory.symbol import symbol
from ripieno.units import ms_from_ns, ns_from_ms

KIND = "ripieno-journal"
VERSION = 1
MAX_LINE = 1 << 20
LONGEST_MS = 24 * 60 * 60 * 1000  # a day; a replay keeps all of it in memory

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Session:
    """A journal read back: enough to play it again."""

    settings: Settings
    style: Style
    events: tuple[Input, ...]
    end_ns: int
    time: TimeMap | None = None  # of the file that was played, if one was


def header(settings: Settings, style: Style, time: TimeMap | None = None) -> Line:
    """The first line; with the tempi and meters of a file, if it is one that is played."""
    played: Line = {}
    if time is not None and len(time.tempi) + len(time.meters) <= MOST_CHANGES:
        played = {"file": time_line(time)}
    return {
        "kind": KIND,
        "version": VERSION,
        "program": __version__,
        "settings": {
            "bpm": settings.bpm,
            "meter": str(settings.meter),
            "swing": swing_text(settings.swing),
            "hold": settings.hold,
            "reading": settings.reading.value,
            "key": key_text(settings.key),
            "split": settings.split,
            "transpose": settings.transpose,
            "muted": None if settings.muted is None else settings.muted.value,
            "channel": settings.channel,
            "span": settings.span,
            "seed": settings.seed,
            "follow": settings.follow.value,
            "lean": settings.lean,
            "start": settings.start.value,
            "pickup": settings.pickup,
            "send_clock": settings.send_clock,
        },
        "style": style_line(style),
    } | played


def is_kept(happening: Happening) -> bool:
    """Whether it has a line: the ticks of a clock that went out follow from everything else."""
    return not (isinstance(happening, Send) and happening.data[0] == message.CLOCK)


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
    return {"ms": ms_from_ns(happening.at_ns)} | event_line(happening)


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


# Reading. A journal may have been cut off anywhere or edited: each fault is one line.

_OUTGOING = {"chord", "note", "pedal", "sent", "end"}


def read(name: str, lines: Iterable[str]) -> Session:
    """A session from a journal's lines; `name` is the file's, for messages.

    Raises AuthorError with the line and what was found and expected.
    """
    source = iter(lines)
    first = _parse(name, 1, next(source, ""))
    _check_kind(name, first)
    settings, style, time = _told(name, 1, lambda: _header(first))
    events: list[Input] = []
    end_ns, closed = 0, False
    for place, (written, after) in enumerate(pairwise(chain(source, [None])), 2):
        assert written is not None, "only the end is none"
        if not written.strip() or (after is None and _is_half_written(written)):
            continue
        data = _parse(name, place, written)
        at_ns, event = _told(name, place, lambda data=data: _event(data))  # type: ignore[misc]
        end_ns, closed = max(end_ns, at_ns), data["kind"] == "end"
        if event is None:
            continue
        if events and event.at_ns < events[-1].at_ns:
            raise AuthorError(
                f"{name}:{place}: goes back in time, from {ms_from_ns(events[-1].at_ns):g} ms to "
                f"{ms_from_ns(event.at_ns):g} ms; put what came in in its order, or take one out"
            )
        events.append(event)
    # One that was cut off still has its last whole event played: the end comes just after it.
    return Session(settings, style, tuple(events), end_ns if closed else end_ns + 1, time)


def _check_kind(name: str, first: Line) -> None:
    if first.get("kind") != KIND:
        raise AuthorError(
            f"{name}:1: no header of a journal; give a file that 'ripieno render --journal' wrote, "
            "or one of the sessions that 'ripieno play' and 'ripieno serve' keep"
        )
    if first.get("version") != VERSION:
        by = f", written by ripieno {shown(first['program'])}" if "program" in first else ""
        raise AuthorError(
            f"{name}:1: a journal of version {shown(first.get('version'))}{by}; "
            f"this is ripieno {__version__}, which reads version {VERSION}"
        )


def _is_half_written(last: str) -> bool:
    """Whether a last line is what a loss of power left of one."""
    if last.endswith("\n") or len(last) > MAX_LINE:
        return False
    try:
        json.loads(last)
    except RecursionError:
        return False
    except ValueError:
        return True
    return False


def _parse(name: str, place: int, written: str) -> Line:
    try:
        data = json.loads(written) if len(written) <= MAX_LINE else None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        found = shown(written.strip() or None)
        raise AuthorError(f"{name}:{place}: found {found} where a JSON object was expected")
    return data


def _told(name: str, place: int, read_one: Callable[[], T]) -> T:
    """The result, or each fault with its place."""
    try:
        return read_one()
    except KeyError as fault:
        raise AuthorError(f"{name}:{place}: {fault} is missing") from None
    except RecursionError:
        raise AuthorError(f"{name}:{place}: is nested deeper than any journal") from None
    except (AuthorError, ValueError) as fault:
        faults = str(fault).splitlines()
        raise AuthorError("\n".join(f"{name}:{place}: {fault}" for fault in faults)) from None


def _event(data: Line) -> tuple[int, Input | None]:
    at_ns = ns_from_ms(number(data, "ms", 0, LONGEST_MS))
    kind = text(data, "kind")
    if kind in _OUTGOING:
        return at_ns, None
    if kind not in KINDS:
        known = ", ".join(sorted(KINDS | _OUTGOING))
        raise ValueError(f"kind {shown(kind)} is not one of {known}")
    return at_ns, event_from(kind, at_ns, data)


def _header(first: Line) -> tuple[Settings, Style, TimeMap | None]:
    time = time_from(first["file"], LONGEST_MS) if "file" in first else None
    return _settings(first["settings"]), style_from(first["style"]), time


def _settings(data: object) -> Settings:
    if not isinstance(data, dict):
        raise ValueError("'settings' should be an object")
    split = data["split"]
    return Settings(
        bpm=number(data, "bpm", *BPM_RANGE),
        meter=meter_named(text(data, "meter")),
        swing=swing_from(data),
        hold=flag(data, "hold"),
        reading=reading_from(data),
        key=key_from(data["key"]),
        split=None if split is None else whole(data, "split"),
        transpose=transpose_from(data, "transpose"),
        muted=muted_from(data),
        channel=whole(data, "channel", 15),
        span=whole(data, "span", 24),
        seed=whole(data, "seed", MOST_SEED),
        follow=one_of(data, "follow", Follow),
        lean=whole(data, "lean", MOST_LEAN),
        start=one_of(data, "start", Start),
        pickup=whole(data, "pickup", MOST_PICKUP),
        send_clock=flag(data, "send_clock"),
    )
