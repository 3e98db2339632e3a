"""The load: what else may go on while notes are due, all of it at once.

The status is looked at 30 times a second and every second time drawn by a process of its own,
the style changes every second, the tempo likewise, and every processor is kept busy by a
process that does nothing else.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from itertools import count
from threading import Event, Thread

from ripieno.errors import MachineError
from ripieno.latency.ground import EngineLike
from ripieno.perform.events import Input, SetStyle, SetTempo
from ripieno.style.model import Style

LOOKS_A_SECOND = 30
_DRAWN = 2  # every so many looks: 15 screens a second
_TEMPI = (3, -2, 1, -2)  # steps from one change to the next; they come back to where they began


class Load:
    """`styles` are what is gone through, one a second; it may be replaced at any time."""

    def __init__(self, engine: EngineLike, styles: Sequence[Style], bpm: float) -> None:
        self.styles = styles
        self._engine = engine
        self._bpm = bpm
        self._ended = Event()
        self._screen = _helper("screen")
        self._busy = [_helper("busy") for _ in range(os.cpu_count() or 1)]
        self._thread = Thread(target=self._run, name="ripieno-load", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._ended.set()
        self._thread.join()
        for helper in (self._screen, *self._busy):
            helper.kill()
            helper.wait()

    def _run(self) -> None:
        """An engine that does not answer ends it; the player says so."""
        for number in count():
            if self._ended.wait(1 / LOOKS_A_SECOND):
                return
            try:
                status = self._engine.look()
            except MachineError:
                return
            if number % _DRAWN == 0:
                self._draw(json.dumps(asdict(status), default=float).encode() + b"\n")
            if number % LOOKS_A_SECOND == 0:
                for event in self._changes(number // LOOKS_A_SECOND):
                    self._engine.submit(event)

    def _draw(self, line: bytes) -> None:
        assert self._screen.stdin is not None
        try:
            self._screen.stdin.write(line)
            self._screen.stdin.flush()
        except BrokenPipeError:  # a screen that is gone is none of the engine's concern
            return

    def _changes(self, second: int) -> Iterator[Input]:
        self._bpm += _TEMPI[second % len(_TEMPI)]
        yield SetTempo(time.monotonic_ns(), self._bpm)
        yield SetStyle(time.monotonic_ns(), self.styles[second % len(self.styles)])


@contextmanager
def loaded(engine: EngineLike, styles: Sequence[Style], bpm: float) -> Iterator[Load]:
    load = Load(engine, styles, bpm)
    try:
        yield load
    finally:
        load.close()


def _helper(name: str) -> "subprocess.Popen[bytes]":
    command = [sys.executable, "-m", f"ripieno.latency.{name}"]
    return subprocess.Popen(command, stdin=subprocess.PIPE, start_new_session=True)
