"""The configuration file and the command line together, and what a bad edit does."""

import os
from pathlib import Path

import pytest

from ripieno.configuration.model import Configuration, Control
from ripieno.errors import AuthorError
from ripieno.host.library import Library
from ripieno.host.wishes import Wishes
from ripieno.perform.press import Press, PressKind
from ripieno.style.model import Meter
from ripieno.wire.command import StepStyle

PEDAL = Control(Press(PressKind.CONTROLLER, 67), ("next",))


@pytest.fixture(autouse=True)
def _no_styles_of_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def wishes(folder: Path, text: str | None = None, **instead: object) -> Wishes:
    path = folder / "config.yaml"
    if text is not None:
        path.write_text(text)
    return Wishes(path, instead, Library())


def test_the_first_run_writes_the_file_and_plays_with_the_defaults(tmp_path: Path) -> None:
    found = wishes(tmp_path / "new")
    assert found.configuration == Configuration()
    assert (tmp_path / "new" / "config.yaml").read_text().count("#") > 10
    assert found.faults == []
    assert found.chosen.style.id == Configuration().style


def test_the_command_line_goes_before_the_file(tmp_path: Path) -> None:
    found = wishes(tmp_path, "tempo: 60\nstyle: waltz\ninput: keys\n", tempo=100.0, output="piano")
    assert (found.chosen.settings.bpm, found.chosen.style.id) == (100.0, "waltz")
    assert found.chosen.settings.meter == Meter(3, 4)
    assert (found.rig.input, found.rig.output) == ("keys", "piano")


@pytest.mark.parametrize(
    ("text", "said"),
    [("tempo: 9", ":1:8: "), ("stile: waltz", "did you mean 'style'"), ("style: polka", "polka")],
)
def test_a_file_with_a_fault_plays_with_the_defaults_and_says_so(
    tmp_path: Path, text: str, said: str
) -> None:
    found = wishes(tmp_path, text)
    assert found.chosen.style.id == Configuration().style
    assert said in found.faults[0]
    assert "stand" in found.faults[0]


def test_a_folder_that_may_not_be_entered_is_played_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who may enter any, as root, meets the same with a name that is too long for a file."""
    folder = tmp_path / ("closed" if os.geteuid() else "x" * 300)
    if os.geteuid():
        folder.mkdir(mode=0)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))
    found = wishes(folder / "ripieno")
    assert found.chosen.style.id == Configuration().style
    assert all(str(folder) in fault for fault in found.faults)
    assert len(found.faults) == 2


def test_a_style_of_the_command_line_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AuthorError, match="there is no style 'polka'"):
        wishes(tmp_path, "", style="polka")


def test_an_edit_is_taken_over_for_what_it_changes_and_nothing_else(tmp_path: Path) -> None:
    found = wishes(tmp_path, "tempo: 60\ntranspose: 1\n")
    assert not found.has_changed()
    (tmp_path / "config.yaml").write_text("tempo: 60\ntranspose: -2\nstyle: waltz\n")
    assert found.has_changed()
    names = found.read_again()
    assert names == {"transpose", "style"}
    chosen = found.chosen_with(names, found.chosen)
    assert (chosen.settings.transpose, chosen.style.id) == (-2, "waltz")
    assert chosen.settings.meter == Meter(4, 4)


@pytest.mark.parametrize("text", ["tempo: fast", "style: polka", "x", "tempo: [", "\0"])
def test_a_bad_edit_changes_nothing(tmp_path: Path, text: str) -> None:
    found = wishes(tmp_path, "tempo: 60\n")
    (tmp_path / "config.yaml").write_text(text)
    with pytest.raises(AuthorError):
        found.read_again()
    assert found.configuration.tempo == 60


def test_what_is_learnt_is_written_and_is_all_that_has_changed(tmp_path: Path) -> None:
    found = wishes(tmp_path, "# mine\ntempo: 60  # slow\n")
    found.keep(PEDAL)
    text = (tmp_path / "config.yaml").read_text()
    assert text.startswith("# mine\ntempo: 60  # slow\n")
    assert "controller 67 on channel 1" in text
    assert found.has_changed()
    assert found.read_again() == {"controls"}
    assert found.configuration.controls == (PEDAL,)
    found.drop(StepStyle(1))
    assert found.read_again() == {"controls"}
    assert wishes(tmp_path).configuration == found.configuration == Configuration(tempo=60.0)


def test_an_edit_just_before_something_is_learnt_is_taken_over_too(tmp_path: Path) -> None:
    found = wishes(tmp_path, "tempo: 60\n")
    other = "controls:\n- {press: note 36 on channel 10, do: tap}\n"
    (tmp_path / "config.yaml").write_text(f"tempo: 61\n{other}")
    found.keep(PEDAL)
    assert found.has_changed()
    assert found.read_again() == {"tempo", "controls"}
    assert found.configuration.tempo == 61
    assert len(found.configuration.controls) == 2
