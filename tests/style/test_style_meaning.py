"""What is refused though its form is right: the rules of `style.model`, held at the door."""

import pytest
from style_texts import FREE, SHORTEST, TRIPLETS, changed, faults_of

from ripieno.style.load import load_style

LEFT = "steps: [bottom]"
RIGHT = "steps: [top, bottom, middle]"
LEFT_TONES = "tones: [root, octave]"
RIGHT_TONES = "tones: [root, third, fifth]"

# Each row: what stands in TRIPLETS, what is put there, and where and how the fault is told.
FAULTS = [
    (LEFT, "steps: [fifth]", "16:15: 'fifth' is not in the left hand's tones (root, octave)"),
    (LEFT, "steps: [{play: fifth}]", "16:22: 'fifth' is not in the left hand's tones"),
    (LEFT, "steps: [[root, fifth]]", "16:22: 'fifth' is not in the left hand's tones"),
    (LEFT, "steps: [{play: [1, ninth]}]", "16:26: 'ninth' is not in the left hand's tones"),
    (LEFT, "steps: [3]", "16:15: the left hand's shape has 2 notes, so that there is no 3"),
    (LEFT, "steps: [middle]", "16:15: the left hand's shape has 2 notes, and none is the middle"),
    (LEFT, "steps: [[1, 1]]", "16:19: '1' stands here twice"),
    (RIGHT, "steps: [4, 1, 2]", "19:15: the right hand's shape has 3 notes, so that there is no 4"),
    (LEFT_TONES, "tones: [octave, root]", "6:13: 'octave' doubles the lowest tone"),
    (LEFT_TONES, "tones: [octave]", "6:13: 'octave' doubles the lowest tone"),
    (LEFT_TONES, "tones: [root, [sixth, octave], fifth]", "6:19: 'octave' doubles the lowest"),
    (LEFT_TONES, "tones: [root, root]", "6:19: 'root' is in the shape already"),
    (LEFT_TONES, "tones: [root, sixth]", "6:19: not every chord has 'sixth'"),
    (LEFT_TONES, "tones: [root, [ninth, seventh]]", "6:19: not every chord has 'seventh'"),
    (LEFT_TONES, "tones: [root, [ninth, ninth, octave]]", "6:27: 'ninth' stands here twice"),
    (LEFT_TONES, "tones: [root, [fifth, octave]]", "6:20: every chord has 'fifth', so that 'oct"),
    ("inversion: second", "inversion: third", "10:16: the third inversion needs 4 tones"),
    (LEFT_TONES, LEFT_TONES + "\n    inversion: second", "7:16: the second inversion needs 3"),
    (LEFT_TONES, LEFT_TONES + "\n    inversion: first", "7:16: the first inversion needs 2 tones"),
    (
        "every: 1/4",
        "every: 1/7",
        "15:14: 'every: 1/7' does not divide a bar of 3/4; use 1/4, 3/16, 1/8, 1/12",
    ),
    ("every: 1/4", "every: 1/2", "15:14: 'every: 1/2' does not divide a bar of 3/4; use"),
    (
        LEFT,
        "steps: [1, 2]",
        "16:14: 2 steps of 1/4 neither divide a bar of 3/4 nor fill whole bars; "
        "expected 1 or 3 steps",
    ),
    (RIGHT, "steps: [1, rest, rest, rest, 2]", "19:14: 5 steps of 1/12 neither divide a bar"),
    (LEFT, "repeats: false\n      " + LEFT, "16:16: a lane that begins with the bar goes round"),
    (LEFT, "steps: [hold]", "16:15: 'hold' stands first in the cycle"),
    (RIGHT, "steps: [rest, hold, 1]", "19:21: 'hold' stands after a rest"),
    (RIGHT, "steps: [1, rest, hold]", "19:24: 'hold' stands after a rest"),
    (LEFT, "steps: [{play: 1, lasts: 2}]", "16:32: a step that lasts 2 steps meets itself"),
    (RIGHT, "steps: [1, {play: 2, lasts: 3}, hold]", "19:35: a step that lasts 4 steps meets its"),
    ("[4/4, 3/4]", "[4/4, 3/4, 4/4]", "13:24: 4/4 is named before, in figure 1"),
    ("    left:\n      every: 1/4\n      " + LEFT + "\n", "", "5:3: no figure uses the left hand"),
    (
        "  left:\n    tones: [root, octave]\n    around: C3\n",
        "",
        "11:5: the left hand plays here and has no shape",
    ),
    (LEFT_TONES, "tones: [root, third]", "20:1: a suspension resolves into one third, and the han"),
    (RIGHT_TONES, "tones: [root, seventh, fifth]", "9:19: not every chord has 'seventh'"),
    ("[root, third, fifth]", "[root, ninth, third]", "9:19: not every chord has 'ninth'"),
]


