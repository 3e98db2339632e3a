"""How chords are written: chord symbols for players, Harte's labels for machines.

A symbol is the root, the quality's suffix, in parentheses what is added and left out, and
after a slash a bass that is not the root: `C`, `Am7/G`, `C7(no5)`, `C(add#11)`, `C/D`. What
extended chords leave out between seventh and top goes without saying: `C13` for C E Bb A.

Roots are spelled on the line of fifths, around the key. Chords with a major third take the
flat names of what lies between the degrees (in C: Db Eb Ab Bb, but F#), diminished ones the
sharp names (C# D# F# G#, but Bb), minor ones lie between (C# Eb F# Ab Bb). Without a key the
common names stand: Db Eb F# Ab Bb for chords with a major third, C# Eb F# G# Bb for the
others. All this is common practice, no source. A bass is spelled from the root: D/F#, and in
C# minor G#/B#; but outside a key Eaug/C, not Eaug/B#.
"""

from ripieno.theory.chord import Chord
from ripieno.theory.key import Key
from ripieno.theory.pitch import name_on_line, place_on_line

_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
_DEGREE_FIFTHS = (0, 2, 4, -1, 1, 3, 5)  # places of degrees 1..7 on the line, from the root
_COMMON_NAMES = range(-7, 12)  # places on the line of fifths: Cb to E#

# What semitones above the root are called when they are added to a quality.
_TENSIONS = {
    1: "b9",
    2: "9",
    3: "#9",
    4: "3",
    5: "11",
    6: "#11",
    7: "5",
    8: "b13",
    9: "13",
    10: "b7",
    11: "7",
}
# And when they are a bass that the chord does not have.
_BASSES = _TENSIONS | {1: "b2", 2: "2", 3: "b3", 5: "4", 6: "#4", 8: "b6", 9: "6"}


def symbol(chord: Chord, key: Key | None = None) -> str:
    """The chord symbol, spelled in `key` or by the common names of roots."""
    text = name_on_line(tone_place(chord, chord.root, key)) + chord.quality.suffix + extras(chord)
    if chord.bass == chord.root:
        return text
    return f"{text}/{name_on_line(tone_place(chord, chord.bass, key))}"


def label(chord: Chord) -> str:
    """The chord in the syntax of Harte et al. 2005: `C:maj/5`, `Bb:7(*5)`, `D:sus4(b7)`."""
    shorthand, _, listed = chord.quality.harte.rstrip(")").partition("(")
    degrees = listed.split(",") if listed else []
    degrees += [_TENSIONS[semitones] for semitones in _added(chord)]
    degrees += [f"*{degree_name(chord, pitch_class)}" for pitch_class in _omitted(chord)]
    text = f"{name_on_line(root_place(chord, None))}:{shorthand}"
    if degrees:
        text += f"({','.join(degrees)})"
    return text if chord.bass == chord.root else f"{text}/{degree_name(chord, chord.bass)}"


def tone_place(chord: Chord, pitch_class: int, key: Key | None = None) -> int:
    """Where on the line of fifths a tone's name lies, spelled from the chord's root.

    Chords that the key owns keep its names; others, and tones beside the quality, are spared
    B#, Fb and double accidentals.
    """
    names = None if key and key.owns(chord.root, chord.quality) else _COMMON_NAMES
    root = _within(names, root_place(chord, key))
    above = (pitch_class - chord.root) % 12
    if above not in chord.quality.semitones:
        return _within(_COMMON_NAMES, place_on_line(pitch_class, root - 5))
    degree = chord.quality.degrees[chord.quality.semitones.index(above)]
    natural = root + _DEGREE_FIFTHS[(degree - 1) % 7]
    return _within(names, natural + 7 * _alteration(degree, above))


def degree_name(chord: Chord, pitch_class: int) -> str:
    """What a tone of the keys is in the chord: `1`, `b3`, `bb7`, or `#11` if it is added."""
    above = (pitch_class - chord.root) % 12
    if above not in chord.quality.semitones:
        names = _BASSES if pitch_class == chord.bass else _TENSIONS
        return names[above]
    degree = chord.quality.degrees[chord.quality.semitones.index(above)]
    return _written(degree, above)


def root_place(chord: Chord, key: Key | None) -> int:
    """Where on the line of fifths the root lies, as a degree of the key if there is one."""
    minor = chord.quality.above_root(3) == 3
    if key is None:
        return place_on_line(chord.root, -3 if minor else -5)
    if not minor:
        return place_on_line(chord.root, key.place - 5)
    diminished = chord.quality.above_root(5) == 6
    return place_on_line(chord.root, key.centre - (3 if diminished else 5))


def extras(chord: Chord) -> str:
    """What is added and left out, in parentheses; empty where there is nothing to say."""
    names = ["maj7" if semitones == 11 else _TENSIONS[semitones] for semitones in _added(chord)]
    if names and 7 not in chord.quality.degrees:
        names[0] = f"add{names[0]}"
    names += [f"no{degree}" for degree in chord.omitted if not _is_inner(chord, degree)]
    return f"({','.join(names)})" if names else ""


def _is_inner(chord: Chord, degree: int) -> bool:
    """Whether a degree is a natural extension between the seventh and the top."""
    natural = chord.quality.above_root(degree) == _MAJOR_SCALE[(degree - 1) % 7]
    return 7 < degree < max(chord.quality.degrees) and natural


def _within(names: range | None, place: int) -> int:
    return place if names is None or place in names else place_on_line(place * 7, -5)


def _added(chord: Chord) -> list[int]:
    """The added semitones that are not there as the bass alone."""
    bass = (chord.bass - chord.root) % 12
    return [semitones for semitones in chord.added if semitones != bass]


def _omitted(chord: Chord) -> list[int]:
    """The pitch classes that the quality has and the keys do not."""
    parallel = zip(chord.quality.degrees, chord.quality.semitones, strict=True)
    return [(chord.root + above) % 12 for degree, above in parallel if degree in chord.omitted]


def _written(degree: int, semitones: int) -> str:
    alteration = _alteration(degree, semitones)
    return ("#" * alteration or "b" * -alteration) + str(degree)


def _alteration(degree: int, semitones: int) -> int:
    """Semitones by which a degree, 1..13, differs from the major scale's."""
    return (semitones - _MAJOR_SCALE[(degree - 1) % 7] + 6) % 12 - 6
