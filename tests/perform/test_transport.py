"""Where an instant lies in the music, and when a place in it is due."""

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.transport import Transport, swung
from ripieno.style.model import COMMON_TIME, Meter
from ripieno.units import NS_PER_MS, NS_PER_S, ns_per_quarter

QUARTER = Fraction(1)
EIGHTH = Fraction(1, 2)


def transport(bpm: float = 60.0, meter: Meter = Meter(4, 4), at_ns: int = 0) -> Transport:  # noqa: B008 - frozen
    return Transport(at_ns, Fraction(0), ns_per_quarter(bpm, meter.beat_quarters), meter)


bpms = st.floats(20, 400)
positions = st.fractions(0, 10_000, max_denominator=96)


def test_a_place_is_due_so_many_quarters_after_the_start() -> None:
    # 120 quarters a minute: half a second each; 90 dotted quarters: 135 quarters (arithmetic).
    assert transport(120, at_ns=7).due_ns(Fraction(3)) == 7 + 1_500_000_000
    assert transport(90, Meter(6, 8)).due_ns(Fraction(9, 4)) == NS_PER_S


@given(bpm=bpms, at_ns=st.integers(0, 2**50), now_ns=st.integers(0, 2**50))
def test_an_instant_is_due_when_it_is(bpm: float, at_ns: int, now_ns: int) -> None:
    running = transport(bpm, at_ns=at_ns)
    assert running.due_ns(running.position_at(now_ns)) == now_ns


@given(bpm=bpms, place=positions)
def test_a_place_is_found_again_at_its_due_time_to_the_nanosecond(
    bpm: float, place: Fraction
) -> None:
    running = transport(bpm)
    off = abs(running.position_at(running.due_ns(place)) - place)
    assert off * running.ns_per_quarter <= 1


@given(bpm=bpms, other=bpms, now_ns=st.integers(0, 2**45))
def test_a_tempo_change_keeps_the_place_and_moves_what_is_to_come(
    bpm: float, other: float, now_ns: int
) -> None:
    before = transport(bpm)
    quarter = ns_per_quarter(other, QUARTER)
    after = before.at_tempo(now_ns, quarter)
    assert after.position_at(now_ns) == before.position_at(now_ns)
    assert after.due_ns(after.position_at(now_ns) + 7) == now_ns + round(7 * quarter)


@given(
    place=positions,
    downbeat=st.fractions(0, 8, max_denominator=12),
    apart=st.fractions(Fraction(1, 12), 4, max_denominator=12),
)
def test_the_nearest_place_is_whole_steps_from_a_downbeat_and_no_more_than_half_a_step_off(
    place: Fraction, downbeat: Fraction, apart: Fraction
) -> None:
    running = Transport(0, Fraction(0), Fraction(NS_PER_S), COMMON_TIME, downbeat)
    nearest, late, parts = running.nearest(place, apart)
    assert (nearest - downbeat) % apart == 0
    assert Fraction(late, parts) == place - nearest
    assert abs(place - nearest) <= apart / 2


def test_ten_thousand_tempo_changes_add_up_to_no_drift() -> None:
    luck = Random(1)
    running, now_ns, exact = transport(120), 0, Fraction(0)
    for _ in range(10_000):
        gone_ns = luck.randint(1, 2 * NS_PER_S)
        now_ns += gone_ns
        exact += gone_ns / running.ns_per_quarter
        running = running.at_tempo(now_ns, ns_per_quarter(luck.uniform(20, 400), QUARTER))
    off_ns = abs(running.position_at(now_ns) - exact) * running.ns_per_quarter
    assert off_ns < 100
    assert running.anchor_quarters.denominator <= 10**12, "nor do the fractions grow"


# Bar and beat of some positions, in quarters, counted by hand.
@pytest.mark.parametrize(
    ("meter", "place", "bar_and_beat"),
    [
        (Meter(4, 4), Fraction(0), (1, 1)),
        (Meter(4, 4), Fraction(7, 2), (1, 4)),
        (Meter(4, 4), Fraction(4), (2, 1)),
        (Meter(3, 4), Fraction(8), (3, 3)),
        (Meter(2, 2), Fraction(2), (1, 2)),
        (Meter(6, 8), Fraction(1), (1, 1)),
        (Meter(6, 8), Fraction(3, 2), (1, 2)),
        (Meter(6, 8), Fraction(3), (2, 1)),
        (Meter(12, 8), Fraction(9, 2), (1, 4)),
        (Meter(7, 8), Fraction(3), (1, 7)),
        (Meter(7, 8), Fraction(7, 2), (2, 1)),
        (Meter(3, 8), Fraction(1), (1, 3)),
    ],
    ids=str,
)
def test_bars_and_beats_are_the_meters(
    meter: Meter, place: Fraction, bar_and_beat: tuple[int, int]
) -> None:
    assert transport(meter=meter).bar_and_beat(place) == bar_and_beat


def test_bars_go_on_being_counted_through_changes_of_meter() -> None:
    # Two bars of 4/4, then 3/4 from the third bar on, then 6/8 from two beats into the fourth:
    # the bar cut short counts as a bar.
    waltz = transport().in_meter(Fraction(8), Meter(3, 4))
    assert waltz.bar_and_beat(Fraction(8)) == (3, 1)
    assert waltz.bar_and_beat(Fraction(12)) == (4, 2)
    jig = waltz.in_meter(Fraction(13), Meter(6, 8))
    assert jig.bar_and_beat(Fraction(13)) == (5, 1)
    assert jig.bar_and_beat(Fraction(29, 2)) == (5, 2)
    assert jig.bar_and_beat(Fraction(16)) == (6, 1)


