"""The bytes of a standard MIDI file, header and tracks, as the specification (SMF 1.0) has them.

What the music does not need is stepped over by its length, whatever it holds: system exclusive,
escapes, chunks of another kind, and all meta events but tempo, time signature and end of track.
Their times count.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from struct import unpack

from ripieno.perform.message import END_OF_EXCLUSIVE, SYSTEM_EXCLUSIVE, data_count

META = 0xFF
END_OF_TRACK, TEMPO, TIME_SIGNATURE = 0x2F, 0x51, 0x58
_NEEDED = {TEMPO: 3, TIME_SIGNATURE: 2}  # meta events that are kept, and their least bytes


@dataclass(frozen=True, slots=True)
class Event:
    """A whole channel message, or `META`, its kind and its bytes; `tick` is from the beginning."""

    tick: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Parsed:
    """`division` is ticks a quarter, or below 0 frames of video. Each track has its end."""

    format: int
    division: int
    tracks: tuple[tuple[Event, ...], ...]


def parse(data: bytes) -> Parsed:
    """A file that begins with MThd. Raises ValueError with what is damaged."""
    source = _Bytes(data)
    _, header = source.chunk()
    kind, count, division = unpack(">HHh", _Bytes(header).take(6))
    tracks: list[tuple[Event, ...]] = []
    while len(tracks) < count:
        if not source.has_more:
            raise ValueError(f"no MTrk for track {len(tracks) + 1} of {count}")
        name, body = source.chunk()
        if name == b"MTrk":
            tracks.append(tuple(_events(_Bytes(body))))
    return Parsed(kind, division, tuple(tracks))


class _Bytes:
    """Bytes that are taken from their beginning on. Raises ValueError where there are too few."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def has_more(self) -> bool:
        return self._at < len(self._data)

    def take(self, count: int) -> bytes:
        taken = self._data[self._at : self._at + count]
        if len(taken) < count:
            raise ValueError("it ends in the middle of a track")
        self._at += count
        return taken

    def quantity(self) -> int:
        """A variable-length quantity: seven bits a byte, the highest first, four bytes at most."""
        value = 0
        for _ in range(4):
            byte = self.take(1)[0]
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise ValueError("a number of more than four bytes")

    def chunk(self) -> tuple[bytes, bytes]:
        name, length = unpack(">4sL", self.take(8))
        return name, self.take(length)


def _events(source: _Bytes) -> Iterator[Event]:
    """A track's events up to its end, which is the last of them.

    Running status goes on after meta events and system exclusive too: the specification ends it
    there, some files do not, and nothing else can be meant by a data byte.
    """
    tick, running = 0, None
    while source.has_more:
        tick += source.quantity()
        status = source.take(1)[0]
        if status == META:
            kind = source.take(1)[0]
            body = source.take(source.quantity())
            if kind == END_OF_TRACK:
                break
            if kind in _NEEDED:
                yield Event(tick, _needed(kind, body))
        elif status in (SYSTEM_EXCLUSIVE, END_OF_EXCLUSIVE):
            source.take(source.quantity())
        elif status > SYSTEM_EXCLUSIVE:  # has no place in a file
            source.take(data_count(status) or 0)
        else:
            begun = b"" if status >= 0x80 else bytes((status,))
            running = running if begun else status
            yield Event(tick, _message(running, begun, source))
    yield Event(tick, bytes((META, END_OF_TRACK)))


def _needed(kind: int, body: bytes) -> bytes:
    if len(body) < _NEEDED[kind]:
        raise ValueError(f"a meta event {kind:02X} of {len(body)} bytes")
    return bytes((META, kind)) + body


def _message(status: int | None, begun: bytes, source: _Bytes) -> bytes:
    if status is None:
        raise ValueError(f"a data byte {begun.hex()} where a message begins")
    count = data_count(status)
    assert count is not None, "it is a channel message"
    data = begun + source.take(count - len(begun))
    if max(data) >= 0x80:
        raise ValueError(f"a byte {max(data):02x} in the middle of a message")
    return bytes((status,)) + data
