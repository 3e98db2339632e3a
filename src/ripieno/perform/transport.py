"""Where in the music an instant lies, and when a place in the music is due.

`due_ns = anchor_ns + round((position - anchor_position) * ns_per_quarter)`: every due time is
computed from the anchor, so nothing adds up, and the anchor moves only when the tempo does.

What is asked for again and again while the music plays is computed in whole numbers: a `Grid`
counts places in parts of a quarter, and its due times are those of the same positions as
Fractions, rounding too. Fractions took half the time of a step.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from ripieno.style.model import Meter

# An anchor's position is rounded to this part of a quarter: far under a nanosecond at any
# tempo, and it keeps the fractions short however often the tempo changes.
_ANCHOR_PARTS = 10**12


@dataclass(frozen=True, slots=True)
class Grid:
    """When places are due that are counted from an origin in equal parts of a quarter.

    `first` and `rate` are numerators over `scale`: nanoseconds from the anchor to the origin,
    and nanoseconds a part.
    """

    anchor_ns: int
    first: int
    rate: int
    scale: int

    def due_ns(self, parts: int) -> int:
        """When the place is due that lies `parts` after the origin."""
        return self.anchor_ns + rounded(self.first + parts * self.rate, self.scale)

    def lasting_ns(self, parts: int) -> int:
        """How long `parts` last, in whole nanoseconds."""
        return parts * self.rate // self.scale


@dataclass(frozen=True, slots=True)
class Transport:
    """A running tempo and meter.

    `bar_quarters` is the position of some downbeat, and `bar_number` that bar's number, from 1.
    """

    anchor_ns: int
    anchor_quarters: Fraction
    ns_per_quarter: Fraction
    meter: Meter
    bar_quarters: Fraction = Fraction(0)
    bar_number: int = 1

    def grid(self, origin_quarters: Fraction, parts: int) -> Grid:
        """Places counted from an origin in `parts` of a quarter."""
        over, under = origin_quarters.as_integer_ratio()
        anchor_over, anchor_under = self.anchor_quarters.as_integer_ratio()
        ns_over, ns_under = self.ns_per_quarter.as_integer_ratio()
        gone, whole = over * anchor_under - anchor_over * under, under * anchor_under
        return Grid(
            self.anchor_ns,
            first=gone * parts * ns_over,
            rate=whole * ns_over,
            scale=whole * parts * ns_under,
        )

    def due_ns(self, position_quarters: Fraction) -> int:
        """When the music reaches a position, to the nearest nanosecond."""
        over, under = position_quarters.as_integer_ratio()
        anchor_over, anchor_under = self.anchor_quarters.as_integer_ratio()
        ns_over, ns_under = self.ns_per_quarter.as_integer_ratio()
        gone = over * anchor_under - anchor_over * under
        return self.anchor_ns + rounded(gone * ns_over, under * anchor_under * ns_under)

    def position_at(self, now_ns: int) -> Fraction:
        """The position at an instant, in quarters; the instant's own due time is the instant."""
        over, under = self.anchor_quarters.as_integer_ratio()
        ns_over, ns_under = self.ns_per_quarter.as_integer_ratio()
        position = over * ns_over + (now_ns - self.anchor_ns) * ns_under * under
        return Fraction(rounded(position * _ANCHOR_PARTS, under * ns_over), _ANCHOR_PARTS)

    def at_tempo(self, now_ns: int, ns_per_quarter: Fraction) -> "Transport":
        """The same place in the music, going on at another tempo."""
        return self.going_on(now_ns, self.position_at(now_ns), ns_per_quarter)

    def going_on(self, at_ns: int, position: Fraction, ns_per_quarter: Fraction) -> "Transport":
        """The same bars; the music is at a position at an instant, and goes on at a tempo."""
        return Transport(
            at_ns, position, ns_per_quarter, self.meter, self.bar_quarters, self.bar_number
        )

    def in_meter(self, position_quarters: Fraction, meter: Meter) -> "Transport":
        """Another meter, whose first downbeat is at a position: a bar cut short is a bar."""
        gone = (position_quarters - self.bar_quarters) / self.meter.bar_quarters
        return replace(
            self,
            meter=meter,
            bar_quarters=position_quarters,
            bar_number=self.bar_number - (-gone.numerator // gone.denominator),
        )

    def counted_as(self, other: "Transport") -> "Transport":
        """With the bars of another."""
        return replace(
            self,
            meter=other.meter,
            bar_quarters=other.bar_quarters,
            bar_number=other.bar_number,
        )

    def bar_and_beat(self, position_quarters: Fraction) -> tuple[int, int]:
        """The bar and the beat in it that a position lies in, both counted from 1."""
        bars, inside = divmod(position_quarters - self.bar_quarters, self.meter.bar_quarters)
        return self.bar_number + int(bars), 1 + int(inside / self.meter.beat_quarters)

    def in_bar(self, position_quarters: Fraction) -> Fraction:
        """How far into its bar a position lies, in quarters."""
        return (position_quarters - self.bar_quarters) % self.meter.bar_quarters

    def next_beat(self, position_quarters: Fraction) -> Fraction:
        """The first beat at or after a position."""
        return self._next(position_quarters, self.meter.beat_quarters)

    def next_downbeat(self, position_quarters: Fraction) -> Fraction:
        """The first downbeat at or after a position."""
        return self._next(position_quarters, self.meter.bar_quarters)

    def nearest_beat(self, position_quarters: Fraction) -> Fraction:
        """The beat that a position is closest to."""
        return self.next_beat(position_quarters - self.meter.beat_quarters / 2)

    def nearest(
        self, position_quarters: Fraction, apart_quarters: Fraction
    ) -> tuple[Fraction, int, int]:
        """The place closest to a position, and how much later the position is.

        That is so many parts, and into how many a quarter is divided. Places lie so far apart,
        and a downbeat is one; of two as close, it is the even one.
        """
        over, under = position_quarters.as_integer_ratio()
        bar_over, bar_under = self.bar_quarters.as_integer_ratio()
        apart_over, apart_under = apart_quarters.as_integer_ratio()
        parts = under * bar_under * apart_under  # of a quarter, in which all of them are whole
        apart = apart_over * under * bar_under
        inside = (over * bar_under - bar_over * under) * apart_under
        late = inside - rounded(inside, apart) * apart
        return Fraction(over * bar_under * apart_under - late, parts), late, parts

    def last_beat(self, position_quarters: Fraction) -> Fraction:
        """The last beat at or before a position."""
        return (
            position_quarters - (position_quarters - self.bar_quarters) % self.meter.beat_quarters
        )

    def _next(self, position_quarters: Fraction, apart: Fraction) -> Fraction:
        whole = -((self.bar_quarters - position_quarters) // apart)
        return self.bar_quarters + whole * apart


def swung(place: int, unit: int, ratio: Fraction) -> int:
    """A place with each pair of `unit` played long to short as `ratio` to 1.

    Pairs count from place 0. Both halves are stretched evenly, so that what lies between their
    notes keeps its order. Places and unit are counted in the same parts, so small that each is
    a multiple of the sum of the ratio's numerator and denominator.
    """
    long, short = ratio.as_integer_ratio()
    pairs, inside = divmod(place, 2 * unit)
    late = max(0, inside - unit)
    moved = 2 * ((inside - late) * long + late * short) // (long + short)
    return pairs * 2 * unit + moved


def rounded(over: int, under: int) -> int:
    """The whole number nearest to `over / under`, of two the even one, as `round` has it."""
    whole, rest = divmod(over, under)
    return whole + (2 * rest > under or (2 * rest == under and whole & 1))
