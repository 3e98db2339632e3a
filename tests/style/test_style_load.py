"""Style files: what good ones become, and what spoiled ones say."""

import json
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from style_texts import FREE, SHORTEST, TRIPLETS, changed, faults_of

from ripieno.errors import AuthorError
from ripieno.style import yaml_marks
from ripieno.style.account import account
from ripieno.style.document import StyleForm
from ripieno.style.load import (
    MAX_BYTES,
    StyleError,
    load_style,
    style_from_data,
    style_to_data,
)
from ripieno.style.model import (
    Begin,
    Catch,
    Figure,
    Hand,
    Inversion,
    Lane,
    Meter,
    Pedal,
    Spot,
    Step,
    Style,
    Suspension,
    Swings,
    Tone,
    Touch,
)
from ripieno.style.yaml_file import MAX_FAULTS

GOOD = [TRIPLETS, SHORTEST, FREE]


def _load(folder, text):
    path = folder / "style.yaml"
    path.write_text(text, encoding="utf-8")
    return load_style(path)


# ---- what a good file becomes -------------------------------------------------------------


def test_a_style_file_becomes_the_style_it_describes(tmp_path):
    path = tmp_path / "triplets.yaml"
    path.write_text(TRIPLETS)
    assert load_style(path) == Style(
        id="triplets",
        name="Triplets over a bass",
        use="Slow songs that need motion.",
        suits=("gig", "learner"),
        left=Hand(((Tone.ROOT,), (Tone.OCTAVE,)), Inversion.ROOT, 48),
        right=Hand(((Tone.ROOT,), (Tone.THIRD,), (Tone.FIFTH,)), Inversion.SECOND, 76),
        figures=(
            Figure(
                (Meter(4, 4), Meter(3, 4)),
                Lane(Fraction(1), (Step((Spot.BOTTOM,)),)),
                Lane(
                    Fraction(1, 3),
                    (Step((Spot.TOP,)), Step((Spot.BOTTOM,)), Step((Spot.MIDDLE,))),
                ),
            ),
        ),
        suspension=Suspension(4, Fraction(2)),
        pedal=Pedal.NONE,
        touch=Touch(left=-8, top=6, unevenness=3),
        swings=Swings.EIGHTHS,
    )


def test_what_is_left_out_has_the_value_the_model_gives_it(tmp_path):
    style = _load(tmp_path, SHORTEST)
    lane = style.figures[0].right
    plain = Lane(Fraction(4), lane.steps)
    assert (style.left, style.figures[0].left, style.suspension) == (None, None, None)
    assert (style.pedal, style.touch, style.swings) == (Pedal.LEGATO, Touch(), Swings.NONE)
    assert (lane.length, lane.roll_ms) == (plain.length, plain.roll_ms)
    assert (lane.begins, lane.repeats) == (Begin.STRIKE, False)
    assert (plain.begins, plain.repeats) == (Begin.BAR, True)


def test_a_hold_keeps_its_place_empty_and_lengthens_the_step_before_it(tmp_path):
    steps = _load(tmp_path, FREE).figures[0].left.steps
    assert steps == (
        Step((Spot.BOTTOM, Tone.SEVENTH), lasts=3, accent=-3),
        Step(),
        Step(),
        Step((3,)),
        Step((Tone.ROOT, Spot.TOP), lasts=3),
        Step(),
        Step(),
        Step((Spot.UPPER,)),
    )


def test_lengths_are_exact_whether_written_as_numbers_or_as_fractions(tmp_path):
    figures = _load(tmp_path, FREE).figures
    assert [figure.left.length for figure in figures] == [Fraction(3, 4), Fraction(2, 3)]
    assert _load(tmp_path, changed("0.75", "0.1", FREE)).figures[0].left.length == Fraction(1, 10)


def test_suspensions_resolve_from_the_fourth_or_from_the_second(tmp_path):
    style = _load(tmp_path, changed("tone: fourth", "tone: second"))
    assert style.suspension == Suspension(2, Fraction(2))


