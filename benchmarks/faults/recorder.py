"""The instrument: jack_midi_dump, which is written in C and shares nothing with the program.

A recorder in Python would not do. JACK calls it on its audio thread, where it waits for the
interpreter; on a loaded machine it then reads a buffer that the next cycle has overwritten (seen:
one message sixteen times in place of sixteen), and the lost note-offs look like the daemon's.

What it hears is stamped when its line is read here, a period or two later than it was played. Its
own frames would not do: a dummy driver that is late drops some.
"""

import re
import subprocess
import time
from pathlib import Path
from threading import Thread

from faults.account import Account

_LINE = re.compile(rb"\s*\d+:((?: [0-9a-f]{2})+)")
_PATIENCE_S = 20.0
_WOKEN_S = 0.03  # ten periods


class Recorder:
    """The instrument's port, `CLIENT:input`, from its beginning to `close` or `kill`."""

    def __init__(self, client: str, account: Account) -> None:
        """Returns when the port is there and JACK wakes its client.

        A JACK server (1.9.21) may never wake a client that begins while others come and go: that
        one is ended, and another begun.
        """
        self._client, self._account = client, account
        self._begin()
        while not self._is_woken():
            self.kill()
            self._begin()

    def _begin(self) -> None:
        self._process = subprocess.Popen(
            ["jack_midi_dump", "-a", self._client],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._thread = Thread(target=self._read, daemon=True)
        self._thread.start()
        _wait_for_port(f"{self._client}:input", self._process)
        self.since_ns = time.monotonic_ns()

    def _is_woken(self) -> bool:
        """Whether its threads go on waiting and working, as they do some 300 times a second."""
        before = _awakenings(self._process.pid)
        time.sleep(_WOKEN_S)
        return _awakenings(self._process.pid) > before

    def close(self) -> int:
        """The port is gone: the instant at which that began."""
        at_ns = time.monotonic_ns()
        self._process.terminate()
        try:
            self._process.wait(timeout=2)
        except subprocess.TimeoutExpired:  # its server has died
            self._process.kill()
            self._process.wait()
        self._thread.join()
        return at_ns

    def kill(self) -> None:
        """As `close`, for one whose server has died."""
        self._process.kill()
        self._process.wait()
        self._thread.join()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            match = _LINE.match(line)
            if match is not None:
                self._account.feed(time.monotonic_ns(), bytes.fromhex(match[1].decode()))


def _awakenings(pid: int) -> int:
    """How often the threads of a process have waited for something and gone on."""
    count = 0
    for status in Path(f"/proc/{pid}/task").glob("*/status"):
        for line in status.read_text().splitlines():
            if line.startswith("voluntary_ctxt_switches:"):
                count += int(line.split()[1])
    return count


def _wait_for_port(name: str, process: subprocess.Popen[bytes]) -> None:
    """Raises AssertionError if it does not come."""
    give_up = time.monotonic() + _PATIENCE_S
    while time.monotonic() < give_up and process.poll() is None:
        listed = subprocess.run(["jack_lsp", name], capture_output=True, text=True, check=False)
        if name in listed.stdout.split("\n"):
            return
    raise AssertionError(f"the instrument's port '{name}' does not come")
