"""Tempo and meter over the whole of a piece, as a file keeps them beside the notes."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter

from ripieno.style.model import Meter


@dataclass(frozen=True, slots=True)
class TimeMap:
    """Each change with its instant; instants ascend, and the first of both kinds is at 0.

    Tempi are quarters in a minute. A bar begins with each meter, even if it is the one before.
    """

    tempi: tuple[tuple[int, float], ...]
    meters: tuple[tuple[int, Meter], ...]

    def bpm_at(self, at_ns: int) -> float:
        return self.tempi[_place(self.tempi, at_ns)][1]

    def meter_at(self, at_ns: int) -> Meter:
        return self.meters[_place(self.meters, at_ns)][1]


def _place(changes: Sequence[tuple[int, object]], at_ns: int) -> int:
    return bisect_right(changes, at_ns, key=itemgetter(0)) - 1


def steady(bpm: float, meter: Meter) -> TimeMap:
    """One tempo, in the meter's beats, and one meter."""
    return TimeMap(((0, bpm * float(meter.beat_quarters)),), ((0, meter),))
