"""Note numbers and names.

60 is middle C (MIDI 1.0) and C4 in scientific pitch notation; a piano reaches from A0, 21, to
C8, 108; 69 is A4. Spelling: the line of fifths, and the key signatures of any theory primer.
"""

import music21.pitch
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.errors import AuthorError
from ripieno.theory.pitch import (
    PIANO_HIGHEST,
    PIANO_LOWEST,
    name_on_line,
    note_name,
    note_named,
    pitch_class_named,
    spell,
)

LANDMARKS = [
    (0, "C-1"), (21, "A0"), (59, "B3"), (60, "C4"), (61, "C#4"), (69, "A4"), (108, "C8"),
    (127, "G9"),
]  # fmt: skip


@pytest.mark.parametrize(("note", "name"), LANDMARKS)
def test_landmarks_are_called_what_they_are_called(note: int, name: str) -> None:
    assert note_name(note) == name
    assert note_named(name) == note
    assert note_named(str(note)) == note


def test_the_piano_reaches_from_a0_to_c8() -> None:
    assert (note_name(PIANO_LOWEST), note_name(PIANO_HIGHEST)) == ("A0", "C8")
    assert PIANO_HIGHEST - PIANO_LOWEST + 1 == 88


# The spellings of the same number, and octaves that belong to the letter (music21 agrees below).
@pytest.mark.parametrize(
    ("name", "note"),
    [("Cb4", 59), ("B#3", 60), ("bb3", 58), ("F##4", 67), ("Ebb4", 62), ("E♭4", 63), ("f♯2", 42),
     ("Cb-1", -1), ("B#9", 132)],
)  # fmt: skip
def test_accidentals_move_the_note_and_not_its_octave(name: str, note: int) -> None:
    if 0 <= note <= 127:
        assert note_named(name) == note
    else:
        with pytest.raises(AuthorError, match="outside MIDI's notes 0 to 127"):
            note_named(name)


@given(note=st.integers(0, 127), centre=st.integers(-6, 8))
def test_a_name_is_read_back_however_it_is_spelled(note: int, centre: int) -> None:
    assert note_named(note_name(note, centre)) == note


# From octave 0 on: music21 reads a minus as a flat.
@given(note=st.integers(13, 127), centre=st.integers(-6, 8))
def test_every_spelling_names_its_note_to_music21_too(note: int, centre: int) -> None:
    assert music21.pitch.Pitch(note_name(note, centre).replace("b", "-")).ps == note


# Key signatures: number of sharps (flats negative), the seven names of the scale.
@pytest.mark.parametrize(
    ("sharps", "names"),
    [
        (0, "C D E F G A B"),
        (1, "G A B C D E F#"),
        (4, "E F# G# A B C# D#"),
        (6, "F# G# A# B C# D# E#"),
        (-1, "F G A Bb C D E"),
        (-3, "Eb F G Ab Bb C D"),
        (-5, "Db Eb F Gb Ab Bb C"),
    ],
)
def test_a_major_key_spells_its_own_scale(sharps: int, names: str) -> None:
    for name in names.split():
        assert spell(pitch_class_named(name), sharps + 1) == name


def test_without_a_key_the_black_keys_are_the_commonest_five() -> None:
    # Two sharps and three flats around C: Bb Eb Ab, F# C# (common practice, no source).
    assert [spell(n) for n in (1, 3, 6, 8, 10)] == ["C#", "Eb", "F#", "Ab", "Bb"]


@pytest.mark.parametrize(
    ("place", "name"),
    [(-8, "Fb"), (-7, "Cb"), (-2, "Bb"), (-1, "F"), (0, "C"), (5, "B"), (6, "F#"), (12, "B#"),
     (13, "F##"), (-9, "Bbb")],
)  # fmt: skip
def test_the_line_of_fifths_goes_on_in_both_directions(place: int, name: str) -> None:
    assert name_on_line(place) == name
    assert pitch_class_named(name) == place * 7 % 12


@pytest.mark.parametrize("text", ["", "H", "C4", "Bbbb", "C#b", " C", "60", "c♯♯"])
def test_what_is_no_pitch_class_is_refused_by_name(text: str) -> None:
    with pytest.raises(AuthorError, match="is no pitch name: write a letter A to G"):
        pitch_class_named(text)


@pytest.mark.parametrize("text", ["", "H4", "C", "C 4", "4C", "-1", "C--1", "C4.5", "٦٠", "C1000"])
def test_what_is_no_note_is_refused_by_name(text: str) -> None:
    with pytest.raises(AuthorError, match="is no note: write a name with its octave"):
        note_named(text)


@pytest.mark.parametrize("text", ["128", "99999", "9" * 5000, "G#9", "C10", "Cb-1", "C-2", "C-9"])
def test_a_note_that_midi_does_not_have_is_refused(text: str) -> None:
    with pytest.raises(AuthorError, match="outside MIDI's notes 0 to 127"):
        note_named(text)
