"""Standard MIDI files: reading a song as the performer's inputs, writing what it sent.

A file counts time in ticks; here they are nanoseconds from the file's beginning. Reading is
exact to the nanosecond; writing to half a tick by the file's own tempi, which at 960 ticks a
quarter and 120 quarters a minute is 0.26 ms.
"""

import contextlib
import io
import os
from bisect import bisect_right
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import TypeVar

import mido

from ripieno.errors import AuthorError, MachineError
from ripieno.midi.codec import Decoder
from ripieno.midi.track import META, TEMPO, TIME_SIGNATURE, Parsed, parse
from ripieno.perform.events import Input, Send
from ripieno.perform.message import NOTE_ON, SYSTEM_EXCLUSIVE
from ripieno.perform.time_map import TimeMap
from ripieno.perform.transport import rounded
from ripieno.style.model import Meter
from ripieno.units import NS_PER_MINUTE, ns_per_quarter

TICKS_PER_QUARTER = 960
NS_PER_US = 1000

# Over three hours of 20 notes a second. Reading the fullest such file took 11 s and 570 MB.
LARGEST_BYTES = 2 * 2**20

# MIDI file defaults where no tempo or time signature stands: 120 quarters a minute, 4/4.
_DEFAULT_US = 500_000
_DEFAULT_METER = Meter(4, 4)
_MOST_US = 2**24 - 1  # a tempo event has three bytes
_NEAR_BAR_LINE = 2  # ticks; each tempo before it may have been rounded by half a one

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Song:
    """What a file holds.

    `tempi` are all tempo changes, each as its instant and the quarters in a minute from then on;
    `meters` all time signatures, whatever they say. The first of both stands at 0: the format's
    own, where the file's come later, or never (`states_meter` is false). `length_ns` reaches to
    the end of the longest track, silence included. `channels` are those, 0..15, that have notes,
    read or not.
    """

    events: tuple[Input, ...]
    tempi: tuple[tuple[int, float], ...]
    meters: tuple[tuple[int, Meter], ...]
    states_meter: bool
    length_ns: int
    channels: frozenset[int]

    @property
    def bpm(self) -> float:
        """Quarters in a minute at the beginning."""
        return self.tempi[0][1]


def read(path: Path, channels: Container[int] = range(16)) -> Song:
    """The song in a file of format 0 or 1, of some channels. Raises AuthorError."""
    data = _bytes_of(path)
    if data[:4] != b"MThd":
        found = f"it begins with {data[:4]!r}" if data else "it is empty"
        raise AuthorError(f"{path}: no standard MIDI file: {found}, expected b'MThd'")
    try:
        parsed = parse(data)
    except ValueError as error:
        raise AuthorError(f"{path}: damaged MIDI file: {error}") from error
    if parsed.format not in (0, 1):
        raise AuthorError(f"{path}: MIDI file of format {parsed.format}: save it as format 0 or 1")
    if parsed.division <= 0:
        raise AuthorError(f"{path}: counts in video frames: save it with ticks per quarter note")
    return _song(path, parsed, channels)


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise AuthorError(f"{path}: cannot be read: {error.strerror}") from error
    if len(data) > LARGEST_BYTES:
        raise AuthorError(
            f"{path}: larger than {LARGEST_BYTES // 2**20} MiB, the most that is read"
        )
    return data


def _song(path: Path, parsed: Parsed, channels: Container[int]) -> Song:
    """Walks the merged tracks. Time is kept as whole ns * ticks a quarter, so nothing is lost."""
    per_quarter = parsed.division
    decoder = Decoder()
    events: list[Input] = []
    with_notes: set[int] = set()
    tempi = [(0, _bpm(_DEFAULT_US))]
    meters, states_meter = [(0, _DEFAULT_METER)], False
    scaled, quarter_ns, at_ns, before = 0, _DEFAULT_US * NS_PER_US, 0, 0
    for event in sorted(chain(*parsed.tracks), key=attrgetter("tick")):
        scaled += (event.tick - before) * quarter_ns
        before = event.tick
        at_ns = (2 * scaled + per_quarter) // (2 * per_quarter)
        if event.data[0] != META:
            channel = event.data[0] & 0x0F
            if channel in channels:
                events += decoder.feed(event.data, at_ns)
            if event.data[0] & 0xF0 == NOTE_ON:
                with_notes.add(channel)
        elif event.data[1] == TEMPO:
            us = int.from_bytes(event.data[2:5])
            if not us:
                raise AuthorError(f"{path}: a tempo of 0 microseconds a quarter note")
            quarter_ns = us * NS_PER_US
            _change(tempi, at_ns, _bpm(us))
        elif event.data[1] == TIME_SIGNATURE:
            _change(meters, at_ns, Meter(event.data[2], 1 << event.data[3]))
            states_meter = True
    return Song(
        tuple(events), tuple(tempi), tuple(meters), states_meter, at_ns, frozenset(with_notes)
    )


