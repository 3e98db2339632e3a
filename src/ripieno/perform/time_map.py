"""Tempo and meter over the whole of a piece, as a file keeps them beside the notes."""

from dataclasses import dataclass

from ripieno.style.model import Meter


@dataclass(frozen=True, slots=True)
class TimeMap:
    """Each change with its instant; instants ascend, and the first of both kinds is at 0.

    Tempi are quarters in a minute. A bar begins with each meter, even if it is the one before.
    """

    tempi: tuple[tuple[int, float], ...]
    meters: tuple[tuple[int, Meter], ...]


def steady(bpm: float, meter: Meter) -> TimeMap:
    """One tempo, in the meter's beats, and one meter."""
    return TimeMap(((0, bpm * float(meter.beat_quarters)),), ((0, meter),))
