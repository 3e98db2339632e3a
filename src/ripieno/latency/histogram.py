"""A histogram in plain text: log-linear buckets, bars, no colour.

Each octave of values, from 2**n to 2**(n+1) nanoseconds, is cut into equal parts, so that a
bucket is always about as wide, seen from zero, as any other.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

_PARTS = (8, 4, 2, 1)  # of an octave: as fine as leaves the rows few
_MOST_ROWS = 18
_LEAST_BAR = 10


@dataclass(frozen=True, slots=True)
class Bucket:
    """`count` values in `[low_ns, high_ns)`. What is not above 0 lies in the bucket below 1."""

    low_ns: int
    high_ns: int
    count: int


def place(value_ns: int, parts: int) -> int:
    """The number of a value's bucket; the values from 2**n on have those from n * parts on."""
    if value_ns < 1:
        return -1
    octave = value_ns.bit_length() - 1
    return octave * parts + ((value_ns - (1 << octave)) * parts >> octave)


def bounds(number: int, parts: int) -> tuple[int, int]:
    """The least value of a bucket, and the least above it. Buckets below 2**3 may be empty."""
    return _low(number, parts), _low(number + 1, parts)


def _low(number: int, parts: int) -> int:
    if number < 0:
        return 0
    octave, part = divmod(number, parts)
    return (1 << octave) + -(-(part << octave) // parts)


def buckets(values_ns: Sequence[int]) -> list[Bucket]:
    """Ascending and without a gap, from the least value's to the greatest's."""
    for parts in _PARTS:
        counts = Counter(place(value, parts) for value in values_ns)
        if not counts or max(counts) - min(counts) < _MOST_ROWS:
            break
    numbers = range(min(counts), max(counts) + 1) if counts else range(0)
    found = (Bucket(*bounds(number, parts), counts[number]) for number in numbers)
    return [bucket for bucket in found if bucket.low_ns < bucket.high_ns]


def bars(values_ns: Sequence[int], width: int) -> list[str]:
    """One line a bucket, none wider than `width` (or 40, if that is less)."""
    found = buckets(values_ns)
    most = max((bucket.count for bucket in found), default=1)
    digits = len(str(most))
    label = "{:>9} to {:>9} {:>" + str(digits) + "} "
    room = max(_LEAST_BAR, width - len(label.format("", "", "")))
    return [
        (
            label.format(time(b.low_ns), time(b.high_ns), b.count) + _bar(b.count, most, room)
        ).rstrip()
        for b in found
    ]


def _bar(count: int, most: int, room: int) -> str:
    """As long as the count, but never nothing for something."""
    return "#" * max(count * room // most, min(count, 1))


def time(value_ns: int | None) -> str:
    """A time for people, three digits: `812 ns`, `45.3 us`, `2.67 ms`; `unknown`."""
    if value_ns is None:
        return "unknown"
    for unit, size in (("s", 1_000_000_000), ("ms", 1_000_000), ("us", 1_000)):
        if abs(value_ns) >= size:
            value = value_ns / size
            digits = 2 if abs(value) < 10 else 1 if abs(value) < 100 else 0
            return f"{value:.{digits}f} {unit}"
    return f"{value_ns} ns"
