"""Standard MIDI files. The format's figures: the Standard MIDI Files 1.0 specification as
www.blitter.com/~russtopia/MIDI/~jglatt/tech/midifile retells it; mido reads back as an outside
check.
"""

import struct
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from midi_files import changes_in
from ripieno.errors import AuthorError, MachineError
from ripieno.midi.file import LARGEST_BYTES, read, write
from ripieno.midi.track import parse
from ripieno.perform.events import Controller, KeyDown, KeyUp, Passing, Send
from ripieno.perform.message import control, note_off, note_on
from ripieno.perform.time_map import TimeMap, steady
from ripieno.style.model import Meter

# One quarter note of middle C at 480 ticks a quarter, with running status, as mido writes it.
ONE_QUARTER = bytes.fromhex(
    "4d 54 68 64 00 00 00 06 00 00 00 01 01 e0"
    "4d 54 72 6b 00 00 00 0c 00 90 3c 40 83 60 3c 00 00 ff 2f 00"
)
END = "00 ff 2f 00"
FOUR_FOUR = Meter(4, 4)

same_folder = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def song_of(folder: Path, *tracks: str, division: int = 480, kind: int = 1):
    path = folder / "in.mid"
    data = struct.pack(">4sLhHH", b"MThd", 6, kind, len(tracks), division)
    for track in tracks:
        body = bytes.fromhex(track)
        data += struct.pack(">4sL", b"MTrk", len(body)) + body
    path.write_bytes(data)
    return read(path)


def refusal(path: Path) -> str:
    with pytest.raises(AuthorError) as refused:
        read(path)
    line = str(refused.value)
    assert line.startswith(f"{path}: ")
    assert "\n" not in line
    return line


def test_a_file_without_a_tempo_plays_120_quarters_a_minute(tmp_path: Path) -> None:
    path = tmp_path / "one.mid"
    path.write_bytes(ONE_QUARTER)
    song = read(path)
    assert song.events == (KeyDown(0, 60, 64, 0), KeyUp(500_000_000, 60, 64, 0))
    assert (song.length_ns, song.bpm, song.tempi) == (500_000_000, 120.0, ((0, 120.0),))
    assert (song.meters, song.states_meter) == (((0, FOUR_FOUR),), False)


def test_time_signatures_are_kept_with_their_instants(tmp_path: Path) -> None:
    # FF 58: numerator, denominator as a power of two, clocks a click, 32nds a quarter.
    song = song_of(tmp_path, "00 ff 58 04 06 03 24 08 83 60 ff 58 04 03 02 18 08" + END)
    assert song.meters == ((0, Meter(6, 8)), (500_000_000, Meter(3, 4)))
    assert song.states_meter


def test_until_the_first_time_signature_the_meter_is_the_formats_own(tmp_path: Path) -> None:
    song = song_of(tmp_path, "83 60 ff 58 04 06 03 24 08" + END)
    assert song.meters == ((0, FOUR_FOUR), (500_000_000, Meter(6, 8)))
    assert song.states_meter


def test_of_several_time_signatures_at_one_instant_the_last_holds(tmp_path: Path) -> None:
    song = song_of(tmp_path, "00 ff 58 04 06 03 24 08 00 ff 58 04 03 02 18 08" + END)
    assert song.meters == ((0, Meter(3, 4)),)


@pytest.mark.parametrize(
    ("written", "ticks"),
    [
        ("00", 0x00), ("40", 0x40), ("7f", 0x7F), ("81 00", 0x80), ("c0 00", 0x2000),
        ("ff 7f", 0x3FFF), ("81 80 00", 0x4000), ("ff ff 7f", 0x1FFFFF),
        ("81 80 80 00", 0x200000), ("ff ff ff 7f", 0x0FFFFFFF),
    ],
)  # fmt: skip
def test_a_time_in_the_file_is_a_variable_length_quantity(
    tmp_path: Path, written: str, ticks: int
) -> None:
    # The specification's own table of such numbers. 500 ticks at 120 a minute: 1 ms each.
    song = song_of(tmp_path, written + "90 3c 40" + END, division=500)
    assert song.events == (KeyDown(ticks * 1_000_000, 60, 64, 0),)


