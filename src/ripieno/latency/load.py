"""The load: what else may go on while notes are due, all of it at once.

The engine is asked for its status 30 times a second, as a host does that is watched, and the
dashboard shows it, attached to a control socket in processes of their own. The style changes
every second, the tempo likewise, and every processor is kept busy by a process that does nothing
else.
"""

import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import count
from threading import Event, Thread

from ripieno.engine.messages import Answer
from ripieno.engine.spawn import command_of, send
from ripieno.errors import MachineError
from ripieno.latency.ground import EngineLike, Ground
from ripieno.latency.scene import Scene
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input, SetStyle, SetTempo
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

LOOKS_A_SECOND = 30
_TEMPI = (3, -2, 1, -2)  # steps from one change to the next; they come back to where they began
_ATTACHED_S = 30.0  # a busy machine's; only a fault takes longer
_END_S = 15.0  # likewise


class Screen:
    """The dashboard, with its control socket. `state` is a sentence on it, known when it ends."""

    def __init__(self, scene: Scene) -> None:
        self.state = f"not attached within {_ATTACHED_S:g} s"
        self._process = _helper("screen", stdout=subprocess.PIPE)
        self._said = Event()
        self._thread = Thread(target=self._hear, name="ripieno-screen", daemon=True)
        self._thread.start()
        self.tell(scene)

    def wait(self) -> None:
        """Until it is attached or cannot be."""
        self._said.wait(_ATTACHED_S)

    def tell(self, news: Scene | Answer) -> None:
        assert self._process.stdin is not None
        with suppress(BrokenPipeError):  # a screen that is gone is none of the engine's concern
            send(self._process.stdin, news)

    def close(self) -> None:
        status = self._process.poll()
        _end(self._process)
        self._thread.join()
        if status is not None:
            self.state = f"its control socket ended before its time, status {status}"

    def _hear(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as sentences:
            for sentence in sentences:
                self.state = sentence.decode().strip()
                self._said.set()
        self._said.set()  # there is nothing to wait for any more


class Load:
    """`styles` are what is gone through, one a second; it may be replaced at any time.

    Returns from its beginning once the dashboard is attached.
    """

    def __init__(self, engine: EngineLike, settings: Settings, styles: Sequence[Style]) -> None:
        self.styles = styles
        self._engine = engine
        self._chosen = Chosen(settings, styles[0])
        self._ended = Event()
        self._busy: list[subprocess.Popen[bytes]] = []
        self.screen = Screen(self._scene())
        self._thread = Thread(target=self._run, name="ripieno-load", daemon=True)
        try:
            self.screen.wait()
            self._busy += [_helper("busy") for _ in range(os.cpu_count() or 1)]
            self._thread.start()
        except BaseException:  # Ctrl-C
            self._end_helpers()
            raise

    def close(self) -> None:
        self._ended.set()
        self._thread.join()
        self._end_helpers()

    def _end_helpers(self) -> None:
        for helper in self._busy:
            _end(helper)
        self.screen.close()

    def _scene(self) -> Scene:
        return Scene(self._chosen, self._engine.ready)

    def _run(self) -> None:
        """An engine that does not answer ends it; the player says so."""
        for number in count():
            if self._ended.wait(1 / LOOKS_A_SECOND):
                return
            try:
                self.screen.tell(self._engine.ask())
            except MachineError:
                return
            if number % LOOKS_A_SECOND == 0:
                for event in self._changes(number // LOOKS_A_SECOND):
                    self._chosen = self._chosen.after(event)
                    self._engine.submit(event)
                self.screen.tell(self._scene())

    def _changes(self, second: int) -> Iterator[Input]:
        bpm = self._chosen.settings.bpm + _TEMPI[second % len(_TEMPI)]
        yield SetTempo(time.monotonic_ns(), bpm)
        yield SetStyle(time.monotonic_ns(), self.styles[second % len(self.styles)])


@contextmanager
def loaded(ground: Ground, settings: Settings, styles: Sequence[Style]) -> Iterator[Load]:
    """The ground's engine under load; `ground.about` then says what came of the dashboard."""
    assert ground.engine is not None, "a load is an engine's"
    load = Load(ground.engine, settings, styles)
    try:
        yield load
    finally:
        load.close()
        ground.about["dashboard"] = load.screen.state


def _helper(name: str, stdout: int | None = None) -> "subprocess.Popen[bytes]":
    """A process that ends with its standard input, so also with this one, however that ends."""
    command = command_of(f"ripieno.latency.{name}")
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=stdout, start_new_session=True)


def _end(helper: "subprocess.Popen[bytes]") -> None:
    assert helper.stdin is not None
    with suppress(BrokenPipeError):  # it tries once more to write what is left
        helper.stdin.close()
    try:
        helper.wait(timeout=_END_S)
    except subprocess.TimeoutExpired:
        helper.kill()
        helper.wait()
