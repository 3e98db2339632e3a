"""MIDI clock for others: 24 ticks a quarter, and where the song is.

MIDI 1.0: start (FA) and continue (FB) say that the song moves with the next timing clock (F8),
stop (FC) that it stands; song position (F2) counts sixteenths, six clocks each. While nothing is
played the clock goes on at the tempo, so that what follows has it before the start.

What follows counts its bars from the song's beginning, and is to be in ours. So the song begins
with the first downbeat: after a pick-up, after a count-in. Where bars are counted anew its place
is said anew, a whole number of bars before the new downbeat.

Where the music is shifted by less than a beat, ticks come closer, at twice the tempo at most, or
wait, so that their number stays that of the song; where it jumps further the song is stopped,
located and continued at its next sixteenth. So it is, however near, where a clock that leads has
said where its song is. In that clock's song it is the clock that says when it stops and where it
is, not who plays along.
"""

from fractions import Fraction

from ripieno.perform.clock import TICKS_A_QUARTER, TICKS_A_SIXTEENTH
from ripieno.perform.message import (
    CLOCK,
    CLOCK_CONTINUE,
    CLOCK_START,
    CLOCK_STOP,
    SONG_POSITION,
)
from ripieno.perform.settings import MOST_SIXTEENTHS
from ripieno.perform.transport import Grid, Transport
from ripieno.style.model import COMMON_TIME

_TICK, _START, _CONTINUE, _STOP = (
    bytes((status,)) for status in (CLOCK, CLOCK_START, CLOCK_CONTINUE, CLOCK_STOP)
)
_FURTHEST = TICKS_A_QUARTER  # a shift of more ticks than this is a jump
# Where the song is said to be where it is already, its tick comes early or late by up to a
# quarter of a tick, and may be the one that has gone out last.
_FURTHEST_SAID = Fraction(3, 2)