@pytest.mark.parametrize(("old", "new", "fault"), FAULTS)
def test_what_makes_no_sense_is_told_where_it_stands(tmp_path, old, new, fault):
    faults = faults_of(tmp_path, changed(old, new))
    assert [line for line in faults if line.startswith(fault)], faults


def test_one_slip_is_told_once(tmp_path):
    told = [
        (LEFT, "steps: [fifth]"),
        (LEFT, "steps: [middle]"),
        (LEFT_TONES, "tones: [root, sixth]"),
        ("inversion: second", "inversion: third"),
        ("every: 1/4", "every: 1/7"),
        (LEFT, "steps: [hold]"),
        ("[4/4, 3/4]", "[4/4, 3/4, 4/4]"),
        (LEFT_TONES, "tones: [root, third]"),
    ]
    for old, new in told:
        assert len(faults_of(tmp_path, changed(old, new))) == 1, new


@pytest.mark.parametrize(
    ("tones", "found"),
    [
        ("[root, fifth, octave]", "0 tones"),
        ("[third, [seventh, third]]", "2 tones"),
        ("[root, [seventh, third]]", "only an alternative"),
    ],
)
def test_a_suspension_without_its_one_third_is_refused(tmp_path, tones, found):
    suspended = changed("tones: [root, third, fifth]", f"tones: {tones}", SHORTEST)
    faults = faults_of(tmp_path, suspended + "suspend: {tone: second, lasts: 1/4}\n")
    assert len(faults) == 1
    assert faults[0].startswith("9:1: a suspension resolves into one third")
    assert found in faults[0]


def test_the_same_meter_in_two_figures_is_refused_at_the_second(tmp_path):
    faults = faults_of(tmp_path, changed("[6/8]", "[6/8, 4/4]", FREE))
    assert faults == [
        "14:19: 4/4 is named before, in figure 1; expected each meter once; take one out"
    ]


def test_a_figure_in_which_no_hand_plays_is_refused(tmp_path):
    faults = faults_of(tmp_path, SHORTEST + "  - meters: [3/4]\n")
    assert faults == ["9:5: no hand plays in this figure; add `left:` or `right:` to it"]


@pytest.mark.parametrize("play", ["middle", "upper", "2"])
def test_a_shape_of_one_note_has_only_that(tmp_path, play):
    text = changed("[root, third, fifth]", "[root]", SHORTEST)
    assert len(faults_of(tmp_path, changed("[all]", f"[{play}]", text))) == 1


# What lies just inside each rule.
ACCEPTED = [
    (LEFT, "steps: [bottom, hold, hold]"),  # a bar of 3/4; 4/4 is taken out below
    (LEFT, "steps: [1, hold, hold, 2, hold, hold]"),  # two bars
    (RIGHT, "steps: [1, {play: 2, lasts: 2}, hold]"),
    (RIGHT, "begins: strike\n      steps: [1, 2, 3, 1, 2]"),
    (RIGHT, "begins: strike\n      repeats: false\n      steps: [{play: all, lasts: 9}]"),
    (LEFT_TONES, "tones: [root, [seventh, sixth, octave]]"),
    (RIGHT_TONES, "tones: [third, fifth, [seventh, root], octave]\n    # middle: not now"),
]


@pytest.mark.parametrize(("old", "new"), ACCEPTED)
def test_what_lies_just_inside_the_rules_is_accepted(tmp_path, old, new):
    text = TRIPLETS.replace("[4/4, 3/4]", "[3/4]").replace(old, new)
    if "octave]\n    #" in new:
        text = text.replace("middle]", "3]")
    path = tmp_path / "style.yaml"
    path.write_text(text)
    assert load_style(path).id == "style"


def test_a_suggested_note_value_divides_the_bar_it_is_suggested_for(tmp_path):
    for meter in ("4/4", "3/4", "6/8", "7/8", "5/16", "1/2"):
        text = changed("[4/4, 3/4]", f"[{meter}]").replace("every: 1/4", "every: 5/7")
        message = next(line for line in faults_of(tmp_path, text) if "5/7" in line)
        for value in message.split("use ")[1].split(", "):
            better = text.replace("every: 5/7", f"every: {value}")
            path = tmp_path / "better.yaml"
            path.write_text(better.replace("every: 1/12", f"every: {value}").replace(RIGHT, LEFT))
            load_style(path)
