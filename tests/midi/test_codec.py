"""Bytes in. The rules are MIDI 1.0's; data bytes differ so that swapping them shows."""

import mido
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ripieno.midi.codec import Decoder
from ripieno.perform.events import (
    ClockContinue,
    ClockStart,
    ClockStop,
    ClockTick,
    Controller,
    Input,
    KeyDown,
    KeyUp,
    Passing,
    Silence,
    SongPosition,
)
from ripieno.perform.message import control, is_legal, note_off, note_on

AT = 1_000_000_007


def decoded(data: str) -> list[Input]:
    return Decoder().feed(bytes.fromhex(data), AT)


def down(note: int, velocity: int, channel: int = 0) -> KeyDown:
    return KeyDown(AT, note, velocity, channel)


# MIDI 1.0, summary of messages.
MESSAGES = {
    "90 3C 40": [down(60, 64)],
    "9F 3D 01": [down(61, 1, 15)],
    "8F 3C 40": [KeyUp(AT, 60, 64, 15)],
    "81 00 7F": [KeyUp(AT, 0, 127, 1)],
    "90 3C 00": [KeyUp(AT, 60, 64, 0)],  # a note-on of velocity 0 is a note-off
    "B0 40 7F": [Controller(AT, 64, 127, 0)],
    "B5 77 3F": [Controller(AT, 119, 63, 5)],
    "A2 3C 11": [Passing(AT, bytes.fromhex("A2 3C 11"))],
    "C0 05": [Passing(AT, bytes.fromhex("C0 05"))],
    "D3 22": [Passing(AT, bytes.fromhex("D3 22"))],
    "E0 00 40": [Passing(AT, bytes.fromhex("E0 00 40"))],
    "F8": [ClockTick(AT)],
    "FA": [ClockStart(AT)],
    "FB": [ClockContinue(AT)],
    "FC": [ClockStop(AT)],
    "F2 08 00": [SongPosition(AT, 8)],
    "F2 00 08": [SongPosition(AT, 1024)],  # low seven bits first
    "F2 7F 7F": [SongPosition(AT, 16383)],
    "F1 05": [],  # quarter frame
    "F3 05": [],  # song select
    "F6": [],  # tune request
    "FE": [],  # active sensing
    "FF": [],  # reset
    "F9 FD": [],  # undefined
}

# MIDI 1.0, channel mode messages: 123 to 127 function as all notes off.
MODES = {
    "B0 78 00": [Silence(AT)],
    "B3 7A 7F": [],  # local control
    "B0 7B 00": [],
    "90 3C 40 40 41 B0 7B 00": [down(60, 64), down(64, 65), KeyUp(AT, 60), KeyUp(AT, 64)],
    "91 3C 40 90 3C 40 B0 7C 00": [down(60, 64, 1), down(60, 64), KeyUp(AT, 60)],
    "90 3C 40 B0 7D 00 7D 00": [down(60, 64), KeyUp(AT, 60)],
    "90 3C 40 3C 00 B0 7E 01": [down(60, 64), KeyUp(AT, 60)],
    "9F 3C 40 80 3C 40 BF 7F 00": [down(60, 64, 15), KeyUp(AT, 60), KeyUp(AT, 60, channel=15)],
}

