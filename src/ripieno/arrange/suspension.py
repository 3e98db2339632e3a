"""Suspensions: the fourth or the second held where the third will be.

4-3 comes down by a semitone to a major third and by two to a minor one; 2-3 goes up by two
and by one (a retardation, strictly; both are called suspended chords). While the suspended
tone sounds, the third sounds nowhere: the note of resolution is not doubled meanwhile
(figured-bass handbooks).
"""

from ripieno.arrange.voicing import HandVoicing
from ripieno.theory.chord import Chord

_ABOVE_ROOT = {4: 5, 2: 2}  # perfect fourth, major second


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


def with_third_moved(shape: HandVoicing, chord: Chord, semitones: int) -> HandVoicing:
    """The shape with its third, in every octave, replaced by the tone suspended before it."""
    third = chord.quality.above_root(3)
    moved = sorted(
        (note + semitones if (note - chord.root) % 12 == third else note, tone)
        for note, tone in zip(shape.notes, shape.tones, strict=True)
    )
    return HandVoicing(tuple(n for n, _ in moved), tuple(t for _, t in moved))
