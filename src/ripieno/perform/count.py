"""A count-in: the beats before the music, as clicks.

On channel 10 and on wood blocks, which General MIDI's percussion map has at 76 (high) and 77
(low); the high one is the downbeat's (common practice, no source). What plays no percussion there
counts silently, and the screen shows the beats.
"""

from dataclasses import replace
from fractions import Fraction

from ripieno.perform.ledger import Ledger
from ripieno.perform.transport import Transport
from ripieno.style.model import COMMON_TIME
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
        self._next: Fraction | None = None  # beat, until the end has passed
        self._first = self._end = Fraction(0)
        self._meter = COMMON_TIME
        self._bar_after = 1  # its number
        self._sounding: tuple[int, int] | None = None  # when it ends, and its note

    @property
    def is_on(self) -> bool:
        """Whether there are beats still to be counted."""
        return self._next is not None and self._next < self._end

    @property
    def is_under_way(self) -> bool:
        """Whether its end is still to come."""
        return self._next is not None

    @property
    def is_silent(self) -> bool:
        """Whether nothing sounds, and nothing is to."""
        return self._next is None and self._sounding is None

    def begin(self, transport: Transport, first: Fraction, end: Fraction) -> None:
        """Count each beat from a downbeat up to another, which is not counted."""
        self._next, self._first, self._end = first, first, end
        self._meter = transport.meter
        self._bar_after = transport.bar_and_beat(end)[0]

    def recount(self, here: Fraction, transport: Transport) -> Transport:
        """The bars are others: the one that is cut short is counted anew, and those after it.

        The answer has the bars of the music that comes after the count.
        """
        assert self._next is not None, "it is under way"
        last = self._next - self._meter.beat_quarters
        if last < self._first:  # it waits for its first downbeat
            self._next = first = transport.next_downbeat(here)
            counted = self._first
        else:
            first = transport.bar_quarters
            counted = max(first, self._first)
            self._next = first if first > last else self._next
        bars = -((counted - self._end) // self._meter.bar_quarters)
        self._first, self._end = first, first + bars * transport.meter.bar_quarters
        self._meter = transport.meter
        return replace(transport, bar_quarters=self._end, bar_number=self._bar_after)

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
            if self._next >= self._end:
                self._next = None
                break
            data += self._click(now_ns, high=transport.in_bar(self._next) == 0)
            self._next += transport.meter.beat_quarters
        return data

    def _click(self, now_ns: int, *, high: bool) -> list[bytes]:
        note, velocity = (_HIGH, _LOUD) if high else (_LOW, _SOFTER)
        data: list[bytes] = []
        if self._sounding is not None:
            data += self._ledger.release(_CLICK, CHANNEL, self._sounding[1])
        self._sounding = now_ns + _LENGTH_NS, note
        return data + self._ledger.strike(_CLICK, CHANNEL, note, velocity)