# MIDI 1.0, running status; that system common ends it is from memory.
STREAMS = {
    "90 3C 40 40 41 43 42": [down(60, 64), down(64, 65), down(67, 66)],
    "90 3C 40 3C 00": [down(60, 64), KeyUp(AT, 60, 64, 0)],
    "C1 05 06": [Passing(AT, b"\xc1\x05"), Passing(AT, b"\xc1\x06")],
    "90 3C 40 F8 40 41": [down(60, 64), ClockTick(AT), down(64, 65)],
    "90 3C F8 40": [ClockTick(AT), down(60, 64)],
    "90 F8 3C FE FF 40": [ClockTick(AT), down(60, 64)],
    "90 3C 40 F6 40 41": [down(60, 64)],
    "90 3C 40 F2 08 00 40 41": [down(60, 64), SongPosition(AT, 8)],
    "90 3C 40 F3 01 40 41": [down(60, 64)],
    "90 3C 40 F4 40 41": [down(60, 64)],  # F4 and F5 are undefined
    "90 3C 40 F0 7E 7F 09 01 F7 40 41": [down(60, 64)],
    "F0 7E F8 7F 09 01 F7 90 3C 40": [ClockTick(AT), down(60, 64)],
    "F0 7E 7F 90 3C 40": [down(60, 64)],  # any status ends system exclusive
    "90 3C 80 3D 40": [KeyUp(AT, 61, 64, 0)],  # a status ends what was incomplete
    "3C 40 90 3C 41": [down(60, 65)],
    "F7 3C 40": [],
    "F2 08 F8 01 F8": [ClockTick(AT), SongPosition(AT, 136), ClockTick(AT)],
    "F2 08 01 08 01": [SongPosition(AT, 136)],  # no running status of system common
    "F2 08 90 3C 40": [down(60, 64)],
    "FA F8 FC F2 10 00 FB F8": [
        ClockStart(AT),
        ClockTick(AT),
        ClockStop(AT),
        SongPosition(AT, 16),
        ClockContinue(AT),
        ClockTick(AT),
    ],
}


@pytest.mark.parametrize("data", [*MESSAGES, *MODES, *STREAMS])
def test_bytes_are_read_by_the_rules_of_the_standard(data: str) -> None:
    assert decoded(data) == (MESSAGES | MODES | STREAMS)[data]


@pytest.mark.parametrize(
    ("data", "ignored"),
    [
        ("90 3C 40 40 41", 0),
        ("3C 40 90 3C 40", 2),  # before any status
        ("90 3C 80 3D 40", 1),  # of an incomplete message
        ("90 3C 40 F6 40 41", 2),  # after the running status ended
        ("F0 01 02 03 F7", 0),  # system exclusive is read over
        ("F0 01 F7 02", 1),
        ("F2 08 00 05", 1),
        ("90 3C F8 40", 0),
    ],
)
def test_data_bytes_of_no_message_are_counted(data: str, ignored: int) -> None:
    decoder = Decoder()
    decoder.feed(bytes.fromhex(data), AT)
    assert decoder.ignored == ignored


def test_reset_all_controllers_says_each_controllers_value_at_rest() -> None:
    # RP-015, from memory: pedals 64..67 and modulation 0, expression 127, parameter numbers
    # 98..101 null, channel pressure 0, bend centred; volume, pan and program stay.
    read = decoded("B4 79 00")
    controllers = {i.number: i.value for i in read if isinstance(i, Controller)}
    assert controllers == {1: 0, 11: 127, 64: 0, 65: 0, 66: 0, 67: 0} | dict.fromkeys(
        range(98, 102), 127
    )
    passing = {i.data for i in read if isinstance(i, Passing)}
    assert passing == {bytes.fromhex("D4 00"), bytes.fromhex("E4 00 40")}
    assert {i.channel for i in read if isinstance(i, Controller)} == {4}


def test_a_message_is_stamped_when_its_last_byte_arrives() -> None:
    decoder = Decoder()
    assert decoder.feed(b"\x90\x3c", 5) == []
    assert decoder.feed(b"\x40", 9) == [KeyDown(9, 60, 64, 0)]
    assert decoder.feed(b"\x3e", 11) == []
    assert decoder.feed(b"\x41\x3e\x00", 12) == [KeyDown(12, 62, 65, 0), KeyUp(12, 62, 64, 0)]


MESSAGE = st.one_of(
    st.tuples(st.integers(0x80, 0xBF), st.integers(0, 127), st.integers(0, 127)),
    st.tuples(st.integers(0xC0, 0xDF), st.integers(0, 127)),
    st.tuples(st.integers(0xE0, 0xEF), st.integers(0, 127), st.integers(0, 127)),
)
# Streams that are nearly MIDI find more than random bytes do.
NOISE = st.lists(
    st.one_of(
        MESSAGE.map(bytes),
        st.binary(max_size=3),
        st.sampled_from([b"\xf8", b"\xf0", b"\xf2", b"\xf7"]),
    )
).map(b"".join)

REAL_TIME = ClockTick | ClockStart | ClockContinue | ClockStop