@pytest.mark.parametrize("swing", list(Swings))
def test_every_swing_of_the_model_can_be_written(tmp_path, swing):
    style = _load(tmp_path, changed("swing: eighths", f"swing: {swing.name.lower()}"))
    assert style.swings is swing


@pytest.mark.parametrize(
    ("text", "catch"),
    [
        ("{late: 50, early: 12.5, part: 1/3}", Catch(50.0, 12.5, Fraction(1, 3))),
        ("{late: 0}", Catch(late_ms=0.0)),
        ("{part: 0.25}", Catch(part=Fraction(1, 4))),
        ("{}", Catch()),
    ],
)
def test_a_style_says_how_early_and_how_late_a_chord_may_come(tmp_path, text, catch):
    assert _load(tmp_path, f"{TRIPLETS}catch: {text}\n").catch == catch
    assert _load(tmp_path, TRIPLETS).catch == Catch(80.0, 60.0, Fraction(1, 2))


def test_an_account_tells_of_catching_only_where_the_style_does(tmp_path):
    told = account(_load(tmp_path, f"{TRIPLETS}catch: {{late: 50, part: 1/3}}\n")).splitlines()
    assert told[-1] == (
        "Catch: a chord up to 50 ms late or 60 ms early belongs to a step, within 1/3 of it"
    )
    assert told[:-1] == account(_load(tmp_path, TRIPLETS)).splitlines()


# Names and numbers of MIDI 1.0 with C4 = 60.
@pytest.mark.parametrize(("text", "note"), [("A0", 21), ("C8", 108), ("60", 60), ("Eb3", 51)])
def test_the_middle_of_a_hand_is_a_name_or_a_number(tmp_path, text, note):
    assert _load(tmp_path, changed("around: E5", f"around: {text}")).right.around == note


def test_a_byte_order_mark_and_windows_line_ends_are_read_past(tmp_path):
    path = tmp_path / "style.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + TRIPLETS.replace("\n", "\r\n").encode())
    assert load_style(path) == _load(tmp_path, TRIPLETS)


# ---- load, dump, load ---------------------------------------------------------------------

_plays = st.sampled_from([*(s.value for s in Spot if s is not Spot.MIDDLE), "root", "third", 1, 2])
_play_lists = st.lists(_plays, min_size=1, max_size=3, unique=True)
_steps = st.one_of(
    _plays,
    _play_lists,
    st.just("rest"),
    st.fixed_dictionaries(
        {"play": _plays | _play_lists},
        optional={"lasts": st.integers(1, 4), "accent": st.integers(-127, 127)},
    ),
)
_lanes = st.fixed_dictionaries(
    {
        "every": st.sampled_from(["1/4", "1/8", "1/12", "3/16", "5/7"]),
        "begins": st.just("strike"),
        "steps": st.lists(_steps, min_size=4, max_size=9).map(
            lambda steps: steps if steps[0] == "rest" else [steps[0], "hold", *steps[1:]]
        ),
    },
    optional={
        "repeats": st.booleans(),
        "length": st.sampled_from([1, 0.5, "2/3", 0.123456, 1e-2, "7/8"]),
        "roll": st.floats(0, 120) | st.integers(0, 120),
    },
)
_lasting = _lanes.filter(lambda lane: not (isinstance(lane["steps"][0], dict)))
_hands = st.fixed_dictionaries(
    {
        "tones": st.sampled_from(
            [
                ["root", "third"],
                ["root", "third", "fifth", "octave"],
                ["root", ["ninth", "sixth", "third"]],
            ]
        ),
        "around": st.integers(21, 108) | st.sampled_from(["C4", "bb3", "F#5"]),
    },
    optional={"inversion": st.sampled_from(["root", "first", "nearest"])},
)
_styles = st.fixed_dictionaries(
    {
        "name": st.text("abc é♯", min_size=1).filter(str.strip),
        "use": st.just("Always."),
        "suits": st.permutations(["gig", "learner", "studio"]),
        "hands": st.fixed_dictionaries({"left": _hands}),
        "figures": st.tuples(_lasting, _lasting).map(
            lambda lanes: [
                {"meters": ["4/4", "3/4"], "left": lanes[0]},
                {"meters": ["7/16"], "left": lanes[1]},
            ]
        ),
    },
    optional={
        "pedal": st.sampled_from(["legato", "none"]),
        "touch": st.fixed_dictionaries(
            {}, optional={"left": st.integers(-64, 64), "unevenness": st.integers(0, 20)}
        ),
        "swing": st.sampled_from(["none", "eighths", "sixteenths"]),
        "catch": st.fixed_dictionaries(
            {},
            optional={
                "late": st.floats(0, 200) | st.integers(0, 200),
                "early": st.floats(0, 200) | st.integers(0, 200),
                "part": st.sampled_from([0.5, "1/3", 0.25, "2/7", 0.01]),
            },
        ),
    },
)


