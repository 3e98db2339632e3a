"""`ripieno styles`: the list, and the account of one."""

import argparse
import json
from fractions import Fraction

import pytest

from ripieno.cli import styles
from ripieno.errors import AuthorError
from ripieno.style.account import account, grid_in_words
from ripieno.style.load import style_from_data
from ripieno.style.shipped import shipped_styles, user_styles_folder

DATA = {
    "name": "Mine",
    "use": "Trying out.",
    "suits": ["learner"],
    "hands": {
        "left": {"tones": ["root", ["seventh", "octave"]], "around": "C3"},
        "right": {"tones": ["root", "third", "fifth"], "inversion": "second", "around": "E5"},
    },
    "figures": [
        {
            "meters": ["4/4", "2/4"],
            "left": {"every": "1/4", "begins": "strike", "repeats": False, "steps": ["all"]},
            "right": {
                "every": "1/12",
                "length": 0.75,
                "roll": 20,
                "steps": [{"play": "top", "accent": 5}, ["bottom", 2], "rest", 3, "hold", "rest"],
            },
        },
        {"meters": ["6/8"], "right": {"every": "1/8", "steps": [{"play": 1, "lasts": 3}, 2, 3]}},
    ],
    "suspend": {"tone": "fourth", "lasts": "1/2"},
    "touch": {"left": -8, "unevenness": 3},
    "swing": "eighths",
}


@pytest.fixture
def command(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    user_styles_folder().mkdir(parents=True)
    parser = argparse.ArgumentParser()
    styles.add_parser(parser.add_subparsers())

    def call(*words):
        args = parser.parse_args(["styles", *words])
        return args.run(args)

    return call


def _add(name, text):
    (user_styles_folder() / name).write_text(text)


def test_the_list_has_one_aligned_line_a_style(command, capsys):
    _add("mine.yaml", json.dumps(DATA))
    assert command() == 0
    head, *rows = capsys.readouterr().out.splitlines()
    assert len(rows) == len(shipped_styles()) + 1
    column = head.index("METERS")
    assert all(row[column - 2 : column] == "  " for row in rows)
    assert all(row[column] != " " for row in rows)
    mine = next(row for row in rows if row.startswith("mine "))
    assert mine.split() == ["mine", "4/4", "2/4", "6/8", "learner", "Trying", "out."]


def test_json_is_a_list_of_objects(command, capsys):
    _add("mine.yaml", json.dumps(DATA))
    assert command("--json") == 0
    objects = json.loads(capsys.readouterr().out)
    assert len(objects) == len(shipped_styles()) + 1
    mine = next(o for o in objects if o["id"] == "mine")
    assert mine == {
        "id": "mine",
        "name": "Mine",
        "use": "Trying out.",
        "suits": ["learner"],
        "meters": ["4/4", "2/4", "6/8"],
        "file": str(user_styles_folder() / "mine.yaml"),
    }
    assert command("mine", "--json") == 0
    assert json.loads(capsys.readouterr().out) == [mine]


def test_a_style_that_does_not_load_hides_no_other_and_is_told(command, capsys):
    _add("broken.yaml", "name: [")
    assert command() == 1
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == len(shipped_styles()) + 1
    assert "broken.yaml:1:8:" in err or "broken.yaml:2:1:" in err


def test_an_unknown_style_is_refused(command):
    with pytest.raises(AuthorError, match="there is no style"):
        command("no-such-style")


def test_the_account_says_what_each_hand_does(command, capsys):
    _add("mine.yaml", json.dumps(DATA))
    assert command("mine") == 0
    assert (
        capsys.readouterr().out
        == """\
Mine (mine)
Trying out.
Suits: learner

Left hand: root, seventh or else octave; in root position, around C3
Right hand: root, third, fifth; in second inversion, around E5

In 4/4, 2/4
  left: quarters, begun anew by each chord, played once and held
    all
  right: triplet eighths, 12 or 6 to the bar, each down for 3/4 of its time, \
rolled upward 20 ms apart
    top +5, bottom with note 2, rest, note 3, held, rest

In 6/8
  left: silent
  right: eighths, 6 to the bar
    note 1 (down for 3 steps), note 2, note 3

Suspension: the fourth for 1/2 of a whole note, then down to the third
Pedal: changed with each chord
Touch: left hand -8, uneven by up to 3
Swing: pairs of eighths, when swing is asked for
"""
    )


def test_what_a_style_leaves_alone_is_said_or_left_out():
    quiet = {k: v for k, v in DATA.items() if k not in ("suspend", "touch", "swing")}
    text = account(style_from_data(quiet | {"pedal": "none"}, "quiet"))
    assert text.endswith("\nPedal: left alone\nTouch: as played")
    assert "Suspension" not in text


def test_meters_of_one_length_are_counted_once_and_a_step_outlasts_its_cycle_in_words():
    lane = {"every": "1/8", "steps": ["all"]}
    last = {"every": "1/4", "begins": "strike", "repeats": False}
    figures = [
        {"meters": ["3/4", "6/8"], "left": lane},
        {"meters": ["4/4"], "right": last | {"steps": [{"play": "top", "lasts": 4}, "rest"]}},
    ]
    quiet = {key: DATA[key] for key in ("name", "use", "suits", "hands")}
    text = account(style_from_data(quiet | {"figures": figures}, "quiet"))
    assert "eighths, 6 to the bar" in text
    assert "top (down for 4 steps), held" in text


# Note values as fractions of a whole note: common practice; a triplet puts three in the time
# of two, a dot adds half.
@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("1/1", "whole notes"),
        ("1/2", "halves"),
        ("1/4", "quarters"),
        ("1/16", "sixteenths"),
        ("3/4", "dotted halves"),
        ("3/8", "dotted quarters"),
        ("3/16", "dotted eighths"),
        ("1/6", "triplet quarters"),
        ("1/12", "triplet eighths"),
        ("1/24", "triplet sixteenths"),
        ("1/20", "notes of 1/20 of a whole note"),
        ("2/1", "notes of 2/1 of a whole note"),
    ],
)
def test_a_grid_is_named_as_musicians_name_it(value, words):
    assert grid_in_words(Fraction(value) * 4) == words
