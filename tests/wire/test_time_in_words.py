"""The time of a status in plain words."""

from dataclasses import replace

import pytest

from control_rig import STATUS
from ripieno.wire.time_in_words import about_time, leader, under_way


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "own tempo"),
        ({"follow": "clock", "clock": "heard"}, "MIDI clock, heard"),
        ({"follow": "clock", "clock": "missing"}, "MIDI clock, missing"),
        ({"follow": "clock", "clock": "stopped"}, "MIDI clock, stopped"),
        ({"follow": "clock", "clock": ""}, "MIDI clock"),
        ({"follow": "hands", "lean": 0}, "your hands lead, lean 0"),
    ],
    ids=str,
)
def test_who_leads_is_told_with_whether_the_clock_is_there(
    changes: dict[str, object], said: str
) -> None:
    assert leader(replace(STATUS, **changes)) == said


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, ""),
        ({"counting": True, "waiting": True}, "counting in"),
        ({"ending": True}, "coming to the end"),
        ({"waiting": True}, "waiting for the downbeat"),
    ],
    ids=str,
)
def test_what_passes_by_itself_is_told_once(changes: dict[str, object], said: str) -> None:
    assert under_way(replace(STATUS, **changes)) == said


def test_all_about_the_time_is_told_in_order_of_urgency_and_what_is_usual_is_not() -> None:
    assert about_time(STATUS) == ("own tempo",)
    unusual = replace(
        STATUS, follow="hands", lean=80, counting=True, pickup=1, starting="downbeat",
        send_clock=True,
    )  # fmt: skip
    assert about_time(unusual) == (
        "counting in", "your hands lead, lean 80", "pick-up of 1 beat", "enters on downbeats",
        "sends MIDI clock",
    )  # fmt: skip
    assert "pick-up of 2 beats" in about_time(replace(STATUS, pickup=2))
