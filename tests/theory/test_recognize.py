"""Reading keys as chords, against music theory's definitions and two libraries."""

from collections import Counter
from itertools import combinations

import mir_eval.chord
import music21.corpus
import music21.roman
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.theory.chord import QUALITIES, Chord, Quality
from ripieno.theory.key import Key, Mode, key_named
from ripieno.theory.pitch import pitch_class_named
from ripieno.theory.recognize import recognize
from ripieno.theory.symbol import label, symbol


def close_position(names: str) -> list[int]:
    """Names from the bass up, each the next of its kind above the one before."""
    keys: list[int] = []
    for name in names.split():
        above = pitch_class_named(name)
        keys.append(above + 36 if not keys else keys[-1] + (above - keys[-1] - 1) % 12 + 1)
    return keys


def read(names: str, key: Key | None = None, previous: Chord | None = None) -> str:
    return symbol(recognize(close_position(names), key, previous).chord, key)


# Which chord is meant, by the bass: pychord's first answer and mingus' for the same notes
# (music21 has no C6 and calls C F G quartal).
BY_THE_BASS = {
    "C E G": "C",
    "E G C": "C/E",
    "G C E": "C/G",
    "C F G": "Csus4",
    "F G C": "Fsus2",
    "C D G": "Csus2",
    "G C D": "Gsus4",
    "A C E G": "Am7",
    "C E G A": "C6",
    "B D F A": "Bm7b5",
    "D F A B": "Dm6",
    "C Eb Gb A": "Cdim7",
    "Eb Gb A C": "Ebdim7",
    "C E G#": "Caug",
    "E G# C": "Eaug",
}


@pytest.mark.parametrize("names", BY_THE_BASS)
def test_bass_decides_between_chords_of_the_same_tones(names: str) -> None:
    assert read(names) == BY_THE_BASS[names]


# Common practice, no source.
OUR_CHOICE = {
    "E G A C": "Am7/E",
    "G A C E": "Am7/G",
    "F A B D": "Bm7b5/F",
    "C E Bb": "C7(no5)",
    "E Bb C": "C7(no5)/E",
    "C E B": "Cmaj7(no5)",
    "C E": "C(no5)",
    "E C": "C(no5)/E",
    "C Eb": "Cm(no5)",
    "C A": "Am(no5)/C",
    "G C": "C5/G",
    "C Bb": "C7(no3,no5)",
    "C": "C(no3,no5)",
    "C G Bb": "C7(no3)",
    "D C E G": "C/D",
    "G F A C": "F/G",
    "C Bb D F": "Bb/C",
    "C F# A# C#": "F#/C",
    "G D F A C": "G9sus4",
    "Bb C E G": "C7/Bb",
    "D C E G Bb": "C7/D",
    "D C E F G Bb": "C11/D",
    "C E Bb A": "C13(no5)",
    "C E G Bb A": "C13",
    "C E G Bb D A": "C13",
    "C E G Bb Ab": "C7(b13)",
    "C E G Bb D F#": "C9(#11)",
    "C E G F#": "C(add#11)",
    "A C D E G": "Am7(add11)",
    "C D E F# G": "Cadd9(add#11)",
    "C G Ab": "Abmaj7(no5)/C",
    "C F# G": "C(add#11,no3)",
}


@pytest.mark.parametrize("names", OUR_CHOICE)
def test_incomplete_extended_and_slash_chords_read_as_players_write_them(names: str) -> None:
    assert read(names) == OUR_CHOICE[names]


TRIADS = {"maj": (0, 4, 7), "min": (0, 3, 7), "dim": (0, 3, 6)}


@pytest.mark.parametrize("quality_id", TRIADS)
@pytest.mark.parametrize("inversion", range(3))
def test_triads_are_recognised_with_their_inversion(quality_id: str, inversion: int) -> None:
    for root in range(12):
        keys = [48 + root + semitones for semitones in TRIADS[quality_id]]
        keys[:inversion] = [key + 12 for key in keys[:inversion]]
        reading = recognize(keys)
        assert (reading.chord.root, reading.chord.quality.id) == (root, quality_id)
        assert (reading.chord.inversion, reading.chord.bass) == (inversion, min(keys) % 12)
        assert not reading.chord.added
        assert not reading.chord.omitted


