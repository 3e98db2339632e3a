"""Instruments on JACK that can be unplugged: ports of processes that end."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from queue import Empty, SimpleQueue
from threading import Thread

import pytest

PATIENCE_S = 10.0

INSTRUMENT = """
import sys, rtmidi
kind, client, port = sys.argv[1:]
midi = getattr(rtmidi, kind)(rtmidi.API_UNIX_JACK, client)
midi.open_virtual_port(port)
if kind == "MidiIn":
    midi.set_callback(lambda event, _: print(bytes(event[0]).hex(), flush=True))
print("plugged in", flush=True)
for line in sys.stdin:
    midi.send_message(bytes.fromhex(line))
midi.delete()
"""


class Instrument:
    """Somebody else's port, until it is unplugged."""

    def __init__(self, kind: str, client: str, port: str) -> None:
        command = [sys.executable, "-c", INSTRUMENT, kind, client, port]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        self._process = subprocess.Popen(command, text=True, **pipes)
        assert self._process.stdout.readline() == "plugged in\n"
        self._lines: SimpleQueue[str] = SimpleQueue()
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def send(self, data: bytes) -> None:
        self._process.stdin.write(data.hex() + "\n")
        self._process.stdin.flush()

    def heard(self, count: int) -> list[bytes]:
        found: list[bytes] = []
        while len(found) < count:
            try:
                found.append(bytes.fromhex(self._lines.get(timeout=PATIENCE_S)))
            except Empty:
                pytest.fail(f"{len(found)} of {count} messages came: {found}")
        return found

    def unplug(self) -> None:
        self._process.stdin.close()
        self._process.wait(timeout=2 * PATIENCE_S)
        self._reader.join()
        self._process.stdout.close()

    def _read(self) -> None:
        for line in self._process.stdout:
            self._lines.put(line)


@contextmanager
def plugged(kind: str, client: str, port: str) -> Iterator[Instrument]:
    instrument = Instrument(kind, client, port)
    try:
        yield instrument
    finally:
        instrument.unplug()


def pressed_until_heard(keyboard: Instrument, heard: "SimpleQueue[bytes]", data: bytes) -> None:
    """As a player does who hears nothing: a connection just made may still lose a key."""
    for _ in range(40):
        keyboard.send(data)
        with suppress(Empty):
            assert heard.get(timeout=0.5) == data
            return
    pytest.fail("the keyboard is not heard")
