"""The tempo follows the player's hands: which strikes are beats, and where that puts the beat.

A strike of the chord hand is a beat, or it lies between beats: a push, a passing chord. Which, is
told by how near a beat it comes, for how likely the estimate (`pulse`) has it there; by which
beats of the bar this player strikes; and by how often he strikes between them. Often only the
next strikes show which it was. So up to five accounts of the strikes are kept, each with its own
estimate and likelihood; the likeliest is what is followed, and a wrong one gives way to the right
one as soon as that foresees the strikes better. A hand that rests changes nothing: the estimate
runs on.

Beats keep their numbers. An account may turn out to be right that has another number for the
same instant; then the course makes up the difference (`bending`), and no beat is left out.
"""

from dataclasses import dataclass, replace
from math import floor, log

from ripieno.perform.pulse import Leaning, Pulse
from ripieno.perform.settings import BPM_RANGE
from ripieno.units import NS_PER_MINUTE

SLOWEST_BPM, FASTEST_BPM = BPM_RANGE
WIDEST = 2.0  # the most the tempo comes to differ from the one it began with, as a factor
MOST_ACCOUNTS = 5
_FORGOTTEN = 9.0  # an account this much less likely than the best, as a logarithm, is given up

# Found by simulation over players who do not resemble each other (`benchmarks/following.py`).
_OFF_BEAT = 0.06  # the share of strikes between beats, before any is heard
_OFF_BEATS = (0.03, 0.5)  # the least and most of it
_OFF_LEARNT = 0.07  # how much one strike changes it
_PARTS = 0.7  # of the strikes between beats are on a part of the beat, others anywhere
_DOUBTED, _DOUBT = 2, 0.006  # after so many off the beat, these may be the beats: how likely
_STRUCK = 0.5  # how likely a beat of the bar is struck, before any is heard
_STRUCKS = (0.05, 0.95)
_STRUCK_LEARNT = 0.15
_PASSED = 8  # beats without a strike that are held against an account; more are a rest
_USUAL = 0.2  # deviation of tempos from the player's usual one, as a logarithm
_USUAL_LEARNT = 0.02  # how far a strike moves the usual tempo to the present one
_IMPOSSIBLE = 1e-12


@dataclass(frozen=True, slots=True)
class Course:
    """A straight line of the music: the place at an instant, and how long a beat lasts there."""

    at_ns: int
    position_beats: float  # from the beginning
    beat_ns: float

    def position(self, now_ns: int) -> float:
        """The place at an instant, in beats."""
        return self.position_beats + (now_ns - self.at_ns) / self.beat_ns

    def due_ns(self, position_beats: float) -> int:
        """When a place is reached."""
        return self.at_ns + round((position_beats - self.position_beats) * self.beat_ns)


@dataclass(frozen=True, slots=True)
class _Habits:
    """What a player usually does: `struck` is, for each beat of the bar, how likely it is struck;
    `off_beat` the share of strikes between beats; `usual` the beat's length. The beat has so many
    `parts` that such strikes fall on.
    """

    parts: int
    struck: tuple[float, ...]
    off_beat: float
    usual: float

    def skipping(self, after: float, beat: int) -> float:
        """How likely the beats between a place and a beat are all left out."""
        likely = 1.0
        for passed in _between(after, beat):
            likely *= 1 - self.struck[passed % len(self.struck)]
        return likely

    def striking(self, after: float, beat: int) -> float:
        """How likely the next beat struck after a place is this one."""
        return self.skipping(after, beat) * self.struck[beat % len(self.struck)]

    def heard_off(self) -> "_Habits":
        """A strike was between beats."""
        off_beat = self.off_beat + _OFF_LEARNT * (1 - self.off_beat)
        return replace(self, off_beat=min(off_beat, _OFF_BEATS[1]))

    def heard(self, after: float, beat: int, length: float) -> "_Habits":
        """After a place, the next strike that was a beat was this one."""
        struck = list(self.struck)
        for passed in _between(after, beat):
            likely = struck[passed % len(struck)]
            struck[passed % len(struck)] = max(_STRUCKS[0], likely * (1 - _STRUCK_LEARNT))
        likely = struck[beat % len(struck)]
        struck[beat % len(struck)] = min(_STRUCKS[1], likely + _STRUCK_LEARNT * (1 - likely))
        usual = self.usual * (length / self.usual) ** _USUAL_LEARNT
        off_beat = max(_OFF_BEATS[0], self.off_beat * (1 - _OFF_LEARNT))
        return _Habits(self.parts, tuple(struck), off_beat, usual)


def _between(after: float, beat: int) -> range:
    """The whole beats between a place and a beat; of many, the first."""
    first = floor(after) + 1
    return range(first, min(beat, first + _PASSED))


def _nearest_part(here: float, parts: int) -> float:
    """The place nearest to one that is a part of the beat, but no beat."""
    part = min(max(1, round(here % 1 * parts)), parts - 1)
    return floor(here) + part / parts


@dataclass(frozen=True, slots=True)
class _Bounds:
    """How short and how long a beat may be."""

    shortest: float
    longest: float

    @classmethod
    def around(cls, length: float) -> "_Bounds":
        fastest, slowest = NS_PER_MINUTE / FASTEST_BPM, NS_PER_MINUTE / SLOWEST_BPM
        return cls(
            max(fastest, min(length, slowest) / WIDEST), min(slowest, max(length, fastest) * WIDEST)
        )


