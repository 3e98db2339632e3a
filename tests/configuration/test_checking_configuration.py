"""`ripieno check` of configuration files beside styles."""

import json
from pathlib import Path

import pytest

from ripieno.cli.entry import main
from ripieno.configuration.default import default_text
from ripieno.configuration.document import schema_text
from ripieno.style.document import schema_text as style_schema_text

STYLE = """\
name: Chords
use: Rehearsals.
suits: [studio]
hands: {right: {tones: [root, third, fifth], around: 60}}
figures: [{meters: [4/4], right: {every: 1/4, steps: [all]}}]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "config.yaml").write_text(default_text())
    (tmp_path / "gig.yaml").write_text("style: waltz\ncontrols: [{press: x, do: tap}]\n")
    (tmp_path / "chords.yaml").write_text(STYLE)
    return tmp_path


@pytest.mark.usefixtures("folder")
def test_a_file_is_a_configuration_by_its_name_or_by_what_is_said(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", "config.yaml", "chords.yaml"]) == 0
    assert capsys.readouterr().out == (
        "config.yaml: good: style smooth-chords, controls: 0\nchords.yaml: good: Chords (4/4)\n"
    )
    assert main(["check", "--as", "configuration", "gig.yaml"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("gig.yaml:2:20: found 'x'; expected controller 0 to 119")
    assert err.count("\n") == 1


@pytest.mark.usefixtures("folder")
def test_what_is_said_goes_before_the_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--as", "style", "config.yaml"]) == 1
    assert "'name' is missing in a style" in capsys.readouterr().err
    assert main(["check", "--as", "configuration", "chords.yaml"]) == 1
    assert "'figures' is no key in a configuration" in capsys.readouterr().err


@pytest.mark.usefixtures("folder")
def test_a_folder_may_hold_both_kinds(capsys: pytest.CaptureFixture[str]) -> None:
    Path("gig.yaml").unlink()
    assert main(["check", "."]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2


@pytest.mark.usefixtures("folder")
def test_the_faults_of_a_configuration_have_their_places_in_json(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("config.yaml").write_text("tempo: 900\n\nholt: true\n")
    assert main(["check", "--json", "config.yaml"]) == 1
    (report,) = json.loads(capsys.readouterr().out)
    assert (report["file"], report["good"]) == ("config.yaml", False)
    assert [(f["line"], f["column"]) for f in report["faults"]] == [(1, 8), (3, 1)]


def test_each_kind_has_its_schema(capsys: pytest.CaptureFixture[str]) -> None:
    for words, schema in (
        ([], style_schema_text()),
        (["--as", "style"], style_schema_text()),
        (["--as", "configuration"], schema_text()),
    ):
        assert main(["check", "--schema", *words]) == 0
        assert capsys.readouterr().out == schema
