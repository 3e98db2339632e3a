"""How often the status is drawn."""

from itertools import accumulate, repeat

import pytest

from ripieno.dashboard.pace import FRAME_S, SLOWEST_S, Pace


def rest_after(takes_s: float, drawings: int = 100) -> float:
    used = accumulate(repeat(takes_s))
    pace = Pace(lambda: next(used))
    return [pace.rest_s() for _ in range(drawings)][-1]


@pytest.mark.parametrize("takes_s", [0.0, 0.002, 0.0079])
def test_what_takes_little_is_drawn_ten_times_a_second(takes_s: float) -> None:
    assert rest_after(takes_s) == FRAME_S


@pytest.mark.parametrize("takes_s", [0.009, 0.012, 0.018])
def test_what_takes_more_is_drawn_less_often_and_gets_a_twelfth_of_a_processor(
    takes_s: float,
) -> None:
    assert takes_s / rest_after(takes_s) == pytest.approx(0.08, rel=0.01)


def test_it_is_drawn_four_times_a_second_whatever_it_takes() -> None:
    assert rest_after(0.5) == SLOWEST_S


def test_one_drawing_that_takes_long_changes_little() -> None:
    used = accumulate([0.0, *repeat(0.003, 50), 0.05, *repeat(0.003, 50)])
    pace = Pace(lambda: next(used))
    rests = [pace.rest_s() for _ in range(101)]
    assert max(rests) == FRAME_S
