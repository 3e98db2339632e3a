"""Which clients a MIDI server wakes, told by the waits of their threads."""

from collections.abc import Mapping

import pytest

from ripieno.midi import threads
from ripieno.midi.threads import Woken

INPUT, OUTPUT = frozenset({11, 12}), frozenset({21, 22})


def asleep_after(
    monkeypatch: pytest.MonkeyPatch, began: Mapping[int, int], now: Mapping[int, int]
) -> list[int] | None:
    monkeypatch.setattr(threads, "_waits", began.__getitem__)
    woken = Woken((INPUT, OUTPUT))
    monkeypatch.setattr(threads, "_waits", now.__getitem__)
    return woken.asleep()


BEGAN = {11: 5, 12: 1000, 21: 0, 22: 1}


@pytest.mark.parametrize(
    ("waited", "asleep"),
    [
        ({11: 3, 12: 20, 21: 3, 22: 20}, None),  # nobody for long enough
        ({11: 3, 12: 187, 21: 3, 22: 185}, []),
        ({11: 3, 12: 0, 21: 0, 22: 172}, [0]),
        ({11: 3, 12: 187, 21: 40, 22: 0}, [1]),  # its other thread heard of ports that came
    ],
)
def test_a_client_that_runs_not_half_as_often_as_another_is_asleep(
    monkeypatch: pytest.MonkeyPatch, waited: Mapping[int, int], asleep: list[int] | None
) -> None:
    now = {thread: BEGAN[thread] + more for thread, more in waited.items()}
    assert asleep_after(monkeypatch, BEGAN, now) == asleep


def test_a_client_whose_threads_have_ended_or_are_not_told_is_no_reason_to_doubt_both(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert asleep_after(monkeypatch, BEGAN, dict.fromkeys(BEGAN, 0)) is None
