"""Roman numerals against music21, numbers against the trade's charts."""

from itertools import product

import music21.key
import music21.roman
import pytest

from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.key import Key, Mode, key_named
from ripieno.theory.numerals import number, roman
from ripieno.theory.pitch import pitch_class_named
from ripieno.theory.symbol import symbol

KEYS = [Key(tonic, mode) for mode in Mode for tonic in range(12)]
BY_TONES = {frozenset(quality.semitones): quality for quality in QUALITIES.values()}

# The numerals of major, and of minor with what its raised seventh adds.
TRIADS = {
    Mode.MAJOR: "I ii iii IV V vi vii°",
    Mode.MINOR: "i ii° III iv v VI VII V vii° III+",
}
SEVENTHS = {
    Mode.MAJOR: "I ii iii IV V vi viiø vii°",
    Mode.MINOR: "i iiø III iv v VI VII V vii°",
}
# vii°7 in major borrows its seventh from minor: its double flats are not written.
BORROWED_SEVENTH = "vii°42"


def numerals(key: Key) -> list[str]:
    triads = product(TRIADS[key.mode].split(), ("", "6", "64"))
    sevenths = product(SEVENTHS[key.mode].split(), ("7", "65", "43", "42"))
    return ["".join(parts) for parts in (*triads, *sevenths)]


def expanded(figure: str, key: Key) -> tuple[Chord, music21.roman.RomanNumeral]:
    """What music21 makes of a numeral, as our chord and as its own."""
    tonic, mode = str(key).split()
    theirs = music21.roman.RomanNumeral(
        figure.replace("°", "o"), music21.key.Key(tonic.replace("b", "-"), mode)
    )
    root = theirs.root().pitchClass
    quality = BY_TONES[frozenset((pitch.pitchClass - root) % 12 for pitch in theirs.pitches)]
    return Chord(root, quality, theirs.bass().pitchClass), theirs


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_music21_expands_our_numeral_to_the_chord_it_names(key: Key) -> None:
    for figure in numerals(key):
        chord, _ = expanded(figure, key)
        assert roman(chord, key) == figure


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_chords_of_a_key_are_spelled_as_music21_spells_them(key: Key) -> None:
    for figure in numerals(key):
        chord, theirs = expanded(figure, key)
        root, bass = (p.name.replace("-", "b") for p in (theirs.root(), theirs.bass()))
        if key.mode is Mode.MAJOR and figure == BORROWED_SEVENTH:
            continue
        written = root + chord.quality.suffix + (f"/{bass}" if bass != root else "")
        assert symbol(chord, key) == written


# In C, all expanded by music21 to the tones of the chord beside them.
CHROMATIC = {
    "V7/V": "D:7",
    "V65/ii": "A:7/C#",
    "V42/IV": "C:7/Bb",
    "V7/vi": "E:7",
    "bVI": "Ab:maj",
    "bII6": "Db:maj/F",
    "bVII": "Bb:maj",
    "bIII64": "Eb:maj/Bb",
    "iv": "F:min",
    "#iv°7": "F#:dim7",
    "#i°7": "C#:dim7",
    "v7": "G:min7",
}


@pytest.mark.parametrize("figure", CHROMATIC)
def test_chromatic_chords_have_the_numerals_of_the_textbooks(figure: str) -> None:
    key = key_named("C")
    chord = in_harte(CHROMATIC[figure])
    assert roman(chord, key) == figure
    theirs = music21.roman.RomanNumeral(figure.replace("°", "o"), "C")
    tones = {(chord.root + semitones) % 12 for semitones in chord.quality.semitones}
    assert {pitch.pitchClass for pitch in theirs.pitches} == tones
    assert theirs.bass().pitchClass == chord.bass


def in_harte(text: str) -> Chord:
    text, _, bass = text.partition("/")
    root, _, quality_id = text.partition(":")
    low = pitch_class_named(bass or root)
    return Chord(pitch_class_named(root), QUALITIES[quality_id], low)


# Common practice, no source.
OTHER_CHORDS = {
    "C:6": "Iadd6",
    "G:7sus4": "V7sus4",
    "D:min9": "ii9",
    "C:add9/E": "Iadd9/3",
    "G:maj7": "Vmaj7",
    "Bb:7": "bVII7",
    "F:7": "V7/bVII",
    "F:minmaj7": "ivmaj7",
}


@pytest.mark.parametrize("chord", OTHER_CHORDS)
def test_other_chords_take_their_suffix(chord: str) -> None:
    assert roman(in_harte(chord), key_named("C")) == OTHER_CHORDS[chord]


# leadingworshipwell.com and cutlergrp.com: a dash is minor, ° diminished, b and # stand before
# the number, a slash bass is a number too.
NUMBERS = {
    "G": "G:maj=1 A:min=2- B:min=3- C:maj=4 D:maj=5 E:min=6- F#:dim=7° F:maj=b7 Bb:maj=b3 "
    "G:maj/B=1/3 D:7/F#=5(7)/7 A:min7=2-7 C:maj7=4maj7 F#:hdim7=7ø7 D:7sus4=5(7sus4)",
    "Em": "E:min=6- G:maj=1 B:maj=3 D:maj=5",
    "Bb": "Bb:maj=1 C:min=2- D:min=3- Eb:maj=4 F:maj=5 G:min=6- A:dim=7° F:maj/A=5/7",
}


@pytest.mark.parametrize("key", NUMBERS)
def test_numbers_are_those_of_the_charts(key: str) -> None:
    for pair in NUMBERS[key].split():
        chord, _, expected = pair.partition("=")
        assert number(in_harte(chord), key_named(key)) == expected, chord


def test_progression_1_5_6_4_in_g_is_g_d_em_c() -> None:
    """The commonest progression of pop charts."""
    chords = [in_harte(text) for text in ("G:maj", "D:maj", "E:min", "C:maj")]
    assert [number(chord, key_named("G")) for chord in chords] == ["1", "5", "6-", "4"]