def test_doublings_octaves_and_order_change_nothing() -> None:
    wide = recognize([84, 43, 64, 60, 76, 43])
    assert wide.chord == recognize([55, 60, 64]).chord
    assert wide.keys == (43, 60, 64, 76, 84)


def test_lowest_key_is_the_bass_wherever_it_was_given() -> None:
    assert recognize([67, 60, 52]).chord.bass == 4


def test_every_set_over_every_bass_has_a_label_that_names_exactly_its_keys() -> None:
    """All 4095 sets of pitch classes; mir_eval 0.8 reads the labels."""
    for count in range(1, 13):
        for pitch_classes in combinations(range(12), count):
            for bass in pitch_classes:
                chord = recognize([36 + bass, *(60 + pc for pc in pitch_classes)]).chord
                written = label(chord)
                mir_eval.chord.validate_chord_label(written)
                root, bitmap, above = mir_eval.chord.encode(written, reduce_extended_chords=True)
                named = {(root + semitones) % 12 for semitones in range(12) if bitmap[semitones]}
                assert named == set(pitch_classes), written
                assert (root, (root + above) % 12) == (chord.root, bass), written


def test_every_set_is_accounted_for_tone_by_tone() -> None:
    for held in range(1, 4096, 2):
        above = {semitones for semitones in range(12) if held >> semitones & 1}
        chord = recognize([60 + semitones for semitones in above]).chord
        parallel = zip(chord.quality.degrees, chord.quality.semitones, strict=True)
        kept = {semitones for degree, semitones in parallel if degree not in chord.omitted}
        assert {(chord.root + tone) % 12 for tone in kept.union(chord.added)} == above
        assert not kept & set(chord.added)
        assert list(chord.added) == sorted(chord.added)
        assert list(chord.omitted) == sorted(chord.omitted)


notes = st.sets(st.integers(24, 96), min_size=1, max_size=10)
keys = st.none() | st.builds(Key, st.integers(0, 11), st.sampled_from(Mode))
chords = st.none() | st.builds(
    lambda root, quality: Chord(root, quality, root),
    st.integers(0, 11),
    st.sampled_from(list(QUALITIES.values())),
)


def moved(chord: Chord, by: int) -> Chord:
    root, bass = (chord.root + by) % 12, (chord.bass + by) % 12
    return Chord(root, chord.quality, bass, chord.added, chord.omitted)


@given(notes, st.integers(-24, 24), keys, chords)
def test_recognition_commutes_with_transposition(
    held: set[int], by: int, key: Key | None, previous: Chord | None
) -> None:
    there = recognize(
        [note + by for note in held],
        key and Key((key.tonic + by) % 12, key.mode),
        previous and moved(previous, by),
    )
    here = recognize(held, key, previous)
    assert there.chord == moved(here.chord, by)
    assert there.alternatives == tuple(moved(chord, by) for chord in here.alternatives)


@given(notes, keys, chords)
def test_alternatives_are_few_and_differ_from_the_reading(
    held: set[int], key: Key | None, previous: Chord | None
) -> None:
    reading = recognize(held, key, previous)
    assert len(reading.alternatives) <= 4
    assert len({reading.chord, *reading.alternatives}) == 1 + len(reading.alternatives)


def on(name: str, quality_id: str) -> Chord:
    root = pitch_class_named(name)
    return Chord(root, QUALITIES[quality_id], root)


def test_previous_root_decides_between_equally_likely_chords() -> None:
    """C F G over G: a suspension of C that was there before (common practice, no source)."""
    assert read("G C F", previous=on("C", "maj")) == "Csus4/G"
    assert read("G C F", previous=on("F", "maj")) == "Fsus2/G"