@given(_styles, st.sampled_from([None, "1/4", "3/8"]))
@settings(max_examples=60, deadline=None)
def test_a_style_survives_being_dumped_to_json_and_read_again(data, suspended):
    if suspended:
        data["suspend"] = {"tone": "second", "lasts": suspended}
        data["hands"]["left"]["tones"] = ["root", "third"]
    style = style_from_data(data, "some-id")
    again = style_from_data(json.loads(json.dumps(style_to_data(style))), "some-id")
    assert again == style
    assert style.figures[0].left.every_quarters == Fraction(data["figures"][0]["left"]["every"]) * 4


@pytest.mark.parametrize("text", GOOD)
def test_a_file_and_its_plain_data_are_the_same_style(tmp_path, text):
    style = _load(tmp_path, text)
    assert style_from_data(style_to_data(style), style.id) == style


@pytest.mark.parametrize("data", [None, [], 3, {}, {"name": 1}, {"hands": {"left": []}}])
def test_data_that_is_no_style_is_refused_by_the_name_of_its_key(data):
    with pytest.raises(AuthorError) as refused:
        style_from_data(data, "journal's")
    assert all(line.startswith("style 'journal's': ") for line in str(refused.value).splitlines())


# ---- spoiled files --------------------------------------------------------------------------

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{b}: &{b} [*{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}]\n"
    for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)

SPOILED = {
    "empty": (b"", "1:1: the file is empty"),
    "blank": (b" \n\n", "1:1: the file is empty"),
    "remark only": (b"# nothing\n", "1:1: the file is empty"),
    "one word": (b"waltz\n", "1:1: found 'waltz'; expected a mapping"),
    "nothing": (b"~\n", "1:1: found nothing; expected a mapping"),
    "list at the top": (b"- name: x\n", "1:1: found a list; expected a mapping"),
    "a number": (b"12\n", "1:1: found 12; expected a mapping"),
    "binary": (bytes(range(256)), "2:118: found the byte 0x80; expected UTF-8"),
    "JPEG": (b"\xff\xd8\xff\xe0\x00\x10JFIF", "1:1: found the byte 0xFF; expected UTF-8"),
    "NUL": (b"name: a\nuse: b\x00c\n", "2:7: found the character U+0000"),
    "escape": (b"name: \x1b[31m\n", "1:7: found the character U+001B"),
    "truncated UTF-8": ("name: Café".encode()[:-1], "1:10: found the byte 0xC3"),
    "Latin-1": ("\nname: Café\n".encode("latin-1"), "2:10: found the byte 0xE9"),
    "UTF-16": ("name: a\n".encode("utf-16"), "1:1: found the byte 0xFF"),
    "too large": (b"#" * (MAX_BYTES + 1), "1:1: the file has more than 256 KiB"),
    "recursive alias": (b"name: &a [*a]\n", "1:11: found the alias '*a'"),
    "alias bomb": (BOMB.encode(), "2:8: found the alias '*a'"),
    "tag": (b"name: !!python/name:os.system\n", "1:7: found the tag"),
    "tabs": (b"name: x\nhands:\n\tleft: y\n", "3:1: found a tab"),
    "deep flow": (b"a: " + b"[" * 500, "1:15: nested 13 deep"),
    "very deep flow": (b"[" * 10_000 + b"]" * 10_000, "1:"),
    "deep block": (b"- " * 10_000, "1:25: nested 13 deep"),
    "two documents": (TRIPLETS.encode() + b"---\n" + TRIPLETS.encode(), "24:1: a second document"),
    "not closed": (b"name: [x\n", "2:1: found no valid YAML"),
    "duplicate key": (TRIPLETS.encode() + b"pedal: legato\n", "24:1: the key 'pedal' stands here"),
    "many digits": (b"name: " + b"1" * 9999 + b"\n", "1:7: found a number of 9999 digits"),
}


