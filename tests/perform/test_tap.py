"""Tap tempo. What a tapper's unsteadiness does to it is computed here, not taken from the code."""

from random import Random
from statistics import pstdev

import pytest

from ripieno.perform.tap import Taps
from ripieno.units import NS_PER_MS


def tapped(*ms: float) -> float | None:
    taps = Taps()
    bpm = None
    for at in ms:
        bpm = taps.tap(round(at * NS_PER_MS))
    return bpm


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


def test_unsteady_taps_are_off_by_what_least_squares_leaves() -> None:
    """20 ms a tap at 120: the slope's deviation is 20 / sqrt(sum of (i - mean)^2), eight taps."""
    luck = Random(5)
    found = [tapped(*(500 * i + luck.gauss(0, 20) for i in range(8))) for _ in range(4000)]
    bound_bpm = 120 * (20 / 42**0.5) / 500
    assert pstdev(bpm for bpm in found if bpm is not None) == pytest.approx(bound_bpm, rel=0.15)
