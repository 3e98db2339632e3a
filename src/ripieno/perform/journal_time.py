"""The tempi and meters of a file that was played, as the header of its journal has them."""

from collections.abc import Callable
from typing import TypeVar

from ripieno.perform.journal_fields import Line, number, text
from ripieno.perform.time_map import TimeMap
from ripieno.style.model import meter_named
from ripieno.units import ms_from_ns, ns_from_ms

MOST_CHANGES = 20_000  # so that the header stays within the longest line that is read
_QUARTERS_RANGE = (3.0, 60e6)  # a minute: a file's tempo is 1 to 2**24 - 1 us a quarter (SMF 1.0)

T = TypeVar("T")


def time_line(time: TimeMap) -> Line:
    """Each change as its milliseconds and what holds from then on."""
    return {
        "tempi": [[ms_from_ns(at_ns), bpm] for at_ns, bpm in time.tempi],
        "meters": [[ms_from_ns(at_ns), str(meter)] for at_ns, meter in time.meters],
    }


def time_from(data: object, longest_ms: float) -> TimeMap:
    """Raises KeyError and ValueError."""
    if not isinstance(data, dict):
        raise ValueError("'file' should be an object")
    return TimeMap(
        _changes(data, "tempi", longest_ms, lambda pair: number(pair, "tempi", *_QUARTERS_RANGE)),
        _changes(data, "meters", longest_ms, lambda pair: meter_named(text(pair, "meters"))),
    )


def _changes(
    data: Line, field: str, longest_ms: float, value: Callable[[Line], T]
) -> tuple[tuple[int, T], ...]:
    pairs = data[field]
    if not isinstance(pairs, list) or not all(isinstance(p, list) and len(p) == 2 for p in pairs):
        raise ValueError(f"'{field}' should be a list of pairs, each a time and what holds then")
    changes = tuple(
        (ns_from_ms(number({"ms": ms}, "ms", 0, longest_ms)), value({field: held}))
        for ms, held in pairs
    )
    instants = [at_ns for at_ns, _ in changes]
    if instants[:1] != [0] or instants != sorted(set(instants)):
        raise ValueError(f"the times of '{field}' should begin with 0 and ascend")
    return changes
