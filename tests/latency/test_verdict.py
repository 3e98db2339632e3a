"""Words for delays: Wessel & Wright 2002 (10 ms, 1 ms); Jack et al. 2018 (10 +- 3 ms)."""

import pytest

from ripieno.latency.distribution import STATISTICS, Summary
from ripieno.latency.verdict import verdict
from ripieno.units import ns_from_ms


def words(p50_ms: float | None, p99_ms: float | None, lost: int = 0) -> str:
    values = dict.fromkeys(STATISTICS) | {
        name: None if ms is None else ns_from_ms(ms)
        for name, ms in (("p50", p50_ms), ("p99", p99_ms))
    }
    return verdict(Summary("strike-to-first-note", 20, lost, 0, values))


@pytest.mark.parametrize(
    ("p50", "p99", "delay", "variation"),
    [
        (0.1, 0.3, "below the 10 ms", "within the 1 ms"),
        (9.0, 10.0, "below the 10 ms", "within the 1 ms"),
        (7.0, 9.5, "below the 10 ms", "above the 1 ms"),
        (4.0, 7.0, "below the 10 ms", "10 ms that vary by 3 were rated worse than no delay"),
        (10.5, 11.0, "above the 10 ms", "within the 1 ms"),
        (12.0, 20.0, "above the 10 ms", "10 ms that vary by 3 were rated worse"),
    ],
)
def test_a_verdict_says_delay_and_variation_with_their_sources(
    p50: float, p99: float, delay: str, variation: str
) -> None:
    said = words(p50, p99)
    assert delay in said
    assert variation in said
    assert "Wessel & Wright 2002" in said


def test_too_few_answers_get_no_verdict() -> None:
    assert words(1.0, None) == "No verdict: 20 answers are too few, it takes 100."


def test_what_was_lost_is_said() -> None:
    assert words(0.1, 0.2, lost=2).endswith("2 were never answered.")
