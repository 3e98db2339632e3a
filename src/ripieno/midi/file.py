"""Standard MIDI files: reading a song as the performer's inputs, writing what it sent.

A file counts time in ticks; here they are nanoseconds from the file's beginning. Reading is
exact to the nanosecond; writing to half a tick, which at 960 ticks a quarter and 120 quarters a
minute is 0.26 ms.
"""

import contextlib
import io
import os
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from operator import attrgetter
from pathlib import Path
from typing import Any

import mido

from ripieno.errors import AuthorError, MachineError
from ripieno.midi.codec import Decoder
from ripieno.midi.track import META, TEMPO, TIME_SIGNATURE, Parsed, parse
from ripieno.perform.events import Input, Send
from ripieno.perform.message import SYSTEM_EXCLUSIVE
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


@dataclass(frozen=True, slots=True)
class Song:
    """What a file holds.

    `tempi` are all tempo changes, each as its instant and the quarters in a minute from then on;
    the first stands at 0. `meter` is the first time signature, 4/4 if `states_meter` is false.
    `length_ns` reaches to the end of the longest track, silence included.
    """

    events: tuple[Input, ...]
    tempi: tuple[tuple[int, float], ...]
    meter: Meter
    states_meter: bool
    length_ns: int

    @property
    def bpm(self) -> float:
        """Quarters in a minute at the beginning."""
        return self.tempi[0][1]


def read(path: Path) -> Song:
    """The song in a file of format 0 or 1. Raises AuthorError."""
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
    return _song(path, parsed)


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


def _song(path: Path, parsed: Parsed) -> Song:
    """Walks the merged tracks. Time is kept as whole ns * ticks a quarter, so nothing is lost."""
    per_quarter = parsed.division
    decoder = Decoder()
    events: list[Input] = []
    tempi = [(0, _bpm(_DEFAULT_US))]
    meters: list[Meter] = []
    scaled, quarter_ns, at_ns, before = 0, _DEFAULT_US * NS_PER_US, 0, 0
    for event in sorted(chain(*parsed.tracks), key=attrgetter("tick")):
        scaled += (event.tick - before) * quarter_ns
        before = event.tick
        at_ns = (2 * scaled + per_quarter) // (2 * per_quarter)
        if event.data[0] != META:
            events += decoder.feed(event.data, at_ns)
        elif event.data[1] == TEMPO:
            us = int.from_bytes(event.data[2:5])
            if not us:
                raise AuthorError(f"{path}: a tempo of 0 microseconds a quarter note")
            quarter_ns = us * NS_PER_US
            _change_tempo(tempi, at_ns, us)
        elif event.data[1] == TIME_SIGNATURE:
            meters.append(Meter(event.data[2], 1 << event.data[3]))
    meter = _checked(path, meters[0]) if meters else _DEFAULT_METER
    return Song(tuple(events), tuple(tempi), meter, bool(meters), at_ns)


def _change_tempo(tempi: list[tuple[int, float]], at_ns: int, us: int) -> None:
    if tempi[-1][0] == at_ns:
        tempi.pop()
    tempi.append((at_ns, _bpm(us)))


def _bpm(us: int) -> float:
    """Quarters in a minute of `us` microseconds each."""
    return NS_PER_MINUTE / NS_PER_US / us


def _checked(path: Path, meter: Meter) -> Meter:
    if meter.count < 1 or meter.unit not in (2, 4, 8, 16):
        raise AuthorError(f"{path}: meter {meter}: expected halves, quarters, eighths or 16ths")
    return meter


def write(path: Path, sends: Iterable[Send], bpm: float, meter: Meter, length_ns: int) -> None:
    """Write `sends`, whose `due_ns` count from the beginning, as a file of format 0.

    `bpm` counts the meter's beats. Messages due at one instant keep their order; the file lasts
    `length_ns`, or to its last message if that is later. `path` is replaced only by a whole
    file. Raises MachineError.
    """
    us = min(round(ns_per_quarter(bpm, meter.beat_quarters) / NS_PER_US), _MOST_US)
    track = mido.MidiTrack(_opening(us, meter))
    before = 0
    for send in sorted(filter(_belongs_in_file, sends), key=lambda send: send.due_ns):
        tick = _tick(send.due_ns, us)
        track.append(mido.Message.from_bytes(send.data, time=tick - before))
        before = tick
    rest = max(0, _tick(length_ns, us) - before)
    track.append(mido.MetaMessage("end_of_track", time=rest))
    written = io.BytesIO()
    mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_QUARTER, tracks=[track]).save(file=written)
    _replace(path, written.getvalue())


def _belongs_in_file(send: Send) -> bool:
    """Clock and song position are for the wire: a file has its own time (SMF 1.0)."""
    return send.data[0] < SYSTEM_EXCLUSIVE


def _opening(us: int, meter: Meter) -> list[Any]:
    return [
        mido.MetaMessage("set_tempo", tempo=us),
        mido.MetaMessage(
            "time_signature",
            numerator=meter.count,
            denominator=meter.unit,
            clocks_per_click=int(24 * meter.beat_quarters),
        ),
    ]


def _tick(at_ns: int, us: int) -> int:
    """The tick nearest to `at_ns` by the file's own tempo, which is whole microseconds."""
    quarter_ns = us * NS_PER_US
    return (2 * at_ns * TICKS_PER_QUARTER + quarter_ns) // (2 * quarter_ns)


def _replace(path: Path, data: bytes) -> None:
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        unfinished.write_bytes(data)
        unfinished.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            unfinished.unlink()
        raise MachineError(f"cannot write {path}: {error.strerror}") from error
