"""Where the beat is and how long it lasts, told from strikes that are off it by a little.

Two things wander and one is blurred. The *length* of the beat drifts; the *instant* of the beat
wanders, as a timekeeper's intervals vary (Wing and Kristofferson 1973); and a hand strikes off
the beat it means. Each strike corrects both instant and length, the phase and period correction
of Mates ("A model of synchronization of motor acts to a stimulus sequence", Biological
Cybernetics 70, 1994) and of Vorberg and Wing ("Modeling variability and dependence in timing",
1996; reviewed in Repp, Psychonomic Bulletin & Review 12, 2005). How much is no constant: it
follows from the two variances, by Kalman's filter (Journal of Basic Engineering 82, 1960).

How freely a player treats the tempo is not known beforehand. So several filters run side by side,
each for a manner: to hold the tempo; to go faster or slower for some beats; to leave the usual
tempo and return; to go anywhere; to make the tempo anew at each beat. How well each foresaw the
strikes so far is its share in the estimate. The two that foresee a change have the length *going*
somewhere, by less with each beat: the one as it went of late, the other towards the usual length.
How unsteady the hand is, is estimated beside it: variances are in parts of the hand's own, which
is learnt from the errors, and an error is as likely as Student's t has it. Papers are cited from
memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, pi, sqrt
from operator import mul
from typing import NamedTuple


class _Manner(NamedTuple):
    """How a player may treat the tempo."""

    drift: float  # of a beat's length a beat, in deviations of the hand
    prior: float  # how likely it is
    fading: float = 1.0  # the rate at which a change under way ends, a beat
    gathering: float = 0.0  # how much of a correction of the length is a change under way
    returning: bool = False  # to the usual length


# Found by simulation over players who do not resemble each other (`benchmarks/following.py`).
_MANNERS = (
    _Manner(drift=0.05, prior=0.3),
    _Manner(drift=0.5, prior=0.35, fading=0.16, gathering=0.2),
    _Manner(drift=1.0, prior=0.1, fading=0.5, returning=True),
    _Manner(drift=2.0, prior=0.2),
    _Manner(drift=8.0, prior=0.05),
)
_PRIORS = tuple(manner.prior for manner in _MANNERS)
_SWITCH = 0.01  # how likely it is at each strike that the player treats the tempo otherwise
_MOST_DRIFT = 0.12  # of the beat: nobody drifts more, however unsteady the hand
_KEEPER = 0.8  # the timekeeper's deviation a beat, in deviations of the hand
_HAND = 0.03  # deviation of a hand not yet known, of a beat: 20 ms at 90 beats a minute
_STEADIEST_HAND = 0.01
_TOLD = 0.15  # deviation of a tempo as it is told before the first strike, of the beat
_TOLD_DOUBTED = 3  # how much sooner than others it grows with leaning, as a power
_FORGET = 0.98  # the weight that an error keeps with each strike after it
_TRUST = 4.0  # strikes that the first guess of the hand is worth
_SMALLEST_LEANING = 0.003  # of all these deviations but the hand's, at no lean


class Leaning(NamedTuple):
    """How much the beat may move: deviations of its drift and of the tempo told, and the variance
    of the timekeeper.
    """

    drifts: tuple[float, ...]
    keeper: float
    told: float
    free: float  # how much of what is foretold without a strike is believed, 0..1

    @classmethod
    def at(cls, lean: int) -> "Leaning":
        """From 0, where it hardly moves, to 100: each step the same factor in all deviations but
        that of the tempo told, which is nearly whole from 75 on.
        """
        part = _SMALLEST_LEANING ** (1 - lean / 100)
        return cls(
            tuple(part * manner.drift for manner in _MANNERS),
            (part * _KEEPER) ** 2,
            _SMALLEST_LEANING ** ((1 - lean / 100) ** _TOLD_DOUBTED) * _TOLD,
            lean / 100,
        )


class Bounds(NamedTuple):
    """How short and how long a beat may be."""

    shortest: float
    longest: float


class _Line(NamedTuple):
    """One filter's estimate. Variances are in parts of the hand's, `spread / trust`."""

    at: float
    length: float
    going: float  # how much longer a beat becomes, a beat
    at_var: float
    both_var: float
    length_var: float
    spread: float  # the errors' squares added up, the older the less

    def gone(self, beats: float, fading: float) -> float:
        """How much later than at an even tempo it is after so many beats."""
        return self.going * (beats - (1 - exp(-fading * beats)) / fading) / fading

    def ahead(self, beats: float, drift: float, keeper: float, fading: float) -> "_Line":
        """So many beats on, or a part of one; the length drifts all the while."""
        at, length, going, at_var, both_var, length_var, spread = self
        at += beats * length
        if going:
            at += self.gone(beats, fading)
            faded = exp(-fading * beats)
            length += going * (1 - faded) / fading
            going *= faded
        return _Line(
            at,
            length,
            going,
            at_var + beats * (2 * both_var + beats * length_var + keeper) + drift * beats**3 / 3,
            both_var + beats * length_var + drift * beats**2 / 2,
            length_var + beats * drift,
            spread,
        )

    def likelihood(self, at: float, trust: float) -> float:
        """The density of a strike at an instant, by Student's t but for a factor of all lines."""
        var = (self.at_var + 1) * self.spread / trust
        off = at - self.at
        return float((1 + off * off / (trust * var)) ** (-(trust + 1) / 2) / sqrt(2 * pi * var))

    def met(self, at: float, manner: _Manner, usual: float) -> "_Line":
        """Corrected by a strike of a player in a manner, whose beats usually have a length."""
        var = self.at_var + 1
        phase, period = self.at_var / var, self.both_var / var
        off = at - self.at
        length = self.length + period * off
        going = self.going + manner.gathering * period * off
        return _Line(
            self.at + phase * off,
            length,
            manner.fading * (usual - length) if manner.returning else going,
            self.at_var - phase * self.at_var,
            self.both_var - phase * self.both_var,
            self.length_var - period * self.both_var,
            _FORGET * self.spread + off * off / var,
        )

    def towards(self, other: "_Line", part: float, trust: float) -> "_Line":
        """This and, for a part, another as one; that they lie apart adds to what is not known."""
        off, longer = other.at - self.at, other.length - self.length
        spread = self.spread + part * (other.spread - self.spread)
        apart = part * (1 - part) * trust / spread
        return _Line(
            self.at + part * off,
            self.length + part * longer,
            self.going,
            self.at_var + part * (other.at_var - self.at_var) + apart * off * off,
            self.both_var + part * (other.both_var - self.both_var) + apart * off * longer,
            self.length_var + part * (other.length_var - self.length_var) + apart * longer * longer,
            spread,
        )

    def within(self, bounds: Bounds, trust: float, fading: float) -> "_Line":
        """With a length that is and goes within bounds, and a hand no steadier than hands are."""
        shortest, longest = bounds
        length = min(max(self.length, shortest), longest)
        going = min(max(self.going, fading * (shortest - length)), fading * (longest - length))
        spread = max(self.spread, trust * (_STEADIEST_HAND * length) ** 2)
        if length == self.length and going == self.going and spread == self.spread:
            return self
        return self._replace(length=length, going=going, spread=spread)