@pytest.mark.parametrize("parser", ["CSafeLoader", "SafeLoader"])
@pytest.mark.parametrize("case", SPOILED)
def test_a_spoiled_file_says_where_it_is_spoiled(tmp_path, monkeypatch, case, parser):
    monkeypatch.setattr(yaml_marks, "LOADER", getattr(yaml, parser))
    text, first = SPOILED[case]
    assert any(line.startswith(first) for line in faults_of(tmp_path, text))


# Each row: what stands in TRIPLETS, what spoils it, and where and how the fault is told.
WRONG = [
    ("name: Triplets over a bass", "name: 5", "1:7: found 5; expected text"),
    ("name: Triplets over a bass", "name: ''", "1:7: found ''; expected one line"),
    ("name: Triplets over a bass", 'name: "a\\nb"', "1:7: found 'a\\nb'; expected one line"),
    ("name: Triplets over a bass", f"name: {'x' * 81}", "1:7: found 81 characters; expected 80"),
    ("name: Triplets over a bass\n", "", "1:1: 'name' is missing in a style; add it"),
    ("name: Tri", "nam: Tri", "1:1: 'nam' is no key in a style; did you mean 'name'?"),
    ("suits: [gig, learner]", "suits: gig", "3:8: found 'gig'; expected a list"),
    ("suits: [gig, learner]", "suits: []", "3:8: found a list of 0; expected a list of 1 or more"),
    ("suits: [gig, learner]", "suits: [gig, gig]", "3:8: found a list; expected each of them once"),
    ("[gig, learner]", "[gig, lerner]", "3:14: found 'lerner'; expected one of gig, learner"),
    ("tones: [root, octave]", "tones: root", "6:12: found 'root'; expected a list"),
    ("tones: [root, octave]", "tones: []", "6:12: found a list of 0"),
    ("[root, octave]", "[root, fith]", "6:19: found 'fith'; expected one of root, third"),
    ("[root, octave]", "[root, [fith]]", "6:20: found 'fith'; expected one of root, third"),
    ("[root, octave]", "[root, 8]", "6:19: found 8; expected one of root"),
    ("[root, octave]", "[root, {a: b}]", "6:19: found a mapping; expected one of root"),
    ("inversion: second", "inversion: secnd", "10:16: found 'secnd'; expected one of root"),
    ("inversion: second", "inversion: 2", "10:16: found 2; expected one of root"),
    ("around: C3", "around: H3", "7:13: found 'H3'; expected a note of the piano"),
    ("around: C3", "around: G#0", "7:13: found 'G#0'"),
    ("around: C3", "around: Ab0", "7:13: found 'Ab0'; expected a note of the piano"),
    ("around: C3", "around: C#8", "7:13: found 'C#8'; expected a note of the piano"),
    ("around: C3", "around: 20", "7:13: found 20; expected a note of the piano"),
    ("around: C3", "around: 999999999999999999", "7:13: found 999999999999999999"),
    ("around: C3", "around: true", "7:13: found true; expected a note"),
    ("    around: C3\n", "", "5:3: 'around' is missing here (hands, left); add it"),
    ("[4/4, 3/4]", "[4/4, 6:8]", "13:19: found '6:8'; expected a meter"),
    ("[4/4, 3/4]", "[4/4, 3/5]", "13:19: found '3/5'; expected a meter"),
    ("[4/4, 3/4]", "[4/4, 33/4]", "13:19: found '33/4'; expected a meter"),
    ("[4/4, 3/4]", "[4/4, 0/4]", "13:19: found '0/4'; expected a meter"),
    ("[4/4, 3/4]", "4/4", "13:13: found '4/4'; expected a list"),
    ("every: 1/12", "every: 120ms", "18:14: found '120ms'; expected a note value"),
    ("every: 1/12", "every: 0.25", "18:14: found 0.25; expected a note value"),
    ("every: 1/12", "every: 1/0", "18:14: found '1/0'; expected a note value"),
    ("every: 1/12", "every: 1/97", "18:14: found '1/97'; expected a note value"),
    ("every: 1/12", "every: 9/1", "18:14: found '9/1'; expected a note value"),
    ("every: 1/12", "every: -1/4", "18:14: found '-1/4'; expected a note value"),
    ("every: 1/12", "evry: 1/12", "18:7: 'evry' is no key here (figure 1, right); did you mean"),
    ("every: 1/12", "begins: beat\n      every: 1/12", "18:15: found 'beat'; expected one of bar"),
    ("every: 1/12", "repeats: no\n      every: 1/12", "18:16: found 'no'; expected true or false"),
    ("every: 1/12", "length: 0\n      every: 1/12", "18:15: found 0; expected a number above 0"),
    ("every: 1/12", "length: 1.01\n      every: 1/12", "18:15: found 1.01; expected a number"),
    ("every: 1/12", "length: 1e-9\n      every: 1/12", "18:15: found 1e-09; expected a number"),
    ("every: 1/12", "length: .nan\n      every: 1/12", "18:15: found nan; expected a number"),
    ("every: 1/12", "length: .inf\n      every: 1/12", "18:15: found inf; expected a number"),
    ("every: 1/12", "length: 4/3\n      every: 1/12", "18:15: found '4/3'; expected a number"),
    ("every: 1/12", "length: 50%\n      every: 1/12", "18:15: found '50%'; expected a number"),
    ("every: 1/12", "length: true\n      every: 1/12", "18:15: found true; expected a number"),
    ("every: 1/12", "roll: 121\n      every: 1/12", "18:13: found 121; expected 120 or less"),
    ("every: 1/12", "roll: -1\n      every: 1/12", "18:13: found -1; expected 0 or more"),
    ("every: 1/12", "roll: .nan\n      every: 1/12", "18:13: found nan; expected a number"),
    ("every: 1/12", "roll: 1e999\n      every: 1/12", "18:13: found inf; expected a number"),
    ("every: 1/12", "roll: 30ms\n      every: 1/12", "18:13: found '30ms'; expected a number"),
    ("swing: eighths", "catch: 80", "23:8: found 80; expected a mapping"),
    ("swing: eighths", "catch: {late: 201}", "23:15: found 201; expected 200 or less; write it"),
    ("swing: eighths", "catch: {late: -1}", "23:15: found -1; expected 0 or more"),
    ("swing: eighths", "catch: {late: .nan}", "23:15: found nan; expected a number"),
    ("swing: eighths", "catch: {early: 1/2}", "23:16: found '1/2'; expected a number"),
    ("swing: eighths", "catch: {erly: 20}", "23:9: 'erly' is no key here (catch); did you mean"),
    ("swing: eighths", "catch: {part: 0}", "23:15: found 0; expected a number above 0 and up to"),
    ("swing: eighths", "catch: {part: 0.51}", "23:15: found 0.51; expected a number above 0 and"),
    ("swing: eighths", "catch: {part: 2/3}", "23:15: found '2/3'; expected a number above 0 and"),
    ("swing: eighths", "catch: {part: true}", "23:15: found true; expected a number above 0"),
    ("steps: [bottom]", "steps: bottom", "16:14: found 'bottom'; expected a list"),
    ("steps: [bottom]", "steps: 4", "16:14: found 4; expected a list"),
    ("steps: [bottom]", "steps: []", "16:14: found a list of 0"),
    ("steps: [bottom]", "steps:", "16:13: found nothing; expected a list"),
    ("steps: [bottom]", f"steps: [{'rest,' * 257}]", "16:14: found a list of 257; expected a list"),
    ("steps: [bottom]", "steps: [botom]", "16:15: found 'botom'; expected rest, hold, one of"),
    ("steps: [bottom]", "steps: [0]", "16:15: found 0; expected rest, hold, one of"),
    ("steps: [bottom]", "steps: [6]", "16:15: found 6; expected rest, hold, one of"),
    ("steps: [bottom]", "steps: [1.0]", "16:15: found 1.0; expected rest, hold, one of"),
    ("steps: [bottom]", "steps: [true]", "16:15: found true; expected rest, hold, one of"),
    ("steps: [bottom]", "steps: [[]]", "16:15: found a list of 0"),
    ("steps: [bottom]", "steps: [[bottom, rest]]", "16:24: found 'rest'; expected one of bottom"),
    ("steps: [bottom]", "steps: [{}]", "16:15: 'play' is missing here (figure 1, left, step 1)"),
    ("steps: [bottom]", "steps: [{play: rest}]", "16:22: found 'rest'; expected one of bottom"),
    ("steps: [bottom]", "steps: [{play: 1, lasts: 0}]", "16:32: found 0; expected 1 or more"),
    ("steps: [bottom]", "steps: [{play: 1, lasts: 1.5}]", "16:32: found 1.5; expected a whole"),
    ("steps: [bottom]", "steps: [{play: 1, accent: 128}]", "16:33: found 128; expected 127 or"),
    ("steps: [bottom]", "steps: [{play: 1, mapping: 1}]", "16:25: 'mapping' is no key here"),
    ("steps: [bottom]", "steps: [{play: 1, lasts: x, mapping: 1}]", "16:32: found 'x'; expected a"),
    ("steps: [bottom]", "steps: [{play: [1, {list: 1}]}]", "16:26: found a mapping; expected one"),
    ("tone: fourth", "tone: third", "20:17: found 'third'; expected one of fourth, second"),
    ("lasts: 1/2", "lasts: 0.5", "20:32: found 0.5; expected a note value"),
    ("pedal: none", "pedal: half", "21:8: found 'half'; expected one of legato, none"),
    ("left: -8", "left: -65", "22:15: found -65; expected -64 or more"),
    ("unevenness: 3", "unevenness: 21", "22:39: found 21; expected 20 or less"),
    ("top: 6", "top: '6'", "22:24: found '6'; expected a whole number"),
    ("touch: {left: -8, top: 6, unevenness: 3}", "touch: 5", "22:8: found 5; expected a mapping"),
    ("swing: eighths", "swing: on", "23:8: found 'on'; expected one of none, eighths, sixteenths"),
]


