from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.latency.histogram import bars, bounds, buckets, place, time

VALUES = st.lists(st.integers(-10, 10**11), min_size=1, max_size=200)


@given(st.integers(1, 10**12), st.sampled_from([1, 2, 4, 8]))
def test_every_value_lies_within_the_bounds_of_its_bucket(value: int, parts: int) -> None:
    low, high = bounds(place(value, parts), parts)
    assert low <= value < high


@given(VALUES)
def test_no_value_gets_lost_and_buckets_join_without_a_gap(values: list[int]) -> None:
    found = buckets(values)
    assert sum(bucket.count for bucket in found) == len(values)
    assert all(a.high_ns == b.low_ns for a, b in pairwise(found))
    assert all(
        bucket.count
        == sum(bucket.low_ns <= value < bucket.high_ns for value in (max(v, 0) for v in values))
        for bucket in found
    )


@given(VALUES)
def test_a_bucket_is_no_wider_than_what_lies_below_it(values: list[int]) -> None:
    assert all(b.high_ns <= 2 * b.low_ns for b in buckets(values) if b.low_ns)


@given(VALUES, st.integers(40, 200))
def test_no_line_is_wider_than_the_terminal_and_no_bucket_that_has_values_is_blank(
    values: list[int], width: int
) -> None:
    lines = bars(values, width)
    assert all(len(line) <= width and line.isascii() for line in lines)
    assert sum("#" in line for line in lines) == sum(b.count > 0 for b in buckets(values))


def test_the_longest_bar_reaches_the_edge_and_others_are_in_proportion() -> None:
    short, long = bars([1000] * 5 + [1500] * 10, 80)[0], bars([1000] * 5 + [1500] * 10, 80)[-1]
    assert len(long) == 80
    assert short.count("#") == long.count("#") // 2


def test_nothing_measured_has_no_bars() -> None:
    assert bars([], 80) == []


@pytest.mark.parametrize(
    ("ns", "words"),
    [
        (None, "unknown"),
        (0, "0 ns"),
        (-250, "-250 ns"),
        (999, "999 ns"),
        (1_000, "1.00 us"),
        (45_340, "45.3 us"),
        (320_000, "320 us"),
        (2_666_667, "2.67 ms"),
        (-12_500_000, "-12.5 ms"),
        (3_000_000_000, "3.00 s"),
    ],
)
def test_times_are_said_in_three_digits(ns: int | None, words: str) -> None:
    assert time(ns) == words
