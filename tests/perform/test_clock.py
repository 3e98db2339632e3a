"""Following a clock. Clocks are simulated, with seeds; what is expected is computed apart."""

from collections.abc import Sequence
from itertools import accumulate, pairwise
from math import floor, isfinite, pi, sqrt
from random import Random
from statistics import fmean, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.clock import ClockFollower, Pace
from ripieno.units import NS_PER_MS, NS_PER_S

TEMPOS = (20, 33, 60, 92, 120, 200, 400)
AT = 7 * NS_PER_S


def length_ns(bpm: float) -> float:
    return 60 * NS_PER_S / 24 / bpm  # 24 clocks a quarter: MIDI 1.0


def even(bpm: float, count: int, start_ns: float = AT) -> list[int]:
    return [round(start_ns + n * length_ns(bpm)) for n in range(count)]


def jittered(instants: Sequence[int], jitter_ms: float, seed: int = 1) -> list[int]:
    luck = Random(seed)
    late = [at + round(luck.gauss(0, jitter_ms) * NS_PER_MS) for at in instants]
    return list(accumulate(late, max))


def paces(follower: ClockFollower, arrivals: Sequence[int], own: Pace | None = None) -> list[Pace]:
    first = follower.tick(arrivals[0], own)
    return [first, *(follower.tick(at_ns) for at_ns in arrivals[1:])]


def ahead(played: Sequence[Pace], instants: Sequence[int], first: int = 0) -> list[float]:
    """By how many ticks the music is ahead when the second tick, the third... is meant to come."""
    return [
        pace.place_at(next_ns) - first - number - 1
        for number, (pace, next_ns) in enumerate(zip(played, instants[1:], strict=False))
    ]


def settled(bpm: float = 120, ticks: int = 200) -> tuple[ClockFollower, int]:
    """A follower some seconds into a song, and when its last tick came, number `ticks - 1`."""
    follower = ClockFollower()
    follower.begin(0)
    arrivals = even(bpm, ticks)
    paces(follower, arrivals)
    return follower, arrivals[-1]


# The plain loop at 1 Hz, 5000 clocks at 120, Gaussian jitter: F. Adriaensen, "Using a DLL to
# filter time", 2005, its formulas by code that cites it; simulated apart from this program with
# another seed's draws. jitter ms: music's deviation ms, tempo's bpm.
LOOP = {1.0: (0.369, 0.169), 3.0: (1.108, 0.507)}


@pytest.mark.parametrize("jitter_ms", LOOP)
def test_a_steady_clock_is_smoothed_as_by_the_plain_loop(jitter_ms: float) -> None:
    off_ms, off_bpm = LOOP[jitter_ms]
    follower = ClockFollower()
    follower.begin(0)
    instants = even(120, 5000)
    played, tempos = [], []
    for at_ns in jittered(instants, jitter_ms):
        played.append(follower.tick(at_ns))
        tempos.append(follower.bpm or 0.0)
    found = pstdev(ahead(played, instants)[200:]) * length_ns(120) / NS_PER_MS
    assert found == pytest.approx(off_ms, rel=0.05)
    assert found <= 0.4 * jitter_ms
    assert pstdev(tempos[200:]) == pytest.approx(off_bpm, rel=0.05)


@pytest.mark.parametrize("bpm", TEMPOS)
@pytest.mark.parametrize("jitter_ms", [1, 3])
def test_at_every_tempo_four_tenths_of_the_jitter_are_left_at_most(
    bpm: float, jitter_ms: float
) -> None:
    follower = ClockFollower()
    follower.begin(0)
    instants = even(bpm, 3000)
    off = ahead(paces(follower, jittered(instants, jitter_ms)), instants)[200:]
    assert pstdev(off) * length_ns(bpm) / NS_PER_MS <= 0.4 * jitter_ms


