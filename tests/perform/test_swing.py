"""Swing that goes by the tempo.

Facts: Friberg & Sundström 2002, Music Perception 19(3), 333-349: the ratio falls about linearly
with the tempo, from 3.5 to 1 where it is slow to 1 to 1 where it is fast; the short note lasts
about 100 ms at medium and fast tempi. With 100 ms: ratio = (60000 / bpm - 100) / 100.
"""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import C4, E4, G4, Rig, even
from ripieno.perform.events import SetTempo
from ripieno.perform.swing import PAIR_PARTS, ratio_at
from ripieno.style.model import Figure, Lane, Meter, Spot, Step, Style, Swings
from ripieno.units import ns_from_ms, ns_per_quarter

EIGHTH, SIXTEENTH = Fraction(1, 2), Fraction(1, 4)
TEMPI = st.floats(20, 400)


def swing_at(bpm: float, unit: Fraction = EIGHTH) -> Fraction:
    return ratio_at(ns_per_quarter(bpm, Fraction(1)), unit)


def swinging(every: Fraction = EIGHTH, swings: Swings = Swings.EIGHTHS) -> Style:
    """One hand that strikes every place of its grid."""
    lane = Lane(every, (Step((Spot.BOTTOM,)),))
    style = replace(even("parallel-arpeggio"), swings=swings)
    return replace(style, figures=(Figure((Meter(4, 4), Meter(7, 8)), lane, None),))


def onsets(rig: Rig, until_ms: float) -> list[float]:
    rig.chord(0, C4, E4, G4, until_ms=200)
    return [round(note.ms, 3) for note in rig.notes(until_ms)]


@pytest.mark.parametrize(
    ("bpm", "ratio"),
    [(60, 3.5), (120, 3.5), (150, 3.0), (180, 2.333), (200, 2.0), (240, 1.5), (300, 1.0), (400, 1)],
)
def test_the_ratio_falls_as_the_tempo_rises(bpm: float, ratio: float) -> None:
    assert abs(swing_at(bpm) - ratio) < 0.02


@given(TEMPI)
def test_the_ratio_is_never_over_what_was_measured_nor_under_even(bpm: float) -> None:
    assert 1 <= swing_at(bpm) <= Fraction(7, 2)


@given(TEMPI, TEMPI)
def test_a_faster_tempo_never_swings_more(one: float, other: float) -> None:
    assert swing_at(max(one, other)) <= swing_at(min(one, other))


@given(st.floats(20, 300))
def test_the_short_note_lasts_100_ms_at_least_up_to_300_quarters_a_minute(bpm: float) -> None:
    pair_ms = 60_000 / bpm
    assert pair_ms / (1 + swing_at(bpm)) >= 100 - 0.001


@given(TEMPI)
def test_sixteenths_swing_as_eighths_do_at_twice_the_tempo(bpm: float) -> None:
    at_twice = ratio_at(ns_per_quarter(bpm, Fraction(1)) / 2, EIGHTH)
    assert swing_at(bpm, SIXTEENTH) == at_twice


@given(TEMPI, st.sampled_from([EIGHTH, SIXTEENTH]))
def test_every_ratio_counts_its_pair_in_the_same_parts(bpm: float, unit: Fraction) -> None:
    ratio = swing_at(bpm, unit)
    assert PAIR_PARTS % (ratio.numerator + ratio.denominator) == 0


def test_eighths_swing_by_the_tempo_when_no_ratio_is_told() -> None:
    assert onsets(Rig(swinging(), swing=None, bpm=200), 890) == [0, 200, 300, 500, 600, 800]
    slow = onsets(Rig(swinging(), swing=None, bpm=60), 1999)
    assert slow == [0, 777.778, 1000, 1777.778]


