"""The daemon under test: `ripieno serve`, in a home of its own, and its processes.

Linux only, for /proc says which processes are there and how large they are.
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Self

from faults.stage import INSTRUMENT, KEYBOARD, PATIENCE_S, SPLIT
from ripieno.errors import RipienoError
from ripieno.link.client import Client
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.wire.status import Status, status_from_data

DENSE = ("rippling-sixteenths", "repeated-triplets", "parallel-arpeggio", "driving-eighths")
_MUSIC = ("--style", DENSE[0], "--tempo", "160", "--split", SPLIT, "--key", "C")


class Home:
    """Where a daemon keeps its files, from one run of it to the next."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="ripieno-faults-")
        self.path = Path(self._folder.name)
        self.config = self.path / "config" / "config.yaml"
        self.journals = self.path / "journals"
        self.endpoint = Endpoint(self.path / "run", Kind.UNIX)
        self.errors = self.path / "stderr"
        self.errors.touch()

    @property
    def environment(self) -> dict[str, str]:
        here = str(self.path)
        mine = {"RIPIENO_RUNTIME": str(self.endpoint.folder), "XDG_CONFIG_HOME": here}
        return {**os.environ, **mine, "XDG_STATE_HOME": here, "PYTHONUNBUFFERED": "1"}

    @property
    def said(self) -> str:
        """All that its daemons have written on standard error."""
        return self.errors.read_text(errors="replace")

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command of the program's, such as `silence`."""
        command = [sys.executable, "-m", "ripieno", *words]
        return subprocess.run(
            command, env=self.environment, capture_output=True, text=True, timeout=60, check=False
        )

    def close(self) -> None:
        self._folder.cleanup()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Daemon:
    """From its beginning until `close` or `kill`."""

    def __init__(
        self,
        home: Home,
        *options: str,
        ports: Sequence[str] = ("--in", KEYBOARD, "--out", INSTRUMENT),
        environment: Mapping[str, str] | None = None,
    ) -> None:
        """Returns when it has been started; `wait_until_ready` when it plays."""
        self.home = home
        files = ("--config", str(home.config), "--journals", str(home.journals))
        with home.errors.open("ab") as errors:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "ripieno", "serve", *_MUSIC, *ports, *files, *options],
                env={**home.environment, **(environment or {})},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
            )
        self._client: Client | None = None

    def wait_until_ready(self) -> Self:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            if line.startswith("ready"):
                return self
        raise AssertionError(f"it ended before it was ready: {self.home.said[-2000:]}")

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def is_running(self) -> bool:
        return self._process.poll() is None

    def tell(self, *words: str) -> dict[str, object]:
        """Over a connection that stays. Raises RipienoError."""
        if self._client is None:
            self._client = Client(self.home.endpoint)
            self._client.connect()
        return self._client.tell(words)

    def status(self) -> Status:
        return status_from_data(self.tell("status"))

    def engines(self) -> list[int]:
        """Its engine processes: the one that plays first, then the one that waits."""
        return sorted(children(self.pid), key=_threads, reverse=True)

    @property
    def playing(self) -> int:
        """The process of the engine that plays; the one that waits has two threads."""
        give_up = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up:
            engines = self.engines()
            if engines and _threads(engines[0]) > 3:
                return engines[0]
            time.sleep(0.01)
        raise AssertionError(f"no engine plays: {self.home.said[-2000:]}")

    def signal(self, number: signal.Signals) -> None:
        self._process.send_signal(number)

    def kill(self) -> int:
        """The host, and not its engines. The instant."""
        at_ns = time.monotonic_ns()
        self._process.kill()
        self._process.wait()
        self._hang_up()
        return at_ns

    def close(self) -> int:
        """In order. Its exit status; -9 if it had to be killed."""
        self._hang_up()
        if self.is_running:
            self._process.terminate()
            try:
                self._process.communicate(timeout=PATIENCE_S)
            except subprocess.TimeoutExpired:
                for pid in self.engines():
                    os.kill(pid, signal.SIGKILL)
                self._process.kill()
                self._process.communicate()
        return self._process.returncode

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _hang_up(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


def children(pid: int) -> list[int]:
    """The processes that a process has begun and that have not ended."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal() and (stat := _stat(int(entry.name))) is not None:
            state, parent = stat
            if parent == pid and state != "Z":
                found.append(int(entry.name))
    return found


def is_alive(pid: int) -> bool:
    stat = _stat(pid)
    return stat is not None and stat[0] != "Z"


def wait_until_gone(pids: Sequence[int], patience_s: float = PATIENCE_S) -> list[int]:
    """Those that are there after `patience_s`; none, as soon as that is so."""
    give_up = time.monotonic() + patience_s
    while (left := [pid for pid in pids if is_alive(pid)]) and time.monotonic() < give_up:
        time.sleep(0.01)
    return left


def resident_kib(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    return 0


def reconnected(daemon: Daemon) -> Status | None:
    """The status, over a new connection; None if nobody answers."""
    try:
        return daemon.status()
    except RipienoError:
        return None


def _stat(pid: int) -> tuple[str, int] | None:
    """Its state and its parent; None: there is no such process."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return None
    return fields[0], int(fields[1])


def _threads(pid: int) -> int:
    try:
        return len(os.listdir(f"/proc/{pid}/task"))
    except OSError:
        return 0
