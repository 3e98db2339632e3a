"""Calling the command line, and the files that its tests hand to it.

result = call(capfd, "render", "in.mid", "-s", "waltz", "-o", "out.mid")
write_chords(path, [Chord(0, 4, (60, 64, 67))], bpm=90)
"""

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import mido
import pytest

from ripieno.cli.entry import main

TICKS = 480


@dataclass(frozen=True, slots=True)
class Result:
    status: int
    out: str
    err: str


@dataclass(frozen=True, slots=True)
class Chord:
    """Keys pressed from one quarter to another."""

    start: float
    end: float
    keys: tuple[int, ...]
    channel: int = 0


def call(capfd: pytest.CaptureFixture[str], *words: object) -> Result:
    """One command line, in this process."""
    capfd.readouterr()
    status = main([str(word) for word in words])
    return Result(status, *capfd.readouterr())


def refused(capfd: pytest.CaptureFixture[str], status: int, *words: object) -> str:
    """What a command line says that is refused with a status: one line, and nothing else."""
    result = call(capfd, *words)
    assert (result.status, result.out) == (status, "")
    assert result.err.startswith("ripieno: ")
    assert result.err.count("\n") == 1
    assert "Traceback" not in result.err
    return result.err


def environment(folder: Path) -> dict[str, str]:
    """For a process of its own: no user's files or daemon, no JACK server but a test's own."""
    homes = dict.fromkeys(("HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"), str(folder))
    runtime = {"RIPIENO_RUNTIME": str(folder / "run")}
    own = homes | runtime | {"JACK_NO_START_SERVER": "1"}
    return os.environ | own


def run(folder: Path, *words: object, **popen: object) -> subprocess.CompletedProcess[str]:
    """One command line in a process of its own, where no JACK server is."""
    command = [sys.executable, "-m", "ripieno", *map(str, words)]
    nowhere = {"JACK_DEFAULT_SERVER": "ripieno-no-such-server"}
    return subprocess.run(
        command, env=environment(folder) | nowhere, capture_output=True, text=True,
        timeout=60, check=False, **popen,
    )  # fmt: skip


def write_midi(path: Path, events: Sequence[tuple[float, object]], **file: object) -> None:
    """Messages at places in quarters, as one track."""
    song = mido.MidiFile(ticks_per_beat=TICKS, type=0, **file)
    track = mido.MidiTrack()
    song.tracks.append(track)
    before = 0
    for quarters, message in sorted(events, key=lambda event: event[0]):
        tick = round(quarters * TICKS)
        track.append(message.copy(time=tick - before))
        before = tick
    song.save(path)


def tempo(bpm: float) -> mido.MetaMessage:
    """Quarters a minute."""
    return mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(bpm))


def meter(count: int, unit: int) -> mido.MetaMessage:
    return mido.MetaMessage("time_signature", numerator=count, denominator=unit)


def end() -> mido.MetaMessage:
    return mido.MetaMessage("end_of_track")


def keys(*chords: Chord) -> list[tuple[float, mido.Message]]:
    return [
        (quarters, mido.Message(kind, note=note, velocity=70, channel=chord.channel))
        for chord in chords
        for kind, quarters in (("note_off", chord.end), ("note_on", chord.start))
        for note in chord.keys
    ]


def messages(path: Path) -> list[tuple[float, mido.Message]]:
    """A file's channel messages with their seconds from its beginning."""
    seconds, found = 0.0, []
    for message in mido.MidiFile(path):
        seconds += message.time
        if not message.is_meta:
            found.append((seconds, message))
    return found


def onsets(path: Path, channel: int = 0) -> list[float]:
    """The seconds at which notes are struck, each once, to a millisecond."""
    struck = {
        round(seconds, 3)
        for seconds, message in messages(path)
        if message.type == "note_on" and message.channel == channel
    }
    return sorted(struck)
