"""A synthesizer of the program's own, so that it can be heard without any other.

`Instrument` takes MIDI messages and gives audio frames when asked; `Synth` is one that plays to
the loudspeaker and has the methods of the output ports in `midi.ports`; `render_wav` plays a file.
"""

import contextlib
import ctypes
import os
import wave
from collections.abc import Generator, Sequence
from pathlib import Path
from typing import Self

from ripieno.errors import AuthorError, MachineError
from ripieno.midi import fluidsynth
from ripieno.midi.soundfont import find_soundfont
from ripieno.midi.systems import hushed
from ripieno.perform import message

RATE = 48_000  # frames a second
FRAME_BYTES = 4  # two channels of 16 bits

# Of FluidSynth's 0..10. Hearing comes first: what is too soft can be turned up.
GAIN = 0.4

_CHUNK = 4800  # frames rendered between looks at whether the file goes on
_LONGEST_FILE = 6 * 3600 * RATE  # frames; a WAV file holds up to 4 GiB, 6.2 hours
_LONGEST_TAIL = 20 * RATE  # frames, past the end of a file that leaves notes on
_REVERBERATION = RATE  # frames, past the last note

# What to try after the driver that the library prefers. On Linux that is often ALSA, whose device
# a JACK server may be keeping to itself.
_OTHER_DRIVERS = ("jack", "pipewire", "pulseaudio")

_CALLS = {
    message.NOTE_ON: "fluid_synth_noteon",
    message.POLY_PRESSURE: "fluid_synth_key_pressure",
    message.CONTROL_CHANGE: "fluid_synth_cc",
    message.PROGRAM_CHANGE: "fluid_synth_program_change",
    message.CHANNEL_PRESSURE: "fluid_synth_channel_pressure",
}


class Instrument:
    """FluidSynth with one font, silent until its frames are asked for."""

    def __init__(self, font: Path, gain: float = GAIN) -> None:
        """`gain` is FluidSynth's, 0..10. Raises MachineError."""
        self._library = fluidsynth.library()
        self._settings: int | None = self._library.new_fluid_settings()
        self._set("synth.gain", float(gain))
        self._set("synth.sample-rate", float(RATE))
        self._set("synth.chorus.active", 0)  # it detunes
        self._calls = {kind: getattr(self._library, name) for kind, name in _CALLS.items()}
        with fluidsynth.complaints() as said, hushed():
            self._synth: int | None = self._library.new_fluid_synth(self._settings)
            loaded = self._library.fluid_synth_sfload(self._synth, os.fsencode(font), 1)
        if loaded == fluidsynth.FAILED:
            self.close()
            raise MachineError(f"SoundFont '{font}' cannot be played: {_reason(said)}")

    def send(self, data: bytes) -> None:
        """Play one whole message. ValueError if it is none or after close.

        Waits for no device and no pipe; for one thread at a time. Of the system messages only
        exclusive ones mean anything to a synthesizer.
        """
        if self._synth is None or not message.is_legal(data):
            raise ValueError(f"synthesizer: closed, or no whole MIDI message: {data.hex(' ')}")
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind in self._calls:
            self._calls[kind](self._synth, channel, *data[1:])
        elif kind == message.NOTE_OFF:
            self._library.fluid_synth_noteoff(self._synth, channel, data[1])
        elif kind == message.PITCH_BEND:
            self._library.fluid_synth_pitch_bend(self._synth, channel, data[1] | data[2] << 7)
        elif data[0] == message.SYSTEM_EXCLUSIVE:
            body = data[1:-1]
            self._library.fluid_synth_sysex(self._synth, body, len(body), None, None, None, 0)

    def frames(self, count: int) -> bytes:
        """The next `count` frames of sound: left and right, 16 bits each in the machine's order."""
        pairs = ctypes.create_string_buffer(count * FRAME_BYTES)
        self._library.fluid_synth_write_s16(self._synth, count, pairs, 0, 2, pairs, 1, 2)
        return pairs.raw

    def played(self, mid_path: Path) -> Generator[bytes, None, None]:
        """The frames of a standard MIDI file, until its last note has died away.

        The tail ends 20 s after the file at the latest. Raises AuthorError for a damaged file.
        """
        player = self._library.new_fluid_player(self._synth)
        try:
            with fluidsynth.complaints() as said:
                self._library.fluid_player_add(player, os.fsencode(mid_path))
                self._library.fluid_player_play(player)
                yield self.frames(_CHUNK)  # in whose first block the file is read
            if said:
                raise AuthorError(f"{mid_path}: damaged MIDI file: {_reason(said)}")
            for _ in range(0, _LONGEST_FILE, _CHUNK):
                if not self._goes_on(player):
                    break
                yield self.frames(_CHUNK)
            else:
                raise AuthorError(f"{mid_path}: more than 6 hours, which a WAV file cannot hold")
        finally:
            self._library.delete_fluid_player(player)
        for _ in range(0, _LONGEST_TAIL, _CHUNK):
            if self._library.fluid_synth_get_active_voice_count(self._synth) == 0:
                break
            yield self.frames(_CHUNK)
        yield self.frames(_REVERBERATION)

    def close(self) -> None:
        """May be called again."""
        synth, self._synth = self._synth, None
        settings, self._settings = self._settings, None
        if settings is not None:
            self._library.delete_fluid_synth(synth)
            self._library.delete_fluid_settings(settings)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _goes_on(self, player: int) -> bool:
        """Whether the file has events to come; the status alone waits for notes left on."""
        status = self._library.fluid_player_get_status(player)
        tick = self._library.fluid_player_get_current_tick(player)
        end = self._library.fluid_player_get_total_ticks(player)
        return bool(status == fluidsynth.PLAYING and tick < end)

    def _set(self, name: str, value: float | str) -> None:
        key = name.encode()
        if isinstance(value, str):
            self._library.fluid_settings_setstr(self._settings, key, value.encode())
        elif isinstance(value, int):
            self._library.fluid_settings_setint(self._settings, key, value)
        else:
            self._library.fluid_settings_setnum(self._settings, key, value)


