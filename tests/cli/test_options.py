"""What the shared options mean, and what they refuse."""

import argparse
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from rig import STYLES, Rig
from ripieno.cli.options import (
    add_beginning,
    add_music,
    add_ports,
    chosen_style,
    instead,
    settings,
)
from ripieno.errors import AuthorError
from ripieno.perform.settings import Follow, ReadKeys, Settings, Start
from ripieno.style.model import Meter
from ripieno.style.shipped import user_styles_folder
from ripieno.theory.key import key_named


class Parser(argparse.ArgumentParser):
    def error(self, message: str) -> None:
        raise ValueError(message)


@pytest.fixture(autouse=True)
def no_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))


def parsed(*words: str, style: str | None = "waltz") -> argparse.Namespace:
    parser = Parser()
    add_music(parser, style=style)
    add_ports(parser, listens=True)
    add_beginning(parser)
    return parser.parse_args(words)


def chosen(*words: str, bpm: float = 77.0, meter: Meter | None = None) -> Settings:
    args = parsed(*words)
    return settings(args, chosen_style(args), bpm, meter)


def test_what_nobody_says_is_the_callers_tempo_and_the_styles_meter() -> None:
    assert chosen() == Settings(bpm=77.0, meter=Meter(3, 4))
    assert chosen(meter=Meter(9, 8)).meter == Meter(9, 8)


# The words, and the one setting that they change.
SAID = [
    (["-t", "123.4"], {"bpm": 123.4}),
    (["--tempo", "20"], {"bpm": 20}),
    (["-m", "6/8"], {"meter": Meter(6, 8)}),
    (["--swing", "2"], {"swing": Fraction(2)}),
    (["--swing", "1.667"], {"swing": Fraction(1667, 1000)}),
    (["--swing", "by-tempo"], {"swing": None}),
    (["--follow", "clock"], {"follow": Follow.CLOCK}),
    (["--follow", "hands"], {"follow": Follow.HANDS}),
    (["--lean", "0"], {"lean": 0}),
    (["--lean", "100"], {"lean": 100}),
    (["--pickup", "31"], {"pickup": 31}),
    (["-k", "E minor"], {"key": key_named("Em")}),
    (["--reading", "from-key"], {"reading": ReadKeys.FROM_KEY}),
    (["--split", "C4"], {"split": 60}),
    (["--split", "48"], {"split": 48}),
    (["--no-hold"], {"hold": False}),
    (["--hold"], {"hold": True}),
    (["--span", "ninth"], {"span": 14}),
    (["--span", "tenth"], {"span": 16}),
    (["--channel", "16"], {"channel": 15}),
    (["--channel", "1"], {"channel": 0}),
    (["--seed", "0"], {"seed": 0}),
    (["--seed", str(2**53)], {"seed": 2**53}),
]


@pytest.mark.parametrize(("words", "change"), SAID, ids=lambda v: str(v))
def test_each_option_changes_its_own_setting_and_no_other(words: list[str], change: dict) -> None:
    # Spans in semitones: octave 12, ninth 14, tenth 16 (major intervals).
    assert chosen(*words) == Settings(**({"bpm": 77.0, "meter": Meter(3, 4)} | change))


def test_what_is_said_stands_instead_of_a_configuration_and_nothing_else_does() -> None:
    said = parsed("--swing", "by-tempo", "--follow", "hands", "--lean", "0", "--pickup", "0")
    for name in vars(said).keys() - {"swing", "follow", "lean", "pickup"}:
        setattr(said, name, None)
    said.sound = False
    assert instead(said) == {"swing": None, "follow": Follow.HANDS, "lean": 0, "pickup": 0}
    said.swing = said.follow = said.lean = said.pickup = None
    assert instead(said) == {}
    said.start, said.send_clock = "downbeat", False
    assert instead(said) == {"start": Start.DOWNBEAT, "send_clock": False}


REFUSED = [
    ("-t", "19.99"), ("-t", "400.1"), ("-t", "inf"), ("-t", "nan"), ("-t", "fast"), ("-t", ""),
    ("-m", "4"), ("-m", "0/4"), ("-m", "4/3"), ("-m", "33/4"), ("--swing", "0.9"),
    ("--swing", "3.6"), ("--swing", "tempo"), ("--follow", "me"), ("--lean", "101"),
    ("--lean", "-1"), ("--lean", "0.5"), ("--pickup", "32"), ("--pickup", "-1"),
    ("-k", "H major"), ("--reading", "aloud"), ("--split", "C10"),
    ("--split", "x"), ("--span", "11"), ("--channel", "17"), ("--channel", "0"),
    ("--channel", "9" * 5000), ("--channel", "1.5"), ("--seed", "-1"), ("--seed", "1e3"),
    ("--seed", str(2**53 + 1)), ("--seed", "9" * 5000),
]  # fmt: skip


@pytest.mark.parametrize(("option", "value"), REFUSED, ids=lambda v: v[:12])
def test_what_an_option_cannot_be_is_refused_and_named(option: str, value: str) -> None:
    with pytest.raises(ValueError, match=f"argument ([-/a-z]*){option}.*") as refusal:
        parsed(f"{option}={value}" if option.startswith("--") else f"{option}{value}")
    assert "\n" not in str(refusal.value)
    with pytest.raises(ValueError, match="required: -s/--style"):
        parsed(style=None)


# 4/4 where the style has it, else its first meter.
@pytest.mark.parametrize(
    ("style", "meter"),
    [("steady-quarters", Meter(4, 4)), ("march", Meter(4, 4)), ("waltz", Meter(3, 4)),
     ("rocking-six", Meter(6, 8))],
)  # fmt: skip
def test_a_style_has_a_meter_of_its_own(style: str, meter: Meter) -> None:
    assert Rig(style).style.own_meter == meter
    assert Rig(style).style.foreign_to(meter) is None


def test_common_time_is_a_styles_meter_wherever_it_stands() -> None:
    march = Rig("march").style
    for figures in (march.figures, march.figures[::-1]):
        assert replace(march, figures=figures).own_meter == Meter(4, 4)
    assert replace(march, figures=march.figures[1:]).own_meter == march.figures[1].meters[0]


def test_a_foreign_meter_is_said_with_what_is_played_instead() -> None:
    said = Rig("waltz").style.foreign_to(Meter(7, 8))
    assert said == "style 'waltz' has no figure for 7/8: its figure for 3/4 runs on"


def test_a_users_style_hides_the_shipped_one_of_the_same_id() -> None:
    user_styles_folder().mkdir(parents=True)
    text = (STYLES / "waltz.yaml").read_text().replace("name: Waltz", "name: My own")
    (user_styles_folder() / "waltz.yaml").write_text(text)
    assert chosen_style(parsed("-s", "waltz")).name == "My own"
    assert chosen_style(parsed("-s", str(STYLES / "waltz.yaml"))).name == "Waltz"


def test_an_unknown_style_is_refused_with_what_was_probably_meant() -> None:
    with pytest.raises(AuthorError, match="there is no style 'marhc'; did you mean march"):
        chosen_style(parsed("-s", "marhc"))


def test_ports_are_chosen_by_name_or_left_to_the_program() -> None:
    args = parsed("--in", "Keys", "--out", "virtual", "--sound")
    assert (args.input, args.output, args.sound) == ("Keys", "virtual", True)
    args = parsed()
    assert (args.input, args.output, args.sound) == (None, None, False)