def test_every_tempo_change_moves_what_follows_it(tmp_path: Path) -> None:
    # 07A120 is 500000 us a quarter, 051615 is 333333, 0F4240 is 1000000.
    tempi = "00 ff 51 03 07 a1 20 83 60 ff 51 03 05 16 15 83 60 ff 51 03 0f 42 40" + END
    notes = "83 60 90 3c 40 83 60 3e 40 83 60 40 40" + END
    song = song_of(tmp_path, tempi, notes)
    assert [event.at_ns for event in song.events] == [500_000_000, 833_333_000, 1_833_333_000]
    assert song.tempi == (
        (0, 120.0),
        (500_000_000, pytest.approx(180.00018, abs=1e-6)),
        (833_333_000, 60.0),
    )


def test_of_several_tempi_at_one_instant_the_last_holds(tmp_path: Path) -> None:
    song = song_of(tmp_path, "00 ff 51 03 07 a1 20 00 ff 51 03 0f 42 40 83 60 90 3c 40" + END)
    assert (song.tempi, song.events[0].at_ns) == (((0, 60.0),), 1_000_000_000)


def test_the_file_lasts_to_the_end_of_its_longest_track(tmp_path: Path) -> None:
    short = "00 90 3c 40 83 60 3c 00 00 ff 2f 00"
    silent = "8f 00 ff 2f 00"  # 1920 ticks: four quarters
    assert song_of(tmp_path, short, silent).length_ns == 2_000_000_000


def test_tracks_are_merged_in_the_order_of_time_and_then_of_the_tracks(tmp_path: Path) -> None:
    song = song_of(tmp_path, "0a 90 3c 40" + END, "00 91 3e 41 0a c1 05" + END, division=500)
    assert song.events == (
        KeyDown(0, 62, 65, 1),
        KeyDown(10_000_000, 60, 64, 0),
        Passing(10_000_000, b"\xc1\x05"),
    )


def test_controllers_are_read_and_system_exclusive_is_not(tmp_path: Path) -> None:
    song = song_of(tmp_path, "00 b2 40 7f 00 f0 05 7e 7f 09 01 f7" + END)
    assert song.events == (Controller(0, 64, 127, 2),)


def test_long_songs_do_not_drift(tmp_path: Path) -> None:
    # Each of 20,000 notes against exact fractions; a seventh of a quarter is no whole ns.
    track = "00 ff 51 03 07 a1 21" + "01 90 3c 40" * 20_000 + END
    song = song_of(tmp_path, track, division=7)
    step = Fraction(500_001_000, 7)
    assert all(
        abs(event.at_ns - step * (place + 1)) <= Fraction(1, 2)
        for place, event in enumerate(song.events)
    )


TRACK = st.lists(
    st.one_of(
        st.builds(
            mido.Message, st.just("note_on"), note=st.integers(0, 127), time=st.integers(0, 5000)
        ),
        st.builds(
            mido.MetaMessage,
            st.just("set_tempo"),
            tempo=st.integers(1, 2**24 - 1),
            time=st.integers(0, 5000),
        ),
    )
)


