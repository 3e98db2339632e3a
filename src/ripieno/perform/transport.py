"""Where in the music an instant lies, and when a place in the music is due.

`due_ns = anchor_ns + round((position - anchor_position) * ns_per_quarter)`: every due time is
computed from the anchor, so nothing adds up, and the anchor moves only when the tempo does.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from ripieno.style.model import Meter

# An anchor's position is rounded to this part of a quarter: far under a nanosecond at any
# tempo, and it keeps the fractions short however often the tempo changes.
_ANCHOR_PARTS = 10**12


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

    def due_ns(self, position_quarters: Fraction) -> int:
        """When the music reaches a position, to the nearest nanosecond."""
        return self.anchor_ns + round(
            (position_quarters - self.anchor_quarters) * self.ns_per_quarter
        )

    def position_at(self, now_ns: int) -> Fraction:
        """The position at an instant, in quarters; the instant's own due time is the instant."""
        gone = (now_ns - self.anchor_ns) / self.ns_per_quarter
        return Fraction(round((self.anchor_quarters + gone) * _ANCHOR_PARTS), _ANCHOR_PARTS)

    def at_tempo(self, now_ns: int, ns_per_quarter: Fraction) -> "Transport":
        """The same place in the music, going on at another tempo."""
        return replace(
            self,
            anchor_ns=now_ns,
            anchor_quarters=self.position_at(now_ns),
            ns_per_quarter=ns_per_quarter,
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

    def bar_and_beat(self, position_quarters: Fraction) -> tuple[int, int]:
        """The bar and the beat in it that a position lies in, both counted from 1."""
        bars, inside = divmod(position_quarters - self.bar_quarters, self.meter.bar_quarters)
        return self.bar_number + int(bars), 1 + int(inside / self.meter.beat_quarters)

    def next_beat(self, position_quarters: Fraction) -> Fraction:
        """The first beat at or after a position."""
        beats = (position_quarters - self.bar_quarters) / self.meter.beat_quarters
        whole = -(-beats.numerator // beats.denominator)
        return self.bar_quarters + whole * self.meter.beat_quarters


def swung(position_quarters: Fraction, unit_quarters: Fraction, ratio: Fraction) -> Fraction:
    """A position with each pair of `unit_quarters` played long to short as `ratio` to 1.

    Pairs count from position 0. Both halves are stretched evenly, so that what lies between
    their notes keeps its order.
    """
    pairs, inside = divmod(position_quarters, 2 * unit_quarters)
    long = 2 * unit_quarters * ratio / (1 + ratio)
    if inside <= unit_quarters:
        moved = inside / unit_quarters * long
    else:
        moved = long + (inside / unit_quarters - 1) * (2 * unit_quarters - long)
    return pairs * 2 * unit_quarters + moved