# The seventh chords of a major key (open.library.okstate.edu/musictheory): V7, ii7; and the
# diminished seventh of a minor key, which stands on its raised seventh degree.
BY_THE_KEY = [
    ("C Bb", "F major", "C7(no3,no5)"),
    ("C Bb", "Bb major", "Cm7(no3,no5)"),
    ("C G Bb", "F major", "C7(no3)"),
    ("C G Bb", "Eb major", "Cm7(no3)"),
    ("C B D F Ab", "C minor", "Bdim7/C"),
    ("C B D F Ab", "A minor", "G#dim7/C"),
]


@pytest.mark.parametrize(("names", "key", "expected"), BY_THE_KEY)
def test_key_decides_between_equally_likely_chords(names: str, key: str, expected: str) -> None:
    assert read(names, key_named(key)) == expected


def test_key_comes_before_the_previous_chord() -> None:
    assert read("C B D F Ab", key_named("C minor"), on("G#", "dim7")) == "Bdim7/C"
    assert read("C B D F Ab", None, on("G#", "dim7")) == "G#dim7/C"


def test_key_and_previous_chord_leave_a_clear_reading_alone() -> None:
    assert read("C E G A", key_named("Am"), on("A", "min7")) == "C6"
    assert read("C E G", key_named("F#"), on("A", "min7")) == "C"
    assert read("F A B D", previous=on("D", "min")) == "Bm7b5/F"


BACH_IDS = ("maj", "min", "dim", "aug", "7", "maj7", "min7", "hdim7", "dim7")
BACH_QUALITIES = {QUALITIES[id_].semitones: QUALITIES[id_] for id_ in BACH_IDS}
# What the bass decides against the analyst, who knows where the chord leads. Each of these
# sets has two names (sus4(x) = sus2(x+5) has its like in 6(x) = m7(x+9), m6(x) = m7b5(x+9)).
READ_FROM_THE_BASS = {
    ("min7", 1): ("6", 0),
    ("hdim7", 1): ("min6", 0),
    ("dim7", 1): ("dim7", 0),
    ("dim7", 2): ("dim7", 0),
    ("dim7", 3): ("dim7", 0),
}


def test_bach_chorales_read_as_the_analysts_numerals() -> None:
    """Roman numerals of six chorales (A. Jones, in music21's corpus), expanded by music21.

    Compared are all triads and sevenths: root, quality and inversion.
    """
    kinds: Counter[str] = Counter()
    for chorale in (1, 2, 3, 4, 6, 9):
        score = music21.corpus.parse(f"bach/choraleAnalyses/riemenschneider{chorale:03d}")
        for numeral in score.recurse().getElementsByClass(music21.roman.RomanNumeral):
            kinds[compare_with_analyst(numeral)] += 1
    assert kinds["as analysed"] > 250
    assert kinds["as analysed"] > 20 * kinds["from the bass"] > 0


def compare_with_analyst(numeral: music21.roman.RomanNumeral) -> str:
    root = numeral.root().pitchClass
    above = tuple(dict.fromkeys((pitch.pitchClass - root) % 12 for pitch in numeral.pitches))
    quality = next((q for s, q in BACH_QUALITIES.items() if set(s) == set(above)), None)
    if quality is None:
        return "neither triad nor seventh"
    key = Key(numeral.key.tonic.pitchClass, Mode(numeral.key.mode))
    reading = recognize([pitch.midi for pitch in numeral.pitches], key)
    analysed = described(root, quality, numeral.inversion())
    if chord_described(reading.chord) == analysed:
        return "as analysed"
    expected = READ_FROM_THE_BASS[quality.id, numeral.inversion()]
    assert (reading.chord.quality.id, reading.chord.inversion) == expected, numeral
    assert analysed in map(chord_described, reading.alternatives), numeral
    return "from the bass"


def described(root: int, quality: Quality, inversion: int) -> tuple[int, str, int]:
    return root, quality.id, inversion


def chord_described(chord: Chord) -> tuple[int, str, int]:
    return described(chord.root, chord.quality, chord.inversion)