class Synth(Instrument):
    """An output port that sounds: an instrument whose frames an audio device asks for.

    `name` and `why` are for people, as those of the ports.
    """

    def __init__(self, font: Path, gain: float = GAIN, driver: str | None = None) -> None:
        """`driver` is one of FluidSynth's audio drivers; None: the first that works.

        Raises MachineError.
        """
        self._audio: int | None = None
        super().__init__(font, gain)
        self._set("audio.jack.autoconnect", 1)  # else it is silent until the player connects it
        self._set("audio.jack.id", "ripieno")
        try:
            self._audio, chosen = self._started(self._drivers() if driver is None else [driver])
        except MachineError:
            self.close()
            raise
        self.name = f"FluidSynth with {font.name}"
        version = self._library.fluid_version_str().decode()
        self.why = f"FluidSynth {version} plays {font.name} through {chosen}, at gain {gain:g}"

    def close(self) -> None:
        """The sound ends at once. May be called again."""
        audio, self._audio = self._audio, None
        if audio is not None:
            self._library.delete_fluid_audio_driver(audio)
        super().close()

    def _drivers(self) -> list[str]:
        """Those to try, as far as the library has them."""
        value = ctypes.create_string_buffer(32)
        self._library.fluid_settings_copystr(self._settings, b"audio.driver", value, len(value))
        listed = self._library.fluid_settings_option_concat(self._settings, b"audio.driver", b" ")
        preferred, built_in = value.value.decode(), listed.decode().split()
        others = [name for name in _OTHER_DRIVERS if name in built_in and name != preferred]
        return [preferred, *others]

    def _started(self, drivers: Sequence[str]) -> tuple[int, str]:
        """The first of `drivers` that works, and its name. Raises MachineError."""
        # libjack would start a server of its own and wait 6 s for one that cannot run.
        os.environ.setdefault("JACK_NO_START_SERVER", "1")
        reasons: list[str] = []
        for driver in drivers:
            self._set("audio.driver", driver)
            with fluidsynth.complaints() as said, hushed():
                audio = self._library.new_fluid_audio_driver(self._settings, self._synth)
            if audio is not None:
                return audio, driver
            reasons.append(f"{driver}: {_reason(said)}")
        raise MachineError(
            f"no sound ({'; '.join(reasons)}): turn on an audio device or choose a MIDI output"
        )


def render_wav(
    mid_path: Path, wav_path: Path, font: Path | None = None, gain: float = GAIN
) -> None:
    """Play a standard MIDI file into a WAV file: RATE, two channels, 16 bits.

    It lasts until the last note has died away, at most 20 s past the file's end. `font` is that
    of `find_soundfont` unless given; `wav_path` is replaced only by a whole file. Raises
    AuthorError for what is no MIDI file, MachineError for the rest.
    """
    _refuse_other_files(mid_path)
    unfinished = wav_path.with_name(f".{wav_path.name}.{os.getpid()}.tmp")
    with Instrument(font or find_soundfont()[0], gain) as instrument:
        try:
            with unfinished.open("wb") as file, wave.open(file, "wb") as wav:
                wav.setnchannels(2)
                wav.setsampwidth(FRAME_BYTES // 2)
                wav.setframerate(RATE)
                # closing: the player may not outlive the instrument, even when writing fails
                with contextlib.closing(instrument.played(mid_path)) as played:
                    for frames in played:
                        wav.writeframes(frames)
            unfinished.replace(wav_path)
        except OSError as error:
            raise MachineError(f"cannot write {wav_path}: {error.strerror}") from error
        finally:
            with contextlib.suppress(OSError):
                unfinished.unlink()


def _refuse_other_files(mid_path: Path) -> None:
    try:
        with mid_path.open("rb") as file:
            head = file.read(4)
    except OSError as error:
        raise AuthorError(f"{mid_path}: cannot be read: {error.strerror}") from error
    if head != b"MThd":
        raise AuthorError(f"{mid_path}: no standard MIDI file: begins with {head!r}, not b'MThd'")


def _reason(said: list[str]) -> str:
    return said[0].rstrip(".") if said else "FluidSynth does not say why"
