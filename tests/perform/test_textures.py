"""The five textures that pianists make of a triad progression (common practice, no source)."""

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest

from rig import C4, E4, G4, Rig, at, struck_at
from ripieno.arrange.pedal import UP_AFTER_NS
from ripieno.perform.events import SetSwing
from ripieno.style.model import Begin, Pedal, Style, Suspension, Swings
from ripieno.units import ns_from_ms

CHORDS = {
    "major": (C4, E4, G4),
    "minor": (57, 60, 64),
    "diminished": (59, 62, 65),
    "augmented": (C4, E4, 68),
}


def bass_and_right(notes: list[int]) -> tuple[list[int], list[int]]:
    """The three highest are the right hand's, in the styles that have a bass under a triad."""
    return notes[:-3], notes[-3:]


@pytest.mark.parametrize("keys", CHORDS.values(), ids=list(CHORDS))
def test_high_second_inversion_stands_an_octave_up_over_a_bass_and_is_held(
    keys: tuple[int, ...],
) -> None:
    root, third, fifth = keys
    rig = Rig("high-second-inversion")
    rig.chord(0, *keys, until_ms=900)
    notes = rig.notes(4000)
    assert list(struck_at(notes)) == [0]
    assert all(note.length_ms == 4000 for note in notes)
    bass, right = bass_and_right(at(notes, 0))
    assert [note % 12 for note in right] == [fifth % 12, root % 12, third % 12]
    assert min(right) > max(keys) - 12
    assert right[1] == root + 12
    assert all(note % 12 == root % 12 and note < root for note in bass)


def test_triplet_broken_plays_top_bottom_middle_twelve_times_a_bar() -> None:
    rig = Rig("triplet-broken")
    rig.chord(0, C4, E4, G4, until_ms=900)
    notes = [note for note in rig.notes(4000) if note.note >= 60]
    assert len(notes) == 12
    for number, note in enumerate(notes):
        assert abs(note.ms - number * 1000 / 3) < 0.001
    assert [note.note for note in notes] == [76, 67, 72] * 4


@pytest.mark.parametrize("keys", [CHORDS["major"], CHORDS["minor"], CHORDS["diminished"]])
@pytest.mark.parametrize("style", ["suspend-fourth", "suspend-second"])
def test_a_suspension_arrives_in_place_of_the_third_and_resolves_to_it(
    style: str, keys: tuple[int, ...]
) -> None:
    # 4-3 moves down by a semitone in major and two in minor, 2-3 up by two and by one.
    third = keys[1] - keys[0]
    tone = 5 if style == "suspend-fourth" else 2
    rig = Rig(style)
    rig.chord(0, *keys, until_ms=900)
    notes = rig.notes(4000)
    classes = {(note - keys[0]) % 12 for note in at(notes, 0)}
    assert classes == {0, tone, (keys[2] - keys[0]) % 12}
    resolution = [note for note in notes if note.ms > 0]
    (suspended,) = [note for note in notes if (note.note - keys[0]) % 12 == tone]
    assert [(note.note - keys[0]) % 12 for note in resolution] == [third]
    assert resolution[0].note - suspended.note == third - tone
    assert suspended.ms + suspended.length_ms == resolution[0].ms == 1000
    assert resolution[0].velocity < suspended.velocity + 4


@pytest.mark.parametrize("keys", list(itertools.permutations((C4, E4, G4))))
def test_a_suspension_does_not_hang_on_the_order_of_the_keys(keys: tuple[int, ...]) -> None:
    rig = Rig("suspend-fourth")
    for ms, key in zip((0, 5, 50), keys, strict=True):
        rig.press(ms, key)
    notes = rig.notes(4000)
    suspended = [note for note in notes if note.note % 12 == 5]
    first_ms = min(note.ms for note in notes)
    assert suspended
    assert {note.ms for note in notes if note.note % 12 == 4 and note.ms > 60} == {first_ms + 1000}


