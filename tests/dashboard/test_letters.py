"""Large letters."""

from collections.abc import Iterable

import pytest

from ripieno.dashboard.letters import (
    Layout,
    cells_high,
    drawn,
    drawn_line,
    has_letter,
    height,
    laid_out,
    points_wide,
)
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.key import Key, Mode
from ripieno.theory.numerals import roman
from ripieno.theory.recognize import recognize
from ripieno.theory.symbol import symbol

LONG = "F#m7b5/A"


def chords(roots: Iterable[int] = range(12)) -> list[Chord]:
    """Every quality on each root, over its root and over a bass that is not its own."""
    return [
        Chord(root, quality, bass)
        for quality in QUALITIES.values()
        for root in roots
        for bass in (root, (root + 1) % 12)
    ]


def test_every_chord_symbol_and_numeral_can_be_drawn() -> None:
    keys = [Key(7, Mode.MAJOR), Key(3, Mode.MINOR)]
    texts = {symbol(chord, key) for chord in chords() for key in (*keys, None)}
    texts |= {f"{roman(chord, key)} in {key}" for chord in chords() for key in keys}
    assert len(texts) > 1000
    assert {c for text in texts for c in text if not has_letter(c)} == set()


def test_what_has_no_letter_is_a_box_and_not_nothing() -> None:
    assert not has_letter("€")
    assert "█" in "".join(drawn_line("€", 1))


def test_no_two_letters_look_the_same() -> None:
    shapes = {}
    for c in map(chr, range(33, 256)):
        if has_letter(c):
            assert shapes.setdefault(tuple(drawn_line(c, 2)), c) == c
    assert len(shapes) > 40


def test_a_letter_is_drawn_as_one_reads_it() -> None:
    assert drawn_line("I", 2) == ["██████", *["  ██  "] * 5, "██████"]
    assert drawn_line("I", 1) == ["▀█▀", " █ ", " █ ", "▀▀▀"]


@pytest.mark.parametrize("scale", range(1, 9))
def test_letters_are_as_large_as_they_say(scale: int) -> None:
    rows = drawn_line(LONG, scale)
    assert len(rows) == cells_high(scale)
    assert {len(row) for row in rows} == {points_wide(LONG) * scale}


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((78, 16), Layout(("F#m7b5", "/A"), 2)),
        ((78, 14), Layout((LONG,), 1)),
        ((118, 20), Layout((LONG,), 2)),
        ((198, 40), Layout((LONG,), 4)),
        ((30, 20), Layout(("F#", "m7b5", "/A"), 1)),
        ((12, 30), Layout(("F#", "m7", "b5", "/A"), 1)),
        ((78, 2), Layout((LONG,), 0)),
    ],
    ids=str,
)
def test_a_long_symbol_shrinks_or_breaks_where_a_musician_would(
    size: tuple[int, int], expected: Layout
) -> None:
    assert laid_out(LONG, *size) == expected


@pytest.mark.parametrize("size", [(78, 16), (118, 24), (198, 40), (40, 12), (24, 30)], ids=str)
def test_nothing_of_a_symbol_is_cut_or_lost(size: tuple[int, int]) -> None:
    width, rows = size
    for chord in chords(roots=(0, 6)):
        text = symbol(chord)
        layout = laid_out(text, width, rows)
        assert "".join(layout.lines) == text
        if layout.scale:
            assert height(layout) <= rows
            assert {len(row) for row in drawn(layout, width)} == {width}
            assert len(drawn(layout, width)) == height(layout)


def test_a_chord_with_everything_added_still_fits_the_smallest_screen() -> None:
    text = symbol(recognize([48, 49, 52, 54, 55, 58, 61, 63, 68]).chord)
    assert laid_out(text, 78, 15).scale >= 1


def test_the_slash_of_a_sixth_and_ninth_is_no_bass() -> None:
    assert laid_out("C6/9/E", 60, 15).lines == ("C6/9", "/E")


def test_counting_moves_nothing() -> None:
    assert {points_wide(digit) for digit in "0123456789"} == {5}