@same_folder
@given(st.lists(TRACK, min_size=1, max_size=3), st.integers(1, 32767))
def test_times_are_those_of_midos_own_player(
    tmp_path: Path, tracks: list[list[mido.Message]], division: int
) -> None:
    path = tmp_path / "song.mid"
    file = mido.MidiFile(type=1, ticks_per_beat=division, tracks=tracks)
    file.save(path)
    at_s, times = 0.0, []
    for item in mido.MidiFile(path):
        at_s += item.time
        if not item.is_meta:
            times.append(at_s)
    song = read(path)
    assert [event.at_ns / 1e9 for event in song.events] == pytest.approx(times, abs=1e-6)
    assert song.length_ns / 1e9 == pytest.approx(at_s, abs=1e-6)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "it is empty"),
        (b"Hello, world", "it begins with b'Hell', expected b'MThd'"),
        (ONE_QUARTER[:-6], "damaged MIDI file: it ends in the middle of a track"),
        (ONE_QUARTER[:10], "damaged MIDI file: it ends in the middle of a track"),
        (ONE_QUARTER.replace(b"MTrk", b"XTrk"), "damaged MIDI file: no MTrk"),
        (ONE_QUARTER.replace(b"\x90", b"\x3c"), "a data byte 3c where a message begins"),
        (ONE_QUARTER.replace(b"\x3c\x40", b"\x3c\xc0"), "a byte c0 in the middle of a message"),
        (ONE_QUARTER.replace(b"\x83\x60", b"\xff\xff\xff\xff"), "more than four bytes"),
        (ONE_QUARTER.replace(b"\x90\x3c\x40", b"\xff\x51\0"), "a meta event 51 of 0 bytes"),
        (ONE_QUARTER[:9] + b"\x02" + ONE_QUARTER[10:], "format 2: save it as format 0 or 1"),
        (ONE_QUARTER[:12] + b"\xe7\x28" + ONE_QUARTER[14:], "counts in video frames"),
        (ONE_QUARTER[:12] + b"\0\0" + ONE_QUARTER[14:], "ticks per quarter"),
        (b"MThd" + bytes(LARGEST_BYTES), "larger than 2 MiB"),
    ],
)
def test_what_is_no_usable_midi_file_is_refused_with_what_was_found(
    tmp_path: Path, data: bytes, says: str
) -> None:
    path = tmp_path / "wrong.mid"
    path.write_bytes(data)
    assert says in refusal(path)


def test_a_tempo_that_cannot_be_counted_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AuthorError, match="a tempo of 0"):
        song_of(tmp_path, "00 ff 51 03 00 00 00" + END)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    assert "No such file" in refusal(tmp_path / "none.mid")
    assert "directory" in refusal(tmp_path)


@same_folder
@given(st.data())
def test_a_damaged_file_is_read_or_refused_but_never_breaks_the_program(
    tmp_path: Path, draw: st.DataObject
) -> None:
    meta = (
        "00 ff 51 03 07 a1 20 00 ff 58 04 04 02 18 08 00 ff 59 02 fd 00 00 ff 54 05 01 02 03 04 05"
    )
    song_of(tmp_path, meta + "00 f0 03 01 02 f7 00 90 3c 40 10 e0 01 02" + END)
    path = tmp_path / "in.mid"
    data = bytearray(path.read_bytes())
    for _ in range(draw.draw(st.integers(1, 4))):
        data[draw.draw(st.integers(4, len(data) - 1))] = draw.draw(st.integers(0, 255))
    path.write_bytes(data[: draw.draw(st.integers(10, len(data)))])
    try:
        ends_ns = read(path).length_ns
    except AuthorError as error:
        ends_ns = -str(error).count("\n")  # a refusal is one line
    assert ends_ns >= 0


# Metadata that the music does not need, by SMF 1.0: lengths say how far each reaches.
UNNEEDED = {
    "program name": "ff 08 02 41 42",
    "device name": "ff 09 01 41",
    "a text kind without a name": "ff 0a 02 41 42",
    "an unknown kind": "ff 4b 01 00",
    "a key of 8 sharps": "ff 59 02 08 00",
    "an SMPTE offset of no frame rate": "ff 54 05 ff 61 62 63 64",
    "a channel prefix without its byte": "ff 20 00",
    "text in no encoding": "ff 01 02 ff fe",
    "a maker's own": "ff 7f 81 00" + "00" * 128,
    "system exclusive": "f0 03 43 12 f7",
    "an escape": "f7 02 f3 01",
}


