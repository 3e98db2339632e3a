"""Following a MIDI clock: ticks in, 24 a quarter, and out the line along which the music goes.

A tick arrives early or late, by as much as the sender's timer, the wire and the scheduling of
two computers make it. A delay-locked loop smooths this (F. Adriaensen, "Using a DLL to filter
time", 2005; its formulas were taken from code that cites the paper): `late` is what a tick
arrives after the instant predicted for it, and

    next += b * late + tick_ns        tick_ns += c * late        b = sqrt(2) w    c = w * w

with w = 2 pi * bandwidth * tick length. What is added to that here is our choice:

- Bandwidth 1 Hz, less below 120 quarters a minute, where a second has too few ticks for it.
- The loop begins as a line of least squares. With b = 4 / n and c = 6 / (n (n + 1)) the same
  formulas give, at the n-th tick, the straight line through all ticks so far; so the second
  tick sets the tempo, and each one after it less and less, until 1 Hz is reached.
- A tick that is half a tick off is counted but not believed (an unsteady clock is allowed more:
  five times what is usual), nor are those that come together with it, held up by the same stall.
  After three unbelievable ones in a row the clock goes on from them, in another tempo.
- Are those three one as late as the other, by more than a tick and a half, then ticks were lost,
  and it goes on as after a gap. A single one that is lost is not told from a clock that comes in
  blocks of nearly a tick's length, as through a large audio buffer: the music falls a tick
  behind, like that of any instrument that counts clocks.
- After four in a row that are off to one side by far more than usual, the line begins anew with
  those four: someone has turned the knob.
- When no tick comes for a while the music goes on at the clock's tempo. The next tick is then
  the one that is nearest to where the music is.

The loop may go to another line at once, the music may not: wherever it is when a tick arrives,
it goes on from there and meets the clock's line within a tick, or, if that would take more than
an eighth of the tempo, within several. Only `begin` puts it elsewhere.

There is no clock here: instants come in, and ascend.
"""

from dataclasses import dataclass
from math import floor, pi, sqrt
from typing import Self

from ripieno.perform.settings import BPM_RANGE
from ripieno.units import NS_PER_MINUTE, NS_PER_MS, NS_PER_S

TICKS_A_QUARTER = 24  # MIDI 1.0, timing clock
TICKS_A_SIXTEENTH = 6  # the unit of MIDI 1.0's song position pointer, 6 clocks

_SHORTEST_NS, _LONGEST_NS = (NS_PER_MINUTE / TICKS_A_QUARTER / bpm for bpm in BPM_RANGE[::-1])
_UNKNOWN_NS = NS_PER_MINUTE / TICKS_A_QUARTER / 120  # a MIDI file's tempo too, if it says none

_BANDWIDTH_HZ = 1.0
_WIDEST = 2 * pi * _BANDWIDTH_HZ * _UNKNOWN_NS / NS_PER_S  # of w: 0.131
_RESUMED = 4  # so many ticks the tempo of before counts for, when a clock comes again
_SETTLED = 8  # from so many ticks on the line can tell which ticks to believe

_HELD_UP_NS = 0.5 * NS_PER_MS  # the shortest tick there is takes 6.25; a byte on a DIN wire 0.32
_LOST_NS, _LOST_TICKS = 150 * NS_PER_MS, 4
_UNBELIEVED, _ONE_SIDED = 3, 4  # ticks in a row
_MUCH = 2.5  # of what is usual; Gaussian jitter has four such in a row once in 3 * 10**8
_LOST_LATE, _AS_LATE = 1.5, 1 / 3  # in ticks: what ticks were lost by, and still the same lateness
_USUAL_NS, _LEAST_USUAL_NS = 1.0 * NS_PER_MS, 0.2 * NS_PER_MS
_USUAL_TICKS = 64  # over which the usual deviation is averaged


@dataclass(frozen=True, slots=True)
class Pace:
    """A straight line: the music is at tick number `tick` at `at_ns`, and a tick takes `tick_ns`.

    `at_ns` may lie before or after the arrival of that tick, and `tick_ns` be up to twice as long
    as the clock's own, or two thirds of it: the line leads to where the next tick is expected.
    """

    at_ns: int
    tick: int
    tick_ns: float

    def place_at(self, now_ns: int) -> float:
        """Where the music is, in ticks."""
        return self.tick + (now_ns - self.at_ns) / self.tick_ns


