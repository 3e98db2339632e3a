"""What both hands do, played ahead: the shipped figures against what they are known for."""

from fractions import Fraction

import pytest

from rig import STYLE_IDS, Rig
from ripieno.host.catalog import entries
from ripieno.host.figures import C_MAJOR, MOST_BARS, figure, notes_a_bar
from ripieno.host.library import Library
from ripieno.perform.chosen import Chosen
from ripieno.perform.settings import Settings
from ripieno.style.model import Meter
from ripieno.style.shipped import user_styles_folder
from ripieno.theory.hand import Side


def chosen(style: str, **settings: object) -> Chosen:
    return Chosen(Settings(**settings), Rig(style).style)


def test_an_alberti_bass_is_low_high_middle_high() -> None:
    """Low, high, middle, high: any handbook of piano texture; Mozart K. 545 begins with it."""
    _, shown = figure(chosen("alberti", bpm=133.7), C_MAJOR)
    left = [step.notes[0] for step in shown if step.side is Side.LEFT][:4]
    low, high, middle, again = left
    assert low < middle < high == again


def test_a_waltz_steps_off_and_two_chords_follow() -> None:
    """Bass on one, chords on two and three: common practice, no source."""
    length, shown = figure(chosen("waltz", meter=Meter(3, 4)), C_MAJOR)
    assert length % 3 == 0
    bar = [(step.at_quarters, step.side, len(step.notes)) for step in shown if step.at_quarters < 3]
    assert [(at, side) for at, side, _ in bar] == [
        (Fraction(0), Side.LEFT), (Fraction(1), Side.RIGHT), (Fraction(2), Side.RIGHT)
    ]  # fmt: skip
    assert bar[1][2] > bar[0][2]


@pytest.mark.parametrize("style", STYLE_IDS)
def test_each_figure_is_whole_bars_and_all_its_notes_lie_in_it(style: str) -> None:
    known = Rig(style).style
    settings = Settings(meter=known.own_meter)
    length, shown = figure(Chosen(settings, known), C_MAJOR)
    bars = length / settings.meter.bar_quarters
    assert bars.denominator == 1
    assert 1 <= bars <= MOST_BARS
    assert shown
    for step in shown:
        assert 0 <= step.at_quarters < length
        assert 0 < step.lasts_quarters <= length - step.at_quarters
        assert {note % 12 for note in step.notes} <= {0, 2, 4, 5, 7}
    assert [step.at_quarters for step in shown] == sorted(step.at_quarters for step in shown)


def test_a_dense_style_strikes_more_notes_a_bar_than_a_calm_one() -> None:
    densities = [notes_a_bar(chosen(s)) for s in ("wide-pad", "steady-quarters", "prelude")]
    assert densities == sorted(densities)
    assert densities[0] < densities[1] < densities[2]


def test_the_catalog_has_every_style_and_a_faulty_one_with_its_faults(
    monkeypatch: pytest.MonkeyPatch, tmp_path
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    user_styles_folder().mkdir(parents=True)
    (user_styles_folder() / "mine.yaml").write_text("name: 3\n")
    found = {entry["id"]: entry for entry in entries(Library())}
    assert sorted(found) == sorted([*STYLE_IDS, "mine"])
    assert found["mine"]["own"]
    assert any("mine.yaml:1:7: found 3" in line for line in found["mine"]["faults"])
    assert not found["waltz"]["own"]
    assert found["waltz"]["meters"] == ["3/4", "3/8"]
    assert found["waltz"]["account"]
    assert found["bass-alone"]["hands"] == "left"
    [one] = entries(Library(), "waltz")
    assert one == found["waltz"]
