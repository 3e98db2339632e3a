"""What is shown of a run."""

import pytest

from ripieno.latency.budget import judge, read_budget
from ripieno.latency.figures import (
    BARE,
    FIGURES_OF,
    PATHS,
    SCHEDULING,
    STRIKE_FIRST,
    TRIP_FIRST,
    Sample,
)
from ripieno.latency.player import Found
from ripieno.latency.report import compared, judged, report
from ripieno.latency.result import Result, result

MS = 1_000_000


def run(
    path: str = "midi", factor: int = 1, setup: dict[str, str] | None = None
) -> tuple[Result, list[Sample]]:
    samples = [
        Sample(figure, n, value * factor * (1000 + n))
        for figure, value in ((STRIKE_FIRST, 300), (TRIP_FIRST, 3000), (BARE, 2000))
        for n in range(120)
    ]
    about = {"system": "JACK", "period": "64 frames at 48000 Hz, 1.33 ms"} | (setup or {})
    return result(path, "2026-01-02", about, Found(samples, {TRIP_FIRST: 3}, 500, 499)), samples


def text(path: str = "midi", width: int = 100) -> str:
    return "\n".join(report(*run(path), width))


def words(lines: str) -> str:
    return " ".join(lines.split())


@pytest.mark.parametrize("path", PATHS)
def test_every_figure_is_shown_with_its_definition(path: str) -> None:
    outcome, samples = run(path)
    shown = words("\n".join(report(outcome, samples, 100)))
    for figure in outcome.figures:
        assert words(f"{figure.id}: {figure.definition}.") in shown


def test_a_row_has_the_percentiles_the_count_and_what_was_lost() -> None:
    row = next(line for line in text().splitlines() if line.startswith(TRIP_FIRST))
    assert row.split()[1:] == [
        "3.18", "ms", "3.32", "ms", "3.35", "ms", "unknown", "3.36", "ms", "120", "3", "0",
    ]  # fmt: skip


def test_where_jack_has_lost_something_it_says_what_to_try() -> None:
    lost, samples = run()
    elsewhere, _ = run(setup={"system": "ALSA"})
    figures = [figure.model_copy(update={"lost": 0}) for figure in lost.figures]
    nothing_lost = lost.model_copy(update={"figures": figures})
    told = ["jackd -S" in words("\n".join(report(each, samples, 100)))
            for each in (lost, elsewhere, nothing_lost)]  # fmt: skip
    assert told == [True, False, False]


def test_the_programs_own_share_is_a_difference_and_a_multiple() -> None:
    assert "round-trip-first-note minus bare-path" in words(text())
    assert "p50 1.06 ms, x 1.50" in words(text())


def test_jack_is_shown_with_its_period_and_what_it_hides() -> None:
    assert "once an audio period (64 frames at 48000 Hz, 1.33 ms)" in words(text())


def test_notes_that_did_not_come_back_show() -> None:
    assert "the engine's output took 500, 499 came back" in words(text())


def test_the_wire_of_a_din_port_is_shown_beside_it() -> None:
    assert "a chord of five 4.80 ms, with running status 3.52 ms" in words(text())


@pytest.mark.parametrize("width", [68, 79, 132])
def test_everything_keeps_to_the_width_of_the_terminal(width: int) -> None:
    lines = text(width=width).splitlines()
    assert max(map(len, lines)) <= width
    assert all(line.isascii() and line.isprintable() for line in lines), "it needs no colour"


def test_a_later_run_is_shown_against_a_kept_one_with_what_differs() -> None:
    then, _ = run(setup={"load": "no"})
    now, _ = run(factor=2, setup={"load": "yes"})
    shown = words("\n".join(compared(now, then, 100)))
    assert "The set-up differs: load was no, is yes." in shown
    assert "strike-to-first-note: p50 318 us -> 635 us (x 2.00)" in shown
    assert words("pass-through: p50 unknown -> unknown,") in shown


def test_a_run_on_the_same_set_up_says_so() -> None:
    assert "The same set-up." in words("\n".join(compared(run()[0], run()[0], 100)))


def test_a_budget_is_shown_demand_by_demand() -> None:
    demands = read_budget(
        "bare-path p50 <= 9 ms; round-trip-first-note p50 <= 1.1 x bare-path",
        "here",
        FIGURES_OF["midi"],
    )
    lines = list(judged(judge(demands, run()[0].summaries()), 100))
    assert lines[1] == "  met: bare-path p50 <= 9 ms: 2.12 ms"
    assert words(lines[2]).startswith(
        "MISSED: round-trip-first-note p50 <= 1.1 x bare-path: 3.18 ms"
    )


def test_a_note_on_drift_is_there_when_the_figure_ran_long_enough() -> None:
    outcome, samples = run()
    assert "Drift" not in text()
    drifted = outcome.model_copy(update={"drift_ns": 1500})
    assert "1.50 us later than the first fifth" in words("\n".join(report(drifted, samples, 100)))
    assert SCHEDULING in text()
