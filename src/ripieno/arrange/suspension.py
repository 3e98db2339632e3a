"""Suspensions: the fourth or the second held where the third will be.

4-3 comes down by a semitone to a major third and by two to a minor one; 2-3 goes up by two
and by one (a retardation, strictly; both are called suspended chords). While the suspended
tone sounds, the third sounds nowhere: the note of resolution is not doubled meanwhile
(figured-bass handbooks).
"""

from itertools import pairwise

from ripieno.arrange.voicing import HandVoicing, Voicing
from ripieno.theory.chord import Chord
from ripieno.theory.hand import above_low_limits

_ABOVE_ROOT = {4: 5, 2: 2}  # perfect fourth, major second


def third(chord: Chord) -> int | None:
    """The pitch class of the chord's third; None where it has none."""
    above = chord.quality.above_root(3)
    return None if above is None else (chord.root + above) % 12


def shift(chord: Chord, degree: int) -> int | None:
    """Semitones from the chord's third to the tone suspended before it, or None.

    None where a suspension makes no sense: the chord has no third (it may be a suspended
    chord itself), holds the suspended tone already, or has its third in the bass.
    """
    third = chord.quality.above_root(3)
    tone = _ABOVE_ROOT[degree]
    if third is None or tone in chord.quality.semitones or tone in chord.added:
        return None
    if (chord.bass - chord.root) % 12 == third:
        return None
    return tone - third


def suspended(voicing: Voicing, chord: Chord, degree: int, span: int) -> Voicing | None:
    """The voicing with its third held off, or None.

    None where `shift` has none, and where the moved voice would leave the hand's span, cross
    the other hand or sound muddy: then the chord comes as it is.
    """
    semitones = shift(chord, degree)
    if semitones is None:
        return None
    left, right = (
        hand and with_third_moved(hand, chord, semitones) for hand in (voicing.left, voicing.right)
    )
    hands = [hand.notes for hand in (left, right) if hand is not None]
    in_reach = all(notes[-1] - notes[0] <= span for notes in hands)
    apart = all(low[-1] < high[0] for low, high in pairwise(hands))
    clear = above_low_limits(tuple(note for notes in hands for note in notes))
    return Voicing(left, right) if in_reach and apart and clear else None


def with_third_moved(shape: HandVoicing, chord: Chord, semitones: int) -> HandVoicing:
    """The shape with its third, in every octave, replaced by the tone suspended before it."""
    third = chord.quality.above_root(3)
    moved = sorted(
        (note + semitones if (note - chord.root) % 12 == third else note, tone)
        for note, tone in zip(shape.notes, shape.tones, strict=True)
    )
    return HandVoicing(tuple(n for n, _ in moved), tuple(t for _, t in moved))