@pytest.mark.parametrize(("old", "new", "fault"), WRONG)
def test_a_value_out_of_its_form_is_told_with_its_place_and_what_was_expected(
    tmp_path, old, new, fault
):
    faults = faults_of(tmp_path, changed(old, new))
    assert [line for line in faults if line.startswith(fault)], faults
    assert len(faults) == (2 if "evry" in new or "lasts: x" in new or "nam: " in new else 1), faults


def test_all_faults_of_a_file_are_told_at_once_in_the_order_of_the_file(tmp_path):
    text = TRIPLETS.replace("tones: [root, third, fifth]", "tones: [root, third, sixth]")
    text = text.replace("every: 1/4", "every: 1/7").replace("top, bottom", "top, seventh")
    text = text.replace("pedal: none", "pedal: half\npedal: none").replace("name:", "nane:")
    places = [line.split(": ")[0] for line in faults_of(tmp_path, text)]
    assert places == ["1:1", "1:1", "9:26", "15:14", "19:20", "21:8", "22:1"]


def test_a_bad_value_brings_about_no_second_complaint(tmp_path):
    lane = "{every: x, begins: y, repeats: z, length: 2, steps: [all, botom, hold, hold]}"
    right = "right:\n      every: 1/12\n      steps: [top, bottom, middle]"
    faults = faults_of(tmp_path, changed(right, f"right: {lane}"))
    assert [line.split(";")[0].split("found ")[1] for line in faults] == [
        "'x'",
        "'y'",
        "'z'",
        "2",
        "'botom'",
    ]
    steps = "steps: [top, bottom, middle]"
    forever = "begins: strike\n      repeats: no\n      steps: [{play: all, lasts: 9}]"
    assert len(faults_of(tmp_path, changed(steps, forever))) == 1
    assert len(faults_of(tmp_path, changed(steps, "steps: [&a top, *a, rest]"))) == 2


