"""What a set of measurements comes to: percentiles, the most, and what is not known.

A percentile is a value that was measured: the smallest that at least so many per cent of the
values do not exceed ("nearest rank"; numpy calls it `inverted_cdf`). It is known only from
as many values as leave one beyond it: p99 from a hundred, p99.9 from a thousand. What is not
known is None and never 0.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ripieno.latency.figures import LATE_NS, NEVER_LATE, Sample

PERCENTILES = {
    "p50": Fraction(1, 2),
    "p90": Fraction(9, 10),
    "p99": Fraction(99, 100),
    "p99.9": Fraction(999, 1000),
}
MAX = "max"
STATISTICS = (*PERCENTILES, MAX)


@dataclass(frozen=True, slots=True)
class Summary:
    """A figure's measurements. `lost` were sent and never answered; `late` came after 10 ms.

    `values_ns` has a value for each of STATISTICS; None: not known.
    """

    figure: str
    count: int
    lost: int
    late: int
    values_ns: dict[str, int | None]


def percentile(ascending: Sequence[int], part: Fraction) -> int | None:
    """The smallest value that at least `part` of the values do not exceed; None: too few."""
    if len(ascending) < least_count(part):
        return None
    return ascending[-(-len(ascending) * part.numerator // part.denominator) - 1]


def least_count(part: Fraction) -> int:
    """How many values it takes to know a percentile: one of them lies beyond it."""
    return -(-part.denominator // (part.denominator - part.numerator))


def summary(figure: str, samples: Iterable[Sample], lost: int) -> Summary:
    """The summary of a figure's own samples, in any order."""
    ascending = sorted(sample.value_ns for sample in samples if sample.figure == figure)
    values: dict[str, int | None] = {
        name: percentile(ascending, part) for name, part in PERCENTILES.items()
    }
    values[MAX] = ascending[-1] if ascending else None
    late = 0 if figure in NEVER_LATE else sum(value > LATE_NS for value in ascending)
    return Summary(figure, len(ascending), lost, late, values)


def drift_ns(samples: Sequence[Sample]) -> int | None:
    """The median of the last fifth of a figure's samples minus that of the first fifth.

    `samples` ascend in time. None: a fifth is no hundred values.
    """
    fifth = len(samples) // 5
    if fifth < 100:
        return None
    first, last = (
        percentile(sorted(sample.value_ns for sample in part), PERCENTILES["p50"])
        for part in (samples[:fifth], samples[-fifth:])
    )
    assert first is not None, "a hundred values have a median"
    assert last is not None, "likewise"
    return last - first