@dataclass(frozen=True, slots=True)
class _Way:
    """What a strike may be: a beat, a place between beats, or, None, nothing that tells the time.

    `moved` is how many beats the account has to be moved for it.
    """

    place: float | None
    likelihood: float
    moved: float = 0.0


@dataclass(frozen=True, slots=True)
class _Account:
    """One way to tell the strikes so far, and the logarithm of its likelihood."""

    pulse: Pulse
    habits: _Habits
    likelihood: float = 0.0
    off_beats: int = 0  # how many strikes since one was a beat

    def ways(self, at: float, leaning: Leaning) -> list[_Way]:
        """What a strike may be, and how likely the account is with it."""
        habits, last, here = self.habits, self.pulse.beat, self.pulse.place(at)
        found: list[tuple[float, float]] = [
            (beat, habits.striking(last, beat) * (1 - habits.off_beat)) for beat in self._near(here)
        ]
        off_beat = habits.skipping(last, floor(here) + 1) * habits.off_beat
        part = _nearest_part(here, habits.parts)
        if part > last:
            found.append((part, off_beat * _PARTS))
        ways = [
            _Way(place, self._with(prior * self.pulse.density(at, place, leaning)))
            for place, prior in found
        ]
        ways.append(_Way(None, self._with(off_beat * (1 - _PARTS))))
        if self.off_beats >= _DOUBTED and here > last:
            beat = max((floor(here), floor(here) + 1), key=lambda beat: habits.striking(last, beat))
            ways.append(_Way(beat, self._with(_DOUBT * leaning.doubt), moved=beat - here))
        return ways

    def _with(self, likely: float) -> float:
        return self.likelihood + log(max(_IMPOSSIBLE, likely))

    def _near(self, here: float) -> list[int]:
        """The beats that a strike can be: the nearest, and after some beats those beside it."""
        nearest, last = round(here), self.pulse.beat
        gone = nearest - last
        reach = 0.75 * max(1.0, gone) ** 0.5 if gone <= _PASSED else 0.5
        return [
            beat
            for beat in (nearest - 1, nearest, nearest + 1)
            if beat > last and abs(here - beat) <= reach
        ]

    def told(self, at: float, way: _Way, leaning: Leaning, bounds: _Bounds) -> "_Account":
        """With a strike more."""
        habits, likelihood = self.habits.heard_off(), way.likelihood
        if way.place is None:
            return _Account(self.pulse, habits, likelihood, self.off_beats + 1)
        pulse = replace(self.pulse, beat=self.pulse.beat + way.moved)
        after = pulse.beat
        pulse = pulse.met(at, way.place, leaning, bounds.shortest, bounds.longest)
        unusual = log(pulse.length / self.habits.usual) / _USUAL
        likelihood -= unusual * unusual / 2
        if way.place % 1:
            return _Account(pulse, habits, likelihood, self.off_beats + 1)
        habits = self.habits.heard(after, int(way.place), pulse.length)
        return _Account(pulse, habits, likelihood)

    def resembles(self, other: "_Account", at: float) -> bool:
        """Both put about the same place at an instant, in about the same tempo."""
        apart = abs(self.pulse.place(at) - other.pulse.place(at))
        return apart < 0.08 and abs(log(self.pulse.length / other.pulse.length)) < 0.06


class HandsFollower:
    """Follows one player from a place and a tempo on. Instants ascend."""

    def __init__(
        self,
        at_ns: int,
        position_beats: float,
        beat_ns: float,
        lean: int,
        beats_per_bar: int,
        parts: int = 2,
    ) -> None:
        self.lean = lean  # 0, steady, to 100, leaning; it may change at any time
        self._origin_ns = at_ns
        self._bounds = _Bounds.around(beat_ns)
        length = min(max(beat_ns, self._bounds.shortest), self._bounds.longest)
        pulse = Pulse.told(float(position_beats), 0.0, length, Leaning.at(lean))
        habits = _Habits(parts, (_STRUCK,) * beats_per_bar, _OFF_BEAT, length)
        self._accounts = [_Account(pulse, habits)]

    @property
    def course(self) -> Course:
        """The estimate after the last strike. It begins at the last beat taken."""
        pulse = self._accounts[0].pulse
        at_ns = self._origin_ns + round(pulse.at)
        return Course(at_ns, pulse.beat, pulse.length)

    def predicted_ns(self, position_beats: float) -> int:
        """When a place is expected."""
        return self.course.due_ns(position_beats)

    def strike(self, at_ns: int) -> bool:
        """A strike; whether it was taken as a beat, for now."""
        at, leaning = float(at_ns - self._origin_ns), Leaning.at(self.lean)
        ways = [(way, account) for account in self._accounts for way in account.ways(at, leaning)]
        ways.sort(key=lambda each: -each[0].likelihood)
        best = ways[0][0].likelihood
        kept: list[_Account] = []
        for way, account in ways:
            if len(kept) == MOST_ACCOUNTS or way.likelihood < best - _FORGOTTEN:
                break
            told = account.told(at, way, leaning, self._bounds)
            if not any(told.resembles(other, at) for other in kept):
                kept.append(told)
        kept.sort(key=lambda account: -account.likelihood)
        best = kept[0].likelihood
        self._accounts = [
            replace(account, likelihood=account.likelihood - best) for account in kept
        ]
        return not kept[0].off_beats
