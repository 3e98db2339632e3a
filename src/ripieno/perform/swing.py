"""How long to short a pair of notes swings: by a fixed ratio, or by the tempo.

By the tempo it is the short note that stays the same, about 100 ms at medium and fast tempi, so
that the ratio falls as the tempo rises: 3.5 to 1 and no more where it is slow, 2 to 1 at 200
quarters a minute, even eighths from 300 (Friberg & Sundström 2002, Music Perception 19(3),
333-349: drummers' cymbals in 13 recordings of jazz).

A change of ratio takes hold with the next pair. Where a pair begins does not depend on the ratio,
and within a pair there is one, so no change moves a note back or lets two pass each other.
"""

from fractions import Fraction

from ripieno.perform.transport import Transport, swung
from ripieno.units import NS_PER_MS

# A pair by the tempo is divided into so many parts: 3.5 to 1 is 560 to 160 of them, 2 to 1 480 to
# 240, and one is 0.4 ms of a pair that lasts 300 ms.
PAIR_PARTS = 720
SHORT_NS = 100 * NS_PER_MS
_LEAST_SHORT = 160  # 3.5 to 1, the most that was measured

Swing = tuple[Fraction, Fraction | None]  # the unit that swings, in quarters; None: by the tempo


def ratio_at(ns_per_quarter: Fraction, unit_quarters: Fraction) -> Fraction:
    """Long to short at a tempo, 1..3.5, for pairs of `unit_quarters` (1/2: swung eighths).

    Numerator and denominator add up to a divisor of PAIR_PARTS.
    """
    parts = SHORT_NS * PAIR_PARTS / (2 * unit_quarters * ns_per_quarter)
    whole = -(-parts.numerator // parts.denominator)  # up: never under the 100 ms
    short = min(max(whole, _LEAST_SHORT), PAIR_PARTS // 2)
    return Fraction(PAIR_PARTS - short, short)


def parts_of(swing: Swing) -> int:
    """Into how many parts a place of a straight grid divides for its swung place to be whole."""
    ratio = swing[1]
    return PAIR_PARTS if ratio is None else ratio.numerator + ratio.denominator


class Pairs:
    """The swinging pairs of a lane whose places are counted in `parts` of a quarter."""

    def __init__(self, swing: Swing, parts: int) -> None:
        unit, ratio = swing
        self.pair_quarters = 2 * unit
        self._unit = int(unit * parts)
        self._by_tempo = ratio is None
        self._ratio = self._before = ratio or Fraction(1)
        self._changes_at = 0  # the place from which on `_ratio` holds, and until then `_before`

    def start(self, transport: Transport) -> None:
        """The places are counted anew."""
        if self._by_tempo:
            self._ratio = self._before = self._at(transport)
            self._changes_at = 0

    def follow(self, transport: Transport, place: int) -> None:
        """The tempo is another; `place` is the next that nothing has been struck at."""
        if not self._by_tempo:
            return
        whole = 2 * self._unit
        self._before = self._ratio_in(place - 1)
        self._changes_at = -(-place // whole) * whole
        self._ratio = self._at(transport)

    def swung(self, place: int) -> int:
        """Where a place of the straight grid is."""
        return swung(place, self._unit, self._ratio_in(place))

    def _ratio_in(self, place: int) -> Fraction:
        return self._ratio if place >= self._changes_at else self._before

    def _at(self, transport: Transport) -> Fraction:
        return ratio_at(transport.ns_per_quarter, self.pair_quarters / 2)
