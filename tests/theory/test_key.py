"""Keys against music21's, and the two ways from one key to a chord."""

import music21.key
import music21.roman
import pytest

from ripieno.errors import AuthorError
from ripieno.theory.chord import QUALITIES
from ripieno.theory.key import Key, Mode, chord_from_key, key_named
from ripieno.theory.pitch import pitch_class_named, spell

KEYS = [Key(tonic, mode) for mode in Mode for tonic in range(12)]

# Triads on the degrees (open.library.okstate.edu/musictheory; music21 and mingus agree).
MAJOR = ["maj", "min", "min", "maj", "maj", "min", "dim"]
NATURAL_MINOR = ["min", "dim", "maj", "min", "min", "maj", "maj"]


def music21_key(key: Key) -> music21.key.Key:
    tonic, mode = str(key).split()
    return music21.key.Key(tonic.replace("b", "-"), mode)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_scale_and_signature_are_music21s(key: Key) -> None:
    theirs = music21_key(key)
    assert [pitch.pitchClass for pitch in theirs.pitches[:7]] == list(key.scale)
    assert theirs.sharps == key.centre - 1


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_scale_is_spelled_with_each_letter_once(key: Key) -> None:
    names = [spell(pitch_class, key.centre) for pitch_class in key.scale]
    assert names == [pitch.name.replace("-", "b") for pitch in music21_key(key).pitches[:7]]


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_no_key_is_written_with_more_than_six_accidentals(key: Key) -> None:
    """The usual names of the circle of fifths; F# major and Eb minor stand for their twins."""
    assert abs(key.centre - 1) <= 6
    assert pitch_class_named(str(key).split()[0]) == key.tonic


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_relative_keys_share_their_spelling(key: Key) -> None:
    if key.mode is Mode.MAJOR:
        relative = Key(key.scale[5], Mode.MINOR)
        assert (relative.centre - key.centre) % 12 == 0
        assert sorted(relative.scale) == sorted(key.scale)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_degrees_and_alterations_are_music21s(key: Key) -> None:
    theirs = music21_key(key)
    for pitch_class in range(12):
        name = spell(pitch_class, key.place)
        pitch = music21.pitch.Pitch(name.replace("b", "-"))
        degree, accidental = theirs.getScaleDegreeAndAccidentalFromPitch(pitch)
        alteration = 0 if accidental is None else int(accidental.alter)
        assert key.degree_of(pitch_class) == (degree, alteration), name


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_diatonic_triads_are_those_of_the_major_and_natural_minor_scale(key: Key) -> None:
    expected = MAJOR if key.mode is Mode.MAJOR else NATURAL_MINOR
    found = [key.diatonic_triad(degree) for degree in range(1, 8)]
    assert [root for root, _ in found] == list(key.scale)
    assert [quality.id for _, quality in found] == expected


def names_of(key: Key) -> list[str]:
    triads = map(key.diatonic_triad, range(1, 8))
    return [spell(root, key.centre) + quality.suffix for root, quality in triads]


def test_triads_of_three_keys_by_name() -> None:
    """music21 and mingus agree on each."""
    assert names_of(key_named("C")) == ["C", "Dm", "Em", "F", "G", "Am", "Bdim"]
    assert names_of(key_named("A")) == ["A", "Bm", "C#m", "D", "E", "F#m", "G#dim"]
    assert names_of(key_named("Am")) == ["Am", "Bdim", "C", "Dm", "Em", "F", "G"]


# Sevenths of major and natural minor, and what harmonic minor adds (music21 and mingus agree).
OWNED = {
    "C major": "C:maj7 D:min7 E:min7 F:maj7 G:7 A:min7 B:hdim7 C:69 G:13 D:min11 G:7sus4",
    "A minor": "A:min7 B:hdim7 C:maj7 D:min7 E:min7 F:maj7 G:7 E:7 G#:dim7 C:aug E:7b9 A:minmaj7",
}
NOT_OWNED = {
    "C major": "C:7 D:7 A:7 G:7b9 B:dim7 F:min Bb:maj D:dim",
    "A minor": "B:dim7 D:dim7 F:dim7 E:maj7 A:maj A:7 E:aug F#:dim",
}


@pytest.mark.parametrize("name", OWNED)
def test_key_owns_the_chords_of_its_own_steps_and_no_others(name: str) -> None:
    key = key_named(name)
    for listed, owned in ((OWNED[name], True), (NOT_OWNED[name], False)):
        for chord in listed.split():
            root, quality_id = chord.split(":")
            assert key.owns(pitch_class_named(root), QUALITIES[quality_id]) is owned, chord


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_name_of_a_key_names_it(key: Key) -> None:
    assert key_named(str(key)) == key


@pytest.mark.parametrize(
    ("text", "tonic", "mode"),
    [
        ("G", 7, "major"),
        ("g", 7, "major"),
        ("Eb major", 3, "major"),
        ("f# minor", 6, "minor"),
        ("Am", 9, "minor"),
        ("bb", 10, "major"),
        ("bbm", 10, "minor"),
        ("bm", 11, "minor"),
        ("B♭ Minor", 10, "minor"),
        ("Cmaj", 0, "major"),
        ("C# min", 1, "minor"),
        (" Gb ", 6, "major"),
    ],
)
def test_keys_are_read_as_they_are_commonly_written(text: str, tonic: int, mode: str) -> None:
    assert key_named(text) == Key(tonic, Mode(mode))


@pytest.mark.parametrize("text", ["", "H", "C dorian", "C4", "minor", "C##", "Cm7", "\n", "C\nm"])
def test_what_is_no_key_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(AuthorError) as refused:
        key_named(text)
    assert "write a tonic and a mode" in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_one_key_of_the_scale_gives_its_triad_in_root_position(key: Key) -> None:
    for degree, pitch_class in enumerate(key.scale, 1):
        for octave in (0, 60, 108):
            chord = chord_from_key(octave + pitch_class, key)
            assert (chord.root, chord.quality) == key.diatonic_triad(degree)
            assert (chord.bass, chord.added, chord.omitted) == (chord.root, (), ())


def test_one_key_outside_the_scale_gives_the_triad_just_below() -> None:
    """Our choice: the beginner who slips upwards still plays a chord of the key."""
    in_c = {61: 0, 63: 2, 66: 5, 68: 7, 70: 9}
    assert {note: chord_from_key(note, key_named("C")).root for note in in_c} == in_c
    in_a_minor = {61: 0, 63: 2, 66: 5, 70: 9}
    assert {n: chord_from_key(n, key_named("Am")).root for n in in_a_minor} == in_a_minor


@pytest.mark.parametrize("tonic", range(12))
def test_raised_seventh_of_minor_gives_the_major_dominant_that_holds_it(tonic: int) -> None:
    """The dominant of harmonic minor: E G# B in A minor."""
    chord = chord_from_key(60 + tonic + 11, Key(tonic, Mode.MINOR))
    assert (chord.root, chord.quality.id) == ((tonic + 7) % 12, "maj")
