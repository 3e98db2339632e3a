"""Every shipped style over every chord: two hands can play it, and it sounds clear.

Low interval limits: the strictest of three published tables (facts stand in `theory.hand`).
"""

import pytest

from rig import STYLE_IDS, STYLES
from ripieno.arrange import suspension
from ripieno.arrange.voicing import HandVoicing, Voicing, voice
from ripieno.style.load import load_style
from ripieno.style.model import Inversion, Tone
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.hand import above_low_limits

SPAN = 12  # an octave, the default
SHIPPED = {style: load_style(STYLES / f"{style}.yaml") for style in STYLE_IDS}


def chords() -> list[Chord]:
    """Every quality on every root over each of its tones and one note that it lacks."""
    found = []
    for quality in QUALITIES.values():
        for root in range(12):
            found += [Chord(root, quality, (root + tone) % 12) for tone in quality.semitones]
            foreign = next(s for s in (2, 10, 11, 1) if s not in quality.semitones)
            found.append(Chord(root, quality, (root + foreign) % 12, added=(foreign,)))
    return found


CHORDS = chords()


def assert_playable(voicing: Voicing, chord: Chord) -> None:
    notes: tuple[int, ...] = ()
    for hand in (voicing.left, voicing.right):
        if hand is None:
            continue
        assert len(hand.notes) <= 5
        assert hand.notes[-1] - hand.notes[0] <= SPAN, chord
        assert not notes or notes[-1] < hand.notes[0], f"the hands cross: {chord}"
        notes += hand.notes
    assert list(notes) == sorted(notes)
    assert above_low_limits(notes), f"{notes} of {chord} sounds muddy"
    assert all(21 <= note <= 108 for note in notes)


@pytest.mark.parametrize("style", STYLE_IDS)
def test_no_style_leaves_the_hands_or_the_low_limits_over_any_chord(style: str) -> None:
    shipped = SHIPPED[style]
    previous = None
    for chord in CHORDS:
        previous = voice(shipped.left, shipped.right, chord, previous, SPAN)
        assert_playable(previous, chord)


@pytest.mark.parametrize("style", [s for s in STYLE_IDS if SHIPPED[s].suspension is not None])
def test_a_suspended_voicing_is_playable_too_and_has_no_third(style: str) -> None:
    shipped = SHIPPED[style]
    assert shipped.suspension is not None
    suspended_chords, previous = 0, None
    for chord in CHORDS:
        previous = voice(shipped.left, shipped.right, chord, previous, SPAN)
        moved = suspension.suspended(previous, chord, shipped.suspension.degree, SPAN)
        plain_triad = chord.quality.id in ("maj", "min", "dim") and chord.bass == chord.root
        assert moved is not None or not plain_triad, chord
        if moved is None:
            continue
        suspended_chords += 1
        assert_playable(moved, chord)
        third = (chord.root + (chord.quality.above_root(3) or 0)) % 12
        hands = [hand for hand in (moved.left, moved.right) if hand is not None]
        assert third not in {note % 12 for hand in hands for note in hand.notes}
    assert suspended_chords > 500


@pytest.mark.parametrize("style", [s for s in STYLE_IDS if SHIPPED[s].left and SHIPPED[s].right])
def test_the_third_and_the_seventh_are_never_given_up(style: str) -> None:
    # Handbooks: of four and more tones the perfect fifth is left out first.
    shipped = SHIPPED[style]
    for chord in CHORDS:
        third = chord.quality.above_root(3, 4, 2)
        seventh = chord.quality.above_root(7)
        voicing = voice(shipped.left, shipped.right, chord, None, SPAN)
        assert voicing.left is not None
        assert voicing.right is not None
        sounding = {(n - chord.root) % 12 for n in voicing.left.notes + voicing.right.notes}
        assert {tone for tone in (third, seventh) if tone is not None} <= sounding, chord


@pytest.mark.parametrize("style", [s for s in STYLE_IDS if SHIPPED[s].left])
def test_the_bass_is_the_lowest_note_of_the_left_hand(style: str) -> None:
    # A left hand that may turn to the nearest inversion keeps a slash chord's bass all the same.
    left = SHIPPED[style].left
    assert left is not None
    for chord in CHORDS:
        if left.inversion is Inversion.NEAREST and chord.bass == chord.root:
            continue
        voicing = voice(left, SHIPPED[style].right, chord, None, SPAN)
        assert voicing.left is not None
        assert voicing.left.notes[0] % 12 == chord.bass, chord


def test_an_octave_shape_keeps_no_third_in_its_octave_while_suspended() -> None:
    chord = Chord(0, QUALITIES["maj"], 0)
    shape = HandVoicing((64, 67, 72, 76), (Tone.THIRD, Tone.FIFTH, Tone.ROOT, Tone.OCTAVE))
    assert suspension.with_third_moved(shape, chord, 1).notes == (65, 67, 72, 77)