class ClockFollower:
    """Numbers the ticks of a clock, and says how the music is to go on from each of them.

    Three ways to use it:

    - Start: `begin(0)`; continue: `begin` with where the song stopped; song position of n
      sixteenths: `begin(6 n)`. The next tick is the one with that number.
    - A clock alone, met while the music plays: no `begin`, and `own` for the first tick. It gets
      the number that is nearest, and the music is drawn to the ticks.
    - A clock alone, and the music begins by a strike between two ticks: no `begin`, no `own`. At
      the strike, the caller takes `offset = position - pace.place_at(strike_ns) / 24`, and the
      music is at `tick / 24 + offset` quarters from then on: it keeps its distance from the
      ticks.
    """

    def __init__(self) -> None:
        self._loop: _Loop | None = None
        self._last_ns = 0
        self._tick = 0
        self._begins: int | None = None
        self._pace: Pace | None = None
        self._has_begun = self._has_joined = False  # with the last tick
        self._unbelieved: list[tuple[int, int]] = []  # ticks in a row: number, instant
        self._one_sided: list[tuple[int, int]] = []
        self._side = 0
        self._usual_ns = _USUAL_NS

    @property
    def bpm(self) -> float | None:
        """The clock's tempo, quarters a minute, within 20..400; None before the second tick."""
        if self._loop is None or self._loop.ticks < 2:
            return None
        return NS_PER_MINUTE / TICKS_A_QUARTER / self._loop.tick_ns

    @property
    def lost_ns(self) -> int | None:
        """When the clock counts as missing, if no other tick comes; None before the first."""
        if self._loop is None:
            return None
        return self._last_ns + round(max(_LOST_NS, _LOST_TICKS * self._loop.tick_ns))

    def begin(self, tick: int) -> None:
        """The next tick that arrives is number `tick`, and the music is there with it."""
        self._begins = tick

    def tick(self, at_ns: int, own: Pace | None = None) -> Pace:
        """A tick has arrived; the answer holds from now until the next one, or until `lost_ns`.

        `own` is what is being played, if that is not the last answer: before the first tick, or
        when the tempo was set by hand in a gap. Its ticks are numbered as those here.
        """
        music = own or self._pace
        place = music.place_at(at_ns) if music else float(self._begins or 0)
        held_up = self._loop is not None and at_ns - self._last_ns < _HELD_UP_NS
        if held_up and self._has_begun and self._begins is None:
            self._begins = self._tick + 1
        joins = self._is_missing(at_ns) or (held_up and self._has_joined)
        has_begun = self._begins is not None
        if self._begins is not None:
            place = self._begin(at_ns, self._begins, music)
        elif joins:
            self._join(at_ns, place, music, held_up=held_up)
        else:
            self._count(at_ns, place, held_up=held_up)
        self._begins, self._has_begun, self._has_joined = None, has_begun, joins
        self._last_ns = at_ns
        self._pace = self._onward(at_ns, place)
        return self._pace

    def miss(self, now_ns: int) -> Pace | None:
        """No tick has come: the music goes on at the clock's own tempo. To call at `lost_ns`."""
        if self._loop and self._pace:
            self._pace = _line(now_ns, self._pace.place_at(now_ns), self._tick, self._loop.tick_ns)
        return self._pace

    def _is_missing(self, at_ns: int) -> bool:
        lost_ns = self.lost_ns
        return lost_ns is None or at_ns >= lost_ns

    def _begin(self, at_ns: int, tick: int, music: Pace | None) -> float:
        """Number the tick; where the music is with it. A clock that ran on keeps its line."""
        loop = self._loop
        if loop and not self._is_missing(at_ns) and loop.believes(at_ns, loop.tick_ns / 4):
            loop.tick(at_ns)
            self._tick = tick
            self._forget()
        else:
            loop = self._anchor(at_ns, tick, music)
        return tick + 1 - (loop.next_ns - at_ns) / loop.tick_ns

    def _join(self, at_ns: int, place: float, music: Pace | None, *, held_up: bool) -> None:
        """The tick is the one nearest to the music; held up, one that the music has passed."""
        if held_up and music:
            passed = floor(place)
            self._anchor(at_ns - round((place - passed) * music.tick_ns), passed, music)
        else:
            self._anchor(at_ns, round(place), music)

    def _anchor(self, at_ns: int, tick: int, music: Pace | None) -> "_Loop":
        """This tick is where the line is from now on; its tempo is the last one known."""
        if self._loop and self._loop.ticks > 1:
            loop = _Loop(at_ns, self._loop.tick_ns, _RESUMED)
        else:
            loop = _Loop(at_ns, music.tick_ns if music else _UNKNOWN_NS, 1)
        self._loop, self._tick = loop, tick
        self._forget()
        return loop

    def _count(self, at_ns: int, place: float, *, held_up: bool) -> None:
        """One more tick of the same clock."""
        loop = self._loop
        assert loop is not None, "before the first tick the clock is missing"
        self._tick += 1
        if held_up and (self._unbelieved or loop.ticks < _SETTLED):
            loop.coast()
        elif loop.ticks < _SETTLED:
            self._acquire(loop, at_ns)
        elif held_up or loop.believes(at_ns, max(loop.tick_ns / 2, 5 * self._usual_ns)):
            self._follow(loop, at_ns)
        else:
            self._doubt(loop, at_ns, place)

    def _acquire(self, loop: "_Loop", at_ns: int) -> None:
        """A tick of a line just begun. If it is far off, the tempo of before counts no more."""
        if not loop.believes(at_ns, max(loop.tick_ns / 8, 4 * self._usual_ns)):
            loop.ticks = min(loop.ticks, loop.seen)
        loop.tick(at_ns)

    def _follow(self, loop: "_Loop", at_ns: int) -> None:
        self._unbelieved.clear()
        late_ns = at_ns - loop.next_ns
        most_ns = _MUCH * self._usual_ns
        side = (late_ns > most_ns) - (late_ns < -most_ns)
        if not side or side != self._side:
            self._one_sided.clear()
        self._side = side
        self._usual_ns += (1.25 * abs(late_ns) - self._usual_ns) / _USUAL_TICKS
        self._usual_ns = max(self._usual_ns, _LEAST_USUAL_NS)
        loop.tick(at_ns)
        if side:
            self._one_sided.append((self._tick, at_ns))
        if len(self._one_sided) == _ONE_SIDED:
            self._loop = _Loop.through(self._one_sided)
            self._forget()

    def _doubt(self, loop: "_Loop", at_ns: int, place: float) -> None:
        self._one_sided.clear()
        self._unbelieved.append((self._tick, at_ns))
        loop.coast()
        if len(self._unbelieved) < _UNBELIEVED:
            return
        after = self._tick + 1
        late = [(at - loop.next_ns) / loop.tick_ns + after - tick for tick, at in self._unbelieved]
        if min(late) > _LOST_LATE and max(late) - min(late) < _AS_LATE:
            self._anchor(at_ns, round(place), None)
        else:
            self._loop = _Loop.through(self._unbelieved)
            self._forget()

    def _forget(self) -> None:
        self._unbelieved.clear()
        self._one_sided.clear()
        self._side = 0

    def _onward(self, now_ns: int, place: float) -> Pace:
        """From `place` on, so as to meet the clock's line."""
        loop = self._loop
        assert loop is not None, "a tick has arrived"
        ahead = place - (self._tick + 1 - (loop.next_ns - now_ns) / loop.tick_ns)
        return _line(now_ns, place, self._tick, loop.tick_ns / (1 - _catching_up(ahead)))