def test_the_settled_loop_is_the_papers() -> None:
    """Fed small errors; b and c as in the code that cites the paper, at 1 Hz."""
    follower, last_ns = settled(120, 400)
    length = length_ns(120)
    w = 2 * pi * 1.0 * length / NS_PER_S
    due, tempo_ns = last_ns + length, length
    for late_ms in (0.1, -0.3, 0.25, 0.05, -0.15, 0.3):
        at_ns = round(due + late_ms * NS_PER_MS)
        late = at_ns - due
        due += sqrt(2) * w * late + tempo_ns
        tempo_ns += w * w * late
        pace = follower.tick(at_ns)
        assert follower.bpm == pytest.approx(120 * length / tempo_ns, abs=1e-5)
        # A tick's length from now, the music is on the loop's line.
        meets_ns = round(at_ns + tempo_ns)
        meets = pace.tick + 1 + (meets_ns - due) / tempo_ns
        assert pace.place_at(meets_ns) == pytest.approx(meets, abs=1e-4)


@given(st.lists(st.integers(-1_000_000, 1_000_000), min_size=3, max_size=7))
def test_the_first_ticks_give_the_tempo_of_the_line_of_least_squares(late_ns: list[int]) -> None:
    arrivals = [at + late for at, late in zip(even(120, len(late_ns)), late_ns, strict=True)]
    follower = ClockFollower()
    for at_ns in arrivals:
        follower.tick(at_ns)
    middle = (len(arrivals) - 1) / 2
    weights = [n - middle for n in range(len(arrivals))]
    over = sum(w * (at - AT) for w, at in zip(weights, arrivals, strict=True))
    slope = over / sum(w * w for w in weights)
    assert follower.bpm == pytest.approx(120 * length_ns(120) / slope, rel=1e-6)


@pytest.mark.parametrize("bpm", TEMPOS)
def test_a_clock_of_any_tempo_is_known_by_its_second_tick(bpm: float) -> None:
    follower = ClockFollower()
    follower.begin(0)
    own = Pace(AT, 0, length_ns(99))
    first, second = even(bpm, 2)
    assert follower.tick(first, own).tick_ns == own.tick_ns
    assert follower.bpm is None
    follower.tick(second)
    assert follower.bpm == pytest.approx(bpm)


@pytest.mark.parametrize("bpm", TEMPOS)
def test_music_begun_at_another_tempo_is_with_the_clock_within_a_quarter(bpm: float) -> None:
    follower = ClockFollower()
    follower.begin(0)
    instants = even(bpm, 50)
    off = ahead(paces(follower, instants, Pace(AT, 0, length_ns(120))), instants)
    assert all(abs(ticks) < 0.01 for ticks in off[24:])


@pytest.mark.parametrize("bpm", TEMPOS)
@pytest.mark.parametrize("factor", [1.05, 0.95, 1.5, 0.67])
def test_another_tempo_is_right_within_a_second_or_half_a_quarter(
    bpm: float, factor: float
) -> None:
    then = min(max(bpm * factor, 20), 400)
    follower, last_ns = settled(bpm)
    needed = max(12, int(NS_PER_S / length_ns(then)))
    arrivals = even(then, 2 * needed, last_ns + length_ns(then))
    for at_ns in arrivals[:needed]:
        follower.tick(at_ns)
    for at_ns in arrivals[needed:]:
        follower.tick(at_ns)
        assert follower.bpm == pytest.approx(then, abs=0.1)


def test_the_music_is_less_off_after_a_step_of_tempo_than_with_the_plain_loop() -> None:
    """3.7 ms at worst, 120 to 126: the simulation of the plain loop at 1 Hz."""
    follower, last_ns = settled(120)
    instants = even(126, 100, last_ns + length_ns(120))
    off = ahead(paces(follower, instants), instants, 200)
    assert max(map(abs, off)) * length_ns(126) / NS_PER_MS < 3.7
    assert off[-1] == pytest.approx(0, abs=1e-3)


