"""Tap tempo. What a tapper's unsteadiness does to it is computed here, not taken from the code."""

from random import Random
from statistics import pstdev

import pytest

from ripieno.perform.tap import Tapping, Taps
from ripieno.units import NS_PER_MS


def tapping(*ms: float) -> Tapping | None:
    taps = Taps()
    said = None
    for at in ms:
        said = taps.tap(round(at * NS_PER_MS))
    return said


def tapped(*ms: float) -> float | None:
    said = tapping(*ms)
    return None if said is None else said.bpm


# Common arithmetic: 60,000 ms a minute.
@pytest.mark.parametrize(("gap", "bpm"), [(500, 120), (600, 100), (400, 150), (1000, 60)])
def test_even_taps_are_their_tempo_from_the_second_on(gap: int, bpm: float) -> None:
    assert tapped(0) is None
    assert tapped(0, gap) == pytest.approx(bpm)
    assert tapped(*(gap * i for i in range(12))) == pytest.approx(bpm)


def test_a_missed_tap_changes_nothing() -> None:
    assert tapped(0, 500, 1000, 2000, 2500) == pytest.approx(120)


def test_a_pause_begins_anew() -> None:
    assert tapped(0, 500, 1000, 5000) is None
    assert tapped(0, 500, 1000, 5000, 5400) == pytest.approx(150)


def test_a_player_who_changes_tempo_is_followed_within_eight_taps() -> None:
    slow = [i * 600 for i in range(8)]
    quick = [slow[-1] + i * 500 for i in range(1, 9)]
    assert tapped(*slow, *quick) == pytest.approx(120, rel=0.01)


def test_the_beat_is_where_the_taps_together_have_it() -> None:
    said = tapping(0, 500, 1000, 1500, 2000)
    assert said is not None
    assert said.beat_ns == 2000 * NS_PER_MS
    late = tapping(0, 500, 1000, 1500, 2000, 2500, 3000, 3560)
    assert late is not None
    assert 3500 * NS_PER_MS < late.beat_ns < 3540 * NS_PER_MS


def test_one_tap_far_from_every_beat_is_set_aside() -> None:
    assert tapped(0, 500, 1000, 1500, 1740, 2000, 2500) == pytest.approx(120)


def test_two_taps_off_the_beat_are_a_new_beginning() -> None:
    assert tapped(0, 500, 1000, 1500, 1830, 2160, 2490, 2820) == pytest.approx(60_000 / 330)


# The deviation of least squares for taps 20 ms off at 120: 20 / sqrt(sum of (i - mean)^2), as
# beats a minute. Computed here; four, five, six and eight taps.
@pytest.mark.parametrize(("count", "squares"), [(4, 5), (5, 10), (6, 17.5), (8, 42)])
def test_unsteady_taps_are_off_by_what_least_squares_leaves(count: int, squares: float) -> None:
    luck = Random(5)
    found = [tapped(*(500 * i + luck.gauss(0, 20) for i in range(count))) for _ in range(4000)]
    bound_bpm = 120 * (20 / squares**0.5) / 500
    assert pstdev(bpm for bpm in found if bpm is not None) == pytest.approx(bound_bpm, rel=0.15)
