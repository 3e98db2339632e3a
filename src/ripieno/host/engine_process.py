"""The engine's process, seen from the host: begin it, tell it, hear of it, end it."""

import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from itertools import count
from queue import Empty, SimpleQueue
from threading import Lock, Thread
from typing import IO, Self

from ripieno.engine.log import Log
from ripieno.engine.loop import Timed
from ripieno.engine.messages import Answer, Ask, Begin, Ready, Refused, unpacked
from ripieno.engine.rig import Rig
from ripieno.errors import MachineError
from ripieno.perform.events import Input
from ripieno.perform.settings import Settings
from ripieno.perform.snapshot import Snapshot
from ripieno.style.model import Style

_BEGIN_S = 20.0  # a loaded machine's; only a fault takes longer
_ANSWER_S = 5.0
_END_S = 5.0


@contextmanager
def spawned() -> "Iterator[subprocess.Popen[bytes]]":
    """The process, begun but not told yet what to play; it ends with the context.

    It takes about as long to begin as reading a style does: do both at once.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "ripieno.engine.process"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        start_new_session=True,
    )
    assert process.stdin is not None
    try:
        yield process
    finally:
        with suppress(BrokenPipeError):
            process.stdin.close()
        process.wait()


class EngineProcess:
    """Plays from its beginning to `close`. `said` has a sentence for each port and grant.

    Its methods may be called from any thread. It gets no signal that a terminal sends: Ctrl-C
    and hanging up are the host's to answer. When the host is gone it releases all and ends.
    """

    def __init__(
        self,
        settings: Settings,
        style: Style,
        rig: Rig,
        process: "subprocess.Popen[bytes] | None" = None,
    ) -> None:
        """Returns when it is ready to play. Raises MachineError.

        `process` is one that `spawned` has begun; by default it begins one.
        """
        self._own = ExitStack()
        self.said: tuple[str, ...] = ()
        self.since_ns = 0  # when it began to play; nothing in `news` is earlier
        self._first: SimpleQueue[Ready | Refused | None] = SimpleQueue()
        self._news = Log()
        self._waiting: dict[int, SimpleQueue[Answer | None]] = {}
        self._numbers = count()
        self._writing = Lock()
        self._process = process or self._own.enter_context(spawned())
        assert self._process.stdout is not None
        self._thread = Thread(target=self._hear, args=(self._process.stdout,), daemon=True)
        self._thread.start()
        self._tell(Begin(settings, style, rig))
        self._wait_until_ready()

    def submit(self, event: Input) -> None:
        """An event that comes from the program and not from the keyboard."""
        self._tell(event)

    def news(self) -> list[Timed]:
        """What has happened since the last call, oldest first. It comes some 40 ms late."""
        return self._news.take()

    def ask(self) -> Answer:
        """The performer and the engine's counts as they are now. Raises MachineError."""
        reply: SimpleQueue[Answer | None] = SimpleQueue()
        number = next(self._numbers)
        self._waiting[number] = reply
        self._tell(Ask(number))
        try:
            answer = reply.get(timeout=_ANSWER_S if self.is_running else 0)
        except Empty:
            answer = None
        finally:
            self._waiting.pop(number, None)
        if answer is None:
            raise MachineError("the engine does not answer: end the program")
        return answer

    def look(self) -> Snapshot:
        """The performer as it is now. Raises MachineError."""
        shown = self.ask().shown
        if shown is None:
            raise MachineError("the engine does not answer: end the program")
        return shown

    @property
    def is_running(self) -> bool:
        """Whether the engine speaks: from the beginning to its end, whatever ended it."""
        return self._thread.is_alive()

    @property
    def pid(self) -> int:
        """The number of the engine's process."""
        return self._process.pid

    def close(self) -> None:
        """Silence everything and end it; `news` has its last words. May be called again."""
        assert self._process.stdin is not None
        with self._writing, suppress(BrokenPipeError):
            self._process.stdin.close()
        try:
            self._process.wait(timeout=_END_S)
        except subprocess.TimeoutExpired:  # such as a send that a dead MIDI server never takes
            self._process.kill()
            self._process.wait()
        self._own.close()
        self._thread.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _wait_until_ready(self) -> None:
        try:
            first = self._first.get(timeout=_BEGIN_S)
        except Empty:
            first = Refused("the engine did not begin in time")
        if isinstance(first, Ready):
            self.said, self.since_ns = first.said, first.since_ns
            return
        self.close()
        why = "the engine ended before it began" if first is None else first.why
        raise MachineError(why)

    def _tell(self, message: Begin | Ask | Input) -> None:
        """To an engine that is gone nothing can be told: `is_running` says so."""
        stdin = self._process.stdin
        assert stdin is not None
        data = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
        with self._writing:
            if stdin.closed:
                return
            try:
                stdin.write(data)
                stdin.flush()
            except BrokenPipeError:
                with suppress(BrokenPipeError):  # it tries once more to write what is left
                    stdin.close()

    def _hear(self, stream: IO[bytes]) -> None:
        try:
            while True:
                self._sort(pickle.load(stream))
        except (EOFError, pickle.UnpicklingError):  # ended, perhaps in the middle of a message
            pass
        finally:
            stream.close()
            self._first.put(None)
            for reply in list(self._waiting.values()):
                reply.put(None)

    def _sort(self, message: object) -> None:
        match message:
            case Ready() | Refused():
                self._first.put(message)
            case Answer():
                if (reply := self._waiting.get(message.number)) is not None:
                    reply.put(message)
            case list():
                for item in message:
                    self._news.put(unpacked(item))
            case other:
                raise AssertionError(f"the engine says nothing such as {other!r}")
