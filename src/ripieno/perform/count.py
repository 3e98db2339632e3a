"""A count-in: the beats before the music, as clicks.

On channel 10 and on wood blocks, which General MIDI's percussion map has at 76 (high) and 77
(low); the high one is the downbeat's (common practice, no source). What plays no percussion there
counts silently, and the screen shows the beats.
"""

from fractions import Fraction

from ripieno.perform.ledger import Ledger
from ripieno.perform.transport import Transport
from ripieno.units import NS_PER_MS

CHANNEL = 9  # 10, as people count
_HIGH, _LOW = 76, 77
_LOUD, _SOFTER = 110, 90
_LENGTH_NS = 60 * NS_PER_MS
_CLICK = "click"  # the owner of its notes


class Count:
    """Silent until `begin`."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._next: Fraction | None = None
        self._end = Fraction(0)
        self._sounding: tuple[int, int] | None = None  # when it ends, and its note

    @property
    def is_on(self) -> bool:
        """Whether there are beats still to be counted."""
        return self._next is not None

    def begin(self, first: Fraction, end: Fraction) -> None:
        """Count each beat from a position up to another, which is not counted."""
        self._next, self._end = first, end

    def leave(self) -> None:
        """No more clicks; what sounds ends in its time."""
        self._next = None

    def stop(self) -> None:
        """No more clicks; what sounds is released with everything else."""
        self._next, self._sounding = None, None

    def due_ns(self, transport: Transport | None) -> int | None:
        due = [] if self._sounding is None else [self._sounding[0]]
        if self._next is not None and transport is not None:
            due.append(transport.due_ns(self._next))
        return min(due, default=None)

    def perform(self, now_ns: int, transport: Transport | None) -> list[bytes]:
        """What is due by now."""
        data: list[bytes] = []
        if self._sounding is not None and self._sounding[0] <= now_ns:
            data += self._ledger.release(_CLICK, CHANNEL, self._sounding[1])
            self._sounding = None
        if transport is None:
            return data
        while self._next is not None and transport.due_ns(self._next) <= now_ns:
            data += self._click(now_ns, high=transport.in_bar(self._next) == 0)
            after = self._next + transport.meter.beat_quarters
            self._next = after if after < self._end else None
        return data

    def _click(self, now_ns: int, *, high: bool) -> list[bytes]:
        note, velocity = (_HIGH, _LOUD) if high else (_LOW, _SOFTER)
        data: list[bytes] = []
        if self._sounding is not None:
            data += self._ledger.release(_CLICK, CHANNEL, self._sounding[1])
        self._sounding = now_ns + _LENGTH_NS, note
        return data + self._ledger.strike(_CLICK, CHANNEL, note, velocity)
