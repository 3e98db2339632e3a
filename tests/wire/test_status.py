"""The status there and back, and what is refused of it."""

import json
import re
from dataclasses import MISSING, fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from control_rig import STATUS
from ripieno.errors import AuthorError
from ripieno.wire.status import ControlStatus, Status, status_from_data, status_to_data

PAGE = Path(__file__).parents[2] / "docs" / "control.md"

TEXT, WHOLE = st.text(), st.integers(-(10**15), 10**15)
NUMBER = st.floats(-1e15, 1e15)
NOTES, WORDS = st.lists(WHOLE).map(tuple), st.lists(TEXT).map(tuple)
STATUSES = st.builds(
    Status, style=TEXT, bpm=NUMBER, split=st.none() | WHOLE, transpose=WHOLE, bar=st.none() | WHOLE,
    beat=st.none() | WHOLE, left=NOTES, right=NOTES, sounding=NOTES, restarts=WHOLE,
    counts=st.dictionaries(TEXT, WHOLE), learning=st.none() | WORDS, notices=WORDS,
    controls=st.lists(st.builds(ControlStatus, TEXT, WORDS)).map(tuple), uptime_s=NUMBER,
    bar_quarters=NUMBER, quarters=st.none() | NUMBER, serial=WHOLE, channel=WHOLE, keys=NOTES,
    lean=WHOLE, pickup=WHOLE, renewals=WHOLE, last_end=TEXT,
)  # fmt: skip


def over_the_wire(status: Status) -> dict[str, object]:
    return json.loads(json.dumps(status_to_data(status)))


@given(STATUSES)
def test_a_status_is_the_same_on_the_other_side(status: Status) -> None:
    assert status_from_data(over_the_wire(status)) == status


@given(STATUSES)
def test_a_newer_programs_further_keys_are_ignored(status: Status) -> None:
    assert status_from_data(over_the_wire(status) | {"mood": "calm"}) == status


LATER = {field.name: field.default for field in fields(Status) if field.default is not MISSING}


def test_a_key_that_older_daemons_do_not_have_has_its_default() -> None:
    data = over_the_wire(STATUS)
    assert set(LATER) == {"system", "memory", "renewals", "last_end"}
    for name in LATER:
        del data[name]
    assert status_from_data(data) == replace(STATUS, **LATER)


@pytest.mark.parametrize("name", [f.name for f in fields(Status) if f.name not in LATER])
def test_a_key_that_is_missing_is_named(name: str) -> None:
    data = over_the_wire(STATUS)
    del data[name]
    with pytest.raises(AuthorError, match=f"^the status has no '{name}'$"):
        status_from_data(data)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("style", None, "'style' of the status is null; expected a text"),
        ("bpm", "94", "'bpm' of the status is a text; expected a number"),
        ("bpm", True, "'bpm' of the status is true or false; expected a number"),
        ("bpm", float("nan"), "expected a number"),
        ("bpm", 10**400, "expected a number"),
        ("bar", 1.5, "'bar' of the status is a number; expected a whole number"),
        ("hold", 1, "'hold' of the status is a number; expected true or false"),
        ("lean", 50.5, "'lean' of the status is a number; expected a whole number"),
        ("clock", None, "'clock' of the status is null; expected a text"),
        ("counting", "no", "'counting' of the status is a text; expected true or false"),
        ("left", [60, "E4"], "'left' of the status is a list; expected a whole number"),
        ("left", 60, "'left' of the status is a number; expected a list"),
        ("counts", [], "'counts' of the status is a list; expected an object of numbers"),
        ("counts", {"sent": "7"}, "expected a whole number"),
        ("controls", [7], "a control is a number; expected an object"),
        ("controls", [{"press": "note 1 on channel 1"}], "a control has no 'do'"),
        ("learning", "next", "'learning' of the status is a text; expected a list"),
    ],
    ids=str,
)
def test_a_value_of_another_type_is_refused(name: str, value: object, said: str) -> None:
    with pytest.raises(AuthorError) as error:
        status_from_data(over_the_wire(STATUS) | {name: value})
    assert said in str(error.value)


@pytest.mark.parametrize("data", [None, [], "status", 7])
def test_what_is_no_object_is_no_status(data: object) -> None:
    with pytest.raises(AuthorError, match="expected an object"):
        status_from_data(data)


def test_the_page_explains_every_key() -> None:
    section = (
        PAGE.read_text(encoding="utf-8").partition("\n## The status\n")[2].partition("\n## ")[0]
    )
    cells = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    explained = [name for cell in cells for name in re.findall(r"`(\w+)`", cell)]
    assert sorted(explained) == sorted(field.name for field in fields(Status))
