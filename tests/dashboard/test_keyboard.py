"""The drawn keys: where they lie, what stands on them, and how much of the keyboard is shown."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.dashboard.keyboard import Down, Hold, Reach, Shape, draw, reach_for
from ripieno.theory.hand import Side
from ripieno.theory.key import key_named

NOTES = st.sets(st.integers(0, 127), max_size=12)
WIDTHS = st.integers(20, 220)
SMALL = Shape(1, 1, named=False)


def plain(reach: Reach, downs: list[Down], width: int, shape: Shape, key: str = "C") -> list[str]:
    return [line.text for line in draw(reach, tuple(downs), width, shape, key_named(key).centre)]


def test_an_octave_has_five_black_keys_in_groups_of_two_and_three() -> None:
    assert plain(Reach(60, 1), [], 17, SMALL) == [
        "│ █ █ │ █ █ █ │ │",
        "│ │ │ │ │ │ │ │ │",
    ]


def test_each_note_of_an_octave_is_marked_on_the_key_of_its_own() -> None:
    seen = [plain(Reach(60, 1), [Down(note)], 17, SMALL) for note in range(60, 73)]
    places = [max(row.find("●") for row in rows) for rows in seen]
    assert places == sorted(places)
    assert len(set(places)) == 13
    black = [rows[0].count("█") for rows in seen]
    assert black == [5, 4, 5, 4, 5, 5, 4, 5, 4, 5, 4, 5, 5]


def test_a_key_has_its_hand_above_its_finger_and_its_name() -> None:
    downs = [Down(48, Side.LEFT, 5), Down(51, Side.LEFT, 3), Down(55, Side.RIGHT, 1)]
    assert plain(Reach(48, 1), downs, 17, Shape(), "Eb") == [
        "    Eb            ",
        "│ █ L │ █ █ █ │ │",
        "│ █ 3 │ █ █ █ │ │",
        "│L│ │ │ │R│ │ │ │",
        "│5│ │ │ │1│ │ │ │",
        " C3      G     C4 ",
    ]


def test_the_name_of_a_d_does_not_run_into_that_of_the_octave() -> None:
    assert plain(Reach(48, 1), [Down(50)], 17, Shape())[-1].split() == ["D", "C4"]
    assert plain(Reach(48, 1), [Down(48), Down(50)], 17, Shape())[-1].split() == ["C", "D", "C4"]
    assert plain(Reach(48, 1), [Down(50)], 30, Shape())[-1].split() == ["C3", "D", "C4"]


def test_names_are_spelled_by_the_key() -> None:
    assert "D#" in plain(Reach(48, 1), [Down(51)], 40, Shape(), "E")[0]
    assert "Eb" in plain(Reach(48, 1), [Down(51)], 40, Shape(), "Eb")[0]


def test_struck_held_and_yours_look_different_and_the_hands_too() -> None:
    looks = {
        tuple(str(run.style) for line in draw(Reach(48, 1), (down,), 40) for run in line)
        for hand in Side
        for hold in Hold
        for down in [Down(52, hand, 1, hold)]
    }
    assert len(looks) == 6


def test_what_the_player_plays_is_underlined_so_that_it_needs_no_colour() -> None:
    for note in (52, 54):
        lines = draw(Reach(48, 1), (Down(note, Side.LEFT, 2, Hold.YOURS),), 40)
        underlined = {r.text for line in lines for r in line if r.style and r.style.underline}
        assert underlined == {"L", "2"}


@pytest.mark.parametrize(("note", "sign"), [(30, "<"), (90, ">")])
def test_a_note_outside_leaves_an_arrow(note: int, sign: str) -> None:
    assert sign in plain(Reach(48, 2), [Down(note)], 60, Shape())[-1]


@given(NOTES, WIDTHS)
def test_the_picture_never_is_wider_than_its_room(notes: set[int], width: int) -> None:
    downs = tuple(Down(note, Side.RIGHT, 1) for note in notes)
    lines = draw(reach_for(notes, width), downs, width - 1)
    assert max(line.cell_length for line in lines) <= width


@given(NOTES, WIDTHS)
def test_all_notes_are_shown_where_there_is_room_for_them(notes: set[int], width: int) -> None:
    reach = reach_for(notes, width)
    octaves = -(-(max(notes, default=0) - min(notes, default=0) // 12 * 12) // 12)
    if (octaves * 7 + 1) * 2 + 1 <= width:
        assert all(reach.holds(note) for note in notes)


@given(NOTES.filter(bool), WIDTHS)
def test_the_picture_stays_while_the_notes_are_within(notes: set[int], width: int) -> None:
    reach = reach_for(notes, width)
    inside = {note for note in notes if reach.holds(note)}
    assert reach_for(inside, width, reach) == reach
    assert reach_for([], width, reach) == reach


def test_a_note_outside_makes_the_picture_grow_and_not_jump() -> None:
    assert reach_for([84], 80, Reach(36, 3)) == Reach(36, 4)


def test_where_it_cannot_grow_it_begins_anew() -> None:
    before = Reach(24, 5)
    after = reach_for([96, 100], 80, before)
    assert after.holds(96)
    assert after.holds(100)
    assert not after.holds(24)


def test_wider_room_makes_wider_keys_and_more_rows_longer_ones() -> None:
    reach = Reach(48, 3)
    narrow, wide = (max(line.cell_length for line in draw(reach, (), w)) for w in (80, 200))
    assert wide > 2 * narrow
    assert len(draw(reach, (), 80, Shape(6, 4))) == 12


@pytest.mark.parametrize(("width", "block"), [(17, "█"), (25, "█"), (33, "███"), (65, "█████")])
def test_black_keys_are_narrower_than_white_ones_at_any_width(width: int, block: str) -> None:
    black = plain(Reach(60, 1), [], width, SMALL)[0]
    assert set(black.replace("│", " ").split()) == {block}
