"""A bar's steps: read, fingered, walked through, drawn."""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.dashboard.steps import (
    SPEEDS,
    Figure,
    Practice,
    Scale,
    Step,
    beat_words,
    figure_from,
    grid,
)
from ripieno.errors import AuthorError
from ripieno.theory.hand import Side

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def step(at: float, hand: str, notes: list[int], lasts: float) -> dict[str, object]:
    return {"at": at, "hand": hand, "notes": notes, "lasts": lasts}


def answer(*steps: object, quarters: float = 4.0, beat: float = 1.0) -> dict[str, object]:
    return {"chord": "C", "quarters": quarters, "beat_quarters": beat, "steps": list(steps)}


# The left hand breaks C, the right holds it for half a bar.
BROKEN = answer(
    *(step(i / 2, "left", [[36], [43], [48], [43]][i % 4], 0.5) for i in range(8)),
    step(0.0, "right", [60, 64, 67], 2.0),
    step(2.0, "right", [60, 64, 67], 2.0),
)


def broken() -> Figure:
    return figure_from(BROKEN, 4.0)


def drawn(figure: Figure, width: int, height: int, cursor: float | None = None) -> list[str]:
    at = None if cursor is None else Fraction(cursor)
    return [line.text.rstrip() for line in grid(figure, width, height, at)]


# Reading.


