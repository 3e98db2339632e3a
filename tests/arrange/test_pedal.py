"""Legato pedalling, against what pianists' feet did.

The ranges are measured in 608 performances (ASAP, 93,509 pedalled chords, after the chord's
onset): quarter to three quarters of the releases lie -29..64 ms, of the presses 66..220 ms; the
pedal is up for 79..159 ms. Order: Matthay, The Act of Touch (the pedal rises as the next sound
begins, or slightly later).
"""

import pytest

from ripieno.arrange.pedal import change
from ripieno.units import NS_PER_MS


@pytest.mark.parametrize("sounds_ms", [0, 1, 123_456])
def test_a_change_lies_in_the_middle_half_of_what_was_measured(sounds_ms: int) -> None:
    plan = change(sounds_ms * NS_PER_MS, is_down=True)
    assert plan.up_ns is not None
    up, down = (at_ns / NS_PER_MS - sounds_ms for at_ns in (plan.up_ns, plan.down_ns))
    assert 0 <= up <= 64, "not before the new notes, or they would lose the old ones"
    assert 66 <= down <= 220
    assert 79 <= down - up <= 159


def test_with_the_pedal_up_there_is_nothing_to_clear_before_pressing() -> None:
    plan = change(5 * NS_PER_MS, is_down=False)
    assert plan.up_ns is None
    assert 5 * NS_PER_MS < plan.down_ns <= (5 + 220) * NS_PER_MS
