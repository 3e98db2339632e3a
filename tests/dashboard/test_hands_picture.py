"""What the view of the hands makes of a status and a figure, without a screen."""

from dataclasses import replace
from fractions import Fraction

from dashboard.statuses import status
from dashboard.test_steps import BROKEN, answer, step
from ripieno.dashboard.hands_picture import Scene, drawings, notes_of, place_in, words
from ripieno.dashboard.keyboard import Reach
from ripieno.dashboard.steps import Figure, Practice, figure_from
from ripieno.wire.status import Status

NOW = status(
    chord="C", key="C major", keys=(60,), left=(43,), right=(60, 64, 67),
    sounding=(43, 60, 64, 67), quarters=0.5, bar=1, beat=1,
)  # fmt: skip
TWO_BARS = figure_from(answer(*(step(at, "left", [36], 1.0) for at in range(8)), quarters=8.0), 4.0)


def scene(now: Status | None = NOW, figure: Figure | None = None, width: int = 78) -> Scene:
    figure = figure_from(BROKEN, 4.0) if figure is None else figure
    at = None if now is None else place_in(figure, now)
    return Scene(now, None, None, figure, None, at, Reach(36, 4), width, 20)


def said(name: str, seen: Scene) -> str:
    return words(seen)[name].plain


def marks(seen: Scene) -> str:
    """What stands on the keys that ripieno plays, row by row: hands, fingers and discs."""
    return " ".join(
        "".join(c for c in row.text if c in "LR●12345") for row in drawings(seen)["played"][1:-1]
    ).strip()


def styles_of(letter: str, seen: Scene) -> list[str]:
    runs = [run for line in drawings(seen)["played"] for run in line]
    return [str(run.style) for run in runs if run.text == letter]


def test_a_note_of_a_broken_chord_has_the_finger_that_the_chord_gives_it() -> None:
    # C G C in the left hand is 5 2 1; a G alone would be taken for a 5.
    assert marks(scene()) == "LRRR 2135"


def test_notes_that_are_not_the_figures_are_fingered_by_themselves() -> None:
    now = replace(NOW, left=(), right=(62, 65, 69), sounding=(62, 65, 69))
    assert marks(scene(now)) == "RRR 135"


def test_a_melody_that_passes_through_has_a_disc() -> None:
    assert marks(scene(replace(NOW, sounding=(43, 60, 64, 67, 72)))).count("●") == 1


def test_the_players_hand_is_underlined_and_the_other_one_is_not() -> None:
    seen = scene(replace(NOW, muted="left", left=()))
    assert all("underline" in style for style in styles_of("L", seen))
    assert styles_of("L", seen)
    assert not any("underline" in style for style in styles_of("R", seen))


def test_what_is_held_from_before_is_not_lit_as_what_is_struck_now() -> None:
    seen = replace(scene(), practice=Practice(index=1), at=Fraction(1, 2))
    (left,), right = styles_of("L", seen), styles_of("R", seen)
    assert "bold" in left
    assert right
    assert not any("bold" in style for style in right)


def test_the_place_in_a_figure_of_two_bars_counts_from_the_first_bar() -> None:
    places = [place_in(TWO_BARS, status(bar=bar, quarters=1.5)) for bar in (1, 2, 3)]
    assert places == [Fraction(3, 2), Fraction(11, 2), Fraction(3, 2)]
    assert place_in(TWO_BARS, status(bar=None, quarters=None)) is None


def test_the_picture_holds_what_is_pressed_what_sounds_and_what_the_figure_has() -> None:
    now = status(keys=(50,), left=(40,), right=(70,), sounding=(40, 70, 90))
    assert notes_of(now, TWO_BARS) == {36, 40, 50, 70, 90}
    assert notes_of(None, None) == set()


def test_long_names_end_with_an_ellipsis_and_not_in_the_middle_of_nothing() -> None:
    head = said("head", scene(replace(NOW, style_name="A very long name of a style " * 4)))
    assert len(head) == 78
    assert head.endswith("…")


def test_a_key_that_this_program_does_not_know_spoils_nothing() -> None:
    assert said("pressed-words", scene(replace(NOW, key="H dorian"))) == "You press      C4"


def test_before_anything_is_known_all_parts_have_a_word() -> None:
    empty = Scene(None, "no socket", None, None, None, None, Reach(36, 4), 78, 20)
    assert said("head", empty) == "Waiting for the daemon"
    assert said("pressed-words", empty) == "You press      nothing now"
    assert said("hint", empty).startswith("No daemon answers")
    (line,) = drawings(empty)["steps"]
    assert line.text == "The steps of the bar stand here once known."


def test_what_is_right_for_the_players_own_hand_is_told_and_shown_as_that_hands() -> None:
    # The left hand plays C G C' G of a broken chord, an eighth each; it is between the first two.
    now = replace(NOW, muted="left", left=(), keys=(36, 43, 60), quarters=0.25)
    seen = scene(now)
    assert said("pressed-words", seen).endswith("C2 G2 right, C4 not in the left hand just now")
    assert "".join(c for row in drawings(seen)["pressed"] for c in row.text if c in "LR●") == "LL●"


def test_while_it_is_stepped_through_only_this_step_is_right_and_the_transposition_counts() -> None:
    now = replace(NOW, muted="left", left=(), keys=(34, 41), transpose=2)
    seen = replace(scene(now), practice=Practice(), at=Fraction(0))
    assert said("pressed-words", seen).endswith("Bb1 right, F2 not in the left hand just now")


def test_without_a_hand_of_the_players_keys_are_neither_right_nor_wrong() -> None:
    assert said("pressed-words", scene()) == "You press      C4"