def test_an_unknown_hand_is_not_taken_for_one_that_is_missing(tmp_path):
    for hand in ("  left:\n    tones", "    left:\n      every", "  right:\n    tones"):
        faults = faults_of(tmp_path, changed(hand, hand.replace(":", "t:", 1)))
        assert len(faults) == 1
        assert f"did you mean '{hand.split(':')[0].strip()}'?" in faults[0]


def test_hands_that_cannot_be_read_are_not_searched_for_a_third(tmp_path):
    assert len(faults_of(tmp_path, changed("third, fifth", "third, fith"))) == 1


def test_no_line_is_told_twice(tmp_path):
    text = changed("[4/4, 3/4]", "[3/4, 3/4]").replace("every: 1/4", "every: 1/7")
    assert len(faults_of(tmp_path, text)) == 2


def test_a_file_with_a_thousand_faults_names_the_first_hundred(tmp_path):
    keys = "".join(f"key{i}: {i}\n" for i in range(1000))
    assert len(faults_of(tmp_path, keys)) == MAX_FAULTS


def test_a_file_that_is_not_there_or_is_none_is_told_in_one_line(tmp_path):
    for path in (tmp_path / "none.yaml", tmp_path, Path("a\0b"), Path("x" * 5000)):
        with pytest.raises(AuthorError) as refused:
            load_style(path)
        assert "\n" not in str(refused.value)
        assert not isinstance(refused.value, StyleError)


