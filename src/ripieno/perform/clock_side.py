"""A MIDI clock as one who leads the time: where the song is, by its ticks.

`position = offset + factor * tick / 24` quarters. A start or a song position says where the song
is, and the offset is 0; a clock that just ticks keeps its distance from whatever began between
two of its ticks.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from ripieno.perform.clock import TICKS_A_QUARTER, ClockFollower, Pace
from ripieno.perform.transport import Transport, rounded
from ripieno.units import NS_PER_MINUTE

# When the time begins, all that is known of the clock is these last ticks. So a journal that has
# them replays identically, however long the clock had been ticking before.
REMEMBERED = TICKS_A_QUARTER
_PARTS = 1000  # of a nanosecond, to which a tick's length is rounded
_PLACE_PARTS = 10**9


@dataclass(frozen=True, slots=True)
class Line:
    """The music is at a position, in quarters, at an instant, and goes on so fast."""

    at_ns: int
    position: Fraction
    ns_per_quarter: Fraction


def heard_bpm(ticks_ns: Iterable[int], now_ns: int) -> float | None:
    """A clock's tempo by its last ticks, in quarters a minute.

    None if it is not heard, or no more of it than one tick.
    """
    follower = ClockFollower()
    for at_ns in ticks_ns:
        follower.tick(at_ns)
    lost_ns = follower.lost_ns
    return None if lost_ns is None or now_ns >= lost_ns else follower.bpm


class ClockSide:
    """`starts`: with the next tick the song begins or goes on. `runs`: it has, and not stopped.
    `has_stopped`: the last word on the song was that it stands.

    `later_ns`: from its next start on, all of it is so late. `song_place`: where the song was
    said to be with the last tick that began it, in quarters.
    """

    def __init__(self) -> None:
        self.starts = False
        self.later_ns = 0
        self.song_place = Fraction(0)
        self._follower = ClockFollower()
        self._recent: deque[int] = deque(maxlen=REMEMBERED)
        self._pace: Pace | None = None
        self._offset, self._factor = Fraction(0), Fraction(1)
        self._next_factor: Fraction | None = None  # from the next beat
        self._place = 0  # of the next tick that starts; ticks move it while the song runs
        self.runs = self.has_stopped = self._is_missed = False

    def is_heard(self, now_ns: int) -> bool:
        """Whether it ticks, as far as is known at an instant."""
        lost_ns = self._follower.lost_ns
        return lost_ns is not None and now_ns < lost_ns

    def start(self, *, anew: bool) -> None:
        self._place = 0 if anew else self._place
        self.starts = self.runs = True
        self.has_stopped = False

    def stop(self) -> None:
        self.starts = self.runs = False
        self.has_stopped = True

    def locate(self, place: int) -> None:
        """The song is at a tick with the next start; at once, if it is running."""
        self._place = place
        self.starts = self.runs

    def forget(self) -> None:
        """Nothing is known of any clock, nor of how it is to be followed."""
        self.later_ns = 0
        self._factor, self._next_factor = Fraction(1), None
        self._follower, self._pace = ClockFollower(), None
        self._recent.clear()
        self._place = 0  # where a song is that was never started
        self.starts = self.runs = self.has_stopped = False

    def scale(self, factor: Fraction, *, at_once: bool) -> None:
        self._next_factor = (self._next_factor or self._factor) * factor
        if at_once:
            self._factor, self._next_factor = self._next_factor, None

    def quarter_ns(self, now_ns: int) -> Fraction | None:
        """How long a quarter is by the last ticks alone; None if no clock is heard."""
        if not self.is_heard(now_ns):
            return None
        self._renew()
        return self._quarter_ns()

    @property
    def coming_factor(self) -> Fraction:
        """By how much faster it will be followed from the next beat on."""
        return (self._next_factor or self._factor) / self._factor

    @property
    def own_quarter_ns(self) -> Fraction | None:
        """How long a quarter is by the clock, whatever the music does to meet it.

        None where it is missing, and before its second tick.
        """
        bpm = self._follower.bpm
        if bpm is None or self._is_missed:
            return None
        return Fraction(round(NS_PER_MINUTE / bpm * _PARTS), _PARTS) / self._factor

    def song_is_heard(self, now_ns: int) -> bool:
        """Whether the song runs, and where it is now is known."""
        knows = self._follower.bpm is not None and self.is_heard(now_ns)
        return knows and self.runs and not self.starts

    def meet_song(self) -> Line:
        """The line of the song that is heard, from now on."""
        bpm = self._follower.bpm
        assert bpm is not None, "it is heard"
        tick_ns = NS_PER_MINUTE / bpm / TICKS_A_QUARTER
        self._pace = Pace(self._recent[-1], self._place - 1, tick_ns)
        self._offset = -self.later_ns / self._quarter_ns()
        return self._line(self._pace)

    def join(self, transport: Transport, now_ns: int) -> None:
        """Keep the distance that the music has from the ticks just now."""
        if self._pace is None or not self.is_heard(now_ns):
            self._offset, self._is_missed = Fraction(0), True
            return
        place = Fraction(round(self._pace.place_at(now_ns) * _PLACE_PARTS), _PLACE_PARTS)
        self._offset = transport.position_at(now_ns) - self._factor * place / TICKS_A_QUARTER

    def tick(self, at_ns: int, transport: Transport | None) -> Line:
        """The line from this tick to the next. The song that runs is met where it is."""
        own = None
        if self.starts or (self.runs and transport is None):
            self._renew()
            self._offset = -self.later_ns / self._quarter_ns() if self._pace else Fraction(0)
            self._follower.begin(self._place)
            self.song_place = self._factor * self._place / TICKS_A_QUARTER
        elif transport is not None:
            own = self._as_pace(transport, at_ns)
        self.starts = False
        self._recent.append(at_ns)
        self._is_missed = False
        self._pace = pace = self._follower.tick(at_ns, own)
        self._place = pace.tick + 1 if self.runs else self._place
        if self._next_factor is not None:
            self._scale_from_beat(self._position(pace), self._next_factor, transport)
        return self._line(pace)

    @property
    def lost_ns(self) -> int | None:
        """When it counts as missing, if no other tick comes; None where that is known already."""
        return None if self._is_missed else self._follower.lost_ns

    def miss(self, now_ns: int) -> Line | None:
        """No tick has come: the line along which the music goes on."""
        self._is_missed = True
        self._pace = self._follower.miss(now_ns)
        return None if self._pace is None else self._line(self._pace)

    def _scale_from_beat(
        self, position: Fraction, factor: Fraction, transport: Transport | None
    ) -> None:
        """Go otherwise by the ticks from a beat on, if this is the first tick after it.

        The music is moved by what it has gone since at the old rate, less than a tick.
        """
        beat = position if transport is None else transport.last_beat(position)
        if position - beat < self._factor / TICKS_A_QUARTER:
            self._offset = beat - factor / self._factor * (beat - self._offset)
            self._factor, self._next_factor = factor, None

    def _line(self, pace: Pace) -> Line:
        return Line(pace.at_ns, self._position(pace), self._quarter_ns())

    def _position(self, pace: Pace) -> Fraction:
        over, under = self._factor.as_integer_ratio()
        return self._offset + Fraction(over * pace.tick, under * TICKS_A_QUARTER)

    def _renew(self) -> None:
        self._follower = ClockFollower()
        for at_ns in self._recent:
            self._pace = self._follower.tick(at_ns)

    def _quarter_ns(self) -> Fraction:
        assert self._pace is not None, "a tick has arrived"
        over, under = self._factor.as_integer_ratio()
        parts = round(self._pace.tick_ns * _PARTS)
        return Fraction(parts * TICKS_A_QUARTER * under, _PARTS * over)

    def _as_pace(self, transport: Transport, now_ns: int) -> Pace:
        """The music that is played, as the clock's ticks.

        In whole numbers, for with Fractions this was a third of what a tick took.
        """
        here = transport.position_at(now_ns) - self._offset
        factor_over, factor_under = self._factor.as_integer_ratio()
        here_over, here_under = here.as_integer_ratio()
        ns_over, ns_under = transport.ns_per_quarter.as_integer_ratio()
        place, parts = here_over * TICKS_A_QUARTER * factor_under, here_under * factor_over
        tick = rounded(place, parts)
        tick_over, tick_under = ns_over * factor_over, ns_under * factor_under * TICKS_A_QUARTER
        late_ns = rounded((place - tick * parts) * tick_over, parts * tick_under)
        return Pace(now_ns - late_ns, tick, tick_over / tick_under)