class Foreseen(NamedTuple):
    """What each filter has at a place, and how likely each is, with a strike there."""

    lines: Sequence[_Line]
    likely: Sequence[float]


@dataclass(frozen=True, slots=True)
class Pulse:
    """The estimate at a place, in nanoseconds from some origin. `trust` is the number of strikes
    that the hand's deviation rests on.
    """

    at: float
    length: float
    lines: Sequence[_Line]
    shares: tuple[float, ...]
    trust: float

    @classmethod
    def told(cls, at: float, length: float, leaning: Leaning) -> "Pulse":
        """A place that is said to be at an instant, in a tempo that is said."""
        told = (leaning.told / _HAND) ** 2
        line = _Line(at, length, 0.0, leaning.keeper, 0.0, told, _TRUST * (_HAND * length) ** 2)
        return cls(at, length, (line,) * len(_MANNERS), _PRIORS, _TRUST)

    def due(self, beats: float) -> float:
        """When a place so many beats on is expected."""
        at = self.at + beats * self.length
        for line, share, manner in zip(self.lines, self.shares, _MANNERS, strict=True):
            if line.going:
                at += share * line.gone(beats, manner.fading)
        return at

    def foreseen(self, at: float, beats: float, leaning: Leaning) -> Foreseen:
        """What is to be compared with a strike at an instant, so many beats on."""
        most, keeper, trust = (
            (_MOST_DRIFT * self.length) ** 2 * self.trust,
            leaning.keeper,
            self.trust,
        )
        lines, likely = [], []
        for line, share, drift, manner in zip(
            self.lines, self.shares, leaning.drifts, _MANNERS, strict=True
        ):
            ahead = line.ahead(beats, min(drift * drift, most / line.spread), keeper, manner.fading)
            lines.append(ahead)
            likely.append(share * ahead.likelihood(at, trust))
        return Foreseen(lines, likely)

    def density(self, foreseen: Foreseen) -> float:
        """How likely such a strike is, a beat's length."""
        return self.length * sum(foreseen.likely)

    def met(self, at: float, foreseen: Foreseen, usual: float, bounds: Bounds) -> "Pulse":
        """Corrected by the strike that was compared."""
        whole = sum(foreseen.likely)
        shares = [part / whole for part in foreseen.likely]
        trust = _FORGET * self.trust + 1
        lines = [
            line.met(at, manner, usual)
            for line, manner in zip(foreseen.lines, _MANNERS, strict=True)
        ]
        middle = _mixed(lines, shares, trust).within(bounds, trust, 1.0)
        lines, shares = _switched(lines, shares, middle, trust)
        lines = [
            line.within(bounds, trust, manner.fading)
            for line, manner in zip(lines, _MANNERS, strict=True)
        ]
        return Pulse(middle.at, middle.length, tuple(lines), tuple(shares), trust)

    def held(self, at: float, foreseen: Foreseen) -> "Pulse":
        """Held up until a strike that was compared: it is where the beat is, in the same tempo."""
        lines = [
            line._replace(at=at, at_var=1.0, both_var=0.0, going=0.0) for line in foreseen.lines
        ]
        return Pulse(at, self.length, tuple(lines), self.shares, self.trust)


def _mixed(lines: Sequence[_Line], shares: Sequence[float], trust: float) -> _Line:
    """All estimates as one; that they lie apart adds to what is not known."""
    at, length, going, at_var, both_var, length_var, spread = (
        sum(map(mul, shares, values)) for values in zip(*lines, strict=True)
    )
    hand = spread / trust
    for line, share in zip(lines, shares, strict=True):
        part, off, longer = share / hand, line.at - at, line.length - length
        at_var += part * off * off
        both_var += part * off * longer
        length_var += part * longer * longer
    return _Line(at, length, going, at_var, both_var, length_var, spread)


def _switched(
    lines: Sequence[_Line], shares: Sequence[float], middle: _Line, trust: float
) -> tuple[list[_Line], list[float]]:
    """Each estimate and share, now that the player may have begun to treat the tempo otherwise."""
    mixed, switched = [], []
    for line, share, prior in zip(lines, shares, _PRIORS, strict=True):
        whole = (1 - _SWITCH) * share + _SWITCH * prior
        new = _SWITCH * prior / whole
        mixed.append(line.towards(middle, new, trust))
        switched.append(whole)
    return mixed, switched
