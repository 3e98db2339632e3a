"""Where the beat is and how long it lasts, told from strikes that are off it by a little.

Two things wander and one is blurred. The *length* of the beat drifts; the *instant* of the beat
wanders, as a timekeeper's intervals vary (Wing and Kristofferson 1973); and a hand strikes off
the beat it means. Each strike corrects both instant and length, the phase and period correction
of Mates ("A model of synchronization of motor acts to a stimulus sequence", Biological
Cybernetics 70, 1994) and of Vorberg and Wing ("Modeling variability and dependence in timing",
1996; reviewed in Repp, Psychonomic Bulletin & Review 12, 2005). How much is no constant: it
follows from the two variances, by Kalman's filter (Journal of Basic Engineering 82, 1960).

How freely a player treats the tempo is not known beforehand. So several filters run side by side,
from one that holds its tempo to one that takes nearly each interval as the tempo; how well each
foresaw the strikes so far is its share in the estimate. How unsteady the hand is, is estimated
beside it: variances are in parts of the hand's own, which is learnt from the errors, and an error
is as likely as Student's t has it. Papers are cited from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt
from operator import mul
from typing import NamedTuple

# Found by simulation over players who do not resemble each other (`benchmarks/following.py`); half
# as much again or less of any of these changes the median error by less than a tenth of itself.
_DRIFTS = (0.05, 0.5, 2.0, 8.0)  # of a beat's length a beat, in deviations of the hand
_PRIORS = (0.3, 0.35, 0.25, 0.1)
_SWITCH = 0.01  # how likely it is at each strike that the player treats the tempo otherwise
_MOST_DRIFT = 0.12  # of the beat: nobody drifts more, however unsteady the hand
_KEEPER = 1.0  # the timekeeper's deviation a beat, in deviations of the hand
_HAND = 0.03  # deviation of a hand not yet known, of a beat: 20 ms at 90 beats a minute
_STEADIEST_HAND = 0.01
_TOLD = 0.15  # deviation of a tempo as it is told before the first strike, of the beat
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
    doubt: float  # how readily beats that prove to lie between beats are given up, 0..1

    @classmethod
    def at(cls, lean: int) -> "Leaning":
        """From 0, where it hardly moves, to 100: each step the same factor in all deviations."""
        part = _SMALLEST_LEANING ** (1 - lean / 100)
        return cls(
            tuple(part * drift for drift in _DRIFTS),
            (part * _KEEPER) ** 2,
            part * _TOLD,
            lean / 100,
        )


class _Line(NamedTuple):
    """One filter's estimate. Variances are in parts of the hand's, `spread / trust`."""

    at: float
    length: float
    at_var: float
    both_var: float
    length_var: float
    spread: float  # the errors' squares added up, the older the less

    def ahead(self, beats: float, drift: float, keeper: float) -> "_Line":
        """So many beats on, or a part of one; the length drifts all the while."""
        at, length, at_var, both_var, length_var, spread = self
        return _Line(
            at + beats * length,
            length,
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

    def met(self, at: float) -> "_Line":
        """Corrected by a strike."""
        var = self.at_var + 1
        phase, period = self.at_var / var, self.both_var / var
        off = at - self.at
        return _Line(
            self.at + phase * off,
            self.length + period * off,
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
            self.at_var + part * (other.at_var - self.at_var) + apart * off * off,
            self.both_var + part * (other.both_var - self.both_var) + apart * off * longer,
            self.length_var + part * (other.length_var - self.length_var) + apart * longer * longer,
            spread,
        )

    def within(self, shortest: float, longest: float, trust: float) -> "_Line":
        """With a length within bounds, and a hand no steadier than hands are."""
        length = min(max(self.length, shortest), longest)
        least = trust * (_STEADIEST_HAND * length) ** 2
        return self._replace(length=length, spread=max(self.spread, least))


@dataclass(frozen=True, slots=True)
class Pulse:
    """The estimate at a beat, in nanoseconds from some origin. `trust` is the number of strikes
    that the hand's deviation rests on.
    """

    beat: float
    at: float
    length: float
    lines: tuple[_Line, ...]
    shares: tuple[float, ...]
    trust: float

    @classmethod
    def told(cls, beat: float, at: float, length: float, leaning: Leaning) -> "Pulse":
        """A beat that is said to be at an instant, in a tempo that is said."""
        told = (leaning.told / _HAND) ** 2
        line = _Line(at, length, leaning.keeper, 0.0, told, _TRUST * (_HAND * length) ** 2)
        return cls(beat, at, length, (line,) * len(_DRIFTS), _PRIORS, _TRUST)

    def due(self, beat: float) -> float:
        """When a beat is expected."""
        return self.at + (beat - self.beat) * self.length

    def place(self, at: float) -> float:
        """Which place, in beats, an instant is expected to be."""
        return self.beat + (at - self.at) / self.length

    def density(self, at: float, beat: float, leaning: Leaning) -> float:
        """How likely a strike at this place comes at this instant, a beat's length."""
        found = self._ahead(beat, leaning)
        return self.length * sum(
            share * line.likelihood(at, self.trust)
            for share, line in zip(self.shares, found, strict=True)
        )

    def met(
        self, at: float, beat: float, leaning: Leaning, shortest: float, longest: float
    ) -> "Pulse":
        """Corrected by a strike at a place, the beat's length within bounds."""
        found = self._ahead(beat, leaning)
        likely = [
            share * line.likelihood(at, self.trust)
            for share, line in zip(self.shares, found, strict=True)
        ]
        whole = sum(likely)
        shares = [part / whole for part in likely]
        trust = _FORGET * self.trust + 1
        lines = [line.met(at) for line in found]
        middle = _mixed(lines, shares, trust).within(shortest, longest, trust)
        lines, shares = _switched(lines, shares, middle, trust)
        lines = [line.within(shortest, longest, trust) for line in lines]
        return Pulse(beat, middle.at, middle.length, tuple(lines), tuple(shares), trust)

    def _ahead(self, beat: float, leaning: Leaning) -> list[_Line]:
        beats = beat - self.beat
        most = (_MOST_DRIFT * self.length) ** 2 * self.trust
        return [
            line.ahead(beats, min(drift * drift, most / line.spread), leaning.keeper)
            for line, drift in zip(self.lines, leaning.drifts, strict=True)
        ]


def _mixed(lines: Sequence[_Line], shares: Sequence[float], trust: float) -> _Line:
    """All estimates as one; that they lie apart adds to what is not known."""
    at, length, at_var, both_var, length_var, spread = (
        sum(map(mul, shares, values)) for values in zip(*lines, strict=True)
    )
    hand = spread / trust
    for line, share in zip(lines, shares, strict=True):
        part, off, longer = share / hand, line.at - at, line.length - length
        at_var += part * off * off
        both_var += part * off * longer
        length_var += part * longer * longer
    return _Line(at, length, at_var, both_var, length_var, spread)


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