def test_neither_tempo_nor_meter_moves_the_other() -> None:
    running = transport(60).in_meter(Fraction(4), Meter(3, 4))
    faster = running.at_tempo(5 * NS_PER_S, ns_per_quarter(120, QUARTER))
    assert faster.bar_and_beat(Fraction(7)) == (3, 1)
    assert faster.due_ns(Fraction(7)) == 6 * NS_PER_S
    assert running.due_ns(Fraction(7)) == 7 * NS_PER_S


@pytest.mark.parametrize(
    ("meter", "place", "beat"),
    [
        (Meter(4, 4), Fraction(0), 0),
        (Meter(4, 4), Fraction(1, 1000), 1),
        (Meter(4, 4), Fraction(1), 1),
        (Meter(6, 8), Fraction(1), Fraction(3, 2)),
        (Meter(2, 2), Fraction(3), 4),
    ],
    ids=str,
)
def test_the_next_beat_is_at_or_after_a_place(meter: Meter, place: Fraction, beat: int) -> None:
    assert transport(meter=meter).next_beat(place) == beat


def test_after_a_change_of_meter_beats_count_from_its_downbeat() -> None:
    off = transport().in_meter(Fraction(5, 4), Meter(3, 4))
    assert off.next_beat(Fraction(2)) == Fraction(9, 4)


def swung_position(position: Fraction, unit: Fraction, ratio: Fraction) -> Fraction:
    """`swung` in quarters: in parts as small as it asks for."""
    parts = position.denominator * unit.denominator * (ratio.numerator + ratio.denominator)
    return Fraction(swung(int(position * parts), int(unit * parts), ratio), parts)


# Friberg & Sundström 2002: a pair of eighths is played up to 3.5 to 1, and 2 to 1 in between;
# with 2 to 1 the second falls on the third triplet (arithmetic: ratio / (ratio + 1) of the pair).
@pytest.mark.parametrize(
    ("ratio", "second"),
    [
        (Fraction(1), Fraction(1, 2)),
        (Fraction(3, 2), Fraction(3, 5)),
        (Fraction(2), Fraction(2, 3)),
        (Fraction(3), Fraction(3, 4)),
        (Fraction(7, 2), Fraction(7, 9)),
    ],
    ids=str,
)
def test_the_second_of_a_pair_falls_where_its_ratio_says(ratio: Fraction, second: Fraction) -> None:
    for beat in (0, 1, 17):
        assert swung_position(Fraction(beat), EIGHTH, ratio) == beat
        assert swung_position(beat + EIGHTH, EIGHTH, ratio) == beat + second
        assert swung_position((beat + EIGHTH) / 2, EIGHTH / 2, ratio) == (beat + second) / 2


# At 200 a minute a short note of 100 ms, which Friberg & Sundström measured from medium tempo
# up, makes 2 to 1.
def test_two_to_one_at_200_leaves_the_short_note_its_100_ms() -> None:
    running = transport(200)
    second = swung_position(EIGHTH, EIGHTH, Fraction(2))
    short_ns = running.due_ns(Fraction(1)) - running.due_ns(second)
    assert short_ns == 100 * NS_PER_MS


@given(
    places=st.lists(st.fractions(0, 8, max_denominator=48), min_size=2, max_size=2, unique=True),
    unit=st.sampled_from([EIGHTH, EIGHTH / 2]),
    ratio=st.fractions(1, Fraction(7, 2), max_denominator=100),
)
def test_swing_keeps_the_order_of_everything_and_makes_nothing_early(
    places: list[Fraction], unit: Fraction, ratio: Fraction
) -> None:
    earlier, later = sorted(places)
    assert swung_position(earlier, unit, ratio) < swung_position(later, unit, ratio)
    assert 0 <= swung_position(later, unit, ratio) - later <= Fraction(5, 9) * unit


# The reference is Python's own arithmetic of fractions, and its `round`.
@given(
    anchor=st.fractions(0, 1000, max_denominator=10**12),
    origin=st.fractions(0, 2000, max_denominator=10**12),
    parts=st.sampled_from([1, 2, 3, 12, 60, 144]),
    place=st.integers(0, 10_000),
    bpm=st.floats(20, 400),
)
def test_the_places_of_a_grid_are_due_when_their_positions_are(
    anchor: Fraction, origin: Fraction, parts: int, place: int, bpm: float
) -> None:
    quarter = ns_per_quarter(bpm, Fraction(1))
    running = Transport(1_000, anchor, quarter, COMMON_TIME)
    exact = 1_000 + round((origin + Fraction(place, parts) - anchor) * quarter)
    assert running.grid(origin, parts).due_ns(place) == exact
    assert running.due_ns(origin + Fraction(place, parts)) == exact
    assert running.grid(origin, parts).lasting_ns(place) == place * quarter // parts


def test_a_place_half_a_nanosecond_between_two_is_due_at_the_even_one() -> None:
    running = Transport(0, Fraction(0), Fraction(1), COMMON_TIME)
    assert [running.grid(Fraction(0), 2).due_ns(place) for place in (1, 3, 5)] == [0, 2, 2]
