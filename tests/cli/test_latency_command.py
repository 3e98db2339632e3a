"""`ripieno latency`: its output, its refusals, its exit status. No duration is asserted."""

import csv
import json
import os
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
import rtmidi
from calling import call, environment, refused, run

from jack_server import PATIENCE_S, port_named, running_server
from ripieno.latency.figures import FIGURES_OF

SHORT = ("latency", "--path", "in-process", "--strikes", 3, "--seconds", 0.3)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("latency")


@pytest.fixture(scope="module")
def report(folder: Path) -> dict[str, object]:
    """What --json said; the same run has kept its result and its measurements."""
    kept, table = folder / "kept.json", folder / "all.csv"
    done = run(folder, *SHORT, "--json", "--keep", kept, "--csv", table)
    assert (done.returncode, done.stderr) == (0, "")
    return json.loads(done.stdout)


def test_json_is_one_object_with_every_figure_of_the_path(report: dict[str, object]) -> None:
    assert tuple(figure["id"] for figure in report["figures"]) == FIGURES_OF["in-process"]
    assert all(figure["count"] and not figure["lost"] for figure in report["figures"])
    assert report["setup"]["strikes"] == "3"
    assert report["setup"]["load"] == "no"
    assert report["verdict"] == "No verdict: 3 answers are too few, it takes 100."


def test_what_is_kept_is_what_json_says_of_the_run(folder: Path, report: dict[str, object]) -> None:
    kept = json.loads((folder / "kept.json").read_text())
    assert kept == {key: value for key, value in report.items() if key in kept}


def test_the_table_has_a_row_for_every_measurement(folder: Path, report: dict[str, object]) -> None:
    with (folder / "all.csv").open(newline="") as lines:
        rows = Counter(row["figure"] for row in csv.DictReader(lines))
    assert rows == {figure["id"]: figure["count"] for figure in report["figures"]}


def test_a_later_run_is_shown_against_the_kept_one(
    folder: Path, report: dict[str, object], capfd: pytest.CaptureFixture[str]
) -> None:
    result = call(capfd, *SHORT, "--seed", 2, "--compare", folder / "kept.json")
    assert result.status == 0
    assert f"Compared with the run of {report['made']}:" in result.out
    assert "The set-up differs: seed was 1, is 2." in " ".join(result.out.split())


@pytest.mark.parametrize(("limit", "status", "word"), [("0 us", 1, "MISSED"), ("1000 s", 0, "met")])
def test_a_budget_that_is_missed_ends_with_status_1(
    limit: str, status: int, word: str, capfd: pytest.CaptureFixture[str]
) -> None:
    result = call(capfd, *SHORT, "--budget", f"strike-to-first-note max <= {limit}")
    assert (result.status, result.err) == (status, "")
    assert f"{word}: strike-to-first-note max <= {limit}" in " ".join(result.out.split())


def test_a_budget_is_read_from_a_file_and_its_faults_say_where(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    budget = tmp_path / "budget.txt"
    budget.write_text("# ours\nbare-path max <= 100 s\nbare-path lost <= 0\n")
    result = call(capfd, *SHORT, "--json", "--budget", budget)
    assert [d["met"] for d in json.loads(result.out)["budget"]] == [True, True]
    budget.write_text("# ours\nbare-path max < 100 s\n")
    assert f"{budget}:2: 'bare-path max < 100 s' is no demand" in refused(
        capfd, 2, *SHORT, "--budget", budget
    )


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (("--path", "cable"), "needs --out PORT and --in PORT"),
        (("--path", "cable", "--in", "a", "--out", "b", "--load"), "--load belongs to"),
        (("--path", "in-process", "--in", "a"), "makes ports of its own"),
        (("--path", "in-process", "--sound"), "--sound belongs to --path keyboard"),
        (("--path", "elsewhere"), "invalid choice"),
        (("--strikes", "0"), "write a whole number from 1"),
        (("--seconds", "long"), "write seconds from 0.1"),
        (("--path", "cable", "--in", "a", "--out", "b", "--budget", "pass-through p50 <= 1 us"),
         "'pass-through' is not measured on this path"),
    ],
)  # fmt: skip
def test_wrong_use_is_refused_before_anything_is_measured(
    words: tuple[str, ...], fault: str, capfd: pytest.CaptureFixture[str]
) -> None:
    assert fault in refused(capfd, 2, "latency", *words)


def test_files_that_cannot_be_read_or_written_are_refused_before_the_run(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    missing = tmp_path / "no" / "file"
    for option in ("--keep", "--csv", "--compare", "--budget"):
        assert str(missing) in refused(capfd, 3, *SHORT, option, missing)
    odd = tmp_path / "odd.json"
    odd.write_bytes(b"\xff\xfe")
    assert "not a text" in refused(capfd, 1, *SHORT, "--compare", odd)
    odd.write_text('{"kind": "song"}')
    assert "no result that 'ripieno latency --keep' wrote" in refused(
        capfd, 1, *SHORT, "--compare", odd
    )


@pytest.mark.parametrize("path", ["midi", "cable", "keyboard"])
def test_a_path_that_the_machine_does_not_have_is_refused_with_status_3(
    path: str, tmp_path: Path
) -> None:
    ports = ("--in", "a", "--out", "b") if path == "cable" else ()
    done = run(tmp_path, "latency", "--path", path, *ports)
    if "answers" in done.stderr:
        pytest.skip("this machine has a MIDI system without hardware")
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.startswith("ripieno: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.jack
def test_an_engine_that_is_killed_ends_the_command_with_status_3(tmp_path: Path) -> None:
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    command = [sys.executable, "-m", "ripieno", "latency", "--path", "midi", "--strikes", "5000"]
    with running_server():
        started = subprocess.Popen(
            command, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        with started as program:
            port_named("engine-01:ripieno in")
            os.kill(engine_of(program.pid), signal.SIGKILL)
            out, err = program.communicate(timeout=PATIENCE_S)
    assert (program.returncode, out) == (3, "")
    assert err.startswith("ripieno: ")
    assert err.count("\n") == 1


def engine_of(pid: int) -> int:
    """The process number of a program's engine."""
    children = Path(f"/proc/{pid}/task/{pid}/children")
    if not children.exists():
        pytest.skip("only Linux lists a process's children")
    return next(
        int(child)
        for child in children.read_text().split()
        if "ripieno.engine.process" in Path(f"/proc/{child}/cmdline").read_text()
    )
