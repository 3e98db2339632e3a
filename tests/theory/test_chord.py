"""The table of qualities against the libraries and the grammar it is taken from."""

import mir_eval.chord
import music21.harmony
import pychord
import pytest

from ripieno.theory.chord import QUALITIES, Chord, Quality
from ripieno.theory.pitch import spell

# Semitones above the root on which music21 10.5, pychord 1.4 and mingus 0.6 agree, run over
# their own tables. Where they do not, ours is music21's and pychord's: mingus leaves the third
# out of 11, the ninth out of m11, the eleventh out of the thirteenths, and gives maj7#5 a minor
# seventh; music21 reads C69 as C A D, where ours is pychord's.
TONES = {
    "maj": {0, 4, 7},
    "min": {0, 3, 7},
    "dim": {0, 3, 6},
    "aug": {0, 4, 8},
    "sus2": {0, 2, 7},
    "sus4": {0, 5, 7},
    "7sus4": {0, 5, 7, 10},
    "9sus4": {0, 2, 5, 7, 10},
    "5": {0, 7},
    "6": {0, 4, 7, 9},
    "min6": {0, 3, 7, 9},
    "69": {0, 2, 4, 7, 9},
    "7": {0, 4, 7, 10},
    "maj7": {0, 4, 7, 11},
    "min7": {0, 3, 7, 10},
    "minmaj7": {0, 3, 7, 11},
    "hdim7": {0, 3, 6, 10},
    "dim7": {0, 3, 6, 9},
    "aug7": {0, 4, 8, 10},
    "maj7#5": {0, 4, 8, 11},
    "7b5": {0, 4, 6, 10},
    "add9": {0, 2, 4, 7},
    "madd9": {0, 2, 3, 7},
    "add11": {0, 4, 5, 7},
    "9": {0, 2, 4, 7, 10},
    "maj9": {0, 2, 4, 7, 11},
    "min9": {0, 2, 3, 7, 10},
    "7b9": {0, 1, 4, 7, 10},
    "7#9": {0, 3, 4, 7, 10},
    "11": {0, 2, 4, 5, 7, 10},
    "min11": {0, 2, 3, 5, 7, 10},
    "maj11": {0, 2, 4, 5, 7, 11},
    "7#11": {0, 4, 6, 7, 10},
    "maj7#11": {0, 4, 6, 7, 11},
    "13": {0, 2, 4, 5, 7, 9, 10},
    "min13": {0, 2, 3, 5, 7, 9, 10},
    "maj13": {0, 2, 4, 5, 7, 9, 11},
}

# The names that pychord 1.4 and music21 10.5 have for our qualities, where they have one.
PYCHORD = {
    "maj": "",
    "min": "m",
    "dim": "dim",
    "aug": "aug",
    "majb5": "(b5)",
    "sus2": "sus2",
    "sus4": "sus4",
    "5": "5",
    "6": "6",
    "min6": "m6",
    "7": "7",
    "maj7": "maj7",
    "min7": "m7",
    "minmaj7": "mM7",
    "hdim7": "m7b5",
    "dim7": "dim7",
    "aug7": "7#5",
    "maj7#5": "maj7+5",
    "7b5": "7b5",
    "7sus4": "7sus4",
    "add9": "add9",
    "madd9": "madd9",
    "add11": "add11",
    "69": "69",
    "min69": "m69",
    "9": "9",
    "maj9": "maj9",
    "min9": "m9",
    "9sus4": "9sus4",
    "7b9": "7b9",
    "7#9": "7#9",
    "7#11": "7#11",
    "maj7#11": "maj7#11",
    "min7add11": "m7add11",
    "11": "11",
    "min11": "m11",
    "13": "13",
    "13#11": "13#11",
    "maj13": "maj13",
}
MUSIC21 = {
    "maj": "",
    "min": "m",
    "dim": "dim",
    "aug": "+",
    "sus2": "sus2",
    "sus4": "sus4",
    "7sus4": "7sus4",
    "5": "5",
    "6": "6",
    "min6": "m6",
    "7": "7",
    "maj7": "maj7",
    "min7": "m7",
    "minmaj7": "mM7",
    "hdim7": "ø7",
    "dim7": "o7",
    "aug7": "7+",
    "maj7#5": "+M7",
    "7b5": "dom7dim5",
    "add9": "add9",
    "madd9": "madd9",
    "add11": "add11",
    "9": "9",
    "maj9": "M9",
    "min9": "m9",
    "7b9": "7b9",
    "7#9": "7#9",
    "11": "11",
    "min11": "m11",
    "maj11": "M11",
    "7#11": "7#11",
    "maj7#11": "M7#11",
    "13": "13",
    "min13": "m13",
    "maj13": "M13",
}


