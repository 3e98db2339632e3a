"""The tempi and meters of what a performer played, so that its bars are those of a file.

A file's time runs from its first instant on, without a break, while a player's stands before the
first chord and after each stop. What is done with that is our choice:

- Where the time stands the file has a tempo in which whole bars pass, as near as may be to that
  of what comes next, so that this begins where it does in its bar.
- A shift of less than half a beat, as by a tap or a nudge, is taken up by the tempo before it:
  as far back as that does not halve or double.
- Where bars begin anew within a bar, that one is written as a bar of its own length, if a meter of
  quarters, eighths or sixteenths has it; else the next begins where it begins.
- Tempi that differ by so little that no place is moved by a fifth of a millisecond, as those of
  a clock that is followed, become one.
"""

from bisect import bisect_right
from collections.abc import Iterable
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, inf
from operator import itemgetter

from ripieno.perform.settings import Settings
from ripieno.perform.time_map import TimeMap
from ripieno.perform.transport import Transport
from ripieno.style.model import MOST_BEATS, Meter
from ripieno.units import NS_PER_MINUTE, NS_PER_MS, ns_per_quarter

Change = tuple[int, Transport | None]  # from an instant on; None: the time stands
Knot = tuple[int, Fraction]  # an instant, and the quarters that the file has counted by then

_SAME_PLACE = Fraction(1, 1000)  # of a quarter
_MOST_STRETCH = 2
_THIN_NS = NS_PER_MS // 5


def time_played(changes: Iterable[Change], chosen: Settings) -> TimeMap:
    """The map of a performance that began with `chosen`; `changes` ascend."""
    chart = _Chart(chosen)
    for at_ns, transport in changes:
        chart.take(at_ns, transport)
    return chart.map()


