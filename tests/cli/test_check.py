"""`ripieno check`: the faults of files, an exit status for scripts."""

import argparse
import json

import pytest

from ripieno.cli import check
from ripieno.errors import UsageError
from ripieno.style.document import schema_text

GOOD = """\
name: Chords
use: Rehearsals.
suits: [studio]
hands:
  right: {tones: [root, third, fifth], around: 60}
figures:
  - meters: [4/4, 3/4]
    right: {every: 1/4, steps: [all]}
"""
BAD = GOOD.replace("every: 1/4", "every: 1/7").replace("around", "arund")


@pytest.fixture
def command():
    parser = argparse.ArgumentParser()
    check.add_parser(parser.add_subparsers())

    def call(*words):
        args = parser.parse_args(["check", *map(str, words)])
        return args.run(args)

    return call


@pytest.fixture
def good(tmp_path):
    path = tmp_path / "good.yaml"
    path.write_text(GOOD)
    return path


@pytest.fixture
def bad(tmp_path):
    path = tmp_path / "bad.yaml"
    path.write_text(BAD)
    return path


def test_a_good_file_gets_a_short_line_and_status_0(command, good, capsys):
    assert command(good) == 0
    out, err = capsys.readouterr()
    assert out == f"{good}: good: Chords (4/4, 3/4)\n"
    assert err == ""


def test_every_fault_of_every_file_is_one_line_on_standard_error(command, good, bad, capsys):
    assert command(bad, good) == 1
    out, err = capsys.readouterr()
    places = [line.removeprefix(f"{bad}:").split(": ")[0] for line in err.splitlines()]
    assert places == ["5:3", "5:40", "8:20"]
    assert out == f"{good}: good: Chords (4/4, 3/4)\n"


def test_a_folder_stands_for_the_yaml_files_in_it(command, good, bad, capsys):
    (good.parent / "notes.txt").write_text("no style")
    assert command(good.parent) == 1
    out, err = capsys.readouterr()
    assert str(good) in out
    assert str(bad) in err
    assert "notes.txt" not in out + err


def test_files_and_folders_without_a_style_are_told(command, tmp_path, capsys):
    (tmp_path / "empty").mkdir()
    assert command(tmp_path / "none.yaml", tmp_path / "empty", "x" * 5000) == 1
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 3
    assert lines[0] == f"{tmp_path / 'none.yaml'}: there is no such file; check its name"
    assert "no *.yaml" in lines[1]


@pytest.mark.parametrize(
    "data", [b"", b"\x00\xff", b"name: &a [*a]", b"[" * 10_000, b"a: 1\na: 2", b"- \t- x: {"]
)
def test_a_spoiled_file_gets_lines_with_its_place_and_status_1(command, tmp_path, capsys, data):
    path = tmp_path / "spoiled.yaml"
    path.write_bytes(data)
    assert command(path) == 1
    out, err = capsys.readouterr()
    assert out == ""
    for line in err.splitlines():
        row, column, *_ = line.removeprefix(f"{path}:").split(":")
        assert int(row) >= 1
        assert int(column) >= 1


def test_json_is_a_list_with_one_object_a_file(command, good, bad, capsys):
    assert command("--json", good, bad) == 1
    out, err = capsys.readouterr()
    assert err == ""
    first, second = json.loads(out)
    assert (first["file"], first["good"], first["faults"]) == (str(good), True, [])
    assert (second["file"], second["good"]) == (str(bad), False)
    assert [(f["line"], f["column"]) for f in second["faults"]] == [(5, 3), (5, 40), (8, 20)]
    assert second["lines"][0] == f"{bad}:5:3: {second['faults'][0]['message']}"


def test_the_schema_is_printed_as_it_is_shipped(command, capsys):
    assert command("--schema") == 0
    assert capsys.readouterr().out == schema_text()


def test_a_call_without_files_is_bad_usage(command):
    with pytest.raises(UsageError, match="no file"):
        command()
