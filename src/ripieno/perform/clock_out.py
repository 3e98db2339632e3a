"""MIDI clock for others: 24 ticks a quarter, and where the song is.

MIDI 1.0: start (FA) and continue (FB) say that the song moves with the next timing clock (F8),
stop (FC) that it stands; song position (F2) counts sixteenths, six clocks each. While nothing is
played the clock goes on at the tempo, so that what follows has it before the start.

Where the music is shifted by less than a beat, ticks come closer or wait, so that their number
stays that of the song; where it jumps further the song is stopped, located and continued at its
next sixteenth. So it is, however near, where a clock that leads has said where its song is. In
that clock's song it is the clock that says when it stops, not who plays along.
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
        self._runs = False
        self._said: Fraction | None = None  # where the song goes on, in ticks
        self._next = 0  # tick
        self._before: list[bytes] = []  # what goes out right before the next tick
        self._now: list[bytes] = []  # what goes out at once

    def switch(self, *, on: bool) -> None:
        self._now += [_STOP] if self._runs and not on else []
        self._is_on, self._runs, self._before, self._said = on, False, [], None
        self._line = self._grid = None

    @property
    def is_silent(self) -> bool:
        """Whether nothing goes out, whatever the time does."""
        return not (self._is_on or self._now)

    def due_ns(self) -> int | None:
        """When the next tick is due."""
        return None if self._grid is None else self._grid.due_ns(self._next)

    def stop(self) -> None:
        """The song stands, until `follow` is told of one that plays."""
        if self._runs:
            self._runs, self._before = False, []
            self._now.append(_STOP)

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

        `song_goes_on`: though nothing plays; it does as it did.
        """
        if not self._is_on:
            return
        if transport is not None:
            self._run(now_ns, transport)
            return
        if not song_goes_on:
            self.stop()
        if not self._runs:
            self._idle(now_ns, ns_per_quarter)

    def perform(self, now_ns: int) -> list[bytes]:
        """What is due by now."""
        data, self._now = self._now, []
        while (due_ns := self.due_ns()) is not None and due_ns <= now_ns:
            data += [*self._before, _TICK]
            self._before = []
            self._next += 1
        return data

    def _run(self, now_ns: int, transport: Transport) -> None:
        if transport is self._line:
            return
        here = transport.position_at(now_ns) * TICKS_A_QUARTER
        said, self._said = self._said, None
        if said is not None and 0 < here - said <= TICKS_A_SIXTEENTH:
            here = said  # what was nudged earlier catches up
        if not self._runs:
            self._locate(here)
        elif abs(here - self._next) > (_FURTHEST if said is None else _FURTHEST_SAID):
            self._now.append(_STOP)
            self._locate(here)
        self._go_along(transport)
        self._runs = True

    def _go_along(self, line: Transport) -> None:
        self._line, self._grid = line, line.grid(Fraction(0), TICKS_A_QUARTER)

    def _locate(self, here: Fraction) -> None:
        """Start or continue with the next tick that is a sixteenth's, the beginning's if it can.

        One that should have gone out less than half a tick ago is the next one still; so is the
        beginning's for a quarter, as what begins may have been struck a while ago, and the ticks
        since come with it.
        """
        sixteenths = max(0, -((Fraction(1, 2) - here) // TICKS_A_SIXTEENTH))
        if here <= TICKS_A_QUARTER:
            sixteenths = 0
        self._next = int(sixteenths) * TICKS_A_SIXTEENTH
        if sixteenths == 0:
            self._before = [_START]
            return
        place = int(sixteenths) % (MOST_SIXTEENTHS + 1)
        position = bytes((SONG_POSITION, place & 0x7F, place >> 7))
        self._before = [position, _CONTINUE]

    def _idle(self, now_ns: int, ns_per_quarter: Fraction) -> None:
        """Ticks of no song, which only have a tempo."""
        if self._line is None:
            self._go_along(Transport(now_ns, Fraction(0), ns_per_quarter, COMMON_TIME))
            self._next = 0
        elif self._line.ns_per_quarter != ns_per_quarter:
            self._go_along(self._line.at_tempo(now_ns, ns_per_quarter))
