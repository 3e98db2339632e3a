"""How hard each note is struck: level, balance, voiced top, accent, bounded unevenness."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.arrange.dynamics import struck
from ripieno.style.model import Touch

EVEN = Touch(left=-8, right=3, top=11)


# Differing amounts, so that one in another's place shows.
@pytest.mark.parametrize(
    ("left", "top", "accent", "velocity"),
    [(True, False, 0, 72), (True, True, 0, 72), (False, False, 0, 83), (False, True, 0, 94),
     (True, False, 20, 92), (False, True, -30, 64)],
)  # fmt: skip
def test_balance_voicing_and_accent_add_up(
    left: bool, top: bool, accent: int, velocity: int
) -> None:
    assert struck(80, EVEN, accent, Random(1), left=left, top=top) == velocity


@given(
    level=st.integers(1, 127),
    accent=st.integers(-127, 127),
    balance=st.integers(-64, 64),
    top=st.booleans(),
    seed=st.integers(),
)
def test_a_velocity_is_always_one_of_a_note_on(
    level: int, accent: int, balance: int, top: bool, seed: int
) -> None:
    # MIDI 1.0: a note-on of velocity 0 is a note-off; 127 is the most.
    touch = Touch(left=balance, right=balance, top=balance, unevenness=20)
    for left in (True, False):
        assert 1 <= struck(level, touch, accent, Random(seed), left=left, top=top) <= 127


def test_unevenness_stays_within_its_bound_and_reaches_it() -> None:
    luck = Random(7)
    touch = Touch(unevenness=4)
    seen = {struck(80, touch, 0, luck, left=False, top=False) for _ in range(500)}
    assert seen == set(range(76, 85))


def test_the_same_seed_strikes_the_same() -> None:
    touch = Touch(unevenness=9)
    first, second, other = (
        [struck(80, touch, 0, luck, left=True, top=False) for _ in range(20)]
        for luck in (Random(3), Random(3), Random(4))
    )
    assert first == second != other