def tones(quality: Quality, root: int = 0) -> set[int]:
    return {(root + semitones) % 12 for semitones in quality.semitones}


@pytest.mark.parametrize("quality_id", TONES)
def test_quality_has_the_tones_that_the_libraries_agree_on(quality_id: str) -> None:
    assert tones(QUALITIES[quality_id]) == TONES[quality_id]


@pytest.mark.parametrize("quality_id", PYCHORD)
def test_quality_is_pychords_on_all_twelve_roots(quality_id: str) -> None:
    for root in range(12):
        chord = pychord.Chord(spell(root) + PYCHORD[quality_id])
        theirs = {note % 12 for note in chord.components(visible=False)}
        assert tones(QUALITIES[quality_id], root) == theirs, chord


@pytest.mark.parametrize("quality_id", MUSIC21)
def test_quality_is_music21s(quality_id: str) -> None:
    symbol = music21.harmony.ChordSymbol("C" + MUSIC21[quality_id])
    assert tones(QUALITIES[quality_id]) == {pitch.pitchClass for pitch in symbol.pitches}


@pytest.mark.parametrize("quality", QUALITIES.values(), ids=lambda quality: quality.id)
def test_hartes_name_encodes_the_quality(quality: Quality) -> None:
    label = f"C:{quality.harte}"
    mir_eval.chord.validate_chord_label(label)
    _, bitmap, _ = mir_eval.chord.encode(label, reduce_extended_chords=True)
    assert {semitones for semitones in range(12) if bitmap[semitones]} == tones(quality)


@pytest.mark.parametrize("quality", QUALITIES.values(), ids=lambda quality: quality.id)
def test_degrees_are_stacked_and_their_semitones_belong_to_them(quality: Quality) -> None:
    """Degree sizes are mir_eval's; a sixth is major, a seventh may be diminished."""
    assert list(quality.degrees) == sorted(set(quality.degrees))
    for degree, semitones in zip(quality.degrees, quality.semitones, strict=True):
        natural = mir_eval.chord.scale_degree_to_semitone(str(degree)) % 12
        assert (semitones - natural + 6) % 12 - 6 in range(-2 if degree == 7 else -1, 2)


def test_every_quality_differs_from_every_other() -> None:
    assert len({frozenset(tones(quality)) for quality in QUALITIES.values()}) == len(QUALITIES)
    assert len({quality.suffix for quality in QUALITIES.values()}) == len(QUALITIES)
    assert all(quality.id == name for name, quality in QUALITIES.items())


@pytest.mark.parametrize(
    ("quality_id", "bass", "inversion"),
    [
        ("maj", 0, 0),
        ("maj", 4, 1),
        ("min", 7, 2),
        ("7", 10, 3),
        ("6", 9, 3),
        ("maj", 2, 0),
        ("add9", 2, 0),
        ("11", 5, 0),
        ("13", 9, 0),
        ("9", 10, 3),
        ("69", 9, 3),
    ],
)
def test_inversion_counts_the_tones_below_which_the_root_lies(
    quality_id: str, bass: int, inversion: int
) -> None:
    """5/3, 6/3, 6/4 and 4/2 of figured bass.

    A bass the chord does not have is no inversion, nor is a ninth, eleventh or thirteenth.
    """
    added = () if bass in QUALITIES[quality_id].semitones else (bass,)
    assert Chord(0, QUALITIES[quality_id], bass, added).inversion == inversion


def test_above_root_gives_the_first_degree_that_the_quality_has() -> None:
    assert QUALITIES["sus4"].above_root(3, 4, 2) == 5
    assert QUALITIES["min7"].above_root(3, 4, 2) == 3
    assert QUALITIES["5"].above_root(3, 4, 2) is None


def test_a_chord_has_the_tones_of_its_quality_its_bass_and_what_is_added() -> None:
    # Bb7(no5, add 13) over D, common practice, no source: Bb D F Ab and G.
    chord = Chord(10, QUALITIES["7"], 2, added=(9,), omitted=(5,))
    assert chord.pitch_classes == {10, 2, 5, 8, 7}
    assert Chord(0, QUALITIES["maj"], 2, added=(2,)).pitch_classes == {0, 4, 7, 2}