def test_after_a_great_change_of_tempo_the_music_finds_back_to_the_clock() -> None:
    follower, last_ns = settled(120)
    instants = even(60, 60, last_ns + length_ns(60))
    off = ahead(paces(follower, instants), instants, 200)
    assert max(off) > 1
    assert all(abs(ticks) < 0.01 for ticks in off[24:])


@pytest.mark.parametrize("jitter_ms", [0, 1, 3])
def test_a_gradual_change_of_tempo_is_followed_closely(jitter_ms: float) -> None:
    """120 to 180 in four seconds."""
    tempos = [120 + max(0, min(60, (n - 200) * 0.3)) for n in range(600)]
    instants = [round(at) for at in accumulate(map(length_ns, tempos[:-1]), initial=float(AT))]
    follower = ClockFollower()
    follower.begin(0)
    off = ahead(paces(follower, jittered(instants, jitter_ms)), instants)
    assert max(map(abs, off[100:])) < 0.5


def test_the_clock_counts_as_missing_a_few_ticks_after_the_last() -> None:
    follower = ClockFollower()
    assert follower.lost_ns is None
    for bpm, patience_ns in ((400, 150 * NS_PER_MS), (20, 500 * NS_PER_MS)):
        follower, last_ns = settled(bpm)
        assert follower.lost_ns == last_ns + patience_ns


def test_when_the_clock_is_missing_the_music_goes_on_at_its_tempo() -> None:
    follower, last_ns = settled(120)
    hurried = follower.tick(last_ns + round(0.7 * length_ns(120)))
    assert hurried.tick_ns < 0.97 * length_ns(120)
    lost_ns = follower.lost_ns or 0
    missed = follower.miss(lost_ns)
    assert missed is not None
    assert missed.place_at(lost_ns) == pytest.approx(hurried.place_at(lost_ns))
    assert follower.bpm == pytest.approx(120 * length_ns(120) / missed.tick_ns)


@pytest.mark.parametrize("late", [0.0, 0.3, 0.49, -0.3, -0.49])
def test_after_a_gap_the_tick_is_the_one_nearest_to_the_music(late: float) -> None:
    follower, last_ns = settled(120)
    length = length_ns(120)
    missed = follower.miss(follower.lost_ns or 0)
    assert missed is not None
    assert missed.tick_ns == pytest.approx(length)
    instants = even(120, 60, last_ns + (96 + late) * length)
    played = paces(follower, instants)
    assert played[0].tick == 199 + 96
    assert played[0].place_at(instants[0]) == pytest.approx(missed.place_at(instants[0]), abs=1e-6)
    off = ahead(played, instants, 199 + 96)
    assert off[0] == pytest.approx(late - max(-1 / 8, min(late, 1 / 8)), abs=1e-4)
    assert all(abs(ticks) < 0.01 for ticks in off[6:])


def test_a_clock_that_comes_back_at_another_tempo_has_it_from_the_second_tick_on() -> None:
    for bpm in (60, 90, 180, 300):
        follower, last_ns = settled(120)
        paces(follower, even(bpm, 2, last_ns + 2 * NS_PER_S))
        assert follower.bpm == pytest.approx(bpm, rel=1e-6)


def test_a_tempo_set_by_hand_in_a_gap_is_where_the_music_goes_on_from() -> None:
    follower, last_ns = settled(120)
    own = Pace(last_ns, 199, length_ns(60))
    back_ns = last_ns + 2 * NS_PER_S
    pace = follower.tick(back_ns, own)
    assert pace.tick == 199 + 48
    assert pace.place_at(back_ns) == pytest.approx(199 + 48)