def _change(changes: list[tuple[int, T]], at_ns: int, to: T) -> None:
    """Of several at one instant the last holds."""
    if changes[-1][0] == at_ns:
        changes.pop()
    changes.append((at_ns, to))


def _bpm(us: int) -> float:
    """Quarters in a minute of `us` microseconds each."""
    return NS_PER_MINUTE / NS_PER_US / us


def write(path: Path, sends: Iterable[Send], time: TimeMap, length_ns: int) -> None:
    """Write `sends`, whose `due_ns` count from the beginning, as a file of format 0.

    Messages due at one instant keep their order; the file lasts `length_ns`, or to its last
    message if that is later. `path` is replaced only by a whole file. Raises MachineError.
    """
    ruler = _Ruler(time.tempi)
    kept = sorted(filter(_belongs_in_file, sends), key=attrgetter("due_ns"))
    messages = [(ruler.tick(s.due_ns), mido.Message.from_bytes(s.data)) for s in kept]
    signatures = [(tick, _signature(meter)) for tick, meter in _bars(time.meters, ruler)]
    timed = sorted([*ruler.changes(), *signatures, *messages], key=itemgetter(0))
    timed.append((max(timed[-1][0], ruler.tick(length_ns)), mido.MetaMessage("end_of_track")))
    before = [0, *(tick for tick, _ in timed)]
    track = mido.MidiTrack(
        item.copy(time=tick - last) for (tick, item), last in zip(timed, before, strict=False)
    )
    written = io.BytesIO()
    mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_QUARTER, tracks=[track]).save(file=written)
    _replace(path, written.getvalue())


def _belongs_in_file(send: Send) -> bool:
    """Clock and song position are for the wire: a file has its own time (SMF 1.0)."""
    return send.data[0] < SYSTEM_EXCLUSIVE


class _Ruler:
    """Ticks by the file's own tempi: whole microseconds a quarter, that change with a tick.

    What follows a change is counted from the time that the file has there, not from the time
    that was meant, so that rounding never adds up.
    """

    def __init__(self, tempi: Iterable[tuple[int, float]]) -> None:
        self._begins = [0]  # of each tempo, in ns * ticks a quarter
        self._ticks = [0]
        self._us = [_DEFAULT_US]
        for at_ns, bpm in tempi:
            self._change(self.tick(at_ns), _us(bpm))

    def tick(self, at_ns: int) -> int:
        """The tick nearest to an instant."""
        scaled = at_ns * TICKS_PER_QUARTER
        place = max(0, bisect_right(self._begins, scaled) - 1)
        quarter_ns = self._us[place] * NS_PER_US
        gone = scaled - self._begins[place]
        return self._ticks[place] + (2 * gone + quarter_ns) // (2 * quarter_ns)

    def changes(self) -> Iterator[tuple[int, mido.MetaMessage]]:
        for tick, us in zip(self._ticks, self._us, strict=True):
            yield tick, mido.MetaMessage("set_tempo", tempo=us)

    def _change(self, tick: int, us: int) -> None:
        if tick == self._ticks[-1]:
            self._us[-1] = us
        elif us != self._us[-1]:
            gone = (tick - self._ticks[-1]) * self._us[-1] * NS_PER_US
            self._begins.append(self._begins[-1] + gone)
            self._ticks.append(tick)
            self._us.append(us)


def _us(bpm: float) -> int:
    """Whole microseconds a quarter, as a tempo event has them."""
    return min(max(round(ns_per_quarter(bpm, Fraction(1)) / NS_PER_US), 1), _MOST_US)


def _bars(meters: Iterable[tuple[int, Meter]], ruler: _Ruler) -> Iterator[tuple[int, Meter]]:
    """Each meter with its tick: that of the bar line which it was rounded away from."""
    begun, bar = 0, 1
    for at_ns, meter in meters:
        tick = ruler.tick(at_ns)
        line = begun + rounded(tick - begun, bar) * bar
        begun = line if abs(line - tick) <= _NEAR_BAR_LINE else tick
        bar = int(TICKS_PER_QUARTER * meter.bar_quarters)
        yield begun, meter


def _signature(meter: Meter) -> mido.MetaMessage:
    return mido.MetaMessage(
        "time_signature",
        numerator=meter.count,
        denominator=meter.unit,
        clocks_per_click=int(24 * meter.beat_quarters),
    )


def _replace(path: Path, data: bytes) -> None:
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        unfinished.write_bytes(data)
        unfinished.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            unfinished.unlink()
        raise MachineError(f"cannot write {path}: {error.strerror}") from error