# ---- whatever stands in a file --------------------------------------------------------------

_relaxed = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def _loads_or_tells(path, data):
    path.write_bytes(data)
    try:
        assert isinstance(load_style(path), Style)
    except StyleError as error:
        for line in str(error).splitlines():
            place = line.removeprefix(f"{path}:").split(":")
            assert int(place[0]) >= 1
            assert int(place[1]) >= 1
            assert line.isprintable()


@given(data=st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode("utf-8")))
@_relaxed
def test_no_file_whatever_it_holds_raises_anything_but_its_faults(tmp_path, data):
    _loads_or_tells(tmp_path / "any.yaml", data)


_PIECES = """
    - : , [ ] { } ? ! & * | > ' " # % @ ` ~ 0 1 -1 1/8 1e9 .nan true hold rest octave third middle
    upper play lasts mapping list word steps tones left right !!int &a *a << --- ...
"""
_PUT = st.sampled_from([*_PIECES.split(), " ", "\t", "\n"]) | st.text(max_size=5)


@given(
    text=st.sampled_from(GOOD),
    cuts=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), _PUT), min_size=1, max_size=4),
)
@_relaxed
def test_no_good_file_with_something_changed_in_it_raises_anything_but_its_faults(
    tmp_path, text, cuts
):
    for where, length, put in cuts:
        at = int(where * len(text))
        text = text[:at] + put + text[at + length :]
    _loads_or_tells(tmp_path / "any.yaml", text.encode("utf-8"))


_KEYS = sorted(
    {key for form in (StyleForm, *StyleForm.__subclasses__()) for key in form.model_fields}
    | {"left", "right", "tones", "around", "every", "steps", "meters", "play", "lasts", "mapping"}
)
_anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.sampled_from(["root", "hold", "all", "1/8", "4/4", "gig", "C4", "\ud800"]),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(_KEYS), inner, max_size=6)
    ),
    max_leaves=20,
)


@given(_anything, st.sampled_from(GOOD), st.data())
@settings(max_examples=100, deadline=None)
def test_no_data_raises_anything_but_its_faults(anything, text, data):
    tree = yaml.safe_load(text)
    here = tree
    for _ in range(data.draw(st.integers(0, 5))):
        inside = list(here.items()) if isinstance(here, dict) else list(enumerate(here))
        key, below = data.draw(st.sampled_from(inside))
        if not isinstance(below, dict | list) or not below:
            break
        here = below
    key = data.draw(st.sampled_from(list(here) if isinstance(here, dict) else range(len(here))))
    here[key] = anything
    with suppress(AuthorError):
        assert isinstance(style_from_data(tree, "any"), Style)
