"""A JACK server of the tests' own, and the programs at its other ends.

    from jack_server import Recorder, connect, press, running_server

    with running_server():                     # jackd with the dummy driver, no sound card
        ...                                    # open ports, or start the program under test
        with Recorder("ripieno out") as recorder:
            press("ripieno in", [(0, bytes.fromhex("90 3C 40")), (250, ...)])
            heard = recorder.stop()            # [(ms, bytes), ...]

While the server runs, JACK_DEFAULT_SERVER names it in this process's environment, so that
this process and every program it starts find it and no other. Ports are given by any part of
their JACK name that only one port has (`ripieno in` for `ripieno:ripieno in`); connections are
made by `connect` (jack_connect), or by rtmidi's `open_port` on the number of the port.

The other ends share no code with the program: `press` is a process of python-rtmidi alone, the
recorder is jack_midi_dump, which stamps with the server's own frames.
"""

import contextlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Self

import pytest

RATE = 48_000
# Frames: messages leave and arrive in steps of 10.7 ms. With a quarter of that, clients on a busy
# virtual machine came late for one period in some hundreds, and lost or heard twice what it held.
PERIOD = 512
TOOLS = ("jackd", "jack_lsp", "jack_connect", "jack_midi_dump")
PATIENCE_S = 20.0  # a loaded machine's; nothing waits for it unless something is broken

Timeline = Sequence[tuple[float, bytes]]  # milliseconds from the beginning, one message each


@contextlib.contextmanager
def running_server() -> Iterator[str]:
    """Yields the name of a server that answers; skips the test where JACK is not installed."""
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"needs {', '.join(missing)}, from Debian's jackd2")
    before = os.environ.get("JACK_DEFAULT_SERVER")
    name = _free_name()
    os.environ["JACK_DEFAULT_SERVER"] = name
    # -S: it waits for clients that are late, and so loses nothing of theirs.
    command = ["jackd", "-n", name, "-S", "-R", "-d", "dummy", "-r", str(RATE), "-p", str(PERIOD)]
    with tempfile.NamedTemporaryFile("w+", suffix=".log") as log:
        server = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        try:
            _wait_for(lambda: _ports() is not None, server, Path(log.name))
            yield name
        finally:
            _end(server)
            if before is None:
                del os.environ["JACK_DEFAULT_SERVER"]
            else:
                os.environ["JACK_DEFAULT_SERVER"] = before


def _free_name() -> str:
    """One of a few names, for runs side by side.

    Few, because a server that was killed keeps its place among JACK's eight until another of
    its name takes it.
    """
    for number in range(1, 5):
        name = f"ripieno-tests-{number}"
        os.environ["JACK_DEFAULT_SERVER"] = name
        if _ports() is None:
            return name
    pytest.fail("four JACK servers of these tests are running: end them")


def port_named(part: str) -> str:
    """The full name of the one MIDI port that has `part` in its name; waits until it is there."""
    _wait_for(lambda: any(part in port for port in _ports() or ()))
    found = [port for port in _ports() or () if part in port]
    assert len(found) == 1, f"'{part}' is in {found}"
    return found[0]


def connect(source: str, target: str) -> None:
    """Connect an output port to an input port, each given by a part of its name."""
    subprocess.run(["jack_connect", port_named(source), port_named(target)], check=True)


def press(port: str, timeline: Timeline) -> None:
    """Send `timeline` to an input port from a process of its own; returns when all has left."""
    start_pressing(port, timeline).wait_until_done()


def start_pressing(port: str, timeline: Timeline) -> "Presser":
    """As `press`, but returns at once."""
    return Presser(port, timeline)


class Presser:
    def __init__(self, port: str, timeline: Timeline) -> None:
        lines = json.dumps([(ms, data.hex()) for ms, data in timeline])
        command = [sys.executable, __file__, port_named(port), lines]
        self._process = subprocess.Popen(command)

    def wait_until_done(self) -> None:
        assert self._process.wait(timeout=120) == 0, "the presser's own error stands above"


