"""Chords as degrees of a key: Roman numerals and number notation.

Roman numerals carry the inversion as figured bass does: 6 64 for triads, 7 65 43 42 for
sevenths. Upper case is a major third, lower case a minor one, ° diminished, ø half
diminished, + augmented; b or # before the numeral alters its degree (in minor, vii° stands
on the raised seventh without saying so). A figure of a seventh means the scale's seventh: in
C, I7 is C E G B. A minor seventh on a degree that has it not is an applied dominant, C7 in C
being V7/IV; a major one says so, Gmaj7 in C being Vmaj7. Other chords take the suffix of
their symbol, and the bass as a degree after the slash; a sixth chord is Iadd6, I6 being an
inversion.

Numbers follow the charts of the trade: a bare number is major, a dash minor, ° diminished,
a bass is written as a number (1/3). Charts raise what follows the number; here it stands in
parentheses where it begins with a digit: 5(7), not 57. A minor key is charted from its
relative major, 6- being home (cutlergrp.com; leadingworshipwell.com for the qualities).
"""

from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.key import Key, Mode
from ripieno.theory.symbol import extras, root_place

_NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")
_TRIAD_FIGURES = ("", "6", "64")
_SEVENTH_FIGURES = ("7", "65", "43", "42")
_MARKS = {"dim": "°", "dim7": "°", "hdim7": "ø", "aug": "+"}
_TRIADS = ("maj", "min", "dim", "aug")
_SEVENTHS = ("7", "maj7", "min7", "minmaj7", "hdim7", "dim7")
_PLAIN_FIGURE = ("min7", "hdim7", "dim7")  # the numeral's case and mark say which seventh


def roman(chord: Chord, key: Key) -> str:
    """The Roman numeral of a chord: `ii65`, `vii°6`, `bVI`, `V7/ii`."""
    if chord.added or chord.omitted or chord.quality.id not in _TRIADS + _SEVENTHS:
        return _with_suffix(chord, key)
    numeral = _numeral(chord, key) + _MARKS.get(chord.quality.id, "")
    if chord.quality.id in _TRIADS:
        return numeral + _TRIAD_FIGURES[chord.inversion]
    figure = _SEVENTH_FIGURES[chord.inversion]
    if chord.quality.id in _PLAIN_FIGURE or _scale_has_seventh(chord, key):
        return numeral + figure
    if chord.quality.id == "7":
        return f"V{figure}/{_target(chord, key)}"
    return f"{numeral}maj{figure}"


def number(chord: Chord, key: Key) -> str:
    """The chord in number notation: `1`, `2-`, `7°`, `b7`, `1/3`, `5-7`."""
    if key.mode is Mode.MINOR:
        key = Key(key.scale[2], Mode.MAJOR)
    suffix = _number_suffix(chord)
    raised = f"({suffix})" if suffix[:1].isdigit() else suffix
    text = _signed(*key.degree_at(root_place(chord, key))) + raised + extras(chord)
    return text if chord.bass == chord.root else f"{text}/{_bass_number(chord, key)}"


def _numeral(chord: Chord, key: Key) -> str:
    degree, alteration = key.degree_at(root_place(chord, key))
    third, fifth = chord.quality.above_root(3), chord.quality.above_root(5)
    leads = key.mode is Mode.MINOR and chord.root == key.leading_tone
    sign = "" if leads and (third, fifth) == (3, 6) else _sign(alteration)
    numeral = _NUMERALS[degree - 1]
    return sign + (numeral.lower() if third == 3 else numeral)


def _scale_has_seventh(chord: Chord, key: Key) -> bool:
    """Whether a bare 7 says what is there; on an altered degree it is the minor seventh."""
    if chord.quality.id == "minmaj7":
        return False
    altered = chord.root not in key.scale
    return key.owns(chord.root, chord.quality) or (altered and chord.quality.id == "7")


def _target(chord: Chord, key: Key) -> str:
    """The numeral of the chord a fifth below, which an applied dominant leads to."""
    root = (chord.root + 5) % 12
    if root in key.scale:
        root, quality = key.diatonic_triad(key.scale.index(root) + 1)
        return roman(Chord(root, quality, root), key)
    return roman(Chord(root, QUALITIES["maj"], root), key)


def _with_suffix(chord: Chord, key: Key) -> str:
    suffix = _number_suffix(chord).removeprefix("-")
    sixth = "add" if 6 in chord.quality.degrees else ""
    text = _numeral(chord, key) + sixth + suffix + extras(chord)
    return text if chord.bass == chord.root else f"{text}/{_bass_number(chord, key)}"


def _number_suffix(chord: Chord) -> str:
    quality = chord.quality
    if quality.id in _MARKS:
        return _MARKS[quality.id] + ("7" if 7 in quality.degrees else "")
    return f"-{quality.suffix[1:]}" if quality.above_root(3) == 3 else quality.suffix


def _bass_number(chord: Chord, key: Key) -> str:
    return _signed(*key.degree_of(chord.bass))


def _signed(degree: int, alteration: int) -> str:
    return f"{_sign(alteration)}{degree}"


def _sign(alteration: int) -> str:
    return "#" * alteration or "b" * -alteration
