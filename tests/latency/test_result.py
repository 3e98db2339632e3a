"""What is kept of a run, and read again."""

import csv
import json

import pytest

from ripieno.errors import AuthorError
from ripieno.latency.figures import BARE, FIGURES_OF, PATHS, STRIKE_FIRST, Sample
from ripieno.latency.player import Found
from ripieno.latency.result import Result, csv_lines, read_result, result

SAMPLES = [Sample(STRIKE_FIRST, 1_000_000 * n, 100_000 + n) for n in range(150)]
SAMPLES += [Sample(BARE, 10**9, 40_000)]


def made(path: str = "in-process") -> Result:
    return result(path, "2026-01-02T03:04:05+00:00", {"load": "no"}, Found(SAMPLES, {BARE: 2}))


def test_a_kept_result_reads_back_as_it_was() -> None:
    assert read_result(made().model_dump_json(indent=1), "kept.json") == made()


@pytest.mark.parametrize("path", PATHS)
def test_every_figure_of_the_path_is_there_and_defined_in_one_sentence(path: str) -> None:
    figures = {figure.id: figure for figure in made(path).figures}
    assert tuple(figures) == FIGURES_OF[path]
    assert all(figure.definition and "." not in figure.definition for figure in figures.values())


def test_what_is_not_known_is_null_and_what_is_lost_is_counted() -> None:
    kept = json.loads(made().model_dump_json())
    figures = {figure["id"]: figure for figure in kept["figures"]}
    assert figures[STRIKE_FIRST]["values_ns"]["p99"] == 100_148
    assert figures[STRIKE_FIRST]["values_ns"]["p99.9"] is None
    assert figures[BARE]["values_ns"]["p50"] is None
    assert (figures[BARE]["count"], figures[BARE]["lost"]) == (1, 2)
    assert kept["drift_ns"] is None


def test_the_buckets_hold_every_measurement() -> None:
    for figure in made().figures:
        assert sum(count for _, _, count in figure.buckets) == figure.count


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "Invalid JSON"),
        ("[]", "the whole"),
        ('{"kind": "other"}', "kind"),
        (made().model_dump_json().replace('"count":1,', '"count":"one",'), "count"),
        (made().model_dump_json().replace('"p99.9"', '"p98"'), "expected values for p50"),
        (made().model_dump_json().replace('"version":1', '"version":2'), "version"),
    ],
)
def test_what_is_no_kept_result_is_refused_in_one_line(text: str, fault: str) -> None:
    with pytest.raises(AuthorError) as refusal:
        read_result(text, "kept.json")
    assert str(refusal.value).startswith("kept.json: ")
    assert fault in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_the_table_has_a_row_a_measurement_in_time() -> None:
    rows = list(csv.DictReader(csv_lines(SAMPLES)))
    assert len(rows) == len(SAMPLES)
    assert rows[3] == {"figure": STRIKE_FIRST, "at_s": "0.003000000", "value_us": "100.003"}
