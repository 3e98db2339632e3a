"""What a WAV file sounds like, by Fourier transform: which notes, how loud, how well in tune.

    levels = peaks(Path("chord.wav"), start_s=0.5, length_s=1)
    assert levels[60] > -8           # decibels below the loudest note

Needs numpy, and FluidSynth to make one.
"""

import math
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ripieno.errors import MachineError
from ripieno.midi import fluidsynth

NOTES = range(21, 109)  # the piano's 88 keys
POINTS = 131_072  # of the transform: 0.37 Hz apart at 48 kHz, a tenth of a semitone at key 21
FULL_SCALE = 32768


def _absent() -> str:
    try:
        fluidsynth.library()
    except MachineError as error:
        return str(error)
    return ""


# The marks of tests of sound.
NEEDS_FLUIDSYNTH = [
    pytest.mark.sound,
    pytest.mark.skipif(bool(_absent()), reason=f"FluidSynth is not installed: {_absent()}"),
]


def peaks(wav_path: Path, start_s: float, length_s: float) -> dict[int, float]:
    """The level at each of NOTES, in decibels relative to the loudest of them.

    It is the highest within a quarter of a semitone of the note (equal temperament, A4 at
    440 Hz). Windowing a second (Hann) smears a tone over 2 Hz to each side, so below key 36
    a loud note shows in its neighbours too.
    """
    magnitudes, spacing = _spectrum(wav_path, start_s, length_s)
    heights = {}
    for note in NOTES:
        low = math.floor(_hertz(note - 0.25) / spacing)
        high = math.ceil(_hertz(note + 0.25) / spacing)
        heights[note] = float(magnitudes[low : high + 1].max())
    loudest = max(heights.values())
    assert loudest > 0, f"{wav_path} is silent from {start_s} s for {length_s} s"
    return {note: _decibels(height / loudest) for note, height in heights.items()}


def cents_off(wav_path: Path, note: int, start_s: float, length_s: float) -> float:
    """How far the strongest tone within half a semitone of `note` lies above it."""
    magnitudes, spacing = _spectrum(wav_path, start_s, length_s)
    low, high = (math.ceil(_hertz(note + off) / spacing) for off in (-0.5, 0.5))
    top = low + int(magnitudes[low:high].argmax())
    left, middle, right = np.log(magnitudes[top - 1 : top + 2])
    offset = (left - right) / (2 * (left - 2 * middle + right))  # of a parabola through the three
    return 1200 * math.log2((top + offset) * spacing / _hertz(note))


def level(wav_path: Path, start_s: float, length_s: float) -> float:
    """The root mean square in decibels of full scale; silence is minus infinity."""
    frames, _ = _frames(wav_path, start_s, length_s)
    return _decibels(float(np.sqrt(np.mean(frames**2))) / FULL_SCALE)


def largest_frame(wav_path: Path) -> int:
    """The largest amplitude of either channel, 0..32768."""
    with wave.open(str(wav_path)) as wav:
        values = np.frombuffer(wav.readframes(wav.getnframes()), dtype="<i2")
    return int(np.abs(values.astype(int)).max())


def _spectrum(wav_path: Path, start_s: float, length_s: float) -> tuple[Any, float]:
    """Magnitudes, and the distance between them in Hz."""
    frames, rate = _frames(wav_path, start_s, length_s)
    assert len(frames) <= POINTS, f"{length_s} s are more than {POINTS} frames"
    windowed = frames * np.hanning(len(frames))
    return np.abs(np.fft.rfft(windowed, POINTS)), rate / POINTS


def _frames(wav_path: Path, start_s: float, length_s: float) -> tuple[Any, int]:
    """16-bit frames as floats, the channels averaged, and the rate."""
    with wave.open(str(wav_path)) as wav:
        assert wav.getsampwidth() == 2, f"{wav_path} is not of 16 bits"
        rate, channels = wav.getframerate(), wav.getnchannels()
        start, count = round(start_s * rate), round(length_s * rate)
        assert start + count <= wav.getnframes(), f"{wav_path} ends before {start_s + length_s} s"
        wav.setpos(start)
        data = np.frombuffer(wav.readframes(count), dtype="<i2")
    return data.reshape(-1, channels).mean(axis=1), rate


def _hertz(note: float) -> float:
    return 440.0 * 2 ** ((note - 69) / 12)


def _decibels(ratio: float) -> float:
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf
