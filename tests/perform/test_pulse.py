"""The filters that tell where the beat is. Known gains are the arithmetic of Kalman's filter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.pulse import _MANNERS, Bounds, Leaning, Pulse, _Line, _mixed

FULL = Leaning.at(100)
BOUNDS = Bounds(250, 1000)
HOLDING, TENDING, RETURNING, *_ = _MANNERS


def met(
    pulse: Pulse, at: float, beats: float = 1, leaning: Leaning = FULL, usual: float = 500
) -> Pulse:
    """After a strike so many beats on."""
    return pulse.met(at, pulse.foreseen(at, beats, leaning), usual, BOUNDS)


# Gain = what is not known of the beat / (that + the hand's variance, which is 1).
@pytest.mark.parametrize(("at_var", "part"), [(0.0, 0.0), (1.0, 0.5), (3.0, 0.75)])
def test_a_strike_corrects_the_phase_by_what_is_not_known_of_it(at_var: float, part: float) -> None:
    line = _Line(1000.0, 500.0, 0.0, at_var, 0.5, 1.0, 400.0).met(1020.0, HOLDING, 500.0)
    assert line.at == pytest.approx(1000 + 20 * part)
    assert line.length == pytest.approx(500 + 20 * 0.5 / (at_var + 1))
    assert line.at_var == pytest.approx(at_var / (at_var + 1))


@given(
    first=st.integers(1, 8),
    then=st.integers(1, 8),
    drift=st.floats(0, 4),
    keeper=st.floats(0, 4),
    going=st.floats(-20, 20),
    fading=st.floats(0.1, 1),
)
def test_going_on_twice_is_going_on_once_by_both(
    first: int, then: int, drift: float, keeper: float, going: float, fading: float
) -> None:
    line = _Line(10.0, 500.0, going, 2.0, 0.5, 1.0, 400.0)
    stepwise = line.ahead(first, drift, keeper, fading).ahead(then, drift, keeper, fading)
    assert stepwise == pytest.approx(line.ahead(first + then, drift, keeper, fading))


def test_of_two_manners_one_goes_on_slowing_and_the_other_goes_back() -> None:
    even = _Line(0.0, 500.0, 0.0, 1.0, 0.5, 1.0, 400.0)
    tending, returning = even.met(40.0, TENDING, 500.0), even.met(40.0, RETURNING, 500.0)
    assert tending.length == returning.length == 510
    further = [tending.ahead(beats, 1, 1, TENDING.fading).length for beats in (0, 1, 2, 40)]
    back = [returning.ahead(beats, 1, 1, RETURNING.fading).length for beats in (0, 1, 2, 40)]
    assert further == sorted(further)
    assert further[-1] > 520
    assert back == sorted(back, reverse=True)
    assert back[-1] == pytest.approx(500)


def test_neither_leaves_the_bounds() -> None:
    line = _Line(0.0, 980.0, 900.0, 1.0, 0.5, 1.0, 400.0).within(BOUNDS, 10.0, 0.5)
    assert line.ahead(100, 1, 1, 0.5).length == pytest.approx(1000)


def test_a_change_under_way_is_in_what_is_foreseen() -> None:
    slowing, at = Pulse.told(0.0, 500.0, FULL), 0.0
    for beat in range(12):
        at += 500 + 10 * beat
        slowing = met(slowing, at)
    assert slowing.due(1) > slowing.at + slowing.length + 1
    assert slowing.due(1) == pytest.approx(at + 620, abs=20)


def test_mixing_estimates_keeps_their_mean_and_adds_how_far_they_lie_apart() -> None:
    early, late = (_Line(at, 500.0, 0.0, 1.0, 0.0, 1.0, 40.0) for at in (90.0, 110.0))
    mixed = _mixed((early, late), (0.5, 0.5), 10.0)
    assert mixed.at == pytest.approx(100)
    assert mixed.at_var == pytest.approx(1 + 10**2 / 4)  # the hand's variance is 40 / 10
    assert early.towards(late, 0.5, 10.0) == pytest.approx(mixed)


def test_a_player_who_holds_the_tempo_is_told_from_one_who_does_not() -> None:
    even = wandering = Pulse.told(0.0, 500.0, FULL)
    at = 0.0
    for beat in range(1, 25):
        even = met(even, 500.0 * beat + (-1) ** beat * 15)
        at += 500 + 60 * (-1) ** (beat // 4)
        wandering = met(wandering, at)
    assert even.shares[0] > 0.5
    assert wandering.shares[0] < 0.01


def test_the_more_it_leans_the_more_one_late_strike_moves_the_next_beat() -> None:
    moved = []
    for lean in range(0, 101, 10):
        leaning = Leaning.at(lean)
        pulse = Pulse.told(0.0, 500.0, leaning)
        for beat in range(1, 9):
            pulse = met(pulse, 500.0 * beat, leaning=leaning)
        moved.append(met(pulse, 4550.0, leaning=leaning).due(1) - 5000)
    assert moved == sorted(moved)
    assert moved[0] < 2  # of 50 ms
    assert moved[-1] > 20
