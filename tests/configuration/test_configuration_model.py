"""What a configuration means for a performance, and what has changed between two."""

from dataclasses import fields, replace
from fractions import Fraction

import pytest

from ripieno.configuration.model import (
    MIB,
    Configuration,
    Control,
    Journals,
    changed,
    settings_for,
    swing_ratio,
)
from ripieno.perform.press import press_named
from ripieno.perform.settings import Follow, ReadKeys, Settings, Start
from ripieno.style.model import Meter
from ripieno.theory.key import key_named

IN_THREE = Meter(3, 4)

# Of each field another value, and what a performance then begins with besides the defaults.
OTHER = {
    "input": ("Keys", {}),
    "output": ("virtual", {}),
    "sound": (True, {}),
    "style": ("waltz", {}),
    "tempo": (104.5, {"bpm": 104.5}),
    "meter": (Meter(6, 8), {"meter": Meter(6, 8)}),
    "swing": (Fraction(3, 2), {"swing": Fraction(3, 2)}),
    "key": (key_named("Em"), {"key": key_named("Em")}),
    "hold": (False, {"hold": False}),
    "reading": (ReadKeys.FROM_KEY, {"reading": ReadKeys.FROM_KEY}),
    "split": (60, {"split": 60}),
    "transpose": (-5, {"transpose": -5}),
    "span": (16, {"span": 16}),
    "channel": (9, {"channel": 9}),
    "seed": (7, {"seed": 7}),
    "follow": (Follow.HANDS, {"follow": Follow.HANDS}),
    "lean": (80, {"lean": 80}),
    "start": (Start.DOWNBEAT, {"start": Start.DOWNBEAT}),
    "pickup": (1, {"pickup": 1}),
    "send_clock": (True, {"send_clock": True}),
    "journals": (Journals(keep=False), {}),
    "controls": ((Control(press_named("note 21 on channel 2"), ("tap",)),), {}),
}


def test_without_a_word_a_performance_begins_with_its_own_defaults_in_the_styles_meter() -> None:
    assert settings_for(Configuration(), Settings().meter) == Settings()
    assert settings_for(Configuration(), IN_THREE) == Settings(meter=IN_THREE)
    assert Configuration().journals == Journals(keep=True, most_bytes=500 * MIB)


@pytest.mark.parametrize("name", [field.name for field in fields(Configuration)])
def test_each_value_changes_its_own_setting_and_is_told_as_the_one_that_differs(name: str) -> None:
    value, begun = OTHER[name]
    before = Configuration()
    after = replace(before, **{name: value})
    assert settings_for(after, IN_THREE) == Settings(**({"meter": IN_THREE} | begun))
    assert changed(before, after) == {name: value}
    assert changed(after, before) == {name: getattr(before, name)}
    assert changed(after, after) == {}


def test_swing_by_the_tempo_is_a_change_of_swing() -> None:
    by_tempo = Configuration(swing=None)
    assert settings_for(by_tempo, IN_THREE) == Settings(meter=IN_THREE, swing=None)
    assert changed(Configuration(), by_tempo) == {"swing": None}


def test_all_that_differs_is_told_in_the_order_of_the_file() -> None:
    after = Configuration(seed=2, input="Keys", tempo=60.0)
    assert list(changed(Configuration(), after).items()) == [
        ("input", "Keys"),
        ("tempo", 60.0),
        ("seed", 2),
    ]


def test_a_ratio_with_few_decimals_is_met_exactly() -> None:
    assert swing_ratio(1.667) == Fraction(1667, 1000)
    assert swing_ratio(1.1) == Fraction(11, 10)
