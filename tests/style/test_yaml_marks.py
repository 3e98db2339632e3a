"""YAML as it stands: values by the core schema of YAML 1.2.2 (10.3.2), each with its place."""

import math

import pytest
import yaml

from ripieno.style import yaml_marks
from ripieno.style.yaml_marks import BrokenError, Complaint, Fault, read_marked, shown


@pytest.fixture(params=["the parser in C", "the parser in Python"], autouse=True)
def _both_parsers(request, monkeypatch):
    in_c = request.param == "the parser in C"
    if in_c and not yaml.__with_libyaml__:
        pytest.skip("PyYAML is built without libyaml")
    monkeypatch.setattr(yaml_marks, "LOADER", yaml.CSafeLoader if in_c else yaml.SafeLoader)


# YAML 1.2.2, 10.3.2; the second half are what YAML 1.1 makes of such words, and zero-padded
# and based numbers, which stay text by our choice.
SCALARS = [
    ("true", True),
    ("False", False),
    ("null", None),
    ("~", None),
    ("", None),
    ("0", 0),
    ("-12", -12),
    ("+3", 3),
    ("0.5", 0.5),
    (".5", 0.5),
    ("2.", 2.0),
    ("1e3", 1000.0),
    ("-.inf", -math.inf),
    ("'12'", "12"),
    ('"true"', "true"),
    ("4/4", "4/4"),
    ("C4", "C4"),
    ("6:8", "6:8"),
    ("12:08", "12:08"),
    ("on", "on"),
    ("off", "off"),
    ("yes", "yes"),
    ("NO", "NO"),
    ("y", "y"),
    ("1_000", "1_000"),
    ("2024-01-01", "2024-01-01"),
    ("012", "012"),
    ("0x1F", "0x1F"),
    ("0o17", "0o17"),
    ("<<", "<<"),
]


@pytest.mark.parametrize(("text", "value"), SCALARS)
def test_plain_words_are_read_as_yaml_1_2_reads_them(text, value):
    marked = read_marked(f"key: {text}\n")
    assert marked.data == {"key": value}
    assert type(marked.data["key"]) is type(value)
    assert marked.faults == []


def test_not_a_number_is_read_as_one_that_is_none():
    assert math.isnan(read_marked("key: .nan").data["key"])


def test_every_value_and_key_has_its_line_and_column():
    marked = read_marked("a: 1\nb:\n  - x\n  - {c: é, d: 2}\n")
    assert marked.values == {
        (): (1, 1),
        ("a",): (1, 4),
        ("b",): (3, 3),
        ("b", 0): (3, 5),
        ("b", 1): (4, 5),
        ("b", 1, "c"): (4, 9),
        ("b", 1, "d"): (4, 15),
    }
    assert marked.keys == {
        ("a",): (1, 1),
        ("b",): (2, 1),
        ("b", 1, "c"): (4, 6),
        ("b", 1, "d"): (4, 12),
    }


def test_a_complaint_about_what_is_missing_is_placed_at_what_should_hold_it():
    marked = read_marked("a:\n  b: 1\n")
    assert marked.locate(Complaint(("a", "c"), "m")) == Fault(2, 3, "m")
    assert marked.locate(Complaint(("a", "c"), "m", at_key=True)) == Fault(1, 1, "m")
    assert marked.locate(Complaint(("x", "y"), "m", at_key=True)) == Fault(1, 1, "m")


def _all_faults(text):
    try:
        return read_marked(text).faults
    except BrokenError as error:
        return error.faults


# What is refused though reading can go on, and where.
READ_PAST = [
    ("a: 1\nb: 2\na: 3\n", (3, 1), "'a' stands here again, first in line 1"),
    ("a: &x [1]\n", (1, 4), "anchor '&x'"),
    ("a: *x\n", (1, 4), "alias '*x'"),
    ("a: &x [*x]\n", (1, 8), "alias '*x'"),
    ("a: !!python/object:os.system x\n", (1, 4), "tag"),
    ("a: !mine {b: 1}\n", (1, 4), "tag '!mine'"),
    ("a: ! x\n", (1, 4), "tag '!'"),
    ("[a]: 1\n", (1, 1), "key: value"),
    ("? {a: [1, 2]}\n: [3, {b: 4}]\nc: 5\n", (1, 3), "key: value"),
    ("&x a: 1\n", (1, 1), "anchor or a tag on a key"),
    ("!!str a: 1\n", (1, 1), "anchor or a tag on a key"),
    ("a: 1234567890123456789\n", (1, 4), "19 digits"),
    ("a: -" + "9" * 5000 + "\n", (1, 4), "5001 digits"),
]


@pytest.mark.parametrize(("text", "place", "message"), READ_PAST)
def test_what_yaml_has_and_a_style_has_not_is_a_fault_where_it_stands(text, place, message):
    faults = read_marked(text).faults
    assert place in [(fault.line, fault.column) for fault in faults]
    assert any(message in fault.message for fault in faults)


def test_reading_goes_on_behind_a_key_that_is_none():
    assert read_marked("? {a: [1, 2]}\n: [3, {b: 4}]\nc: 5\n").data == {"c": 5}


def test_of_a_key_that_stands_twice_the_first_counts():
    assert read_marked("a: 1\na: {b: [2]}\nc: 3\n").data == {"a": 1, "c": 3}


BROKEN = [
    ("", (1, 1), "empty"),
    ("# only a remark\n", (1, 1), "empty"),
    ("a: 1\n---\nb: 2\n", (2, 1), "second document"),
    ("a:\n\t- b\n", (2, 1), "tab"),
    ("a: [1, 2\n", (2, 1), "brackets"),
    ("a: 'x\n", (2, 1), "quote"),
    ("a: b: c\n", (1, 5), "not allowed"),
    ("a: 1\n b: 2\n", (2, 3), "not allowed"),
    ("a: @x\n", (1, 4), "cannot start any token"),
    ("[" * 500 + "]" * 500, (1, 13), "nested 13 deep"),
    ("- " * 10_000 + "a", (1, 25), "nested 13 deep"),
    ("{a: " * 10_000 + "}" * 10_000, (1, 49), "nested 13 deep"),
]


@pytest.mark.parametrize(
    ("text", "place", "message"), BROKEN, ids=[b[2] + b[0][:6] for b in BROKEN]
)
def test_what_cannot_be_read_on_stops_with_one_fault_at_its_place(text, place, message):
    faults = _all_faults(text)
    assert [(f.line, f.column) for f in faults] == [place]
    assert message in faults[0].message


@pytest.mark.parametrize("text", ["[" * 10_000 + "]" * 10_000, "? " * 10_000 + "a", "[" * 10_000])
def test_nesting_however_deep_is_a_fault(text):
    assert _all_faults(text)


def test_what_was_found_before_the_text_breaks_is_told_as_well():
    with pytest.raises(BrokenError) as broken:
        read_marked("a: 1\na: 2\nb: [\n")
    assert [fault.line for fault in broken.value.faults] == [2, 4]


def test_values_are_shown_on_one_printable_line():
    assert shown("a\nb\x1b[31m\u202e\ud800") == r"'a\nb\x1b[31m\u202e\ud800'"
    assert len(shown("x" * 1000)) < 50
    assert [shown(v) for v in (None, True, 5, [1], {})] == [
        "nothing",
        "true",
        "5",
        "a list",
        "a mapping",
    ]
