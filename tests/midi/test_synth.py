"""What is heard, by Fourier transform of what FluidSynth renders with the font that is shipped."""

import shutil
import subprocess
import sys
import wave
from collections.abc import Iterator, Sequence
from pathlib import Path

import mido
import pytest

from ripieno.errors import AuthorError, MachineError
from ripieno.midi import fluidsynth
from ripieno.midi.soundfont import shipped_soundfont
from ripieno.midi.synth import FRAME_BYTES, RATE, Instrument, Synth, render_wav
from ripieno.perform import message
from spectrum import NEEDS_FLUIDSYNTH, cents_off, largest_frame, level, peaks

FONT = shipped_soundfont()
STRING, SINE = 0, 79  # programs

# C3 E4 G4 B4: two hands' worth, an octave and more apart, no note on another's octave.
CHORD = (48, 64, 67, 71)

# Semitones from a tone to its partials 2 to 16, by equal temperament rounded to the nearest.
PARTIALS = (12, 19, 24, 28, 31, 34, 36, 38, 40, 42, 43, 44, 46, 47, 48)


pytestmark = NEEDS_FLUIDSYNTH


@pytest.fixture
def instrument() -> Iterator[Instrument]:
    with Instrument(FONT) as instrument:
        yield instrument


def heard(instrument: Instrument, path: Path, seconds: float) -> Path:
    """What the instrument sounds like from now on, in the file `path`."""
    with wave.open(str(path), "wb") as wav:
        wav.setparams((2, FRAME_BYTES // 2, RATE, 0, "NONE", ""))
        wav.writeframes(instrument.frames(round(seconds * RATE)))
    return path


def song(path: Path, timed: Sequence[tuple[float, bytes]]) -> Path:
    """A MIDI file of (seconds, message) by mido, whose defaults are 120 quarters a minute."""
    track, before = mido.MidiTrack(), 0
    for at_s, data in timed:
        tick = round(at_s * 960)
        track.append(mido.Message.from_bytes(data, time=tick - before))
        before = tick
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(path)
    return path


def chord_song(path: Path, program: int) -> Path:
    ons = [(0, message.note_on(0, note, 100)) for note in CHORD]
    offs = [(2, message.note_off(0, note)) for note in CHORD]
    return song(path, [(0, bytes((0xC0, program))), *ons, *offs])


def test_a_chord_of_sines_sounds_its_four_notes_and_nothing_else(tmp_path: Path) -> None:
    wav = tmp_path / "chord.wav"
    render_wav(chord_song(tmp_path / "chord.mid", SINE), wav, FONT)
    levels = peaks(wav, 0.5, 1)
    assert all(levels[note] > -1 for note in CHORD)
    # A pure tone of a second, windowed, is 54 dB down a semitone away at C3 (measured).
    assert max(value for note, value in levels.items() if note not in CHORD) < -50


def test_a_chord_of_strings_sounds_its_four_notes_and_only_their_partials(tmp_path: Path) -> None:
    wav = tmp_path / "chord.wav"
    render_wav(chord_song(tmp_path / "chord.mid", STRING), wav, FONT)
    levels = peaks(wav, 0.05, 1)
    assert all(levels[note] > -12 for note in CHORD)
    explained = {note + partial for note in CHORD for partial in (0, *PARTIALS)}
    strangers = {note: value for note, value in levels.items() if note not in explained}
    assert len(strangers) > 40
    assert max(strangers.values()) < -25


@pytest.mark.parametrize("program", [STRING, SINE])
def test_every_key_of_the_middle_six_octaves_is_in_tune(
    instrument: Instrument, tmp_path: Path, program: int
) -> None:
    instrument.send(bytes((0xC0, program)))
    for note in range(33, 106):
        instrument.send(message.note_on(0, note, 90))
        wav = heard(instrument, tmp_path / "note.wav", 1)
        instrument.send(message.control(0, message.ALL_SOUND_OFF, 0))
        # 2 cents: less than half of what listeners can tell apart (about 5; from memory)
        assert abs(cents_off(wav, note, 0.1, 0.9)) < 2, note


def test_a_held_string_dies_away(instrument: Instrument, tmp_path: Path) -> None:
    instrument.send(message.note_on(0, 60, 100))
    wav = heard(instrument, tmp_path / "note.wav", 3)
    early, later, late = (level(wav, start_s, 0.2) for start_s in (0.05, 1, 2.5))
    assert early - 30 < later < early - 6
    assert late < later - 6


def test_treble_strings_die_away_faster_than_bass_strings(
    instrument: Instrument, tmp_path: Path
) -> None:
    falls = []
    for note in (36, 60, 84):
        instrument.send(message.note_on(0, note, 100))
        wav = heard(instrument, tmp_path / f"{note}.wav", 2)
        instrument.send(message.control(0, message.ALL_SOUND_OFF, 0))
        falls.append(level(wav, 0.05, 0.2) - level(wav, 1.5, 0.2))
    assert falls == sorted(falls)
    assert falls[2] > falls[0] + 10


def test_note_off_damps_a_string_within_half_a_second(
    instrument: Instrument, tmp_path: Path
) -> None:
    instrument.send(message.note_on(0, 48, 100))
    before = level(heard(instrument, tmp_path / "held.wav", 1), 0.8, 0.2)
    instrument.send(message.note_off(0, 48))
    after = level(heard(instrument, tmp_path / "damped.wav", 1), 0.5, 0.2)
    assert after < before - 35


def test_the_sustain_pedal_holds_a_released_string_until_it_is_lifted(
    instrument: Instrument, tmp_path: Path
) -> None:
    instrument.send(message.note_on(0, 48, 100))
    instrument.send(message.control(0, message.SUSTAIN, 127))
    before = level(heard(instrument, tmp_path / "held.wav", 1), 0.8, 0.2)
    instrument.send(message.note_off(0, 48))
    pedalled = level(heard(instrument, tmp_path / "pedalled.wav", 1), 0.5, 0.2)
    instrument.send(message.control(0, message.SUSTAIN, 0))
    damped = level(heard(instrument, tmp_path / "damped.wav", 1), 0.5, 0.2)
    assert pedalled > before - 15
    assert damped < pedalled - 30


def test_a_note_on_of_velocity_0_ends_the_note(instrument: Instrument, tmp_path: Path) -> None:
    instrument.send(bytes((0xC0, SINE)))
    instrument.send(message.note_on(0, 69, 100))
    before = level(heard(instrument, tmp_path / "held.wav", 1), 0.5, 0.5)
    instrument.send(bytes((0x90, 69, 0)))  # MIDI 1.0: a note-off
    assert level(heard(instrument, tmp_path / "ended.wav", 1), 0.5, 0.5) < before - 40


def test_a_harder_strike_is_louder_and_brighter(instrument: Instrument, tmp_path: Path) -> None:
    loudness, overtone = [], []
    for velocity in (30, 64, 120):
        instrument.send(message.note_on(0, 60, velocity))
        wav = heard(instrument, tmp_path / "note.wav", 1)
        instrument.send(message.control(0, message.ALL_SOUND_OFF, 0))
        loudness.append(level(wav, 0.05, 0.5))
        levels = peaks(wav, 0.05, 0.5)
        overtone.append(levels[60 + 31] - levels[60])  # the sixth partial against the first
    assert loudness == sorted(loudness)
    assert loudness[2] > loudness[0] + 12
    assert overtone == sorted(overtone)
    assert overtone[2] > overtone[0] + 3


def test_ten_strong_notes_do_not_clip_at_a_gain_of_a_half(tmp_path: Path) -> None:
    notes = (36, 43, 48, 52, 55, 60, 64, 67, 72, 76)
    with Instrument(FONT, gain=0.5) as instrument:
        for note in notes:
            instrument.send(message.note_on(0, note, 100))
        wav = heard(instrument, tmp_path / "ten.wav", 1)
    assert 4_000 < largest_frame(wav) < 20_000  # of 32,768


def test_pitch_bend_reaches_its_own_channel_only(instrument: Instrument, tmp_path: Path) -> None:
    for channel, note in ((0, 60), (1, 72)):
        instrument.send(bytes((0xC0 | channel, SINE)))
        instrument.send(bytes((0xE0 | channel, 0x00, 0x60 if channel else 0x40)))
        instrument.send(message.note_on(channel, note, 100))
    wav = heard(instrument, tmp_path / "bent.wav", 1)
    assert abs(cents_off(wav, 60, 0.1, 0.9)) < 2
    # 0x3000 is half the way up, and the way is two semitones (General MIDI's default range)
    assert abs(cents_off(wav, 73, 0.1, 0.9)) < 2


def test_the_fine_seven_bits_of_a_pitch_bend_count_least(
    instrument: Instrument, tmp_path: Path
) -> None:
    instrument.send(bytes((0xC0, SINE)))
    instrument.send(bytes((0xE0, 0x7F, 0x40)))
    instrument.send(message.note_on(0, 69, 100))
    wav = heard(instrument, tmp_path / "bent.wav", 1)
    assert cents_off(wav, 69, 0.1, 0.9) == pytest.approx(200 * 0x7F / 0x2000, abs=1)


def test_a_general_midi_reset_straightens_a_bend(instrument: Instrument, tmp_path: Path) -> None:
    instrument.send(bytes((0xE0, 0x00, 0x60)))
    instrument.send(bytes.fromhex("F0 7E 7F 09 01 F7"))  # General MIDI System On
    instrument.send(message.note_on(0, 60, 100))
    assert abs(cents_off(heard(instrument, tmp_path / "note.wav", 1), 60, 0.1, 0.9)) < 2


def test_volume_and_pressure_are_taken_in_the_order_of_their_bytes(
    instrument: Instrument, tmp_path: Path
) -> None:
    instrument.send(message.control(0, 7, 0))  # channel volume
    instrument.send(bytes((0xA0, 60, 100)))
    instrument.send(bytes((0xD0, 100)))
    instrument.send(message.note_on(0, 60, 100))
    assert largest_frame(heard(instrument, tmp_path / "mute.wav", 0.5)) < 3
    instrument.send(message.control(0, 7, 127))
    assert largest_frame(heard(instrument, tmp_path / "loud.wav", 0.5)) > 300


def test_what_is_no_message_and_what_comes_after_close_is_refused() -> None:
    instrument = Instrument(FONT)
    for data in (b"", b"\x90\x3c", b"\x3c\x40", b"\x90\x3c\x80"):
        with pytest.raises(ValueError, match="no whole MIDI message"):
            instrument.send(data)
    instrument.send(b"\xfe")  # active sensing: whole, and means nothing here
    instrument.close()
    instrument.close()
    with pytest.raises(ValueError, match="closed"):
        instrument.send(message.note_on(0, 60, 100))


def test_a_file_that_is_no_font_is_refused_in_one_line(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.sf2"
    path.write_bytes(b"hello")
    with pytest.raises(MachineError, match=r"x\.sf2") as refused:
        Instrument(path)
    assert "\n" not in str(refused.value)
    assert capfd.readouterr().err == ""


def test_a_synth_plays_what_is_sent_through_an_audio_driver(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    wav = tmp_path / "fluidsynth.wav"  # where FluidSynth's driver for files writes, in real time
    with Synth(FONT, driver="file") as synth:
        assert "struck-string.sf2" in synth.why
        synth.send(bytes((0xC0, SINE)))
        synth.send(message.note_on(0, 69, 100))
        wait_for_size(wav, RATE * FRAME_BYTES)
    assert abs(cents_off(wav, 69, 0.3, 0.5)) < 2


def wait_for_size(path: Path, size: int) -> None:
    """Until `path` has `size` bytes; some seconds' worth of looks at most."""
    for _ in range(5_000_000):
        if path.stat().st_size >= size:
            return
    pytest.fail(f"{path} stays at {path.stat().st_size} bytes")


def test_without_an_audio_device_there_is_one_line_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "no-such-server")
    monkeypatch.setenv("JACK_NO_START_SERVER", "1")
    with pytest.raises(
        MachineError, match=r"no sound \(jack: .*turn on an audio device"
    ) as refused:
        Synth(FONT, driver="jack")
    assert "\n" not in str(refused.value)
    assert capfd.readouterr() == ("", "")


def test_without_the_library_there_is_one_line_that_says_what_to_install() -> None:
    with pytest.raises(MachineError, match="install 'fluidsynth'") as refused:
        fluidsynth.load(["libno-such-synthesizer.so.9"])
    assert "\n" not in str(refused.value)


def test_rendering_agrees_with_the_fluidsynth_program(tmp_path: Path) -> None:
    if shutil.which("fluidsynth") is None:
        pytest.skip("the program fluidsynth is not installed")
    mid, ours, theirs = (tmp_path / name for name in ("a.mid", "ours.wav", "theirs.wav"))
    chord_song(mid, STRING)
    render_wav(mid, ours, FONT, gain=0.6)
    options = ["-n", "-i", "-q", "-C", "0", "-g", "0.6", "-r", str(RATE), "-T", "wav"]
    command = ["fluidsynth", *options, "-F", str(theirs), str(FONT), str(mid)]
    subprocess.run(command, check=True, capture_output=True)
    for start_s in (0.1, 0.5, 1, 1.5, 2):
        assert level(ours, start_s, 0.1) == pytest.approx(level(theirs, start_s, 0.1), abs=0.5)
    assert peaks(ours, 0.5, 1)[60] == pytest.approx(peaks(theirs, 0.5, 1)[60], abs=0.5)


def test_a_rendering_keeps_the_files_time_and_goes_on_until_the_sound_has_ended(
    tmp_path: Path,
) -> None:
    mid, wav = tmp_path / "late.mid", tmp_path / "late.wav"
    song(mid, [(0, b"\xc0\x4f"), (1, b"\x90\x45\x64"), (1.5, b"\x80\x45\x40")])
    render_wav(mid, wav, FONT)
    assert level(wav, 0.5, 0.49) < -80
    assert level(wav, 1.05, 0.4) > -40
    with wave.open(str(wav)) as written:
        length = written.getnframes() / RATE
    assert level(wav, length - 0.1, 0.1) < -80


def test_notes_that_a_file_leaves_on_do_not_go_on_for_ever(tmp_path: Path) -> None:
    mid, wav = tmp_path / "on.mid", tmp_path / "on.wav"
    song(mid, [(0, b"\xc0\x4f"), (0, b"\x90\x45\x64")])
    render_wav(mid, wav, FONT)
    with wave.open(str(wav)) as written:
        assert 15 < written.getnframes() / RATE < 30  # our choice: 20 s and the reverberation


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"", "no standard MIDI file"),
        (b"RIFF....", "no standard MIDI file"),
        (b"MThd\0\0\0\6\0\0\0\1\1\xe0MTrk\0\0\xff\xff\0\x90\x3c", "damaged MIDI file"),
    ],
)
def test_what_is_no_midi_file_is_refused_and_leaves_the_old_sound(
    tmp_path: Path, data: bytes, fault: str
) -> None:
    mid, wav = tmp_path / "x.mid", tmp_path / "x.wav"
    mid.write_bytes(data)
    wav.write_bytes(b"before")
    with pytest.raises(AuthorError, match=fault) as refused:
        render_wav(mid, wav, FONT)
    assert str(mid) in str(refused.value)
    assert "\n" not in str(refused.value)
    assert wav.read_bytes() == b"before"
    assert sorted(tmp_path.iterdir()) == [mid, wav]


def test_a_sound_file_that_cannot_be_written_is_refused_in_one_line(tmp_path: Path) -> None:
    mid = chord_song(tmp_path / "x.mid", SINE)
    for wav in (tmp_path / "absent" / "x.wav", mid / "x.wav"):
        with pytest.raises(MachineError, match="cannot write") as refused:
            render_wav(mid, wav, FONT)
        assert "\n" not in str(refused.value)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on the size of files")
def test_a_disk_that_fills_up_leaves_the_old_sound_and_no_half_file(tmp_path: Path) -> None:
    import resource

    mid, wav = chord_song(tmp_path / "x.mid", SINE), tmp_path / "x.wav"
    wav.write_bytes(b"before")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))  # bytes a file may reach
    try:
        with pytest.raises(MachineError, match="cannot write"):
            render_wav(mid, wav, FONT)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert wav.read_bytes() == b"before"
    assert sorted(tmp_path.iterdir()) == [mid, wav]
