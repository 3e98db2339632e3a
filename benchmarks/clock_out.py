"""MIDI clock as another program hears it: `python benchmarks/clock_out.py [--seconds N]`.

`ripieno play` sends its clock to a JACK port while it plays sixteenths; a second process stamps
each tick as it arrives. Shown are how far ticks are off the even line that their first and last
tick set, how many there were a quarter, and the drift against this machine's clock.
"""

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from statistics import median

RATE, PERIOD = 48_000, 64
SERVER = "ripieno-clock"
BPM = 120.0
TICK_NS = 60e9 / BPM / 24

LISTENER = """
import json, sys, time
import rtmidi
midi = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "clock listener")
midi.ignore_types(timing=False)
stamps = []
def heard(event, _):
    stamps.append((time.monotonic_ns(), event[0][0]))
midi.set_callback(heard)
midi.open_virtual_port("in")
print("ready", flush=True)
sys.stdin.readline()
print(json.dumps([stamp for stamp in stamps if stamp[1] >= 0xF8]), flush=True)
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    for row in rows(parser.parse_args().seconds):
        print(*row, sep="\t")


def rows(seconds: float) -> Iterator[tuple[str, str]]:
    """What was measured, in words, and the figure."""
    with tempfile.TemporaryDirectory() as folder, _server(), _listener() as listener:
        config = Path(folder) / "config.yaml"
        config.write_text(f"send_clock: true\ntempo: {BPM}\nstyle: rippling-sixteenths\n")
        with _playing(Path(folder), config):
            _run("jack_connect", _port("ripieno out"), _port("clock listener"))
            _strike()
            time.sleep(seconds)
            stamps = json.loads(listener.communicate("\n", timeout=30)[0])
    yield from _figures(stamps, seconds)


def _figures(stamps: list[list[int]], seconds: float) -> Iterator[tuple[str, str]]:
    starts = [i for i, (_, status) in enumerate(stamps) if status == 0xFA]
    came = [at for at, status in stamps[starts[0] :] if status == 0xF8]
    # A JACK server that is behind reads a port's buffer twice, or not at all; both are counted.
    ticks = [came[0], *(b for a, b in pairwise(came) if b - a > TICK_NS / 4)]
    places = [round((at - ticks[0]) / TICK_NS) for at in ticks]
    lost = places[-1] + 1 - len(set(places))
    middle, middle_ns = sum(places) / len(places), sum(ticks) / len(ticks)
    slope = sum(
        (place - middle) * (at - middle_ns) for place, at in zip(places, ticks, strict=True)
    ) / sum((place - middle) ** 2 for place in places)
    off = sorted(
        abs(at - middle_ns - (place - middle) * slope) / 1e6
        for place, at in zip(places, ticks, strict=True)
    )
    yield "ticks, starts", f"{len(ticks)}, {len(starts)} in {seconds:g} s after the strike"
    yield "doubled, lost by JACK", f"{len(came) - len(ticks)}, {lost}"
    yield (
        "off their even line, ms: p50, p99, worst",
        " ".join(f"{value:.3f}" for value in (median(off), off[int(len(off) * 0.99)], off[-1])),
    )
    drift_ms = (slope - TICK_NS) * places[-1] / 1e6
    yield "drift", f"{drift_ms:+.3f} ms in {places[-1] * TICK_NS / 1e9:.0f} s"


@contextmanager
def _server() -> Iterator[None]:
    os.environ["JACK_DEFAULT_SERVER"] = SERVER
    # -S: a listener that is late for a period is waited for, or its library may crash.
    command = ["jackd", "-n", SERVER, "-S", "-R"]
    command += ["-d", "dummy", "-r", str(RATE), "-p", str(PERIOD)]
    with _ended(subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)):
        while subprocess.run(["jack_lsp"], capture_output=True, check=False).returncode:
            time.sleep(0.2)
        yield


@contextmanager
def _listener() -> Iterator[subprocess.Popen[str]]:
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with _ended(subprocess.Popen([sys.executable, "-c", LISTENER], text=True, **pipes)) as process:
        assert process.stdout is not None
        process.stdout.readline()
        yield process


@contextmanager
def _playing(folder: Path, config: Path) -> Iterator[None]:
    homes = dict.fromkeys(("HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"), str(folder))
    environment = os.environ | homes | {"RIPIENO_RUNTIME": str(folder / "run")}
    command = [sys.executable, "-m", "ripieno", "play", "--lines", "--in", "virtual"]
    command += ["--out", "virtual", "--config", str(config)]
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE}
    with _ended(subprocess.Popen(command, env=environment, text=True, **pipes)) as process:
        assert process.stdout is not None
        while not process.stdout.readline().startswith("output:"):
            pass
        yield


@contextmanager
def _ended(process: "subprocess.Popen[str]") -> "Iterator[subprocess.Popen[str]]":
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=20)


def _strike() -> None:
    import rtmidi

    midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, "clock keyboard")
    names = midi.get_ports()
    midi.open_port(next(i for i, name in enumerate(names) if "ripieno in" in name), "out")
    time.sleep(0.2)
    for note in (60, 64, 67):
        midi.send_message([0x90, note, 80])
    time.sleep(0.5)
    midi.delete()


def _port(part: str) -> str:
    names = subprocess.run(["jack_lsp"], capture_output=True, text=True, check=True).stdout
    return next(name for name in names.splitlines() if part in name)


def _run(*command: str) -> None:
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    main()