def is_in_range(read: Input) -> bool:
    match read:
        case KeyDown():
            return read.velocity >= 1 and is_legal(note_on(read.channel, read.note, read.velocity))
        case KeyUp():
            return is_legal(note_off(read.channel, read.note, read.velocity))
        case Controller():
            legal = is_legal(control(read.channel, read.number, read.value))
            return legal and read.number < 120
        case Passing():
            return is_legal(read.data) and 0xA0 <= read.data[0] <= 0xEF
        case SongPosition():
            return 0 <= read.sixteenths <= 0x3FFF
        case _:
            return isinstance(read, Silence | REAL_TIME)


@given(NOISE)
def test_whatever_bytes_come_only_inputs_within_their_ranges_are_read(data: bytes) -> None:
    assert all(is_in_range(read) for read in Decoder().feed(data, AT))


@given(NOISE, st.data())
def test_cutting_a_stream_anywhere_changes_nothing(data: bytes, draw: st.DataObject) -> None:
    cuts = draw.draw(st.lists(st.integers(0, len(data))).map(sorted))
    whole, cut = Decoder(), Decoder()
    pieces = [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)], strict=True)]
    assert whole.feed(data, AT) == [read for piece in pieces for read in cut.feed(piece, AT)]
    assert whole.ignored == cut.ignored


def without_real_time(data: bytes) -> list[Input]:
    return [read for read in Decoder().feed(data, AT) if not isinstance(read, REAL_TIME)]


@given(NOISE, st.integers(0xF8, 0xFF), st.data())
def test_a_real_time_byte_anywhere_leaves_the_other_messages_as_they_are(
    data: bytes, byte: int, draw: st.DataObject
) -> None:
    place = draw.draw(st.integers(0, len(data)))
    with_it = data[:place] + bytes((byte,)) + data[place:]
    assert without_real_time(with_it) == without_real_time(data)


@given(st.lists(MESSAGE))
@example([(0x90, 60, 64), (0x90, 60, 0)])
def test_leaving_out_a_repeated_status_changes_nothing(messages: list[tuple[int, ...]]) -> None:
    running = bytearray()
    last = None
    for message in messages:
        running += bytes(message[1:] if message[0] == last else message)
        last = message[0]
    full = b"".join(bytes(message) for message in messages)
    assert Decoder().feed(bytes(running), AT) == Decoder().feed(full, AT)


@given(st.lists(MESSAGE))
def test_whole_messages_are_read_as_mido_reads_them(messages: list[tuple[int, ...]]) -> None:
    # mido 1.3.3 is right for whole messages; it knows no running status on a wire, and loses
    # a message that has a real-time byte inside.
    theirs: list[Input] = []
    for item in mido.parse_all([byte for message in messages for byte in message]):
        if item.type == "note_on" and item.velocity:
            theirs.append(down(item.note, item.velocity, item.channel))
        elif item.type == "note_on":
            theirs.append(KeyUp(AT, item.note, 64, item.channel))
        elif item.type == "note_off":
            theirs.append(KeyUp(AT, item.note, item.velocity, item.channel))
        elif item.type == "control_change" and item.control < 120:
            theirs.append(Controller(AT, item.control, item.value, item.channel))
        elif item.type != "control_change":
            theirs.append(Passing(AT, bytes(item.bytes())))
    sound = [message for message in messages if message[0] >> 4 != 0xB or message[1] < 120]
    assert Decoder().feed(b"".join(bytes(message) for message in sound), AT) == theirs


def test_unplugged_a_wires_keys_come_up_and_its_pedals_and_wheels_go_to_rest() -> None:
    decoder = Decoder()
    for data in (
        "90 3c 50",
        "b1 42 7f",
        "b0 45 40",
        "b0 42 7f",
        "b0 42 00",
        "e2 00 50",
        "b3 01 09",
    ):
        decoder.feed(bytes.fromhex(data), 1)
    for data in ("e4 00 50", "e4 00 40", "b5 07 50"):  # put back, and no pedal
        decoder.feed(bytes.fromhex(data), 1)
    up, *rest = decoder.unplugged(9)
    assert up == KeyUp(9, 60)
    assert sorted(rest, key=repr) == [
        Controller(9, 1, 0, 3),
        Controller(9, 66, 0, 1),
        Controller(9, 69, 0, 0),
        Passing(9, b"\xe2\x00\x40"),
    ]
    assert decoder.unplugged(10) == []
