"""A chord that comes a little early or late belongs to its beat: it sounds at once, on the grid."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import A4, C4, C5, E4, F4, G4, Note, Rig, even
from ripieno.perform.events import SetTempo
from ripieno.perform.hand_player import HandPlayer
from ripieno.perform.transport import Transport
from ripieno.style.model import (
    USUAL_CATCH,
    Begin,
    Catch,
    Figure,
    Lane,
    Meter,
    Spot,
    Step,
    Style,
    Swings,
    Touch,
)
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS, ns_from_ms

C_MAJOR, F_MAJOR = (C4, E4, G4), (F4, A4, C5)
EIGHTHS = Lane(Fraction(1, 2), (Step((1,)), Step((2,)), Step((3,)), Step((4,))), Begin.STRIKE)


def struck(lane: Lane = EIGHTHS, catch: Catch = USUAL_CATCH) -> Style:
    """One hand that plays a lane; at 60 a quarter is 1000 ms and an eighth 500."""
    style = replace(even("parallel-arpeggio"), catch=catch, swings=Swings.EIGHTHS)
    return replace(style, figures=(Figure((Meter(4, 4),), lane, None),))


def after_a_second_chord(style: Style, ms: float, **chosen: object) -> list[Note]:
    """What is struck from the second chord on, which comes at `ms`."""
    rig = Rig(style, **chosen)
    rig.chord(0, *C_MAJOR, until_ms=500)
    rig.chord(ms, *F_MAJOR, until_ms=ms + 300)
    return [note for note in rig.notes(ms + 3000) if note.ms >= ms]


def onsets(notes: list[Note], count: int = 4) -> list[float]:
    return [round(note.ms, 3) for note in notes[:count]]


@pytest.mark.parametrize("ms", [1950, 1941, 2000, 2030, 2079])
def test_a_struck_lane_sounds_at_once_and_goes_on_from_the_beat_the_chord_belongs_to(
    ms: float,
) -> None:
    notes = after_a_second_chord(struck(), ms)
    assert onsets(notes) == [ms, 2500, 3000, 3500]
    first, second, *_ = sorted({note.note for note in notes})
    assert [note.note for note in notes[:2]] == [first, second], "each step of the cycle once"


@pytest.mark.parametrize("ms", [1930, 2090, 2200])
def test_a_chord_that_belongs_to_no_beat_is_counted_from_where_it_is(ms: float) -> None:
    assert onsets(after_a_second_chord(struck(), ms)) == [ms, ms + 500, ms + 1000, ms + 1500]


def test_a_chord_near_a_place_between_the_beats_belongs_to_that_place() -> None:
    assert onsets(after_a_second_chord(struck(), 2460)) == [2460, 3000, 3500, 4000]
    threes = replace(EIGHTHS, every_quarters=Fraction(3, 4))
    assert onsets(after_a_second_chord(struck(threes), 1960)) == [1960, 2750, 3500, 4250]
    assert onsets(after_a_second_chord(struck(threes), 2740)) == [2740, 3490, 4240, 4990], (
        "a grid that the beats do not divide into has its places from the strike alone"
    )


def test_a_style_says_how_early_and_how_late() -> None:
    strict, wide = Catch(late_ms=0, early_ms=0), Catch(late_ms=150, early_ms=140)
    for ms in (1990, 2010):
        assert onsets(after_a_second_chord(struck(catch=strict), ms), 2) == [ms, ms + 500]
    for ms in (1861, 2149):
        assert onsets(after_a_second_chord(struck(catch=wide), ms), 2) == [ms, 2500]
    for ms in (1859, 2151):
        assert onsets(after_a_second_chord(struck(catch=wide), ms), 2) == [ms, ms + 500]


@pytest.mark.parametrize(("early_ms", "next_ms"), [(24, 2100), (26, 2074)])
def test_neither_reaches_further_than_the_styles_part_of_a_step(
    early_ms: float, next_ms: float
) -> None:
    quick = replace(EIGHTHS, every_quarters=Fraction(1, 4))  # 100 ms at 150
    notes = after_a_second_chord(
        struck(quick, Catch(part=Fraction(1, 4))), 2000 - early_ms, bpm=150.0
    )
    assert onsets(notes, 2) == [2000 - early_ms, next_ms]


def test_both_of_two_struck_hands_belong_to_the_beat() -> None:
    style = struck()
    quarters = replace(EIGHTHS, every_quarters=Fraction(1))
    both = replace(style, figures=(Figure((Meter(4, 4),), quarters, EIGHTHS),))
    notes = after_a_second_chord(both, 1955)
    assert sorted({note.ms for note in notes})[:4] == [1955, 2500, 3000, 3500]
    assert [sum(note.ms == ms for note in notes) for ms in (1955, 2500, 3000)] == [2, 1, 2]


@pytest.mark.parametrize("ms", [1950, 2070])
def test_a_detached_note_struck_off_its_place_keeps_its_length(ms: float) -> None:
    short = replace(EIGHTHS, length=Fraction(1, 10))
    notes = after_a_second_chord(struck(short), ms)
    assert [(note.ms, note.length_ms) for note in notes[:2]] == [(ms, 50), (2500, 50)]


@pytest.mark.parametrize("ms", [1950, 2070])
def test_a_joined_note_struck_off_its_place_ends_where_the_next_begins(ms: float) -> None:
    notes = after_a_second_chord(struck(), ms)
    assert [(note.ms, note.length_ms) for note in notes[:2]] == [(ms, 2500 - ms), (2500, 500)]
    nearly = replace(EIGHTHS, length=Fraction(9, 10))
    late = after_a_second_chord(struck(nearly), 2070)
    assert late[0].ms + late[0].length_ms == 2500, "never past the next place"


def test_a_swung_lane_counts_its_pairs_from_the_beat() -> None:
    for ms in (1950, 2070):
        notes = after_a_second_chord(struck(), ms, swing=Fraction(2))
        assert onsets(notes) == [ms, 2666.667, 3000, 3666.667]
    between = after_a_second_chord(struck(), 2490, swing=Fraction(2))
    assert onsets(between, 3) == [2490, 3156.667, 3490], "no pair begins there"


@pytest.mark.parametrize("change_ms", [1960, 1980])
def test_a_tempo_that_changes_before_the_beat_has_come_strikes_no_step_again(
    change_ms: float,
) -> None:
    rig = Rig(struck())
    rig.chord(0, *C_MAJOR, until_ms=500)
    rig.chord(1960, *F_MAJOR, until_ms=2100)
    rig.events.append(SetTempo(ns_from_ms(change_ms), 120.0))
    notes = [note for note in rig.notes(3000) if note.ms >= 1960]
    beat_ms = change_ms + (2000 - change_ms) / 2
    assert onsets(notes, 3) == [1960, beat_ms + 250, beat_ms + 500]


def test_a_late_key_of_an_early_chord_changes_the_notes_and_no_times() -> None:
    rig = Rig(struck())
    rig.chord(0, *C_MAJOR, until_ms=500)
    rig.press(1950, *F_MAJOR)
    rig.press(1985, 63)  # its seventh
    notes = [note for note in rig.notes(3600) if note.ms >= 1950]
    assert onsets([note for note in notes if note.ms != 1985]) == [1950, 2500, 3000, 3500]


def test_a_hand_that_has_been_struck_can_be_started_at_a_place_again() -> None:
    transport = Transport(0, Fraction(0), Fraction(1000 * NS_PER_MS), Meter(4, 4))
    hand = HandPlayer(Side.LEFT, EIGHTHS, Touch(), None, Random(1))
    hand.start_struck(transport, ns_from_ms(1960), ns_from_ms(1960))
    assert hand.step_due_ns == ns_from_ms(1960)
    hand.start(transport, Fraction(4))
    assert hand.step_due_ns == ns_from_ms(4000)


@given(st.integers(600_000, 3_400_000))
@settings(max_examples=60, deadline=None)
def test_whenever_a_chord_comes_its_first_step_is_struck_now_and_no_other_is_left_out(
    us: int,
) -> None:
    notes = after_a_second_chord(struck(), us / 1000)
    times = [note.ms for note in notes]
    assert times[0] == us / 1000
    apart = [later - before for before, later in pairwise(times)]
    assert 500 - 80.001 <= apart[0] <= 500 + 60.001
    assert all(abs(length - 500) < 0.001 for length in apart[1:])
    cycle = [note.note for note in notes]
    assert cycle == sorted(cycle[:4]) + cycle[: len(cycle) - 4]


def test_a_bar_lane_corrects_a_step_as_late_as_its_style_says() -> None:
    bars = Lane(Fraction(1), (Step((Spot.ALL,)),))
    for late_ms, corrected in ((119, True), (121, False)):
        notes = after_a_second_chord(struck(bars, Catch(late_ms=120)), 2000 + late_ms)
        assert (notes[0].ms == 2000 + late_ms) is corrected
    never = after_a_second_chord(struck(bars, Catch(late_ms=0)), 2001)
    assert notes[0].ms == never[0].ms == 3000


@pytest.mark.parametrize(("keys", "waits_ms"), [((C4,), 200), ((C4, G4), 35)])
def test_a_chord_that_was_long_in_doubt_belongs_to_the_beat_it_was_struck_at(
    keys: tuple[int, ...], waits_ms: float
) -> None:
    rig = Rig(struck())
    rig.chord(0, *C_MAJOR, until_ms=500)
    rig.chord(2060, *keys, until_ms=2500)
    notes = [note for note in rig.notes(4100) if note.ms >= 2060 + waits_ms]
    assert onsets(notes) == [2060 + waits_ms, 2500, 3000, 3500]
