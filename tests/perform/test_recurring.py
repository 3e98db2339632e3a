"""What comes round is learnt, chance is not. The lengths of beats are made up here."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.recurring import LONGEST_REST, PHRASE_BARS, Recurring

EVEN = 500.0


def heard(
    lengths: list[float], *, beats_per_bar: int = 4, left_out: frozenset[int] = frozenset()
) -> Recurring:
    """From beat 0 on, each beat as long as told; the chords at some are left out."""
    found, at = Recurring.unheard(beats_per_bar).heard(0, 0.0), 0.0
    for beat, length in enumerate(lengths, 1):
        at += length
        if beat not in left_out:
            found = found.heard(beat, at)
    return found


def test_a_beat_that_is_longer_in_every_bar_will_be_so_again() -> None:
    luck = Random(1)
    lilt = (0.9, 1.2, 0.95, 0.95)  # the beats that end at 1, 2, 3 and at the next bar
    found = heard([EVEN * lilt[beat % 4] * luck.gauss(1, 0.02) for beat in range(80)])
    for beat in range(81, 85):
        assert found.lasting(beat) == pytest.approx(lilt[(beat - 1) % 4], rel=0.03)


def test_a_slowing_at_the_end_of_each_eight_bars_is_foreseen_and_no_other_place_is_slower() -> None:
    luck, phrase = Random(2), PHRASE_BARS * 3
    ends = [EVEN * (1.3 if beat % phrase == phrase - 1 else 1.0) for beat in range(5 * phrase)]
    found = heard([length * luck.gauss(1, 0.02) for length in ends], beats_per_bar=3)
    assert found.lasting(6 * phrase) > 1.2
    assert all(0.93 < found.lasting(5 * phrase + beat) < 1.07 for beat in range(1, phrase))


@pytest.mark.parametrize("unsteady", [0.0, 0.03, 0.1])
def test_of_lengths_by_chance_nearly_nothing_is_foretold(unsteady: float) -> None:
    for seed in range(20):
        luck = Random(seed)
        found = heard([EVEN * luck.gauss(1, unsteady) for _ in range(120)])
        off = [abs(found.lasting(beat) - 1) for beat in range(121, 153)]
        assert sum(off) / len(off) < max(0.001, unsteady / 2)


def test_a_slower_tempo_is_no_longer_beat() -> None:
    found = heard([EVEN * 1.005**beat for beat in range(120)])
    assert all(abs(found.lasting(beat) - 1) < 0.01 for beat in range(121, 153))


def test_beats_left_out_lie_evenly_between_those_that_are_struck() -> None:
    lilt = (0.8, 1.2, 1.0, 1.0)
    lengths = [EVEN * lilt[beat % 4] for beat in range(80)]
    found = heard(lengths, left_out=frozenset(range(1, 80, 4)))
    assert all(abs(found.lasting(beat) - 1) < 0.01 for beat in range(81, 85))


def test_what_was_learnt_outlasts_a_rest_but_the_rest_teaches_nothing() -> None:
    luck = Random(3)
    lilt = (0.9, 1.2, 0.95, 0.95)
    before = heard([EVEN * lilt[beat % 4] * luck.gauss(1, 0.02) for beat in range(80)])
    after = before.heard(80 + LONGEST_REST + 1, before.instants[-1] + 10 * EVEN)
    assert after.lasting(90) == before.lasting(90) != 1


@given(st.lists(st.tuples(st.integers(1, 12), st.floats(0, 3000)), max_size=200))
def test_whatever_is_struck_no_beat_is_foretold_longer_or_shorter_by_much(
    strikes: list[tuple[int, float]],
) -> None:
    found, beat, at = Recurring.unheard(3), 0, 0.0
    for gone, length in strikes:
        beat, at = beat + gone, at + length
        found = found.heard(beat, at)
        assert 0.7 < found.lasting(beat + 1) < 1.4
        assert len(found.instants) <= PHRASE_BARS * 3 + 1
