"""The dashboard, attached to the engine that is measured: `python -m ripieno.latency.screen`.

It has what a daemon has for its screens, a control socket that tells the newest status up to 30
times a second, in a folder of its own. To that the dashboard is attached, a process of its own on
a pseudo terminal whose other end is read and thrown away.

What there is to tell comes through standard input, see `latency.scene`; its end ends all of this.
Standard output gets a sentence when the dashboard is attached or cannot be, and at the end another
if it has ended before its time.
"""

import os
import pickle
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

from ripieno.engine.messages import Answer, Ports, Ready
from ripieno.engine.spawn import command_of
from ripieno.errors import AuthorError
from ripieno.host.control import ControlServer
from ripieno.host.controls import Controls
from ripieno.host.counting import Counted, counts_of
from ripieno.host.telling import status_of
from ripieno.latency.scene import Scene
from ripieno.link.endpoint import VARIABLE, own_endpoint
from ripieno.perform.chord_on import Harmony
from ripieno.wire.command import Command
from ripieno.wire.status import Status

COLUMNS, LINES = 120, 40
_END_S = 5.0


def main() -> None:
    told = sys.stdin.buffer
    with ExitStack() as stack:
        stack.enter_context(suppress(EOFError, pickle.UnpicklingError))  # the end
        attended = Attended(pickle.load(told))
        folder = stack.enter_context(TemporaryDirectory(prefix="ripieno-"))
        os.environ[VARIABLE] = str(Path(folder) / "run")
        stack.enter_context(dashboard())  # first, for it forks, and a server has threads
        stack.enter_context(ControlServer(own_endpoint(), attended))
        while True:
            attended.hear(pickle.load(told))


@dataclass(frozen=True, slots=True)
class _Engine:
    ready: Ready

    @property
    def ports(self) -> Ports:
        return self.ready.ports


@dataclass(frozen=True, slots=True)
class _Kept:
    engine: _Engine
    harmony: Harmony | None = None
    why: str = ""
    cause: str = ""
    restarts: int = 0
    renewals: int = 0

    def counts(self, answer: Answer | None) -> Counted:
        return {} if answer is None else counts_of(answer)


class Attended:
    """The measured engine, as who watches it sees it: what has been told last."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._answer: Answer | None = None
        self._began_s = time.monotonic()
        self._is_watched = False

    def hear(self, told: Scene | Answer) -> None:
        if isinstance(told, Scene):
            self._scene = told
        else:
            self._answer = told

    def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:
        raise AuthorError(f"nothing can be told to an engine that is measured: {command}, {value}")

    def status(self) -> Status:
        """Asked for by the server as soon as somebody watches."""
        if not self._is_watched:
            self._is_watched = True
            _say(f"attached, {COLUMNS} by {LINES}")
        return status_of(
            self._scene.chosen,
            _Kept(_Engine(self._scene.ready)),
            self._answer,
            Controls(),
            None,
            hearing=None,
            notices=(),
            uptime_s=time.monotonic() - self._began_s,
        )


@contextmanager
def dashboard() -> Iterator[None]:
    """The dashboard on a terminal of its own, or a sentence why there is none."""
    if sys.platform == "win32":
        _say("none: this system has no pseudo terminals")
        yield
    else:
        screen = _Screen()
        try:
            yield
        finally:
            screen.close()


def _say(sentence: str) -> None:
    with suppress(BrokenPipeError):  # whoever wanted to know is gone
        os.write(1, f"{sentence}\n".encode())


if sys.platform != "win32":
    import pty
    import termios

    class _Screen:
        """Its terminal is its session's: if this process is killed, it is hung up."""

        def __init__(self) -> None:
            self._pid, self._terminal = pty.fork()
            if self._pid == 0:
                _become_dashboard()
            termios.tcsetwinsize(self._terminal, (LINES, COLUMNS))
            self._thread = Thread(target=self._throw_away, daemon=True)
            self._thread.start()

        def close(self) -> None:
            ended, status = os.waitpid(self._pid, os.WNOHANG)
            if ended:
                _say(f"ended before its time, status {os.waitstatus_to_exitcode(status)}")
            else:
                self._end()
            self._thread.join()
            os.close(self._terminal)

        def _end(self) -> None:
            for number in (signal.SIGTERM, signal.SIGKILL):
                if self._thread.is_alive():
                    os.kill(self._pid, number)
                    self._thread.join(timeout=_END_S)
            os.waitpid(self._pid, 0)

        def _throw_away(self) -> None:
            """Returns when the dashboard has ended. Linux ends a terminal with an error, EIO."""
            with suppress(OSError):
                while os.read(self._terminal, 65536):
                    pass

    def _become_dashboard() -> None:
        os.environ["TERM"] = "xterm-256color"
        try:
            os.execv(sys.executable, command_of("ripieno", "dashboard"))
        finally:
            os._exit(127)


if __name__ == "__main__":
    main()
