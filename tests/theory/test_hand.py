"""Fingerings against printed ones, low intervals against public tables."""

import pytest

from ripieno.theory.hand import (
    LOW_INTERVAL_LIMITS,
    NINTH,
    OCTAVE,
    TENTH,
    Side,
    above_low_limits,
    fingering,
)

ROOTS = {
    "C": 48, "Db": 49, "D": 50, "Eb": 51, "E": 52, "F": 53,
    "F#": 54, "G": 55, "Ab": 56, "A": 57, "Bb": 58, "B": 59,
}  # fmt: skip
THIRDS = {"major": 4, "minor": 3}

# Triads in root position, first and second inversion, all keys, fingers from the low note up:
# musicfanfare.com/php/FingeringChords.php; scribd.com/document/487247979.
TRIADS = {Side.RIGHT: ("135", "125", "135"), Side.LEFT: ("531", "531", "521")}

# Broken chords of four notes, Beringer and Dunhill 1900, main line, ascending, as transcribed
# in pydactyl's data/corpora/beringer2/broken_chords: root position, first and second
# inversion. The file named for F major has the title and key of F minor and its fingering;
# F major is therefore not in the table.
WHITE_LEFT, OTHER_LEFT = ("5421", "5421", "5321"), ("5321", "5421", "5321")
FOURTH_RIGHT, THIRD_RIGHT = ("1235", "1245", "1245"), ("1235", "1245", "1235")
BROKEN = (
    {(key, "major", Side.RIGHT): FOURTH_RIGHT for key in ROOTS if key != "F"}
    | {
        (key, "minor", Side.RIGHT): FOURTH_RIGHT if key in ("A", "D", "E") else THIRD_RIGHT
        for key in ROOTS
    }
    | {("B", "minor", Side.RIGHT): ("1235", "1345", "1235")}
    | {
        (key, "major", Side.LEFT): WHITE_LEFT if key in ("C", "G") else OTHER_LEFT
        for key in ROOTS
        if key != "F"
    }
    | {(key, "minor", Side.LEFT): WHITE_LEFT for key in ROOTS}
)

# Four notes for which the spans allow no such fingering: 3-4 would be a fourth wide. The same
# printed line has 1-2-4-5 for these notes on the way down.
EXCEPTIONS = {("B", "minor", Side.RIGHT, 1, "1245")}


def close(key: str, mode: str, inversion: int, count: int) -> tuple[int, ...]:
    root = ROOTS[key]
    tones = (root, root + THIRDS[mode], root + 7)
    return tuple(
        tones[place % 3] + 12 * (place // 3) for place in range(inversion, inversion + count)
    )


def fingers(notes: tuple[int, ...], side: Side) -> str:
    return "".join(map(str, fingering(notes, side)))


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("mode", THIRDS)
@pytest.mark.parametrize("key", ROOTS)
def test_triads_have_the_fingering_of_the_handbooks(key, mode, side):
    found = tuple(fingers(close(key, mode, inversion, 3), side) for inversion in range(3))
    assert found == TRIADS[side]


def test_chords_with_the_octave_are_fingered_as_printed_in_1900_but_for_one():
    assert len(BROKEN) == 46
    differing = set()
    for (key, mode, side), printed in BROKEN.items():
        for inversion in range(3):
            found = fingers(close(key, mode, inversion, 4), side)
            if found != printed[inversion]:
                differing.add((key, mode, side, inversion, found))
    assert differing == EXCEPTIONS


@pytest.mark.parametrize("root", range(12))
def test_fingers_of_a_seventh_chord_begin_at_the_thumb_and_do_not_cross(root):
    # Common practice, no source: the thumb lies nearest to the body, fingers in order.
    notes = tuple(48 + root + above for above in (0, 4, 7, 10))
    right, left = fingering(notes, Side.RIGHT), fingering(notes, Side.LEFT)
    assert right[0] == 1
    assert left[-1] == 1
    assert list(right) == sorted(set(right))
    assert list(left) == sorted(set(left), reverse=True)


def test_an_octave_is_for_thumb_and_little_finger():
    # Common practice, no source.
    assert fingers((48, 60), Side.LEFT) == "51"
    assert fingers((60, 72), Side.RIGHT) == "15"


def test_five_notes_take_all_fingers_even_beyond_the_spans():
    assert fingers((60, 62, 64, 67, 84), Side.RIGHT) == "12345"
    assert fingers((40, 52, 55, 59, 62), Side.LEFT) == "54321"


# Lowest lower note by interval. A: sweetwater.com/insync/low-interval-limit, its C3 taken as
# middle C; B and C: two public tables in source code. A's tritone is left out: at B1 it is
# below A's own fifth, an octave below the others.
A = {1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 7: 37, 8: 41, 9: 41, 10: 41, 11: 41}
B = {1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 47, 7: 34, 8: 41, 9: 41, 10: 41, 11: 41}
C = {1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 46, 7: 34, 8: 43, 9: 41, 10: 41, 11: 41}
C |= {13: 40, 14: 39, 15: 36, 16: 34}


def test_low_interval_limits_are_the_strictest_of_three_tables():
    strictest = {
        interval: max(table[interval] for table in (A, B, C) if interval in table)
        for interval in A | B | C
    }
    assert strictest == LOW_INTERVAL_LIMITS


def test_low_chords_pass_only_when_open():
    assert not above_low_limits((36, 40, 43))  # C2 E2 G2 in a block
    assert not above_low_limits((36, 43))  # the fifth C2 G2: by table A, though not by B and C
    assert above_low_limits((37, 44))
    assert above_low_limits((24, 36))  # octaves are free
    assert above_low_limits((36, 52, 60, 64, 67))
    assert not above_low_limits((36, 48, 50))  # a whole tone above C3, over a free octave


def test_one_note_has_no_interval_to_limit():
    assert above_low_limits((21,))


def test_spans_are_the_white_key_names_of_their_reach():
    # Octave, ninth and tenth above C4: C5, D5, E5.
    assert (60 + OCTAVE, 60 + NINTH, 60 + TENTH) == (72, 74, 76)
