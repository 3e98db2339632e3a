"""A JACK server of the suite's own, with the dummy driver, that can be killed and begun again."""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager

import rtmidi

from ripieno.midi import systems

TOOLS = ("jackd", "jack_lsp", "jack_midi_dump")
_VARIABLE = "JACK_DEFAULT_SERVER"
_PATIENCE_S = 20.0


class CannotRun(Exception):  # noqa: N818 - no fault of anybody's
    """Why a part cannot be run on this machine, in a sentence."""


class JackServer:
    def __init__(self, name: str) -> None:
        self.name = name
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> int:
        """Returns when it answers, with the instant."""
        command = ["jackd", "-n", self.name, "-R", "-d", "dummy", "-r", "48000", "-p", "128"]
        self._process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        give_up = time.monotonic() + _PATIENCE_S
        while not answers():
            if self._process.poll() is not None or time.monotonic() > give_up:
                raise CannotRun(f"the JACK server '{self.name}' does not start")
        return time.monotonic_ns()

    def kill(self) -> int:
        """At once, without a word to its clients."""
        assert self._process is not None
        at_ns = time.monotonic_ns()
        self._process.kill()
        self._process.wait()
        return at_ns

    def end(self) -> None:
        assert self._process is not None
        self._process.terminate()
        try:
            self._process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self.kill()


def answers() -> bool:
    """Whether the server that JACK_DEFAULT_SERVER names does."""
    return subprocess.run(["jack_lsp"], capture_output=True, check=False).returncode == 0


@contextmanager
def running_server() -> Iterator[JackServer]:
    """One that this process and all that it starts find, and no other. Raises CannotRun."""
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        raise CannotRun(f"needs {', '.join(missing)}, from Debian's jackd2")
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        raise CannotRun("needs a python-rtmidi with JACK")
    before = os.environ.get(_VARIABLE)
    server = JackServer(_free_name())
    try:
        server.start()
        try:
            found = systems.choose()
            if found.api != rtmidi.API_UNIX_JACK:
                raise CannotRun(f"the program prefers {found.name} to JACK on this machine")
            yield server
        finally:
            server.end()
    finally:
        os.environ.pop(_VARIABLE)
        if before is not None:
            os.environ[_VARIABLE] = before


def _free_name() -> str:
    """One of a few: a killed server keeps its place among JACK's eight for one of its name."""
    for number in range(1, 4):
        os.environ[_VARIABLE] = name = f"ripieno-faults-{number}"
        if not answers():
            return name
    raise CannotRun("three fault suites are running on this machine: end them")
