"""What comes round: beats that are longer or shorter each time at their place in the bar or phrase.

A dance leans on one beat of the bar; a phrase ends slower than it began, and so does the next.
What is learnt of it is how much longer than the beats around it the beat at each place is: its
mean over the bars, and what the phrases of eight bars have beside. Eight bars are the commonest
length, and four, which come round in eight too.

Of a few beats' lengths most is chance. How much, is told by how they differ from their means; the
means are drawn towards nothing accordingly (James and Stein, "Estimation with quadratic loss",
1961). Where nothing comes round, nothing is foretold. The paper is cited from memory.
"""

from dataclasses import dataclass
from math import exp, log
from operator import mul

PHRASE_BARS = 8
LONGEST_REST = 8  # beats; after more nothing is known of those left out

# Found by simulation over players who do not resemble each other (`benchmarks/following.py`).
_MOST = 0.3  # longer or shorter, as a logarithm: about a third
_OUTLIER = 0.5  # so much longer counts as no more
_REMEMBERED = 8.0  # times that a place is heard before the oldest is forgotten
_CHANCE = 0.05**2  # the variance of a beat's length, before any is heard
_CHANCE_LEARNT = 0.03
_CHANCE_MOST = 0.2**2
_DOUBT = 2.5  # how many times the chance differences the means have to differ by


@dataclass(frozen=True, slots=True)
class _Round:
    """The mean at each place of a period, as logarithms of lengths; how often each was `heard`;
    and the variances of a single length and, of the true means, between places.
    """

    means: tuple[float, ...]
    heard: tuple[float, ...]
    chance: float = _CHANCE
    between: float = 0.0
    middle: float = 0.0

    @classmethod
    def unheard(cls, period: int) -> "_Round":
        return cls((0.0,) * period, (0.0,) * period)

    def expected(self, beat: int) -> float:
        """How much longer the beat that ends at this number is than others."""
        place = beat % len(self.means)
        heard = self.heard[place] * self.between
        return (self.means[place] - self.middle) * heard / (heard + self.chance) if heard else 0.0

    def learnt(self, beat: int, longer: float, weight: float) -> "_Round":
        """With a beat more, which counts for so much of one."""
        place = beat % len(self.means)
        mean, before = self.means[place], self.heard[place]
        now = min(before + weight, _REMEMBERED)
        off = longer - mean
        chance = self.chance
        if before > 0.5:
            square = min(off * off, _CHANCE_MOST) * before / (before + 1)
            chance += _CHANCE_LEARNT * (square - chance)
        means = (*self.means[:place], mean + off * weight / now, *self.means[place + 1 :])
        heard = (*self.heard[:place], now, *self.heard[place + 1 :])
        return _Round(means, heard, chance, *_between(means, heard, chance))


def _between(
    means: tuple[float, ...], heard: tuple[float, ...], chance: float
) -> tuple[float, float]:
    """The variance between places that is more than chance has it, and the mean of all."""
    known = [times for times in heard if times]
    middle = sum(means) / len(known)
    found = sum(map(mul, means, means)) - middle * middle * len(known)
    by_chance = chance * sum(1 / times for times in known)
    return max(0.0, (found - _DOUBT * by_chance) / len(known)), middle


@dataclass(frozen=True, slots=True)
class Recurring:
    """What is known after a beat; `instants` are those of this and the beats before it, as many as
    a phrase has. Any unit of time will do.
    """

    bar: _Round
    phrase: _Round
    beat: int
    instants: tuple[float, ...]

    @classmethod
    def unheard(cls, beats_per_bar: int) -> "Recurring":
        bar, phrase = _Round.unheard(beats_per_bar), _Round.unheard(PHRASE_BARS * beats_per_bar)
        return cls(bar, phrase, 0, ())

    @property
    def foretells(self) -> bool:
        """Whether any beat is expected to last longer than others."""
        return self.bar.between > 0 or self.phrase.between > 0

    def lasting(self, beat: int) -> float:
        """How long the beat that ends at this number lasts, in parts of an even one."""
        if not self.foretells:
            return 1.0
        longer = self.bar.expected(beat) + self.phrase.expected(beat)
        return exp(min(max(longer, -_MOST), _MOST))

    def begun_at(self, beat: int, at: float) -> "Recurring":
        """The same, but what was before this beat does not count."""
        return Recurring(self.bar, self.phrase, beat, (at,))

    def heard(self, beat: int, at: float) -> "Recurring":
        """The next beat that was struck is this, at an instant. Those left out lie evenly."""
        gone = beat - self.beat
        if not self.instants or gone > LONGEST_REST or at <= self.instants[-1]:
            return self.begun_at(beat, at)
        before = self.instants[-1]
        bar, phrase, instants = self.bar, self.phrase, list(self.instants)
        length = (at - before) / gone
        for step in range(1, gone + 1):
            passed = self.beat + step
            instants.append(before + step * length)
            bars_own = bar.expected(passed)
            bar = _with(bar, passed, length, instants, 0.0, 1 / gone)
            phrase = _with(phrase, passed, length, instants, bars_own, 1 / gone)
        return Recurring(bar, phrase, beat, tuple(instants[-1 - len(phrase.means) :]))


def _with(
    period: _Round, beat: int, length: float, instants: list[float], known: float, weight: float
) -> _Round:
    """The beat's length, beside those of a whole period; of it so much is known already."""
    beats = len(period.means)
    if len(instants) <= beats:
        return period
    even = (instants[-1] - instants[-1 - beats]) / beats
    longer = log(length / even) - known
    return period.learnt(beat, min(max(longer, -_OUTLIER), _OUTLIER), weight)