@pytest.mark.parametrize("stall_ms", [15, 40, 90, 140, 600, 3000])
def test_ticks_held_up_by_a_stall_leave_the_music_where_it_was(stall_ms: int) -> None:
    instants = even(120, 600)
    begins_ns = instants[200] + NS_PER_MS
    ends_ns = begins_ns + stall_ms * NS_PER_MS
    follower = ClockFollower()
    follower.begin(0)
    arrivals = [ends_ns if begins_ns < at < ends_ns else at for at in instants]
    off = ahead(paces(follower, arrivals), instants)
    after = next(n for n, at in enumerate(instants) if at > ends_ns)
    settles = 0 if stall_ms < 150 else 8
    assert all(abs(ticks) < 0.06 for ticks in off[after + settles :])
    assert follower.bpm == pytest.approx(120, abs=0.1)


def test_while_the_tempo_is_being_found_ticks_held_up_do_not_confuse_it() -> None:
    follower = ClockFollower()
    instants = even(120, 20)
    arrivals = [instants[4] if n in (3, 4) else at for n, at in enumerate(instants)]
    for at_ns in arrivals[:6]:
        follower.tick(at_ns)
    assert follower.bpm == pytest.approx(120, rel=0.2)
    paces(follower, arrivals[6:])
    assert follower.bpm == pytest.approx(120, rel=0.03)


@pytest.mark.parametrize("lost", [2, 3, 5])
def test_a_few_lost_ticks_do_not_hold_the_music_back(lost: int) -> None:
    follower, last_ns = settled(120)
    instants = even(120, 100, last_ns + (1 + lost) * length_ns(120))
    off = ahead(paces(follower, instants), instants, 200 + lost)
    assert max(map(abs, off)) < 0.01


def test_one_tick_out_of_place_is_not_believed() -> None:
    follower, last_ns = settled(120)
    instants = even(120, 20, last_ns + length_ns(120))
    arrivals = [instants[0] + 15 * NS_PER_MS, *instants[1:]]
    off = ahead(paces(follower, arrivals), instants, 200)
    assert max(map(abs, off)) < 1e-3


@pytest.mark.parametrize("block_ms", [1, 5.333, 11.61, 23.22])  # audio buffers, 64 to 1024 frames
@pytest.mark.parametrize("bpm", [60, 120, 200, 300])
def test_a_clock_that_comes_in_blocks_carries_the_music_along(bpm: float, block_ms: float) -> None:
    block_ns = block_ms * NS_PER_MS
    instants = even(bpm, 4000, NS_PER_S)
    arrivals = [round(-floor(-at / block_ns) * block_ns) for at in instants]
    follower = ClockFollower()
    follower.begin(0)
    played, tempos = [], []
    for at_ns in arrivals:
        played.append(follower.tick(at_ns))
        tempos.append(follower.bpm or 0.0)
    off = ahead(played, instants)
    assert max(map(abs, off[200:])) * length_ns(bpm) < 1.3 * block_ns
    assert fmean(tempos[200:]) == pytest.approx(bpm, rel=0.08)


def test_start_on_a_running_clock_numbers_the_tick_and_keeps_the_line() -> None:
    follower, last_ns = settled(120)
    follower.begin(0)
    at_ns = last_ns + round(length_ns(120)) + NS_PER_MS
    pace = follower.tick(at_ns)
    # Late by 1 ms: the music is where it would be had the tick come in time.
    assert pace.place_at(at_ns) == pytest.approx(NS_PER_MS / length_ns(120), abs=0.02)
    assert pace.tick == 0


def test_start_out_of_step_with_the_clock_before_begins_with_its_own_first_tick() -> None:
    follower, last_ns = settled(120)
    follower.begin(0)
    instants = even(120, 100, last_ns + 0.4 * length_ns(120))
    off = ahead(paces(follower, instants), instants)
    assert off[0] == pytest.approx(0, abs=1e-4)
    assert follower.bpm == pytest.approx(120)


def test_the_music_goes_on_from_the_song_position() -> None:
    # MIDI 1.0: a unit of song position is six clocks.
    follower, last_ns = settled(120)
    follower.begin(6 * 16)
    instants = even(120, 50, last_ns + 3 * NS_PER_S)
    played = paces(follower, instants)
    assert played[0] == Pace(instants[0], 96, pytest.approx(length_ns(120)))
    assert ahead(played, instants, 96) == pytest.approx([0] * 49, abs=1e-4)