class Recorder:
    """Records an output port from entering the context until `stop`.

    Milliseconds count from the recorder's own beginning, to a frame (0.02 ms).
    """

    _LINE = re.compile(r"\s*(\d+):((?: [0-9a-f]{2})+)(?:\s|$)")
    _count = 0

    def __init__(self, port: str) -> None:
        Recorder._count += 1
        self._port = port
        self.name = f"recorder-{os.getpid()}-{Recorder._count}"
        self._lines: SimpleQueue[str] = SimpleQueue()
        self._heard: list[tuple[float, bytes]] = []

    def __enter__(self) -> Self:
        command = ["jack_midi_dump", "-a", self.name]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()
        connect(self._port, f"{self.name}:")
        return self

    def wait_for(self, count: int) -> list[tuple[float, bytes]]:
        """What has been recorded, as soon as it is `count` messages or more."""
        while len(self._heard) < count:
            try:
                self._take(self._lines.get(timeout=PATIENCE_S))
            except Empty:
                pytest.fail(f"{len(self._heard)} of {count} messages came: {self._heard[-5:]}")
        return self._heard

    def stop(self, at_least: int = 0) -> list[tuple[float, bytes]]:
        """All that was recorded, once it is `at_least` that many messages.

        But not what the program says again at its end, in case that JACK has lost it.
        """
        self.wait_for(at_least)
        self.__exit__()
        while not self._lines.empty():
            self._take(self._lines.get())
        return _said_once(self._heard)

    def __exit__(self, *_: object) -> None:
        _end(self._process)
        self._reader.join()

    def _read(self) -> None:
        with self._process.stdout as lines:
            for line in lines:
                self._lines.put(line)

    def _take(self, line: str) -> None:
        match = self._LINE.match(line)
        if match is not None:
            ms = int(match[1]) * 1000 / RATE
            self._heard.append((ms, bytes.fromhex(match[2])))


def _said_once(heard: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
    """Without what comes after the last all-sound-off and ends notes that were struck, or lifts
    the pedal."""
    struck = {bytes((0x80 | data[0] & 0x0F, data[1])) for _, data in heard if data[0] >> 4 == 9}
    offs = [place for place, (_, data) in enumerate(heard) if _is_control(data, 120)]
    last = offs[-1] if offs else len(heard)
    return heard[: last + 1] + [
        (ms, data)
        for ms, data in heard[last + 1 :]
        if data[:2] not in struck and not (_is_control(data, 64) and data[2] == 0)
    ]


def _is_control(data: bytes, number: int) -> bool:
    return data[0] & 0xF0 == 0xB0 and data[1] == number


def _ports() -> list[str] | None:
    """The MIDI ports; None while no server answers."""
    listing = subprocess.run(["jack_lsp", "-t"], capture_output=True, text=True, check=False)
    if listing.returncode:
        return None
    lines = listing.stdout.splitlines()
    kinds = pairwise(lines)
    return [port for port, kind in kinds if kind.strip() == "8 bit raw midi"]


def _wait_for(
    ready: Callable[[], bool], server: subprocess.Popen | None = None, log: Path | None = None
) -> None:
    """Ask until it is so. Each asking runs jack_lsp, which is pause enough."""
    deadline = time.monotonic() + PATIENCE_S
    while not ready():
        died = server is not None and server.poll() is not None
        if died or time.monotonic() > deadline:
            pytest.fail("waited in vain" + (f": {log.read_text()[-2000:]}" if log else ""))


def _end(process: subprocess.Popen) -> None:
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _play(port: str, timeline: list[tuple[float, str]]) -> None:
    """The presser: absolute deadlines, so that no lateness adds up."""
    import rtmidi

    midi = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, "presser")
    midi.open_port(midi.get_ports().index(port), "out")
    start = time.monotonic()
    for ms, data in timeline:
        time.sleep(max(0.0, start + ms / 1000 - time.monotonic()))
        midi.send_message(bytes.fromhex(data))
    time.sleep(0.05)  # what was sent last leaves within a few periods
    midi.delete()


if __name__ == "__main__":
    _play(sys.argv[1], json.loads(sys.argv[2]))