class _Chart:
    """What has been played, as knots between which the tempo is constant."""

    def __init__(self, chosen: Settings) -> None:
        self._quarter_ns = ns_per_quarter(chosen.bpm, chosen.meter.beat_quarters)
        self._knots: list[Knot] = [(0, Fraction(0))]
        self._bars = [(Fraction(0), chosen.meter)]  # the quarters at which each meter begins
        self._begun = {0}  # instants of knots that stay
        self._transport: Transport | None = None
        self._ahead = Fraction(0)  # of the music's own position, the file's

    def take(self, at_ns: int, transport: Transport | None) -> None:
        before, self._transport = self._transport, transport
        here = Fraction(0) if transport is None else transport.position_at(at_ns)
        if before is None:
            if transport is not None:
                self._ahead = self._wait(at_ns, transport) - here
        else:
            gone = before.position_at(at_ns)
            shifts = abs(here - gone) < before.meter.beat_quarters / 2
            if transport is None or not (shifts and self._reach(at_ns, here + self._ahead)):
                self._reach(at_ns, gone + self._ahead)
                self._ahead = self._knots[-1][1] - here
                self._begun.add(self._knots[-1][0])
        if transport is not None:
            self._quarter_ns = transport.ns_per_quarter
            self._count(here + self._ahead, transport)

    def map(self) -> TimeMap:
        knots = self._thinned()
        tempi = [
            (at_ns, float((to - here) * NS_PER_MINUTE / (to_ns - at_ns)))
            for (at_ns, here), (to_ns, to) in pairwise(knots)
        ]
        last = (knots[-1][0], float(NS_PER_MINUTE / self._quarter_ns))
        meters = tuple((self._instant(place), meter) for place, meter in self._bars)
        return TimeMap((*tempi, last), meters)

    def _wait(self, at_ns: int, transport: Transport) -> Fraction:
        """Where the file is when the time begins."""
        since_ns, since = self._knots[-1]
        if at_ns == since_ns:
            return since
        in_bar = transport.in_bar(transport.position_at(at_ns))
        line, meter = self._bars[-1]
        near = since + (at_ns - since_ns) / transport.ns_per_quarter - in_bar
        bars = round((near - line) / meter.bar_quarters)
        least = (since - line) / meter.bar_quarters
        bars = max(bars, ceil(least) if in_bar else floor(least) + 1)
        place = line + bars * meter.bar_quarters + in_bar
        if transport.meter != meter:
            self._set_meter(place - in_bar, transport.meter)
        self._knots.append((at_ns, place))
        self._begun.add(at_ns)
        return place

    def _reach(self, at_ns: int, place: Fraction) -> bool:
        """The file is at a place at an instant; False, if no tempo leads there."""
        while not self._leads(self._knots[-1], (at_ns, place)):
            if self._knots[-1][0] in self._begun:
                break
            self._knots.pop()
        last_ns, last = self._knots[-1]
        if at_ns > last_ns and place > last:
            self._knots.append((at_ns, place))
            return True
        return (at_ns, place) == (last_ns, last)

    def _leads(self, knot: Knot, to: Knot) -> bool:
        """Whether the tempo from one to the other is near that of the music."""
        gone_ns = to[0] - knot[0]
        natural_ns = (to[1] - knot[1]) * self._quarter_ns
        return gone_ns > 0 and gone_ns <= _MOST_STRETCH * natural_ns <= _MOST_STRETCH**2 * gone_ns

    def _count(self, here: Fraction, transport: Transport) -> None:
        """The bars from here on, unless they are those that are counted anyway."""
        meter, bar = transport.meter, transport.meter.bar_quarters
        while len(self._bars) > 1 and self._bars[-1][0] > here + _SAME_PLACE:
            self._bars.pop()  # what was to come does not
        line, before = self._bars[-1]
        downbeat = transport.bar_quarters + self._ahead
        if meter == before and abs((downbeat - line + bar / 2) % bar - bar / 2) < _SAME_PLACE:
            return
        downbeat = _not_far(downbeat, bar, max(here - meter.beat_quarters, line), here)
        bars = floor((downbeat - line + _SAME_PLACE) / before.bar_quarters)
        cut = line + bars * before.bar_quarters
        if downbeat - cut > _SAME_PLACE and (odd := _lasting(downbeat - cut)) is not None:
            self._set_meter(cut, odd)
        self._set_meter(downbeat, meter)

    def _set_meter(self, place: Fraction, meter: Meter) -> None:
        if abs(self._bars[-1][0] - place) < _SAME_PLACE:
            place = self._bars.pop()[0]
        self._bars.append((place, meter))

    def _instant(self, place: Fraction) -> int:
        index = max(0, bisect_right(self._knots, place, key=itemgetter(1)) - 1)
        since_ns, since = self._knots[index]
        if index + 1 == len(self._knots):
            return since_ns + round((place - since) * self._quarter_ns)
        to_ns, to = self._knots[index + 1]
        return since_ns + round((place - since) * (to_ns - since_ns) / (to - since))

    def _thinned(self) -> list[Knot]:
        """Without knots that lie on the way between their neighbours."""
        thin: list[Knot] = []
        least, most = -inf, inf
        for before, knot in pairwise(self._knots):
            if before[0] in self._begun or not least <= _slope(thin[-1], knot) <= most:
                thin.append(before)
                least, most = -inf, inf
            least = max(least, _slope(thin[-1], knot, -_THIN_NS))
            most = min(most, _slope(thin[-1], knot, _THIN_NS))
        return [*thin, self._knots[-1]]


def _not_far(downbeat: Fraction, bar: Fraction, least: Fraction, here: Fraction) -> Fraction:
    """The downbeat, or that of another bar if it lies before `least` or more than one ahead."""
    if downbeat < least:
        return downbeat + ceil((least - _SAME_PLACE - downbeat) / bar) * bar
    return downbeat - max(0, floor((downbeat - here + _SAME_PLACE) / bar)) * bar


def _slope(knot: Knot, to: Knot, later_ns: int = 0) -> float:
    return (to[0] + later_ns - knot[0]) / float(to[1] - knot[1])


def _lasting(quarters: Fraction) -> Meter | None:
    """The plainest meter with a bar of this length."""
    for unit in (4, 8, 16):
        count = round(quarters * unit / 4)
        if abs(Fraction(4 * count, unit) - quarters) < _SAME_PLACE and 1 <= count <= MOST_BEATS:
            return Meter(count, unit)
    return None
