"""Active sensing, in virtual time (MIDI 1.0: FE, which comes at least every 300 ms)."""

import pytest

from ripieno.midi.sensing import Sensing
from ripieno.units import ns_from_ms

SENSED, KEY = b"\xfe", bytes((0x90, 60, 80))


def sensing(*heard: tuple[float, bytes]) -> Sensing:
    made = Sensing()
    for ms, data in heard:
        made.heard(data, ns_from_ms(ms))
    return made


def test_a_wire_without_active_sensing_may_be_silent_for_ever() -> None:
    silent = sensing((0, KEY))
    assert silent.due_ns is None
    assert not silent.is_gone(ns_from_ms(1005))


@pytest.mark.parametrize("last", [SENSED, KEY, b"\xf8"])
def test_after_it_a_sender_without_any_byte_where_three_were_due_is_gone(last: bytes) -> None:
    found = sensing((0, SENSED), (250, last))
    assert found.due_ns is not None
    assert ns_from_ms(250 + 3 * 300) < found.due_ns < ns_from_ms(250 + 4 * 300)
    assert not found.is_gone(ns_from_ms(250 + 3 * 300))
    assert found.is_gone(found.due_ns)


def test_who_is_gone_is_gone_once_until_the_next() -> None:
    found = sensing((0, SENSED))
    found.forget()
    found.heard(KEY, ns_from_ms(400))
    assert found.due_ns is None
    found.heard(SENSED, ns_from_ms(500))
    assert found.is_gone(found.due_ns or 0)


def test_who_asks_long_after_the_time_has_been_held_up_and_waits_once_more() -> None:
    found = sensing((0, SENSED))
    assert not found.is_gone(ns_from_ms(5000))
    assert found.due_ns is not None
    assert found.due_ns > ns_from_ms(5900)
    assert found.is_gone(found.due_ns)