def _line(now_ns: int, place: float, tick: int, tick_ns: float) -> Pace:
    """The line that is at `place` now, by the instant at which it is at `tick`."""
    return Pace(now_ns + round((tick - place) * tick_ns), tick, tick_ns)


def _catching_up(ahead: float) -> float:
    """By which part of the clock's tempo the music is slower when it is `ahead` ticks ahead."""
    size = abs(ahead)
    part = min(size, max(size / 4, 1 / 8), 0.5)
    return part if ahead > 0 else -part


class _Loop:
    """The delay-locked loop: when the next tick is expected, and how long a tick is.

    `ticks` is how many the line counts as drawn through, which decides its gain; `seen` how many
    there were. The difference is what the tempo of before counts for.
    """

    def __init__(self, at_ns: int, tick_ns: float, ticks: int) -> None:
        self.tick_ns = _within(tick_ns)
        self.next_ns = at_ns + round(self.tick_ns)
        self.ticks = ticks
        self.seen = 1

    @classmethod
    def through(cls, ticks: list[tuple[int, int]]) -> Self:
        """The line of least squares through ticks in a row: number, instant."""
        count = len(ticks)
        last_tick, last_ns = ticks[-1]
        early = [(tick - last_tick, at_ns - last_ns) for tick, at_ns in ticks]
        middle, middle_ns = (sum(part) / count for part in zip(*early, strict=True))
        slope = sum((tick - middle) * at_ns for tick, at_ns in early) / sum(
            (tick - middle) ** 2 for tick, _ in early
        )
        tick_ns = _within(slope)
        loop = cls(last_ns + round(middle_ns - middle * tick_ns), tick_ns, count)
        loop.seen = count
        return loop

    def believes(self, at_ns: int, most_ns: float) -> bool:
        """Whether a tick at `at_ns` is not more than `most_ns` off."""
        return abs(at_ns - self.next_ns) <= most_ns

    def tick(self, at_ns: int) -> None:
        late_ns = at_ns - self.next_ns
        self.ticks, self.seen = self.ticks + 1, self.seen + 1
        w = min(_WIDEST, 2 * pi * _BANDWIDTH_HZ * self.tick_ns / NS_PER_S)
        b = max(sqrt(2) * w, 4 / self.ticks)
        c = max(w * w, 6 / (self.ticks * (self.ticks + 1)))
        self.next_ns += round(b * late_ns + self.tick_ns)
        self.tick_ns = _within(self.tick_ns + c * late_ns)

    def coast(self) -> None:
        """A tick whose instant says nothing."""
        self.next_ns += round(self.tick_ns)


def _within(tick_ns: float) -> float:
    return min(max(tick_ns, _SHORTEST_NS), _LONGEST_NS)
