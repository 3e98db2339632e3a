"""Percentiles against numpy's, and what must stay unknown."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.latency.distribution import (
    MAX,
    PERCENTILES,
    drift_ns,
    least_count,
    percentile,
    summary,
)
from ripieno.latency.figures import BARE, INPUT_SPREAD, STRIKE_FIRST, Sample
from ripieno.units import NS_PER_MS

TIMES = st.lists(st.integers(-1000, 10**9), min_size=1, max_size=3000)


@given(TIMES, st.sampled_from(list(PERCENTILES)))
def test_a_percentile_is_numpys_of_the_same_definition(values: list[int], name: str) -> None:
    # numpy: method "inverted_cdf". Its own product of count and quantile is rounded, so that
    # at an exact multiple it may be one value further on.
    found = percentile(sorted(values), PERCENTILES[name])
    if found is None:
        assert len(values) < least_count(PERCENTILES[name])
        return
    part = float(PERCENTILES[name])
    near = {
        int(numpy.quantile(values, quantile, method="inverted_cdf"))
        for quantile in (part - 1e-9, part)
    }
    assert found in near


@given(TIMES, st.sampled_from(list(PERCENTILES)))
def test_a_percentile_is_the_smallest_value_that_its_part_does_not_exceed(
    values: list[int], name: str
) -> None:
    part, found = PERCENTILES[name], percentile(sorted(values), PERCENTILES[name])
    if found is not None:
        assert sum(value <= found for value in values) >= part * len(values)
        assert sum(value < found for value in values) < part * len(values)


@pytest.mark.parametrize(
    ("name", "least"), [("p50", 2), ("p90", 10), ("p99", 100), ("p99.9", 1000)]
)
def test_a_percentile_is_unknown_until_one_value_lies_beyond_it(name: str, least: int) -> None:
    assert percentile(range(least - 1), PERCENTILES[name]) is None
    assert percentile(range(least), PERCENTILES[name]) == least - 2 if least > 2 else True
    assert percentile(range(least), PERCENTILES[name]) is not None


def test_nothing_measured_is_nothing_known_and_not_nought() -> None:
    empty = summary(STRIKE_FIRST, [], lost=3)
    assert set(empty.values_ns.values()) == {None}
    assert (empty.count, empty.lost) == (0, 3)


def test_a_summary_takes_its_own_figure_alone_and_counts_what_is_late() -> None:
    ms = NS_PER_MS
    samples = [Sample(STRIKE_FIRST, 0, n * ms) for n in (3, 10, 11, 40)] + [
        Sample(BARE, 0, 90 * ms)
    ]
    found = summary(STRIKE_FIRST, samples, lost=0)
    assert (found.count, found.late) == (4, 2)  # above 10 ms, Wessel & Wright 2002
    assert (found.values_ns["p50"], found.values_ns[MAX]) == (10 * ms, 40 * ms)


def test_a_players_own_spread_is_never_late() -> None:
    assert summary(INPUT_SPREAD, [Sample(INPUT_SPREAD, 0, 50 * NS_PER_MS)], lost=0).late == 0


def test_drift_is_how_much_later_the_last_fifth_is_than_the_first() -> None:
    samples = [Sample("a", n, 1000 if n < 400 else 1300) for n in range(500)]
    assert drift_ns(samples) == 300
    assert drift_ns(samples[:499]) is None, "a fifth of it is less than a hundred"