def test_sixteenths_and_finer_grids_swing_by_the_tempo_too() -> None:
    sixteenths = swinging(SIXTEENTH, Swings.SIXTEENTHS)
    assert onsets(Rig(sixteenths, swing=None, bpm=100), 590) == [0, 200, 300, 500]
    finer = onsets(Rig(swinging(SIXTEENTH), swing=None, bpm=200), 299)
    assert finer == [0, 100, 200, 250], "both halves are stretched evenly"


def test_a_fixed_ratio_does_not_mind_the_tempo() -> None:
    for bpm in (60.0, 200.0):
        beat_ms = 60_000 / bpm
        rig = Rig(swinging(), swing=Fraction(2), bpm=bpm)
        assert onsets(rig, 1.5 * beat_ms)[:3] == [0, round(beat_ms * 2 / 3, 3), beat_ms]
    told = Rig(swinging(), swing=Fraction(2), bpm=60.0)
    told.events.append(SetTempo(ns_from_ms(500), 200.0))
    assert onsets(told, 900)[:3] == [0, 550, 650]


def test_nothing_swings_in_a_meter_whose_bars_are_no_whole_pairs() -> None:
    for swing in (None, Fraction(2)):
        rig = Rig(swinging(), swing=swing, bpm=60, meter=Meter(7, 8))
        assert onsets(rig, 8900) == [1000.0 * eighth for eighth in range(9)]


def test_another_tempo_swings_its_own_way_from_the_next_pair_on() -> None:
    rig = Rig(swinging(), swing=None, bpm=60)
    rig.events.append(SetTempo(ns_from_ms(500), 200.0))
    # The pair under way keeps its 7 to 2: its short note is at 7/9 of the quarter.
    short_ms = 500 + (7 / 9 - 0.5) * 300
    assert onsets(rig, 1000) == [0, round(short_ms, 3), 650, 850, 950]
    # And so does the pair after it, 2 to 1, when it is slow again within it.
    rig = Rig(swinging(), swing=None, bpm=60)
    rig.events += [SetTempo(ns_from_ms(500), 200.0), SetTempo(ns_from_ms(700), 60.0)]
    assert onsets(rig, 2500)[2:] == [650, 1200, 1533.333, 2311.111]


def test_a_tempo_that_changes_after_the_short_note_leaves_it_where_it_was() -> None:
    rig = Rig(swinging(), swing=None, bpm=200)
    rig.events.append(SetTempo(ns_from_ms(210), 60.0))
    beat_ms = 210 + 0.3 * 1000
    assert onsets(rig, 2000)[:4] == [0, 200, beat_ms, round(beat_ms + 777.778, 3)]


@given(
    st.lists(st.tuples(st.integers(0, 5000), st.floats(40, 390)), max_size=12),
    st.sampled_from([EIGHTH, SIXTEENTH]),
)
@settings(max_examples=60, deadline=None)
def test_however_the_tempo_changes_each_step_is_struck_once_and_in_its_pair(
    changes: list[tuple[int, float]], every: Fraction
) -> None:
    rig = Rig(swinging(every), swing=None, bpm=120)
    straight = Rig(swinging(every), swing=Fraction(1), bpm=120)
    for each in (rig, straight):
        each.events += [SetTempo(ns_from_ms(ms), bpm) for ms, bpm in changes]
    swung, even_ones = onsets(rig, 6000), onsets(straight, 6000)
    a_pair = int(1 / every)
    assert swung[::a_pair] == even_ones[::a_pair], "where a pair begins nothing swings"
    assert all(before < after for before, after in pairwise(swung))
    assert len(even_ones) - a_pair < len(swung) <= len(even_ones)


def test_notes_end_where_the_next_begins_though_the_ratio_changes_between() -> None:
    rig = Rig(swinging(), swing=None, bpm=120)
    for ms, bpm in ((300, 200.0), (700, 90.0), (1150, 260.0), (1490, 110.0)):
        rig.events.append(SetTempo(ns_from_ms(ms), bpm))
    rig.chord(0, C4, E4, G4, until_ms=200)
    notes = rig.notes(4000)
    for before, after in pairwise(notes):
        assert before.ms + before.length_ms == after.ms