class ClockOut:
    """Silent until `switch`. `follow` before anything is asked, whenever the time has turned."""

    def __init__(self) -> None:
        self._is_on = False
        self._line: Transport | None = None  # along which ticks are due
        self._grid: Grid | None = None  # their places on it
        self._last_ns: int | None = None  # when the last tick was due, of those since the start
        self._closest_ns = 0  # from one tick to the next
        self._runs = False
        self._origin = Fraction(0)  # where the song begins, in quarters
        self._said: Fraction | None = None  # where the song goes on, in ticks
        self._next = 0  # tick
        self._start: list[bytes] = []  # what sets the song going, until it has gone out
        self._starts_at = 0  # the tick right before which that is
        self._now: list[bytes] = []  # what goes out at once

    def switch(self, *, on: bool) -> None:
        self._now += [_STOP] if self._moves and not on else []
        self._is_on, self._runs, self._start, self._said = on, False, [], None
        self._line = self._grid = self._last_ns = None
        self._origin = Fraction(0)

    @property
    def is_silent(self) -> bool:
        """Whether nothing goes out, whatever the time does."""
        return not (self._is_on or self._now)

    @property
    def _moves(self) -> bool:
        """Whether the song has been set going."""
        return self._runs and not self._start

    def due_ns(self) -> int | None:
        """When the next tick is due."""
        if self._grid is None:
            return None
        due_ns = self._grid.due_ns(self._next)
        return due_ns if self._last_ns is None else max(due_ns, self._last_ns + self._closest_ns)

    def stop(self) -> None:
        """The song stands, until `follow` is told of one that plays."""
        self._now += [_STOP] if self._moves else []
        self._runs, self._start = False, []

    def song_is_at(self, quarters: Fraction) -> None:
        """A clock that leads has said so, of what `follow` is told next."""
        if self._is_on:
            self._said = quarters * TICKS_A_QUARTER

    def follow(
        self,
        now_ns: int,
        transport: Transport | None,
        ns_per_quarter: Fraction,
        *,
        song_goes_on: bool = False,
    ) -> None:
        """What plays is on this transport now, None if nothing does: then at this tempo.

        `song_goes_on`: it is that of a clock that leads, and does as it did though nothing plays.
        """
        if not self._is_on:
            return
        if transport is not None:
            self._run(now_ns, transport, is_ours=not song_goes_on)
            return
        if not song_goes_on:
            self.stop()
        if not self._runs:
            self._idle(now_ns, ns_per_quarter)

    def perform(self, now_ns: int) -> list[bytes]:
        """What is due by now."""
        data, self._now = self._now, []
        while (due_ns := self.due_ns()) is not None and due_ns <= now_ns:
            if self._next == self._starts_at:
                data += self._start
                self._start = []
            data.append(_TICK)
            self._next += 1
            self._last_ns = due_ns
        return data

    def _run(self, now_ns: int, transport: Transport, *, is_ours: bool) -> None:
        if transport is self._line:
            return
        position = transport.position_at(now_ns)
        before, self._origin = self._origin, self._origin_on(transport, position, is_ours=is_ours)
        here = (position - self._origin) * TICKS_A_QUARTER
        said, self._said = self._said, None
        if said is not None and 0 < here - said <= TICKS_A_SIXTEENTH:
            here = said  # what was nudged earlier catches up
        furthest = _FURTHEST if said is None else _FURTHEST_SAID
        if not self._runs or self._origin != before or abs(here - self._next) > furthest:
            self._now += [_STOP] if self._moves else []
            self._locate(here)
        elif self._start:  # nobody counts the ticks before it
            self._next = max(self._next, _tick_at(here))
            if self._next > self._starts_at:
                self._locate(here)
        self._go_along(transport)
        before_ns = now_ns - self._closest_ns  # what this makes due in the past is due now
        self._last_ns = max(self._last_ns or before_ns, before_ns)
        self._runs = True

    def _origin_on(self, transport: Transport, here: Fraction, *, is_ours: bool) -> Fraction:
        """Where the song begins: with a downbeat that is ahead, or whole bars before another."""
        if not is_ours:
            return Fraction(0)
        downbeat, bar = transport.bar_quarters, transport.meter.bar_quarters
        if downbeat > here and not self._moves:
            return downbeat
        before = self._origin if self._runs else Fraction(0)
        return downbeat - (downbeat - before) // bar * bar

    def _go_along(self, line: Transport) -> None:
        self._line, self._grid = line, line.grid(self._origin, TICKS_A_QUARTER)
        self._closest_ns = int(line.ns_per_quarter / TICKS_A_QUARTER / 2)

    def _locate(self, here: Fraction) -> None:
        """Start or continue with the next tick that is a sixteenth's, the beginning's if it can.

        It can for a quarter, as what begins may have been struck a while ago; the ticks since catch
        up.
        """
        self._next = 0 if 0 <= here <= TICKS_A_QUARTER else _tick_at(here)
        self._last_ns = None
        sixteenths = max(0, -(-self._next // TICKS_A_SIXTEENTH))
        self._starts_at = sixteenths * TICKS_A_SIXTEENTH
        if sixteenths == 0:
            self._start = [_START]
            return
        place = sixteenths % (MOST_SIXTEENTHS + 1)
        position = bytes((SONG_POSITION, place & 0x7F, place >> 7))
        self._start = [position, _CONTINUE]

    def _idle(self, now_ns: int, ns_per_quarter: Fraction) -> None:
        """Ticks of no song, which only have a tempo."""
        if self._line is None:
            self._go_along(Transport(now_ns, Fraction(0), ns_per_quarter, COMMON_TIME))
            self._next = 0
        elif self._line.ns_per_quarter != ns_per_quarter:
            self._go_along(self._line.at_tempo(now_ns, ns_per_quarter))


def _tick_at(here: Fraction) -> int:
    """The next tick; one that should have gone out less than half a tick ago is it still."""
    return -int((Fraction(1, 2) - here) // 1)
