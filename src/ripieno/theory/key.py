"""Keys: a tonic and a mode, their scale, degrees, triads and spelling.

Minor is natural minor, to which the raised seventh of harmonic minor belongs as well: the
dominant of a minor key is major as often as minor, so both count as the key's own. Its
triads are the natural ones; `chord_from_key` gives the major dominant on the raised seventh.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from ripieno.errors import AuthorError
from ripieno.theory.chord import QUALITIES, Chord, Quality
from ripieno.theory.pitch import name_on_line, pitch_class_named, place_on_line

_NAME = re.compile(r"([A-Ga-g](?:#|b|♯|♭)?) *(major|maj|minor|min|m)?", re.IGNORECASE)


class Mode(StrEnum):
    MAJOR = "major"
    MINOR = "minor"


_STEPS = {Mode.MAJOR: (0, 2, 4, 5, 7, 9, 11), Mode.MINOR: (0, 2, 3, 5, 7, 8, 10)}
# The first of the twelve tonics on the line of fifths: Db to F#, Eb to G#. Of two names for
# one key the one with fewer accidentals; of F# and Gb, F#; of Eb and D# minor, Eb.
_FIRST_TONIC = {Mode.MAJOR: -5, Mode.MINOR: -3}
_RELATIVE_MAJOR = {Mode.MAJOR: 0, Mode.MINOR: -3}  # places on the line of fifths
_TRIADS = {QUALITIES[q].semitones: QUALITIES[q] for q in ("maj", "min", "dim")}


@dataclass(frozen=True, slots=True)
class Key:
    """A key. `tonic` is a pitch class."""

    tonic: int
    mode: Mode

    def __str__(self) -> str:
        return f"{name_on_line(self.place)} {self.mode}"

    @property
    def place(self) -> int:
        """The tonic's place on the line of fifths: C is 0, G 1, F -1."""
        return place_on_line(self.tonic, _FIRST_TONIC[self.mode])

    @property
    def centre(self) -> int:
        """What `pitch.spell` is centred on: one above the number of sharps in the signature."""
        return self.place + _RELATIVE_MAJOR[self.mode] + 1

    @property
    def scale(self) -> tuple[int, ...]:
        """The seven pitch classes upwards from the tonic."""
        return tuple([(self.tonic + step) % 12 for step in _STEPS[self.mode]])

    @property
    def leading_tone(self) -> int:
        """The pitch class below the tonic, in minor the raised seventh."""
        return (self.tonic - 1) % 12

    def degree_of(self, pitch_class: int) -> tuple[int, int]:
        """The degree, 1..7, and its alteration in semitones: in C, Ab is (6, -1), F# (4, 1).

        Between the degrees the names reach from b2 to #4 on the line of fifths; so the raised
        third, sixth and seventh of minor are altered degrees of their own.
        """
        return self.degree_at(place_on_line(pitch_class, self.place - 5))

    def degree_at(self, place: int) -> tuple[int, int]:
        """`degree_of` a name, given as a place on the line of fifths: in C, G# is (5, 1)."""
        degree = (place - self.place) * 4 % 7 + 1
        return degree, (place * 7 - self.scale[degree - 1] + 6) % 12 - 6

    def diatonic_triad(self, degree: int) -> tuple[int, Quality]:
        """Root and quality of the triad on a degree, 1..7; in minor the natural one."""
        scale = self.scale
        root, third, fifth = (scale[(degree - 1 + step) % 7] for step in (0, 2, 4))
        return root, _TRIADS[0, (third - root) % 12, (fifth - root) % 12]

    def owns(self, root: int, quality: Quality) -> bool:
        """Whether each tone of the chord is the scale's own note on its step.

        In A minor G# B D F is diatonic on G#, not on B, whose seventh would be A.
        """
        raised = (*self.scale[:6], self.leading_tone)
        return _is_in(self.scale, root, quality) or (
            self.mode is Mode.MINOR and _is_in(raised, root, quality)
        )


def _is_in(scale: tuple[int, ...], root: int, quality: Quality) -> bool:
    if root not in scale:
        return False
    step = scale.index(root) - 1
    return all(
        (root + semitones) % 12 == scale[(step + degree) % 7]
        for degree, semitones in zip(quality.degrees, quality.semitones, strict=True)
    )


def key_named(text: str) -> Key:
    """The key of `G`, `Eb major`, `f# minor` or `Am`; major where no mode is named.

    Raises AuthorError.
    """
    match = _NAME.fullmatch(text.strip())
    if match is None:
        raise AuthorError(f"{text!r} is no key: write a tonic and a mode, as G, Eb major or Am")
    mode = match[2] or "major"
    minor = mode == "m" or mode.lower().startswith("min")
    return Key(pitch_class_named(match[1]), Mode.MINOR if minor else Mode.MAJOR)


def chord_from_key(note: int, key: Key) -> Chord:
    """The chord that one key stands for: the diatonic triad on its degree, in root position.

    A note outside the scale takes the degree just below it; the raised seventh of minor takes
    the major dominant, whose third it is (our choice: else a minor key had no such chord).
    """
    pitch_class = note % 12
    scale = key.scale
    if key.mode is Mode.MINOR and pitch_class == key.leading_tone:
        return Chord(scale[4], QUALITIES["maj"], scale[4])
    below = min(range(7), key=lambda degree: (pitch_class - scale[degree]) % 12)
    root, quality = key.diatonic_triad(below + 1)
    return Chord(root, quality, root)