def test_a_clock_met_in_the_music_draws_it_to_its_ticks() -> None:
    own = Pace(AT - NS_PER_S, 1000, length_ns(118))
    instants = even(118, 50)
    follower = ClockFollower()
    played = paces(follower, instants, own)
    assert played[0].tick == round(own.place_at(AT))
    assert played[0].place_at(AT) == pytest.approx(own.place_at(AT))
    assert ahead(played, instants, played[0].tick)[-1] == pytest.approx(0, abs=1e-3)


def test_start_in_a_stall_counts_every_tick_that_was_held_up() -> None:
    follower = ClockFollower()
    follower.begin(0)
    held_up = [AT + 100_000 * n for n in range(5)]
    paces(follower, held_up)
    instants = even(120, 60, AT + length_ns(120))
    off = ahead(paces(follower, instants), instants, 5)
    assert all(abs(ticks) < 0.1 for ticks in off[40:])


INSTANTS = st.lists(
    st.one_of(
        st.just(0),
        st.integers(0, 50_000),
        st.integers(1_000_000, 200_000_000),
        st.sampled_from([6_250_000, 20_833_333, 125_000_000, 10**10, 10**15]),
    ),
    min_size=1,
    max_size=60,
).map(lambda gaps: list(accumulate(gaps)))


@given(INSTANTS, st.sets(st.integers(0, 60)), st.sampled_from([None, Pace(0, 5, 6_250_000.0)]))
def test_whatever_the_instants_the_tempo_stays_sane_and_the_music_never_jumps(
    instants: list[int], begins: set[int], own: Pace | None
) -> None:
    follower = ClockFollower()
    before, last_ns, has_begun = own, 0, False
    for number, at_ns in enumerate(instants):
        # Ticks held up together with the one that begins belong to it.
        has_begun = number in begins or (has_begun and at_ns - last_ns < NS_PER_MS / 2)
        if number in begins:
            follower.begin(6 * number)
        pace = follower.tick(at_ns, own if number == 0 else None)
        place = pace.place_at(at_ns)
        assert isfinite(place)
        assert length_ns(400) * 0.66 < pace.tick_ns < length_ns(20) * 2.01
        assert follower.bpm is None or 19.999 < follower.bpm < 400.001
        assert (follower.lost_ns or 0) >= at_ns + 150 * NS_PER_MS
        if before and not has_begun:
            assert place == pytest.approx(before.place_at(at_ns), abs=1e-6, rel=1e-9)
        before, last_ns = pace, at_ns


@given(st.lists(st.integers(0, 40_000_000), max_size=80))
def test_the_music_never_goes_back(gaps: list[int]) -> None:
    follower = ClockFollower()
    follower.begin(0)
    arrivals = list(accumulate([10 * NS_PER_MS, *gaps], initial=AT))
    played = paces(follower, arrivals)
    places = [pace.place_at(at) for pace, at in zip(played, arrivals, strict=True)]
    assert all(b >= a - 1e-6 for a, b in pairwise(places))


def test_music_begun_between_two_ticks_keeps_its_distance_from_them() -> None:
    follower = ClockFollower()
    instants = even(120, 100)
    before = paces(follower, instants[:40])
    assert [pace.tick for pace in before] == list(range(40))
    strike_ns = instants[39] + round(0.3 * length_ns(120))
    offset = -before[-1].place_at(strike_ns) / 24
    for at_ns in instants[40:]:
        pace = follower.tick(at_ns)
        quarters = pace.place_at(at_ns) / 24 + offset
        assert quarters == pytest.approx((at_ns - strike_ns) / (24 * length_ns(120)), abs=1e-6)


def test_before_the_first_tick_nothing_is_known() -> None:
    follower = ClockFollower()
    assert follower.miss(AT) is None
    assert follower.bpm is None
