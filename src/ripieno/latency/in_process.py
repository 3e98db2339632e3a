"""The path inside this process: an engine on ports in memory, and a queue between two threads."""

import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread

from ripieno.engine.log import Log
from ripieno.engine.loop import Engine, Timed
from ripieno.engine.realtime import claim_thread
from ripieno.latency.ground import Ground, undisturbed
from ripieno.latency.trips import Passed
from ripieno.midi.memory import MemoryIn, MemoryOut
from ripieno.perform.events import Input
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.perform.snapshot import Snapshot
from ripieno.style.model import Style


@dataclass(frozen=True, slots=True)
class _Listened:
    """An engine with what it records."""

    engine: Engine
    log: Log

    def submit(self, event: Input) -> None:
        self.engine.submit(event)

    def look(self) -> Snapshot:
        return self.engine.look()

    def news(self) -> list[Timed]:
        return self.log.take()

    @property
    def is_running(self) -> bool:
        return self.engine.is_running


@dataclass(frozen=True, slots=True)
class _Keyboard:
    keys: MemoryIn

    def send(self, data: bytes) -> None:
        self.keys.deliver(data, time.monotonic_ns())


class HandOver:
    """A message from this thread to another, which stamps it: nothing can take less."""

    def __init__(self, back: list[Passed]) -> None:
        self._back = back
        self._queue: SimpleQueue[bytes | None] = SimpleQueue()
        self._thread = Thread(target=self._run, name="ripieno-hand-over", daemon=True)
        self._thread.start()

    def send(self, data: bytes) -> None:
        self._queue.put(data)

    def close(self) -> None:
        self._queue.put(None)
        self._thread.join()

    def _run(self) -> None:
        claim_thread()  # as the engine's own does
        while (data := self._queue.get()) is not None:
            self._back.append(Passed(time.monotonic_ns(), data))


@contextmanager
def opened(settings: Settings, style: Style) -> Iterator[Ground]:
    with ExitStack() as stack:
        back: list[Passed] = []
        bare = HandOver(back)
        stack.callback(bare.close)
        log = Log()
        engine = Engine(Performer(settings, style), MemoryOut("out"), record=log.put)
        engine.start()
        stack.callback(engine.close)
        keyboard = MemoryIn("in", engine.receive)
        stack.enter_context(undisturbed())
        yield Ground(
            bare=bare,
            engine=_Listened(engine, log),
            keys=_Keyboard(keyboard),
            bare_back=back,
            about={"system": "none: ports in memory", "scheduling": engine.scheduling},
        )
