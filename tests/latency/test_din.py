"""Wire times: MIDI 1.0 electrical specification, ten bits a byte at 31,250 a second."""

import pytest

from ripieno.latency.din import BYTE_NS, wire_ns
from ripieno.perform.message import control, note_off, note_on


def notes(count: int) -> list[bytes]:
    return [note_on(0, 60 + n, 64) for n in range(count)]


def test_a_byte_is_ten_bits() -> None:
    assert BYTE_NS == 10 * 1_000_000_000 // 31_250


@pytest.mark.parametrize(
    ("count", "plain_us", "running_us"),
    [(1, 960, 960), (3, 2880, 2240), (5, 4800, 3520), (10, 9600, 6720)],
)
def test_a_chord_takes_320_microseconds_a_byte(count: int, plain_us: int, running_us: int) -> None:
    assert wire_ns(notes(count), running_status=False) == plain_us * 1000
    assert wire_ns(notes(count), running_status=True) == running_us * 1000


def test_running_status_ends_with_another_kind_or_channel() -> None:
    messages = [note_on(0, 60, 64), note_on(1, 60, 64), control(1, 64, 0), note_off(0, 60)]
    assert wire_ns(messages, running_status=True) == wire_ns(messages, running_status=False)
