"""The engine's process, seen from the host: begin it, tell it, hear of it, end it."""

import pickle
import subprocess
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from queue import Empty, SimpleQueue
from threading import Thread
from typing import IO, Self

from ripieno.engine.log import Log
from ripieno.engine.loop import Timed
from ripieno.engine.messages import (
    Answer,
    Ask,
    Begin,
    Ports,
    Ready,
    Refused,
    Standing,
    unpacked,
)
from ripieno.engine.spawn import Spawned, send
from ripieno.errors import MachineError
from ripieno.midi.lasting import PortState
from ripieno.midi.systems import System
from ripieno.perform.events import Input
from ripieno.perform.presses import Bind, Pressed
from ripieno.perform.snapshot import Snapshot

_BEGIN_S = 20  # a loaded machine's; only a fault takes longer
_ANSWER_S = 5.0
_END_S = 5.0


_UNKNOWN = Ports(
    System(None, "unknown", "not known yet", virtual=False),
    *(PortState("", "not known yet"), PortState("", "not known yet")),
)

_Telling = Begin | Ask | Input | Bind | None  # None: it is to end
# What an engine tells of its own accord, besides its news; None is its end.
Word = Ports | Pressed | None


class EngineProcess:
    """Plays from its beginning to `close`. When the host is gone it releases all and ends.

    Its methods may be called from any thread.
    """

    def __init__(
        self,
        begin: Begin,
        process: Spawned | None = None,
        tell: Callable[[Word], None] = lambda _: None,
        waits: Callable[[], None] = lambda: None,
    ) -> None:
        """Returns when it is ready to play. Raises MachineError.

        `process` is one begun before; by default it begins one. `tell` is called by a thread of
        its own, which it must not hold up; `waits` each second until it is ready.
        """
        self.ready = Ready(0, _UNKNOWN, "", (), 0)
        self.ports = _UNKNOWN
        self.standing = begin.standing
        self._tell_host = tell
        self._first: SimpleQueue[Ready | Refused | None] = SimpleQueue()
        self._news = Log()
        self._speaks = True
        self._waiting: dict[int, SimpleQueue[Answer | None]] = {}
        self._numbers = count()
        self._telling: SimpleQueue[_Telling] = SimpleQueue()
        self._process = (process or Spawned()).process
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._thread = Thread(target=self._hear, args=(self._process.stdout,), daemon=True)
        self._thread.start()
        # A thread of its own writes, for an engine that is stuck does not read.
        self._writer = Thread(target=self._write, args=(self._process.stdin,), daemon=True)
        self._writer.start()
        self._tell(begin)
        self._wait_until_ready(waits)

    @property
    def said(self) -> tuple[str, ...]:
        """A sentence for each port and for each thing that the system granted."""
        sides = (("input", self.ports.input), ("output", self.ports.output))
        ports = [f"{side}: {state.name or 'none'} ({state.why})" for side, state in sides]
        return (*ports, self.ready.scheduling, *self.ready.said)

    @property
    def since_ns(self) -> int:
        """When it began to play; nothing in `news` is earlier."""
        return self.ready.since_ns

    def submit(self, event: Input | Bind) -> None:
        """An event that comes from the program and not from the keyboard."""
        self._tell(event)

    def news(self) -> list[Timed]:
        """What has happened since the last call, oldest first. It comes some 40 ms late."""
        return self._news.take()

    def ask(self) -> Answer:
        """The performer and the engine's counts as they are now. Raises MachineError."""
        number, reply = self.begin_to_ask()
        try:
            answer = reply.get(timeout=_ANSWER_S if self.is_running else 0)
        except Empty:
            answer = None
        finally:
            self._waiting.pop(number, None)
        if answer is None:
            raise MachineError("the engine does not answer")
        return answer

    def begin_to_ask(self) -> tuple[int, "SimpleQueue[Answer | None]"]:
        """The question's number, and where the answer will be; None there: the engine ended."""
        reply: SimpleQueue[Answer | None] = SimpleQueue()
        number = next(self._numbers)
        self._waiting[number] = reply
        self._tell(Ask(number))
        return number, reply

    def stop_asking(self, number: int) -> None:
        """The answer to a question is of no interest any more."""
        self._waiting.pop(number, None)

    def look(self) -> Snapshot:
        """The performer as it is now. Raises MachineError."""
        shown = self.ask().shown
        if shown is None:
            raise MachineError("the engine does not answer")
        return shown

    @property
    def is_running(self) -> bool:
        """Whether the engine speaks: from the beginning to its end, whatever ended it."""
        return self._speaks

    @property
    def pid(self) -> int:
        """The number of the engine's process."""
        return self._process.pid

    @property
    def exit_status(self) -> int | None:
        """The process's, negative for a signal's number; None while it runs."""
        return self._process.poll()

    def kill(self) -> None:
        """End it at once: it does not turn any more."""
        self._process.kill()

    def end(self) -> None:
        """Have it silence everything and end, soon."""
        self._telling.put(None)

    def close(self) -> None:
        """Silence everything and end it; `news` has its last words. May be called again."""
        self.end()
        try:
            self._process.wait(timeout=_END_S)
        except subprocess.TimeoutExpired:  # such as a send that a dead MIDI server never takes
            self._process.kill()
            self._process.wait()
        self._thread.join()
        self._writer.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _wait_until_ready(self, waits: Callable[[], None]) -> None:
        first: Ready | Refused | None = Refused("the engine did not begin in time")
        for _ in range(_BEGIN_S):
            with suppress(Empty):
                first = self._first.get(timeout=1.0)
                break
            waits()
        if isinstance(first, Ready):
            return
        self.close()
        why = "the engine ended before it began" if first is None else first.why
        raise MachineError(why)

    def _tell(self, message: _Telling) -> None:
        """To an engine that is gone nothing can be told: `is_running` says so."""
        self._telling.put(message)

    def _write(self, stream: IO[bytes]) -> None:
        with suppress(BrokenPipeError):
            while (message := self._telling.get()) is not None:
                send(stream, message)
        with suppress(BrokenPipeError):  # it tries once more to write what is left
            stream.close()

    def _hear(self, stream: IO[bytes]) -> None:
        try:
            while True:
                self._sort(pickle.load(stream))
        except (EOFError, pickle.UnpicklingError):  # ended, perhaps in the middle of a message
            pass
        finally:
            self._speaks = False
            stream.close()
            self._first.put(None)
            for reply in list(self._waiting.values()):
                reply.put(None)
            self._tell_host(None)

    def _sort(self, message: object) -> None:
        match message:
            case Ready():
                self.ready, self.ports = message, message.ports
                self._first.put(message)
            case Refused():
                self._first.put(message)
            case Standing():
                self.standing = message
            case Ports():
                self.ports = message
                self._tell_host(message)
            case Pressed():
                self._tell_host(message)
            case Answer():
                if (reply := self._waiting.get(message.number)) is not None:
                    reply.put(message)
            case list():
                for item in message:
                    self._news.put(unpacked(item))
            case other:
                raise AssertionError(f"the engine says nothing such as {other!r}")