@pytest.mark.parametrize("event", UNNEEDED.values(), ids=UNNEEDED)
def test_what_the_music_does_not_need_is_stepped_over_and_its_time_counts(
    tmp_path: Path, event: str
) -> None:
    # 480 ticks (83 60), a quarter of half a second, before each of them.
    note = "83 60 90 3c 40"
    song = song_of(tmp_path, f"83 60 {event} {note} 83 60 {event}" + END)
    assert song.events == (KeyDown(1_000_000_000, 60, 64, 0),)
    assert song.length_ns == 1_500_000_000


def test_a_time_signature_of_two_bytes_is_enough(tmp_path: Path) -> None:
    assert song_of(tmp_path, "00 ff 58 02 03 02" + END).meters == ((0, Meter(3, 4)),)


def test_chunks_of_another_kind_and_what_follows_the_tracks_are_stepped_over(
    tmp_path: Path,
) -> None:
    path = tmp_path / "in.mid"
    alien = b"XYZW\0\0\0\3abc"
    path.write_bytes(ONE_QUARTER[:14] + alien + ONE_QUARTER[14:] + alien[:9])
    assert [event.at_ns for event in read(path).events] == [0, 500_000_000]


def test_a_longer_header_is_stepped_over(tmp_path: Path) -> None:
    path = tmp_path / "in.mid"
    path.write_bytes(ONE_QUARTER[:7] + b"\x08" + ONE_QUARTER[8:14] + b"\1\2" + ONE_QUARTER[14:])
    assert len(read(path).events) == 2


def test_running_status_goes_on_after_what_is_stepped_over(tmp_path: Path) -> None:
    song = song_of(tmp_path, "00 90 3c 40 00 ff 01 00 00 3e 40 00 f0 01 f7 00 40 40" + END)
    assert [event.note for event in song.events] == [60, 62, 64]


def test_a_track_ends_with_its_end_and_without_one_with_its_last_event(tmp_path: Path) -> None:
    assert song_of(tmp_path, "83 60 ff 2f 00 83 60 90 3c 40").events == ()
    assert song_of(tmp_path, "83 60 90 3c 40").length_ns == 500_000_000


CHANNEL_MESSAGES = st.one_of(
    st.builds(
        lambda kind, channel, a, b: mido.Message.from_bytes((kind | channel, a, b)),
        st.sampled_from([0x80, 0x90, 0xA0, 0xE0]),
        *[st.integers(0, most) for most in (15, 127, 127)],
    ),
    st.builds(
        lambda kind, channel, a: mido.Message.from_bytes((kind | channel, a)),
        st.sampled_from([0xC0, 0xD0]),
        *[st.integers(0, most) for most in (15, 127)],
    ),
)
BESIDES = st.sampled_from(
    [
        mido.MetaMessage("lyrics", text="la"),
        mido.MetaMessage("key_signature", key="Eb"),
        mido.MetaMessage("set_tempo", tempo=333_333),
        mido.MetaMessage("time_signature", numerator=6, denominator=8),
        mido.Message("sysex", data=(1, 2, 3)),
    ]
)


@same_folder
@given(
    st.lists(
        st.lists(
            st.tuples(st.one_of(CHANNEL_MESSAGES, BESIDES), st.integers(0, 300_000)), max_size=12
        ),
        min_size=1,
        max_size=4,
    )
)
def test_ordinary_files_are_parsed_as_mido_parses_them(
    tmp_path: Path, tracks: list[list[tuple[mido.Message, int]]]
) -> None:
    path = tmp_path / "song.mid"
    timed = [mido.MidiTrack(m.copy(time=time) for m, time in track) for track in tracks]
    mido.MidiFile(type=1, tracks=timed).save(path)
    for ours, theirs in zip(
        parse(path.read_bytes()).tracks, mido.MidiFile(path).tracks, strict=True
    ):
        tick, expected = 0, []
        for message in theirs:
            tick += message.time
            if message.type not in ("sysex", "lyrics", "key_signature"):
                expected.append((tick, bytes(message.bytes())))
        assert [(event.tick, with_length(event.data)) for event in ours] == expected


