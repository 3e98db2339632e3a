"""Suspensions: the fourth or the second held where the third will be.

4-3 comes down by a semitone to a major third and by two to a minor one; 2-3 goes up by two
and by one (a retardation, strictly; both are called suspended chords). While the suspended
tone sounds, the third sounds nowhere: the note of resolution is not doubled meanwhile
(figured-bass handbooks).
"""

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
