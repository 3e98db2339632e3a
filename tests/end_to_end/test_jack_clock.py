"""MIDI clock on a real JACK server: an external generator leads, and an external program follows.

The generator is `jack_midi_clock` (Debian's jack-midi-clock), which sends the clock of JACK's own
transport; what hears is `jack_midi_dump`. What is checked is where notes are among the ticks that
were heard beside them, so that a machine that is late is late for both.
"""

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from statistics import median

import pytest
import rtmidi

from jack_server import Recorder, Timeline, connect, port_named, press, running_server
from playing import started
from ripieno.midi import systems

CHORD = [(0.0, bytes((0x90, 60, 80))), (5.0, bytes((0x90, 64, 80))), (10.0, bytes((0x90, 67, 80)))]
TICK, START = b"\xf8", b"\xfa"
TICKS_A_QUARTER = 24  # MIDI 1.0
APART_MS, HALF_MS = 200, 60_000 / 120 / 24 / 2  # between chords at 120; half a tick

pytestmark = pytest.mark.jack


@pytest.fixture(autouse=True)
def server() -> Iterator[None]:
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        if systems.choose().api != rtmidi.API_UNIX_JACK:
            pytest.skip("the program prefers another MIDI system on this machine")
        yield


@contextmanager
def generator(bpm: float) -> Iterator[None]:
    """A clock that starts when JACK's transport does."""
    if shutil.which("jack_midi_clock") is None:
        pytest.skip("needs jack_midi_clock, from Debian's jack-midi-clock")
    target = port_named("ripieno in")
    process = subprocess.Popen(["jack_midi_clock", "-b", str(bpm), "-B", target])
    try:
        port_named("jack_midi_clock")
        yield
    finally:
        process.terminate()
        process.wait(timeout=20)


def transport(word: str) -> None:
    subprocess.run(["jack_transport"], input=f"{word}\nquit\n", text=True, check=True,
                   stdout=subprocess.DEVNULL)  # fmt: skip


def ticks_of(heard: Timeline, from_ms: float) -> list[float]:
    """A server that is behind may hand over a buffer twice: what comes at once is one tick."""
    ticks = [ms for ms, data in heard if data == TICK and ms >= from_ms]
    return [ticks[0], *(b for a, b in pairwise(ticks) if b - a > 1)]


def test_what_is_played_is_on_the_beats_of_an_external_clock(tmp_path: Path) -> None:
    options = ("--follow", "clock", "-t", "80", "-s", "steady-quarters")
    with started(options, tmp_path), generator(120), Recorder("ripieno out") as recorder:
        connect("jack_midi_clock", recorder.name)
        press("ripieno in", CHORD)
        transport("play")
        heard = recorder.wait_for(300)
        while sum(data == TICK for _, data in heard) < 8 * TICKS_A_QUARTER:
            heard = recorder.wait_for(len(heard) + 20)
        transport("stop")
    started_ms = next(ms for ms, data in heard if data == START)
    ticks = ticks_of(heard, started_ms)
    struck = [ms for ms, data in heard if data[0] == 0x90 and ms > started_ms + 700]
    beats = [struck[0], *(b for a, b in pairwise(struck) if b - a > APART_MS)][:-1]
    assert len(beats) >= 4
    # Stamps of notes are those of JACK's periods of 10.7 ms, half a tick. A server that is behind
    # loses a tick now and then, for the recorder or for the program: then the count is one less.
    counts = [sum(a - HALF_MS < tick < b - HALF_MS for tick in ticks) for a, b in pairwise(beats)]
    assert median(counts) == TICKS_A_QUARTER


def test_an_external_program_hears_24_ticks_between_two_beats(tmp_path: Path) -> None:
    (tmp_path / "config.yaml").write_text("send_clock: true\n")
    options = ("--config", str(tmp_path / "config.yaml"), "-t", "120", "-s", "steady-quarters")
    with started(options, tmp_path), Recorder("ripieno out") as recorder:
        press("ripieno in", CHORD)
        heard = recorder.wait_for(400)
    start_ms = next(ms for ms, data in heard if data == START)
    ticks = ticks_of(heard, start_ms)
    struck = [ms for ms, data in heard if data[0] == 0x90 and ms >= start_ms]
    beats = [struck[0], *(b for a, b in pairwise(struck) if b - a > APART_MS)]
    assert len(beats) >= 4
    later = pairwise(beats[1:])
    counts = [sum(a - HALF_MS < tick < b - HALF_MS for tick in ticks) for a, b in later]
    assert median(counts) == TICKS_A_QUARTER