def with_length(data: bytes) -> bytes:
    """A meta event's bytes as in a file, where its length is the third."""
    return data[:2] + bytes((len(data) - 2,)) + data[2:] if data[0] == 0xFF else data


SENDS = [
    Send(0, note_on(0, 60, 64)),
    Send(0, control(0, 64, 127)),
    Send(500_000_000, note_off(0, 60)),
    Send(500_000_000, note_on(0, 62, 65)),
    Send(1_000_000_000, note_off(0, 62)),
]


def test_a_written_file_is_the_formats_bytes(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    write(path, SENDS[:1], steady(120, FOUR_FOUR), 500_000_000)
    # 960 (03C0) ticks a quarter; 500000 us a quarter; 4/4; the end a quarter (87 40) later.
    assert path.read_bytes() == bytes.fromhex(
        "4d546864 00000006 0000 0001 03c0"
        "4d54726b 00000018 00 ff5103 07a120 00 ff5804 04021808 00 903c40 8740 ff2f00"
    )


def test_compound_meters_count_dotted_quarters(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    write(path, (), steady(40, Meter(6, 8)), 0)
    tempo, signature, _ = mido.MidiFile(path).tracks[0]
    assert tempo.tempo == 1_000_000  # 40 dotted quarters are 60 quarters a minute
    assert (signature.numerator, signature.denominator, signature.clocks_per_click) == (6, 8, 36)


def test_messages_of_one_instant_keep_their_order(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    write(path, SENDS, steady(120, FOUR_FOUR), 0)
    items = [item for item in mido.MidiFile(path).tracks[0] if not item.is_meta]
    assert [bytes(item.bytes()) for item in items] == [send.data for send in SENDS]
    assert [item.time for item in items] == [0, 0, 960, 0, 960]


def test_the_same_messages_make_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.mid", "b.mid"):
        write(tmp_path / name, SENDS, steady(97.3, FOUR_FOUR), 3_000_000_000)
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()


@same_folder
@given(
    st.lists(st.tuples(st.integers(0, 3 * 10**12), st.integers(0, 127)), max_size=30),
    st.floats(20, 400),
    st.sampled_from([FOUR_FOUR, Meter(3, 4), Meter(12, 8), Meter(2, 2)]),
    st.integers(0, 4 * 10**12),
)
def test_what_is_written_is_read_back_to_within_half_a_tick(
    tmp_path: Path, notes: list[tuple[int, int]], bpm: float, meter: Meter, length_ns: int
) -> None:
    path = tmp_path / "out.mid"
    sends = [Send(at_ns, note_on(1, note, 70)) for at_ns, note in sorted(notes)]
    write(path, sends, steady(bpm, meter), length_ns)
    song = read(path)
    half_tick_ns = Fraction(mido.MidiFile(path).tracks[0][0].tempo * 1000, 2 * 960) + 1
    assert song.meters == ((0, meter),)
    # The format's tempo is a whole number of microseconds a quarter.
    assert song.bpm == pytest.approx(bpm * float(meter.beat_quarters), rel=1e-4)
    assert [event.note for event in song.events] == [send.data[1] for send in sends]
    pairs = zip(song.events, sends, strict=True)
    assert all(abs(event.at_ns - send.due_ns) <= half_tick_ns for event, send in pairs)
    last_ns = max([length_ns, *(send.due_ns for send in sends)])
    assert abs(song.length_ns - last_ns) <= half_tick_ns


def test_changes_of_tempo_and_meter_stand_on_their_ticks(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    # Four quarters at 120, three at 60, then in 6/8 at 90.
    tempi = ((0, 120.0), (2_000_000_000, 60.0), (5_000_000_000, 90.0))
    meters = ((0, FOUR_FOUR), (2_000_000_000, Meter(3, 4)), (5_000_000_000, Meter(6, 8)))
    sends = [Send(5_000_000_000 + place * 666_666_667, note_on(0, 60, 64)) for place in range(3)]
    write(path, sends, TimeMap(tempi, meters), 0)
    assert [(tick, m.tempo) for tick, m in changes_in(path, "set_tempo")] == [
        (0, 500_000), (3840, 1_000_000), (6720, 666_667)
    ]  # fmt: skip
    assert [
        (tick, m.numerator, m.denominator) for tick, m in changes_in(path, "time_signature")
    ] == [(0, 4, 4), (3840, 3, 4), (6720, 6, 8)]
    assert [tick for tick, _ in changes_in(path, "note_on")] == [6720, 7680, 8640]


def test_of_changes_that_fall_on_one_tick_the_last_holds(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    tempi = ((0, 120.0), (2_000_000_000, 60.0), (2_000_100_000, 240.0))
    write(path, (), TimeMap(tempi, ((0, FOUR_FOUR),)), 3_000_000_000)
    found = [(tick, m.tempo) for tick, m in changes_in(path, "set_tempo")]
    assert found == [(0, 500_000), (3840, 250_000)]


@same_folder
@given(
    st.lists(st.tuples(st.integers(1, 10**9), st.floats(5, 2000)), max_size=40),
    st.lists(st.integers(0, 40 * 10**9), max_size=40),
)
def test_every_message_is_within_half_a_tick_by_the_files_own_tempi(
    tmp_path: Path, changes: list[tuple[int, float]], at: list[int]
) -> None:
    path, at_ns, tempi = tmp_path / "out.mid", 0, [(0, 120.0)]
    for later_ns, bpm in changes:
        at_ns += later_ns
        tempi.append((at_ns, bpm))
    write(
        path,
        [Send(due_ns, note_on(0, 60, 64)) for due_ns in sorted(at)],
        TimeMap(tuple(tempi), ((0, FOUR_FOUR),)),
        0,
    )
    dues_us, file_us, tempo_us, before_us = sorted(at), Fraction(0), 500_000, 500_000
    for message in mido.MidiFile(path).tracks[0]:
        file_us += Fraction(message.time * tempo_us, 960)
        before_us = tempo_us if message.time else before_us
        if message.type == "set_tempo":
            tempo_us = message.tempo
        if message.type == "note_on":
            late_us = file_us - Fraction(dues_us.pop(0), 1000)
            assert -Fraction(tempo_us, 1920) <= late_us <= Fraction(before_us, 1920)
    assert dues_us == []


def test_a_meter_stands_on_the_bar_line_that_tempi_were_rounded_away_from(tmp_path: Path) -> None:
    # 92 quarters a minute are 652173.9 microseconds each, in a file 652174: after 10,000 that
    # is 0.9 ms, more than a tick. The other stands a quarter into a bar.
    path = tmp_path / "out.mid"
    quarters_ns = [round(place * Fraction(60 * 10**9, 92)) for place in (10_000, 10_001)]
    meters = ((0, FOUR_FOUR), (quarters_ns[0], Meter(3, 4)), (quarters_ns[1], FOUR_FOUR))
    write(path, (), TimeMap(((0, 92.0),), meters), 0)
    found = [tick for tick, _ in changes_in(path, "time_signature")]
    assert found == [0, 9_600_000, 9_600_959]


def test_a_folder_that_cannot_be_written_is_the_machines_refusal(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_bytes(b"")
    for path in (tmp_path / "none" / "out.mid", blocked / "out.mid", tmp_path):
        with pytest.raises(MachineError, match="cannot write"):
            write(path, SENDS, steady(120, FOUR_FOUR), 0)


def test_a_file_is_replaced_whole_and_nothing_else_is_left_in_its_folder(tmp_path: Path) -> None:
    path = tmp_path / "out.mid"
    path.write_bytes(b"old")
    write(path, SENDS, steady(120, FOUR_FOUR), 0)
    assert read(path).events
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.mid"]
    folder = tmp_path / "folder.mid"
    folder.mkdir()
    with pytest.raises(MachineError):
        write(folder, SENDS, steady(120, FOUR_FOUR), 0)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["folder.mid", "out.mid"]
