"""The filters that tell where the beat is. Known gains are the arithmetic of Kalman's filter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.pulse import Leaning, Pulse, _Line, _mixed

FULL = Leaning.at(100)


# Gain = what is not known of the beat / (that + the hand's variance, which is 1).
@pytest.mark.parametrize(("at_var", "part"), [(0.0, 0.0), (1.0, 0.5), (3.0, 0.75)])
def test_a_strike_corrects_the_phase_by_what_is_not_known_of_it(at_var: float, part: float) -> None:
    line = _Line(1000.0, 500.0, at_var, 0.5, 1.0, 400.0).met(1020.0)
    assert line.at == pytest.approx(1000 + 20 * part)
    assert line.length == pytest.approx(500 + 20 * 0.5 / (at_var + 1))
    assert line.at_var == pytest.approx(at_var / (at_var + 1))


@given(
    first=st.integers(1, 8), then=st.integers(1, 8), drift=st.floats(0, 4), keeper=st.floats(0, 4)
)
def test_going_on_twice_is_going_on_once_by_both(
    first: int, then: int, drift: float, keeper: float
) -> None:
    line = _Line(10.0, 500.0, 2.0, 0.5, 1.0, 400.0)
    stepwise = line.ahead(first, drift, keeper).ahead(then, drift, keeper)
    assert stepwise == pytest.approx(line.ahead(first + then, drift, keeper))


def test_mixing_estimates_keeps_their_mean_and_adds_how_far_they_lie_apart() -> None:
    early, late = (_Line(at, 500.0, 1.0, 0.0, 1.0, 40.0) for at in (90.0, 110.0))
    mixed = _mixed((early, late), (0.5, 0.5), 10.0)
    assert mixed.at == pytest.approx(100)
    assert mixed.at_var == pytest.approx(1 + 10**2 / 4)  # the hand's variance is 40 / 10
    assert early.towards(late, 0.5, 10.0) == pytest.approx(mixed)


def test_a_player_who_holds_the_tempo_is_told_from_one_who_does_not() -> None:
    even = wandering = Pulse.told(0, 0.0, 500.0, FULL)
    at = 0.0
    for beat in range(1, 25):
        even = even.met(500.0 * beat + (-1) ** beat * 15, beat, FULL, 250, 1000)
        at += 500 + 60 * (-1) ** (beat // 4)
        wandering = wandering.met(at, beat, FULL, 250, 1000)
    assert even.shares[0] > 0.5
    assert wandering.shares[0] < 0.01


def test_the_more_it_leans_the_more_one_late_strike_moves_the_next_beat() -> None:
    moved = []
    for lean in range(0, 101, 10):
        leaning = Leaning.at(lean)
        pulse = Pulse.told(0, 0.0, 500.0, leaning)
        for beat in range(1, 9):
            pulse = pulse.met(500.0 * beat, beat, leaning, 250, 1000)
        moved.append(pulse.met(4550.0, 9, leaning, 250, 1000).due(10) - 5000)
    assert moved == sorted(moved)
    assert moved[0] < 2  # of 50 ms
    assert moved[-1] > 20
