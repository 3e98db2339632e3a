"""Chord symbols and labels as they are written."""

import pychord
import pytest

from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_named, pitch_class_named
from ripieno.theory.recognize import recognize
from ripieno.theory.symbol import degree_name, label, symbol


def on(root: str, quality_id: str, bass: str | None = None) -> Chord:
    low = pitch_class_named(bass or root)
    return Chord(pitch_class_named(root), QUALITIES[quality_id], low)


# pychord 1.4 has m(add9) as madd9, 6/9 as 69, mMaj7 as mM7, maj7#5 as maj7+5, m7(add11) as
# m7add11, and no m(add11), maj11 or m13. All other symbols it reads as we write them.
NOT_PYCHORDS = {
    *("1", "madd9", "69", "min69", "minmaj7", "maj7#5", "min7add11"),
    *("madd11", "maj11", "min13"),
}


@pytest.mark.parametrize("quality_id", sorted(QUALITIES.keys() - NOT_PYCHORDS))
def test_pychord_reads_our_symbols_as_the_chords_they_are(quality_id: str) -> None:
    for root in range(12):
        chord = Chord(root, QUALITIES[quality_id], root)
        theirs = pychord.Chord(symbol(chord)).components(visible=False)
        ours = {(root + semitones) % 12 for semitones in chord.quality.semitones}
        assert {note % 12 for note in theirs} == ours


# Common practice, no source.
COMMON_NAMES = {
    "maj": "C Db D Eb E F F# G Ab A Bb B",
    "7": "C7 Db7 D7 Eb7 E7 F7 F#7 G7 Ab7 A7 Bb7 B7",
    "min": "Cm C#m Dm Ebm Em Fm F#m Gm G#m Am Bbm Bm",
    "dim": "Cdim C#dim Ddim Ebdim Edim Fdim F#dim Gdim G#dim Adim Bbdim Bdim",
}


@pytest.mark.parametrize("quality_id", COMMON_NAMES)
def test_roots_without_a_key_have_their_common_names(quality_id: str) -> None:
    written = [symbol(Chord(root, QUALITIES[quality_id], root)) for root in range(12)]
    assert written == COMMON_NAMES[quality_id].split()


@pytest.mark.parametrize(
    ("chord", "written"),
    [
        (on("D", "maj", "F#"), "D/F#"),
        (on("Bb", "7", "Ab"), "Bb7/Ab"),
        (on("G#", "min", "B"), "G#m/B"),
        (on("E", "aug", "C"), "Eaug/C"),
        (on("Bb", "hdim7", "E"), "Bbm7b5/E"),
        (on("F#", "maj", "A#"), "F#/A#"),
        (Chord(4, QUALITIES["maj"], 5, (1,)), "E/F"),
        (Chord(0, QUALITIES["maj"], 6, (6,)), "C/F#"),
        (Chord(8, QUALITIES["maj"], 6, (10,)), "Ab/Gb"),
    ],
)
def test_bass_is_spelled_from_the_root(chord: Chord, written: str) -> None:
    """The letter of a chord tone follows from its degree; other basses by common practice."""
    assert symbol(chord) == written


@pytest.mark.parametrize(
    ("key", "chord", "written"),
    [
        ("C", on("Db", "maj7"), "Dbmaj7"),
        ("C", on("C#", "dim7"), "C#dim7"),
        ("C", on("Ab", "maj"), "Ab"),
        ("C", on("F#", "hdim7"), "F#m7b5"),
        ("Am", on("G#", "dim7"), "G#dim7"),
        ("Am", on("E", "maj", "G#"), "E/G#"),
        ("Am", on("Bb", "maj", "D"), "Bb/D"),
        ("C# minor", on("G#", "maj", "C"), "G#/B#"),
        ("Db", on("Gb", "maj"), "Gb"),
        ("B", on("F#", "7"), "F#7"),
        ("F#", on("C", "maj"), "C"),
    ],
)
def test_chromatic_chords_are_spelled_for_their_key(key: str, chord: Chord, written: str) -> None:
    """Neapolitan and borrowed chords flat, leading diminished sevenths sharp (harmony primers)."""
    assert symbol(chord, key_named(key)) == written


@pytest.mark.parametrize(
    ("notes", "written", "labelled"),
    [
        ("C3 E3 G3", "C", "C:maj"),
        ("G3 C4 E4", "C/G", "C:maj/5"),
        ("Eb3 C4 G4", "Cm/Eb", "C:min/b3"),
        ("D3 C4 E4 G4", "C/D", "C:maj/2"),
        ("C3 E3 Bb3", "C7(no5)", "C:7(*5)"),
        ("D3 G3 A3 C4", "D7sus4", "D:sus4(b7)"),
        ("C3 E3 F#3 G3", "C(add#11)", "C:maj(#11)"),
        ("C3 E3 G3 Bb3 Ab4", "C7(b13)", "C:7(b13)"),
        ("C3 E3 Bb3 A4", "C13(no5)", "C:13(*5,*9,*11)"),
        ("Bb3 D4 F#4 A4", "Bbmaj7#5", "Bb:aug(7)"),
        ("F3 B3 D4 G#4", "Fdim7", "F:dim7"),
        ("C4", "C(no3,no5)", "C:1"),
        ("C3 E3 G3 B3 Bb4", "C7(maj7)", "C:7(7)"),
    ],
)
def test_symbol_and_label_say_what_is_added_left_out_and_below(
    notes: str, written: str, labelled: str
) -> None:
    """Labels by the grammar of Harte et al. 2005, symbols by common practice, no source."""
    chord = recognize(map(note_named, notes.split())).chord
    assert (symbol(chord), label(chord)) == (written, labelled)


def test_symbols_of_a_song_in_flats_stay_in_flats() -> None:
    key = key_named("Eb")
    chords = [key.diatonic_triad(degree) for degree in range(1, 8)]
    written = [symbol(Chord(root, quality, root), key) for root, quality in chords]
    assert written == ["Eb", "Fm", "Gm", "Ab", "Bb", "Cm", "Ddim"]


def test_degree_names_are_those_of_the_chord() -> None:
    """The seventh of a diminished seventh chord is diminished (bb7, Harte et al. 2005)."""
    assert degree_name(on("B", "dim7"), pitch_class_named("Ab")) == "bb7"
    assert degree_name(on("C", "7#9"), pitch_class_named("Eb")) == "#9"
    assert degree_name(Chord(0, QUALITIES["maj"], 0, (6,)), pitch_class_named("F#")) == "#11"
