"""Suspended thirds: 4-3 falls by a semitone to a major third, by two to a minor; 2-3 rises by
two and by one (arithmetic of the intervals; a perfect fourth is 5 semitones, a major second 2).
"""

import pytest

from ripieno.arrange.suspension import shift
from ripieno.theory.chord import QUALITIES, Chord

C, G = 0, 7


def chord(quality: str, root: int = C, bass: int | None = None) -> Chord:
    return Chord(root, QUALITIES[quality], root if bass is None else bass)


# The third comes by this many semitones from the suspended tone: shift is the way back.
@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize(
    ("quality", "degree", "resolves_by"),
    [("maj", 4, -1), ("min", 4, -2), ("maj", 2, +2), ("min", 2, +1), ("7", 4, -1), ("maj7", 2, +2),
     ("min7", 4, -2), ("dim", 4, -2), ("aug", 2, +2)],
)  # fmt: skip
def test_the_suspended_tone_resolves_by_the_step_of_its_third(
    root: int, quality: str, degree: int, resolves_by: int
) -> None:
    assert shift(chord(quality, root), degree) == -resolves_by


@pytest.mark.parametrize("quality", ["sus4", "sus2"])
@pytest.mark.parametrize("degree", [4, 2])
def test_a_chord_without_a_third_suspends_nothing(quality: str, degree: int) -> None:
    assert shift(chord(quality), degree) is None


def test_a_chord_that_holds_the_tone_already_does_not_suspend_it() -> None:
    # The ninth is the second an octave up: 2-3 in a ninth chord would double what stays.
    assert shift(chord("9"), 2) is None
    assert shift(chord("9"), 4) == 1
    with_second = Chord(C, QUALITIES["maj"], C, added=frozenset({2}))
    assert shift(with_second, 2) is None
    assert shift(with_second, 4) == 1


@pytest.mark.parametrize(("quality", "third"), [("maj", 4), ("min", 3)])
def test_a_third_in_the_bass_is_not_suspended(quality: str, third: int) -> None:
    for root in (C, G):
        assert shift(chord(quality, root, bass=(root + third) % 12), 4) is None
        assert shift(chord(quality, root, bass=(root + 7) % 12), 4) == 5 - third
