"""The tempo follows the player's hands: which strikes are beats, and where that puts the beat.

A strike of the chord hand is a beat, or it lies between beats: a push, a passing chord. Which, is
told by how near a beat it comes, for how likely the estimate (`pulse`) has it there; by which
beats of the bar this player strikes; and by how often he strikes between them. Often only the
next strikes show which it was. So up to five accounts of the strikes are kept, each with its own
estimate and likelihood; the likeliest is what is followed, and a wrong one gives way to the right
one as soon as that foresees the strikes better. At the beginning there are up to seven: the tempo
told may be off by more than a beat in a bar, and whether a chord came after four beats or after
five shows when the next fall on the same beat of the bar, or on another each time.

A hand that rests changes nothing: the estimate runs on. A late beat may also be one that was
held, at the end of a phrase or over a breath: then the beat is where it was struck, and the tempo
stays.

What is foreseen is no straight line: a change of tempo goes on or ends (`pulse`), and beats that
are longer each time at their place in the bar or phrase will be again (`recurring`). Over the next
beats the course is made of straight pieces, one a beat; after that the tempo stays.

Beats keep their numbers. An account may turn out to be right that has another number for the
same instant; then the course makes up the difference (`bending`), and no beat is left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor, log
from typing import NamedTuple

from ripieno.perform.pulse import Bounds, Foreseen, Leaning, Pulse
from ripieno.perform.recurring import LONGEST_REST, Recurring
from ripieno.perform.settings import BPM_RANGE
from ripieno.units import NS_PER_MINUTE

SLOWEST_BPM, FASTEST_BPM = BPM_RANGE
WIDEST = 2.0  # the most the tempo comes to differ from the one it began with, as a factor
MOST_ACCOUNTS = 5
_FORGOTTEN = 6.0  # an account this much less likely than the best, as a logarithm, is given up
_FIRST_BEATS = 12  # until so many were heard, there are more accounts, given up later,
FIRST_ACCOUNTS = 7
_FIRST_FORGOTTEN = 7.0
_FIRST_OFF = (1.6, 1.36)  # and the tempo told may be so much too fast, or too slow;
_ONE_BEAT = 1.54  # but less than this is one slow beat, not two

# Found by simulation over players who do not resemble each other (`benchmarks/following.py`).
_OFF_BEAT = 0.06  # the share of strikes between beats, before any is heard
_OFF_BEATS = (0.01, 0.5)  # the least and most of it
_OFF_LEARNT = 0.07  # how much one strike changes it
_PARTS = 0.7  # of the strikes between beats are on a part of the beat, others anywhere
_DOUBTED, _DOUBT = 2, 0.006  # after so many off the beat, these may be the beats: how likely
_STRUCK = 0.5  # how likely a beat of the bar is struck, before any is heard
_STRUCKS = (0.05, 0.98)
_STRUCK_LEARNT = 0.15  # how much a beat changes it,
_STRUCK_GUESS = 4.5  # and the first ones more, since the guess is worth no more than so many
_ALIKE = 0.3  # beats of the bar that differ by less in this are struck alike
_USUAL = 0.2  # deviation of tempos from the player's usual one, as a logarithm
_USUAL_LEARNT = 0.02  # how far a strike moves the usual tempo to the present one
_TOLD_DOUBT = 0.5  # how far the first does, since a tempo that is told may be another; then less
_HELD = 0.01  # how likely a beat is held,
_HELD_AGAIN = 0.2  # and the next one after it
_HELD_FOR = (0.2, 1.25)  # and for how long, in beats: each length as likely as others
_BY_TIME = 0.75  # how far errors count by the clock: in parts of longer beats they seem smaller
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
    beats: int = 0  # how many were heard

    def skipping(self, after: float, beat: int) -> float:
        """How likely the beats between a place and a beat are all left out."""
        likely = 1.0
        for passed in _between(after, beat):
            likely *= 1 - self.struck[passed % len(self.struck)]
        return likely

    def striking(self, after: float, beat: int) -> float:
        """How likely the next beat struck after a place is this one."""
        return self.skipping(after, beat) * self.struck[beat % len(self.struck)]

    @property
    def are_even(self) -> bool:
        """Whether all beats of the bar are struck about alike."""
        return max(self.struck) - min(self.struck) < _ALIKE

    def heard_off(self) -> "_Habits":
        """A strike was between beats."""
        off_beat = self.off_beat + _OFF_LEARNT * (1 - self.off_beat)
        return _Habits(
            self.parts, self.struck, min(off_beat, _OFF_BEATS[1]), self.usual, self.beats
        )

    def heard(self, after: float, beat: int, length: float) -> "_Habits":
        """After a place, the next strike that was a beat was this one."""
        struck = list(self.struck)
        learnt = max(_STRUCK_LEARNT, 1 / (_STRUCK_GUESS + self.beats))
        for passed in _between(after, beat):
            likely = struck[passed % len(struck)]
            struck[passed % len(struck)] = max(_STRUCKS[0], likely * (1 - learnt))
        likely = struck[beat % len(struck)]
        struck[beat % len(struck)] = min(_STRUCKS[1], likely + learnt * (1 - likely))
        beats = self.beats + 1
        usual = self.usual * (length / self.usual) ** max(_USUAL_LEARNT, _TOLD_DOUBT / beats)
        off_beat = max(_OFF_BEATS[0], self.off_beat * (1 - _OFF_LEARNT))
        return _Habits(self.parts, tuple(struck), off_beat, usual, beats)


def _between(after: float, beat: int) -> range:
    """The whole beats between a place and a beat; of many, the first."""
    first = floor(after) + 1
    return range(first, min(beat, first + LONGEST_REST))


def _nearest_part(here: float, parts: int) -> float:
    """The place nearest to one that is a part of the beat, but no beat."""
    part = min(max(1, round(here % 1 * parts)), parts - 1)
    return floor(here) + part / parts


def _bounds_around(length: float) -> Bounds:
    fastest, slowest = NS_PER_MINUTE / FASTEST_BPM, NS_PER_MINUTE / SLOWEST_BPM
    shortest = max(fastest, min(length, slowest) / WIDEST)
    return Bounds(shortest, min(slowest, max(length, fastest) * WIDEST))


class _Point(NamedTuple):
    """When a place is expected."""

    at: float
    place: float


Piece = tuple[_Point, _Point]


def _place_on(piece: Piece, at: float) -> float:
    """Where the straight line through two points is at an instant."""
    (before, first), (after, then) = piece
    return first + (at - before) * (then - first) / (after - before)


@dataclass(frozen=True, slots=True)
class _Way:
    """What a strike may be: a beat, a place between beats, or, None, nothing that tells the time.

    `moved` is how many beats the account has to be moved for it; a beat may be `held`.
    """

    place: float | None
    likelihood: float
    foreseen: Foreseen | None = None
    moved: float = 0.0
    held: bool = False


@dataclass(frozen=True, slots=True)
class _Account:
    """One way to tell the strikes so far: the last place that one was taken for, what is estimated
    there, and the logarithm of its likelihood.
    """

    place: float
    pulse: Pulse
    habits: _Habits
    recurring: Recurring
    likelihood: float = 0.0
    off_beats: int = 0  # how many strikes since one was a beat
    held: bool = False  # whether the last was

    def ways(self, at: float, leaning: Leaning) -> list[_Way]:
        """What a strike may be, and how likely the account is with it."""
        habits, last, here = self.habits, self.place, self.here(at, leaning.free)
        found: list[tuple[float, float]] = [
            (beat, habits.striking(last, beat) * (1 - habits.off_beat)) for beat in self._near(here)
        ]
        off_beat = habits.skipping(last, floor(here) + 1) * habits.off_beat
        part = _nearest_part(here, habits.parts)
        if part > last:
            found.append((part, off_beat * _PARTS))
        ways = [self._way(at, place, prior, leaning) for place, prior in found]
        ways.append(_Way(None, self._with(off_beat * (1 - _PARTS))))
        beat, (least, most) = floor(last) + 1, _HELD_FOR
        if not self.off_beats and least < here - beat < most:
            likely = habits.striking(last, beat) * (1 - habits.off_beat) * leaning.free
            likely *= (_HELD_AGAIN if self.held else _HELD) / (most - least)
            foreseen = self.pulse.foreseen(at, self._until(beat, leaning.free), leaning)
            ways.append(_Way(beat, self._with(likely), foreseen, held=True))
        if self.off_beats >= _DOUBTED and here > last:
            beat = max((floor(here), floor(here) + 1), key=lambda beat: habits.striking(last, beat))
            foreseen = self.pulse.foreseen(at, self._until(here, leaning.free), leaning)
            ways.append(_Way(beat, self._with(_DOUBT * leaning.free), foreseen, beat - here))
        return ways

    def _way(self, at: float, place: float, prior: float, leaning: Leaning) -> _Way:
        foreseen = self.pulse.foreseen(at, self._until(place, leaning.free), leaning)
        return _Way(place, self._with(prior * self.pulse.density(foreseen)), foreseen)

    def _with(self, likely: float) -> float:
        by_time = _BY_TIME * log(self.pulse.length)
        return self.likelihood + log(max(_IMPOSSIBLE, likely)) - by_time

    def _near(self, here: float) -> list[int]:
        """The beats that a strike can be: the nearest, and after some beats those beside it."""
        nearest, last = round(here), self.place
        gone = nearest - last
        if gone > LONGEST_REST:
            return [nearest]
        if not self.habits.beats and last % 1 == 0:
            return self._first(here)
        reach = 0.75 * max(1.0, gone) ** 0.5
        return [
            beat
            for beat in (nearest - 1, nearest, nearest + 1)
            if beat > last and abs(here - beat) <= reach
        ]

    def _first(self, here: float) -> list[int]:
        """The first beat may be any that the tempo told, if it is that far off, would make it."""
        last, gone = int(self.place), here - self.place
        if gone < _ONE_BEAT:
            return [last + 1] if gone > 0.25 else []
        slower, faster = _FIRST_OFF
        return list(range(last + ceil(gone / slower), last + floor(gone * faster) + 1))

    def _until(self, place: float, free: float) -> float:
        """How many even beats it is from the last place to another."""
        if not self.recurring.foretells:
            return place - self.place
        first = floor(self.place) + 1
        even, reached = 0.0, self.place
        for beat in range(first, first + LONGEST_REST):
            if reached >= place:
                return even
            even += (min(beat, place) - reached) * self._lasting(beat, free)
            reached = min(beat, place)
        return even + place - reached

    def _lasting(self, beat: int, free: float) -> float:
        return 1 + free * (self.recurring.lasting(beat) - 1)

    def _points(self, free: float) -> Iterator[_Point]:
        """The last place and the whole beats after it; after the last two it goes on straight."""
        yield _Point(self.pulse.at, self.place)
        first, even, reached = floor(self.place) + 1, 0.0, self.place
        for beat in range(first, first + LONGEST_REST):
            even += (beat - reached) * self._lasting(beat, free)
            reached = beat
            yield _Point(self.pulse.due(even), beat)
        yield _Point(self.pulse.due(even + 1), reached + 1)

    def pieces(self, free: float) -> Iterator[Piece]:
        """The straight pieces of what is foreseen."""
        return pairwise(self._points(free))

    def piece(self, at: float, free: float) -> tuple[Piece, bool]:
        """The piece at an instant, and whether another follows."""
        for found in self.pieces(free):
            if at < found[1].at:
                return found, True
        return found, False

    def here(self, at: float, free: float) -> float:
        """Which place an instant is expected to be."""
        return _place_on(self.piece(at, free)[0], at)

    def due(self, place: float, free: float) -> float:
        """When a place is expected."""
        pieces = list(self.pieces(free))
        before, after = next((piece for piece in pieces if place <= piece[1].place), pieces[-1])
        length = (after.at - before.at) / (after.place - before.place)
        return before.at + (place - before.place) * length

    def told(self, at: float, way: _Way, best: float, bounds: Bounds) -> "_Account":
        """With a strike more; likelihoods are from now on in parts of the best one's."""
        habits, likelihood = self.habits.heard_off(), way.likelihood - best
        off_beats = self.off_beats + 1
        if way.place is None or way.foreseen is None:
            return _Account(self.place, self.pulse, habits, self.recurring, likelihood, off_beats)
        if way.held:
            pulse = self.pulse.held(at, way.foreseen)
        else:
            pulse = self.pulse.met(at, way.foreseen, habits.usual, bounds)
        unusual = log(pulse.length / habits.usual) / _USUAL
        likelihood -= unusual * unusual / 2
        if way.place % 1:
            return _Account(way.place, pulse, habits, self.recurring, likelihood, off_beats)
        beat = int(way.place)
        habits = self.habits.heard(self.place + way.moved, beat, pulse.length)
        if way.moved:
            recurring = self.recurring.begun_at(beat, pulse.at)
        else:
            recurring = self.recurring.heard(beat, pulse.at)
        return _Account(beat, pulse, habits, recurring, likelihood, held=way.held)

    def resembles(self, other: "_Account", apart: float) -> bool:
        """The other, so many beats apart, is in about the same place and tempo.

        Where all beats are struck alike, nothing that comes would tell two numbers of a beat apart.
        """
        if self.habits.are_even and other.habits.are_even:
            apart -= round(apart)
        return abs(apart) < 0.08 and abs(log(self.pulse.length / other.pulse.length)) < 0.06


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
        self._bounds = _bounds_around(beat_ns)
        length = min(max(beat_ns, self._bounds.shortest), self._bounds.longest)
        pulse = Pulse.told(0.0, length, Leaning.at(lean))
        habits = _Habits(parts, (_STRUCK,) * beats_per_bar, _OFF_BEAT, length)
        recurring = Recurring.unheard(beats_per_bar)
        self._accounts = [_Account(float(position_beats), pulse, habits, recurring)]

    @property
    def course(self) -> Course:
        """What is expected from the last place taken to the beat after it."""
        return self._course(next(self._accounts[0].pieces(self._free)))

    def course_at(self, now_ns: int) -> tuple[Course, int | None]:
        """What is expected at an instant after the last strike, and until when that holds; None:
        until the next strike.
        """
        piece, ends = self._accounts[0].piece(float(now_ns - self._origin_ns), self._free)
        return self._course(piece), self._origin_ns + ceil(piece[1].at) if ends else None

    def predicted_ns(self, position_beats: float) -> int:
        """When a place is expected."""
        return self._origin_ns + round(self._accounts[0].due(position_beats, self._free))

    def strike(self, at_ns: int) -> bool:
        """A strike; whether it was taken as a beat, for now."""
        at, leaning = float(at_ns - self._origin_ns), Leaning.at(self.lean)
        ways = [(way, account) for account in self._accounts for way in account.ways(at, leaning)]
        ways.sort(key=lambda each: -each[0].likelihood)
        best = ways[0][0].likelihood
        most, forgotten = self._breadth
        kept: list[tuple[_Account, float]] = []  # and the place that each is at
        for way, account in ways:
            if len(kept) == most or way.likelihood < best - forgotten:
                break
            told = account.told(at, way, best, self._bounds)
            here = told.here(at, leaning.free)
            if not any(told.resembles(other, here - there) for other, there in kept):
                kept.append((told, here))
        self._accounts = sorted(
            (account for account, _ in kept), key=lambda account: -account.likelihood
        )
        return not self._accounts[0].off_beats

    def move(self, later_ns: int) -> None:
        """All that is known was so much later."""
        self._origin_ns += later_ns

    def told(self, at_ns: int, position_beats: float, beat_ns: float) -> None:
        """A place and a tempo from which to follow on. What the player usually does is known."""
        best = self._accounts[0]
        self._bounds = _bounds_around(beat_ns)
        length = min(max(beat_ns, self._bounds.shortest), self._bounds.longest)
        pulse = Pulse.told(float(at_ns - self._origin_ns), length, Leaning.at(self.lean))
        habits = replace(best.habits, usual=length, beats=0)
        recurring = replace(best.recurring, instants=())
        self._accounts = [_Account(float(position_beats), pulse, habits, recurring)]

    @property
    def _breadth(self) -> tuple[int, float]:
        """How many accounts are kept, and how much less likely than the best."""
        if self._accounts[0].habits.beats < _FIRST_BEATS:
            return FIRST_ACCOUNTS, _FIRST_FORGOTTEN
        return MOST_ACCOUNTS, _FORGOTTEN

    @property
    def _free(self) -> float:
        return Leaning.at(self.lean).free

    def _course(self, piece: Piece) -> Course:
        before, after = piece
        length = (after.at - before.at) / (after.place - before.place)
        length = min(max(length, self._bounds.shortest), self._bounds.longest)
        return Course(self._origin_ns + round(before.at), before.place, length)
