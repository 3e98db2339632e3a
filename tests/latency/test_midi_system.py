"""The harness over a real JACK server, and against a latency meter of JACK's own.

Nothing is asserted of how long the program takes. That two meters agree is asserted to within
an audio period, which is as fine as either can see through JACK.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from statistics import mean

import pytest
import rtmidi
from short_run import ORDER

from jack_server import PERIOD, RATE, port_named, running_server, start_pressing
from ripieno.engine.rig import Rig
from ripieno.errors import MachineError
from ripieno.host.engine_process import EngineProcess
from ripieno.latency import keyboard, midi_system
from ripieno.latency.figures import (
    BARE,
    INPUT_SPREAD,
    PASS_THROUGH,
    SCHEDULING,
    STRIKE_FIRST,
    TRIP_FIRST,
    TRIP_LAST,
    TRIP_PASS,
    Sample,
)
from ripieno.latency.measure import measure
from ripieno.latency.plan import Plan, Probe
from ripieno.latency.player import Player
from ripieno.midi import systems
from ripieno.perform.settings import Settings
from ripieno.units import NS_PER_MS, NS_PER_S

pytestmark = pytest.mark.jack

PERIOD_NS = PERIOD * NS_PER_S / RATE


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        yield


def jack() -> systems.System:
    return systems.choose([rtmidi.API_UNIX_JACK])


def test_every_probe_comes_back_or_is_counted_as_lost_and_so_is_every_note() -> None:
    """A JACK client that a busy machine makes late for a period loses what that period held."""
    with midi_system.opened(jack(), ORDER.settings, ORDER.at_once[0]) as ground:
        found = measure(ground, ORDER)
        period_ms = f"{1000 * PERIOD / RATE:.2f} ms"
        assert ground.about["period"] in (f"{PERIOD} frames at {RATE} Hz, {period_ms}", "unknown")
    counts = Counter(sample.figure for sample in found.samples)
    answered = {figure: counts[figure] + found.lost[figure] for figure in found.lost}
    assert answered[STRIKE_FIRST] == ORDER.strikes
    assert answered[TRIP_FIRST] == answered[TRIP_LAST] == 2 * ORDER.strikes, "spread ones too"
    assert answered[TRIP_PASS] == answered[PASS_THROUGH] > ORDER.strikes
    assert min(counts[BARE], counts[SCHEDULING]) > 0
    assert max(found.lost.values()) <= 2
    assert found.back is not None
    assert 0 <= found.note_ons - found.back <= 2


def test_a_round_trip_agrees_with_jacks_own_latency_meter_to_within_a_period() -> None:
    """jack_midi_latency_test writes into the cycle that is running, and so reads one period less:
    a message that another program sends waits for the next."""
    if shutil.which("jack_midi_latency_test") is None:
        pytest.skip("needs jack_midi_latency_test, from Debian's jack-tools or jackd2")
    with midi_system.opened(jack(), ORDER.settings, ORDER.at_once[0]) as ground:
        found = measure(ground, replace(ORDER, strikes=15, seconds=0.5))
        ours_ns = mean(s.value_ns for s in found.samples if s.figure == TRIP_PASS)
        theirs_ns = theirs()
    assert abs(ours_ns - PERIOD_NS - theirs_ns) < PERIOD_NS


def theirs() -> float:
    """What the meter finds; it gives up as soon as JACK loses a message, and then goes again.

    Program changes pass through; three-byte messages of the meter are releases of keys that were
    never pressed, which the engine keeps to itself.
    """
    command = ["jack_midi_latency_test", "-m", "2", "-s", "50"]
    command += [port_named("engine-01:ripieno in"), port_named("engine:ripieno out")]
    for _ in range(6):
        said = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        found = re.search(r"Average latency: ([0-9.]+) ms", said.stdout)
        if found is not None:
            return float(found[1]) * NS_PER_MS
    pytest.fail(f"the meter lost messages each time: {said}")


def test_an_engine_that_is_killed_in_the_middle_ends_the_run() -> None:
    def killing(engine: EngineProcess) -> Iterator[Probe]:
        for number, probe in enumerate(Plan(1, NS_PER_MS).strikes(200)):
            if number == 5:
                os.kill(engine.pid, signal.SIGKILL)
            yield probe

    with midi_system.opened(jack(), ORDER.settings, ORDER.at_once[0]) as ground:
        assert isinstance(ground.engine, EngineProcess)
        player = Player(ground)
        player.wait_until_open()
        with pytest.raises(MachineError, match="the engine has ended in the middle of the run"):
            player.play(killing(ground.engine), figure=False)


def test_a_cable_is_measured_from_an_output_to_an_input() -> None:
    """A program that sends what it receives stands for the cable."""
    command = [sys.executable, "-m", "ripieno.latency.echo", str(rtmidi.API_UNIX_JACK), "cable"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as echo:
        assert echo.stdout.readline() == b"ready\n"
        with midi_system.cable(jack(), "echo in", "echo out") as ground:
            found = measure(ground, replace(ORDER, strikes=10))
            assert ground.about["output"].endswith("echo in")
        echo.communicate()
    assert Counter(sample.figure for sample in found.samples) == {BARE: 10}
    assert found.lost == {BARE: 0}


def test_a_cable_that_is_not_there_is_refused() -> None:
    with (
        pytest.raises(MachineError, match="no MIDI input 'nowhere'"),
        midi_system.cable(jack(), "x", "nowhere"),
    ):
        pass


def test_chords_of_a_keyboard_are_measured_as_they_are_pressed() -> None:
    """The presser is another program: keys 0, 40 and 80 ms after the first."""
    chords = ((60, 64, 67), (62, 65, 69), (64, 67, 71))
    timeline = [
        (at + 400 * number, bytes((status, key, 80)))
        for number, keys in enumerate(chords)
        for status, ats in ((0x90, (0, 40, 80)), (0x80, (200, 200, 200)))
        for at, key in zip(ats, keys, strict=True)
    ]
    shown: list[Sample] = []
    rig = Rig(jack(), "virtual", "virtual")
    with keyboard.opened(rig, Settings(), ORDER.at_once[0]) as engine:
        assert keyboard.setup(engine, jack())["input"].startswith("ripieno in")
        pressing = start_pressing("ripieno in", timeline)
        found = keyboard.measure(engine, len(chords), shown.append)
        pressing.wait_until_done()
    counts = Counter(sample.figure for sample in found.samples)
    assert counts[STRIKE_FIRST] == counts[INPUT_SPREAD] == len(shown) == len(chords)
    spreads = [s.value_ns for s in found.samples if s.figure == INPUT_SPREAD]
    assert all(abs(spread - 80 * NS_PER_MS) < 30 * NS_PER_MS for spread in spreads)
