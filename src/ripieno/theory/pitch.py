"""Note numbers, pitch classes and their names.

A note is a MIDI note number, 0..127, 60 being middle C (MIDI 1.0); it is called C4 here
(scientific pitch notation; some makers write C3, so files and journals keep numbers).
A pitch class is a note modulo the octave, 0..11, 0 being C.
Spelling follows the line of fifths: ... Gb Db Ab Eb Bb F C G D A E B F# C# G# D# A# ...
"""

import re

from ripieno.errors import AuthorError

LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
MIDDLE_C = 60
LOWEST, HIGHEST = 0, 127
PIANO_LOWEST, PIANO_HIGHEST = 21, 108  # A0 and C8: the 88 keys

_FIFTHS = "FCGDAEB"
_NAME = re.compile(r"([A-Ga-g])(#{1,2}|b{1,2}|♯|♭)?(-?\d+)?")


def name_on_line(position: int) -> str:
    """The name at a place on the line of fifths: F is -1, C 0, G 1, F# 6, Bb -2."""
    sharps, letter = divmod(position + 1, 7)
    return _FIFTHS[letter] + ("#" * sharps if sharps > 0 else "b" * -sharps)


def place_on_line(pitch_class: int, first: int) -> int:
    """Where a pitch class lies among the twelve places of the line of fifths from `first` on."""
    return (pitch_class * 7 - first) % 12 + first


def spell(pitch_class: int, centre: int = 1) -> str:
    """The name of `pitch_class` nearest to `centre` on the line of fifths.

    The twelve names reach from five places below the centre to six above. The default
    centre, 1, gives Ab Eb Bb F C G D A E B F# C#; a major key with `n` sharps has its
    centre at `n + 1`, so that its own seven names and the usual borrowed ones fall inside.
    """
    return name_on_line(place_on_line(pitch_class, centre - 5))


def note_name(note: int, centre: int = 1) -> str:
    """`C4` for 60. The octave is that of the letter: note 59 spelled as Cb is Cb4."""
    name = spell(note % 12, centre)
    accidentals = name.count("#") - name.count("b")
    return f"{name}{(note - accidentals) // 12 - 1}"


def pitch_class_named(text: str) -> int:
    """The pitch class of a name without octave: `Bb` is 10. Raises AuthorError."""
    match = _NAME.fullmatch(text)
    if match is None or match[3] is not None:
        raise AuthorError(f"'{text}' is no pitch name: write a letter A to G with # or b, as Eb")
    return (LETTERS[match[1].upper()] + _accidental(match[2])) % 12


def note_named(text: str) -> int:
    """The note number of `C4`, `bb3` or `60`. Raises AuthorError, also outside 0..127."""
    if text.isascii() and text.isdigit():
        note = int(text) if len(text) < 6 else HIGHEST + 1
    else:
        match = _NAME.fullmatch(text)
        if match is None or match[3] is None or len(match[3]) > 3:
            raise AuthorError(
                f"'{text}' is no note: write a name with its octave, as C4 or Eb3, or a number"
            )
        octave = int(match[3])
        note = LETTERS[match[1].upper()] + _accidental(match[2]) + 12 * (octave + 1)
    if not LOWEST <= note <= HIGHEST:
        raise AuthorError(f"'{text}' lies outside MIDI's notes 0 to 127 (C-1 to G9)")
    return note


def _accidental(sign: str | None) -> int:
    if sign is None:
        return 0
    return len(sign) * (1 if sign[0] in "#♯" else -1)