def suspending(style: Style, **changes: object) -> Style:
    return replace(style, suspension=Suspension(4, Fraction(1)), **changes)


def test_the_pedal_changes_with_the_first_notes_after_a_suspended_tone_that_it_held() -> None:
    rig = Rig(suspending(Rig("triplet-broken").style, pedal=Pedal.LEGATO))
    rig.chord(0, C4, E4, G4, until_ms=900)
    foot = [s for s in rig.sends(3000) if s.data[:2] == bytes((0xB0, 64))]
    fourth = next(note for note in rig.notes(3000) if note.note % 12 == 5)
    assert fourth.ms + fourth.length_ms < 1000, "it sounds on by the pedal alone"
    assert [s.data[2] for s in foot] == [127, 0, 127, 0], "down, changed, and up at the end"
    assert foot[1].due_ns == ns_from_ms(1000) + UP_AFTER_NS


def test_a_hand_that_another_swing_takes_over_from_resolves_what_it_still_holds() -> None:
    style = Rig("suspend-fourth").style
    [figure] = style.figures
    assert figure.right is not None
    whole = replace(figure.right, begins=Begin.BAR, repeats=True)
    figures = (replace(figure, left=whole, right=whole),)
    rig = Rig(suspending(style, figures=figures, swings=Swings.EIGHTHS), swing=Fraction(1))
    rig.chord(0, C4, E4, G4, until_ms=300)
    rig.events.append(SetSwing(ns_from_ms(500), Fraction(2)))
    notes = rig.notes(3900)
    assert [n.ms + n.length_ms for n in notes if n.note % 12 == 5] == [1000]
    assert [n.ms for n in notes if n.note % 12 == 4] == [1000]
    assert {n.length_ms for n in notes if n.note % 12 in (0, 7)} == {3900}, "the others go on"


def test_the_next_chord_may_come_before_the_suspension_has_resolved() -> None:
    rig = Rig("suspend-fourth")
    rig.chord(0, C4, E4, G4, until_ms=500)
    rig.chord(600, 65, 69, 72, until_ms=900)
    notes = rig.notes(4000)
    assert not any(note.note % 12 == 4 for note in notes)
    assert {note.note % 12 for note in notes if note.ms == 600} == {5, 10, 0}
    assert [note.note % 12 for note in notes if note.ms > 600] == [9]


def test_contrary_broken_moves_the_hands_against_each_other_at_the_same_instants() -> None:
    rig = Rig("contrary-broken")
    rig.chord(0, C4, E4, G4, until_ms=900)
    onsets = struck_at(rig.notes(1000))
    hands = [(min(notes), max(notes)) for notes in onsets.values()]
    assert all(len(notes) == 2 for notes in onsets.values())
    assert [low for low, _ in hands] == [48, 52, 55]
    assert [high for _, high in hands] == [67, 64, 60]


def test_contrary_broken_has_the_pedal_down() -> None:
    rig = Rig("contrary-broken")
    rig.chord(0, C4, E4, G4, until_ms=900)
    pedal = [(s.due_ns, s.data[2]) for s in rig.sends(4000) if s.data[:2] == bytes((0xB0, 64))]
    assert [value for _, value in pedal] == [127, 0]
    assert pedal[0][0] < 200_000_000
    assert pedal[1][0] == 4_000_000_000


def test_parallel_arpeggio_rises_in_both_hands_the_right_inverted_once() -> None:
    rig = Rig("parallel-arpeggio", swing=Fraction(1))
    rig.chord(0, C4, E4, G4, until_ms=900)
    onsets = struck_at(rig.notes(2000))
    assert list(onsets) == [0, 500, 1000, 1500]
    left = [min(notes) for notes in onsets.values()]
    right = [max(notes) for notes in onsets.values()]
    assert [n - left[0] for n in left] == [0, 4, 7, 12]
    assert left[0] % 12 == 0
    assert [n % 12 for n in right] == [4, 7, 0, 4]
    assert right == sorted(right)
    assert right[-1] - right[0] == 12