def test_triplets_are_read_exactly_though_floats_are_not() -> None:
    figure = figure_from(answer(*(step(i / 3, "left", [48], 1 / 3) for i in range(3))), 4.0)
    assert figure.moments == (0, Fraction(1, 3), Fraction(2, 3))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"steps": None}, "'steps' should be a list"),
        ({"steps": [7]}, "a step should be an object"),
        ({"chord": 7}, "'chord' should be a text"),
        ({"quarters": "4"}, "'quarters' should be a number of quarters"),
        ({"quarters": 0}, "should be more than 0"),
        ({"beat_quarters": True}, "'beat_quarters' should be a number of quarters"),
        ({"steps": [step(4.0, "left", [48], 1.0)]}, "less than the figure's 4 quarters"),
        ({"steps": [step(0.0, "foot", [48], 1.0)]}, "'hand' of a step should be left or right"),
        ({"steps": [step(0.0, "left", [], 1.0)]}, "'notes' of a step"),
        ({"steps": [step(0.0, "left", [128], 1.0)]}, "numbers from 0 to 127"),
        ({"steps": [step(0.0, "left", [48], float("nan"))]}, "'lasts' should be a number"),
    ],
)
def test_an_answer_that_cannot_be_read_is_refused_in_one_line(
    changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(AuthorError) as refused:
        figure_from(BROKEN | changes, 4.0)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


# What sounds where.


def test_a_moment_is_wherever_a_hand_strikes() -> None:
    assert broken().moments == tuple(Fraction(i, 2) for i in range(8))


def test_what_is_struck_and_what_is_held_on_are_told_apart() -> None:
    figure = broken()
    assert figure.struck(Fraction(1, 2)) == {LEFT: (43,), RIGHT: ()}
    assert figure.held(Fraction(1, 2)) == {LEFT: (), RIGHT: (60, 64, 67)}
    assert figure.held(Fraction(2)) == {LEFT: (), RIGHT: ()}


def test_between_two_moments_the_one_before_counts() -> None:
    assert [broken().moment_before(Fraction(at)) for at in (0, 0.25, 0.5, 3.9)] == [0, 0, 1, 7]


def test_before_the_first_moment_the_last_one_sounds_on() -> None:
    figure = figure_from(answer(step(1.0, "left", [48], 1.0), step(3.0, "left", [50], 1.0)), 4.0)
    assert figure.moment_before(Fraction(0)) == -1
    assert figure.moments[figure.moment_before(Fraction(0))] == 3


def test_the_steps_of_a_cycle_add_up_to_its_length() -> None:
    figure = figure_from(answer(step(0.5, "left", [48], 1.0), step(2.25, "left", [50], 1.0)), 4.0)
    assert [figure.to_next(0), figure.to_next(1)] == [Fraction(7, 4), Fraction(9, 4)]


@pytest.mark.parametrize(
    ("at", "said"), [(0, "beat 1"), (1.5, "beat 2"), (2, "after beat 2"), (2.5, "after beat 2")]
)
def test_a_place_is_named_by_its_beat_in_compound_time_too(at: float, said: str) -> None:
    six_eight = figure_from(answer(step(0, "left", [48], 1), quarters=3.0, beat=1.5), 3.0)
    assert beat_words(six_eight, Fraction(at)) == said


def test_a_place_in_a_figure_of_two_bars_is_named_by_its_bar_as_well() -> None:
    two_bars = figure_from(answer(step(0, "left", [48], 1), quarters=8.0), 4.0)
    assert beat_words(two_bars, Fraction(11, 2)) == "bar 2, after beat 2"


# Fingers. Broken chords of four notes: Beringer and Dunhill, 1900, C major.


def fingers(figure: Figure, side: Side) -> list[int | None]:
    return [
        figure.finger(side, note, moment)
        for moment in figure.moments
        for note in figure.struck(moment)[side]
    ]


@pytest.mark.parametrize(
    ("side", "notes", "printed"),
    [
        (RIGHT, [60, 64, 67, 72], [1, 2, 3, 5]),
        (RIGHT, [64, 67, 72, 76], [1, 2, 4, 5]),
        (RIGHT, [67, 72, 76, 79], [1, 2, 4, 5]),
        (LEFT, [48, 52, 55, 60], [5, 4, 2, 1]),
        (LEFT, [52, 55, 60, 64], [5, 4, 2, 1]),
        (LEFT, [55, 60, 64, 67], [5, 3, 2, 1]),
    ],
)
def test_a_broken_chord_is_fingered_as_it_is_printed(
    side: Side, notes: list[int], printed: list[int]
) -> None:
    steps = [step(i, side.value, [note], 1.0) for i, note in enumerate(notes)]
    assert fingers(figure_from(answer(*steps), 4.0), side) == printed


def test_a_hand_that_leaps_has_new_fingers_where_it_lands() -> None:
    waltz = answer(
        step(0, "left", [36], 1), step(1, "left", [52, 55, 60], 1), step(2, "left", [52, 55, 60], 1)
    )
    # A bass with the little finger; the first inversion of a triad 5 3 1, as printed.
    assert fingers(figure_from(waltz, 4.0), LEFT) == [5, 5, 3, 1, 5, 3, 1]


def test_a_note_that_two_positions_share_has_the_finger_of_where_the_hand_is() -> None:
    steps = [step(0, "right", [60, 64, 67], 1), step(1, "right", [67, 71, 76], 1)]
    # The right hand has a triad in root position as 1 3 5, in first inversion as 1 2 5.
    assert fingers(figure_from(answer(*steps), 4.0), RIGHT) == [1, 3, 5, 1, 2, 5]


def test_a_hand_with_more_notes_than_fingers_has_none() -> None:
    crowd = figure_from(answer(step(0, "right", [60, 62, 64, 65, 67, 69], 1)), 4.0)
    assert fingers(crowd, RIGHT) == [None] * 6


# Practising.


def test_steps_go_round_the_bar_both_ways() -> None:
    figure = broken()
    assert Practice().stepped(figure, -1).index == 7
    assert Practice(index=7).stepped(figure, 1).index == 0


def test_the_speed_stays_between_its_ends() -> None:
    assert Practice().paced(1).speed == SPEEDS[-1] == 100
    assert Practice().paced(-1).speed == SPEEDS[-2]
    assert Practice(speed=SPEEDS[0]).paced(-1).speed == SPEEDS[0]


def test_half_the_speed_takes_twice_as_long() -> None:
    figure = broken()
    assert Practice().seconds(figure, 60) == pytest.approx(0.5)
    assert Practice(speed=50).seconds(figure, 60) == pytest.approx(1.0)


def test_in_compound_time_the_tempo_counts_dotted_beats() -> None:
    six_eight = figure_from(answer(step(0, "left", [48], 1), quarters=3.0, beat=1.5), 3.0)
    assert Practice().seconds(six_eight, 60) == pytest.approx(2.0)


# Drawing.


def test_each_note_has_a_row_with_its_fingers_and_as_long_as_it_is_held() -> None:
    assert drawn(broken(), 42, 8, 1.5) == [
        "beats    1       2       3       4",
        "R G4     5───────────────5───────────────│",
        "R E4     3───────────────3───────────────│",
        "R C4     1───────────────1───────────────│",
        "L C3     │       1───    ┊       1───    │",
        "L G2     │   2───┊   2───┊   2───┊   2───│",
        "L C2     5───    ┊       5───    ┊       │",
        "                     ▲",
    ]


def test_with_little_room_each_hand_has_one_row() -> None:
    assert drawn(broken(), 42, 5) == [
        "beats    1       2       3       4",
        "R right  ●───────────────●───────────────│",
        "L left   5───2───1───2───5───2───1───2───│",
        "",
    ]


def test_with_much_room_the_rows_stand_apart() -> None:
    assert drawn(broken(), 42, 15)[1:4:2] == drawn(broken(), 42, 8)[1:3]


def test_the_beats_begin_again_with_each_bar() -> None:
    two_bars = figure_from(answer(step(0, "left", [48], 8), quarters=6.0), 3.0)
    assert drawn(two_bars, 40, 9)[0].split() == ["beats", "1", "2", "3", "1", "2", "3"]


def test_where_not_all_fits_the_part_with_the_cursor_is_drawn() -> None:
    steps = [step(i / 4, "right", [60 + i // 4], 0.25) for i in range(64)]
    long = figure_from(answer(*steps, quarters=16.0), 4.0)
    early, late = drawn(long, 45, 4, 0), drawn(long, 45, 4, 13.25)
    assert early[0].split()[1:] == ["1", "2", "3", "4", "1", "2", "3", "4"]
    assert [row[-1].count("▲") for row in (early, late)] == [1, 1]
    assert early[-1].index("▲") == 9
    assert late[-1].index("▲") == 9 + 4 * 5 + 1


PLACES = st.integers(0, 47).map(lambda twelfths: Fraction(twelfths, 12))
STEPS = st.builds(
    Step, PLACES, st.sampled_from(Side), st.just((60, 64)), st.just(Fraction(1, 4))
)  # fmt: skip


@given(st.lists(STEPS, min_size=1, max_size=30), st.integers(30, 220), PLACES)
def test_no_row_is_wider_than_its_room(steps: list[Step], width: int, at: Fraction) -> None:
    figure = Figure("C", Fraction(4), Fraction(1), Fraction(4), tuple(steps))
    assert max(line.cell_length for line in grid(figure, width, 20, at)) <= width


@given(st.lists(STEPS, min_size=1, max_size=30), st.integers(60, 220))
def test_steps_at_different_places_are_drawn_in_different_columns(
    steps: list[Step], width: int
) -> None:
    figure = Figure("C", Fraction(4), Fraction(1), Fraction(4), tuple(steps))
    scale = Scale.of(figure, width, Fraction(0))
    shown = [moment for moment in figure.moments if scale.shows(moment)]
    assert len({scale.column(moment) for moment in shown}) == len(shown)
