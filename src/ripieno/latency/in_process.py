"""The path inside this process: an engine on ports in memory, and a queue between two threads."""

import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread

from ripieno.engine.log import Log
from ripieno.engine.loop import Engine, Timed
from ripieno.engine.messages import Answer, Ports, Ready
from ripieno.engine.realtime import claim_thread
from ripieno.latency.ground import Ground, undisturbed
from ripieno.latency.trips import Passed
from ripieno.midi.lasting import PortState
from ripieno.midi.memory import MemoryIn, MemoryOut
from ripieno.midi.systems import System
from ripieno.perform.events import Input
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

_WHERE = "ports in memory"
_PORTS = Ports(
    System(None, "memory", _WHERE, virtual=False),
    PortState("in", _WHERE),
    PortState("out", _WHERE),
)


@dataclass(frozen=True, slots=True)
class _Listened:
    """An engine with what it records."""

    engine: Engine
    log: Log

    def submit(self, event: Input) -> None:
        self.engine.submit(event)

    def ask(self) -> Answer:
        """As a host's question is answered. Raises MachineError."""
        return Answer(0, self.engine.look(), self.engine.counts, 0, self.log.dropped, 0)

    @property
    def ready(self) -> Ready:
        return Ready(0, _PORTS, self.engine.scheduling, (), 0)

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
            about={"system": f"none: {_WHERE}", "scheduling": engine.scheduling},
        )
