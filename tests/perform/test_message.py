"""Bytes out. Byte values: the MIDI 1.0 summary of messages; mido encodes as an outside check."""

import mido
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ripieno.perform.message import control, data_count, is_legal, note_off, note_on

CHANNELS = st.integers(0, 15)
SEVEN_BITS = st.integers(0, 127)

# MIDI 1.0: status, number of bytes in all. Channel messages stand for their 16 channels.
LENGTHS = [
    (0x80, 3), (0x90, 3), (0xA0, 3), (0xB0, 3), (0xC0, 2), (0xD0, 2), (0xE0, 3),
    (0xF1, 2), (0xF2, 3), (0xF3, 2), (0xF6, 1),
    (0xF8, 1), (0xFA, 1), (0xFB, 1), (0xFC, 1), (0xFE, 1), (0xFF, 1),
]  # fmt: skip
UNDEFINED = [0xF4, 0xF5, 0xF9, 0xFD]


@pytest.mark.parametrize(
    ("made", "data"),
    [
        (note_on(0, 60, 64), "90 3C 40"),
        (note_on(15, 127, 1), "9F 7F 01"),
        (note_off(15, 60), "8F 3C 40"),  # 64: the release velocity of keys that have none
        (note_off(2, 61, 5), "82 3D 05"),
        (control(0, 64, 127), "B0 40 7F"),
        (control(0, 123, 0), "B0 7B 00"),
    ],
)
def test_messages_are_the_bytes_of_the_standard(made: bytes, data: str) -> None:
    assert made == bytes.fromhex(data)


@given(CHANNELS, SEVEN_BITS, st.integers(1, 127), SEVEN_BITS)
def test_messages_are_the_bytes_that_mido_makes(
    channel: int, note: int, velocity: int, value: int
) -> None:
    on = mido.Message("note_on", channel=channel, note=note, velocity=velocity)
    off = mido.Message("note_off", channel=channel, note=note, velocity=value)
    change = mido.Message("control_change", channel=channel, control=note, value=value)
    assert note_on(channel, note, velocity) == bytes(on.bytes())
    assert note_off(channel, note, value) == bytes(off.bytes())
    assert control(channel, note, value) == bytes(change.bytes())


def test_a_note_on_of_velocity_0_is_not_made_for_it_would_end_the_note() -> None:
    with pytest.raises(AssertionError):
        note_on(0, 60, 0)


@pytest.mark.parametrize(("channel", "note"), [(16, 60), (-1, 60), (0, 128)])
def test_what_the_wire_has_no_byte_for_is_not_made(channel: int, note: int) -> None:
    with pytest.raises(AssertionError):
        note_on(channel, note, 64)


@pytest.mark.parametrize(("status", "length"), LENGTHS)
def test_a_message_is_legal_at_its_own_length_only(status: int, length: int) -> None:
    data = bytes((status, 1, 2, 3))
    assert [n for n in range(5) if is_legal(data[:n])] == [length]


@pytest.mark.parametrize(("status", "length"), [row for row in LENGTHS if row[1] > 1])
def test_a_data_byte_above_127_makes_a_message_illegal(status: int, length: int) -> None:
    for place in range(1, length):
        data = bytearray((status, 1, 2)[:length])
        data[place] = 0x80
        assert not is_legal(bytes(data))


@pytest.mark.parametrize("status", UNDEFINED)
def test_undefined_status_bytes_begin_nothing_legal(status: int) -> None:
    assert not any(is_legal(bytes((status, 1, 2)[:n])) for n in (1, 2, 3))


@pytest.mark.parametrize(
    ("data", "legal"),
    [
        ("F0 7E 7F 09 01 F7", True),  # General MIDI on
        ("F0 F7", True),
        ("F0 7E 7F 09 01", False),
        ("F0", False),
        ("F7", False),
        ("F0 80 F7", False),
        ("F0 01 F7 F7", False),
        ("", False),
        ("3C 40", False),
        ("90 3C 40 90 3C 40", False),
        ("E0 00 40", True),
        ("E0 00 00 00", False),
        ("E0 00", False),
        ("F2 00 00", True),
        ("F2 00 00 00", False),
    ],
)
def test_system_exclusive_ends_with_its_own_byte_and_no_message_holds_two(
    data: str, legal: bool
) -> None:
    assert is_legal(bytes.fromhex(data)) is legal


NEAR_MESSAGES = st.tuples(
    st.integers(0x80, 0xFF).filter(
        lambda status: status not in (0xF1, 0xF2) and status >> 4 != 0xE
    ),
    st.lists(st.sampled_from([0, 1, 127, 128, 0xF0, 0xF7, 0xF8]), max_size=4),
).map(lambda parts: bytes((parts[0], *parts[1])))


@given(NEAR_MESSAGES)
@example(b"\xf0\x01\xf7")
def test_what_is_legal_is_what_mido_takes(data: bytes) -> None:
    # Without F1, F2 and En: mido 1.3.3 takes quarter frames, song positions and pitch bends of
    # any length.
    try:
        mido.Message.from_bytes(data)
        taken = True
    except (ValueError, LookupError):
        taken = False
    assert is_legal(data) is taken


def test_system_exclusive_has_no_fixed_length() -> None:
    assert data_count(0xF0) is None
    assert data_count(0xF7) is None
