"""The engine's own process: ports and the performer, and nothing else.

A screen in the same interpreter costs 20 ms at the 99th percentile, whatever the scheduling; so
the host starts this with `python -m ripieno.engine.process` and speaks to it over the two
standard streams, in pickled messages. It is the same program on both sides of a pipe that
nobody else has.

To the engine: first a `Begin`, then inputs, each handed to the loop, and `Ask`s. The stream's end
means that the host is gone or wants an end: everything is released. To the host: a `Ready` or a
`Refused`, then `News`, and an `Answer` to each `Ask`.

News leaves 40 ms apart, 64 things at a time, for what packs it would hold the interpreter
while a note is due. If nobody takes it, it is dropped and counted.
"""

import os
import pickle
import signal
import sys
import time
from contextlib import ExitStack
from queue import SimpleQueue
from threading import Event, Thread
from typing import BinaryIO

from ripieno.engine.log import Log
from ripieno.engine.loop import Engine
from ripieno.engine.messages import Answer, Ask, Begin, Ready, Refused, packed
from ripieno.engine.realtime import hold_garbage, lock_memory
from ripieno.engine.rig import opened_output
from ripieno.errors import MachineError
from ripieno.midi import ports
from ripieno.perform.performer import Performer
from ripieno.perform.warming import warm

_NEWS_APART_S = 0.04
_NEWS_AT_ONCE = 64
_NEWS_KEPT = 100_000  # minutes of playing
_UNHEARD = 50  # messages, after which no news is added to them


class Speech:
    """Messages to the host, from several threads."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._queue: SimpleQueue[object] = SimpleQueue()
        self._thread = Thread(target=self._run, name="ripieno-speech", daemon=True)
        self._thread.start()

    @property
    def is_behind(self) -> bool:
        """Whether the host takes less than it is told."""
        return self._queue.qsize() > _UNHEARD

    def say(self, message: object) -> None:
        self._queue.put(message)

    def close(self) -> None:
        """Returns when all has been said, or cannot be: a host may have stopped listening."""
        self._queue.put(None)
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        while (message := self._queue.get()) is not None:
            try:
                self._stream.write(pickle.dumps(message, pickle.HIGHEST_PROTOCOL))
                self._stream.flush()
            except OSError:
                return  # nobody is there: the end of the other stream says so too


def main() -> int:
    """Play until the host's stream ends or a signal does it."""
    hear, speech = _streams()
    try:
        begin = pickle.load(hear)
    except EOFError:  # the host has nothing to play after all
        return 0
    with ExitStack() as stack:
        stack.callback(speech.close)
        try:
            _play(begin, hear, speech, stack)
        except MachineError as refusal:
            speech.say(Refused(str(refusal)))
            return refusal.exit_status
    return 0


def _streams() -> tuple[BinaryIO, Speech]:
    """The pipes; what a library prints goes to standard error from now on."""
    speak = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return sys.stdin.buffer, Speech(speak)


def _play(begin: Begin, hear: BinaryIO, speech: Speech, stack: ExitStack) -> None:
    rig, log, ended = begin.rig, Log(_NEWS_KEPT), Event()
    output, said = stack.enter_context(opened_output(rig))
    engine = Engine(Performer(begin.settings, begin.style), output, record=log.put)
    stack.callback(engine.close)
    since_ns = time.monotonic_ns()
    engine.start()
    ports.pause(rig.system)
    keyboard = ports.open_input(rig.system, rig.input, engine.receive)
    stack.callback(keyboard.close)
    said = [f"input: {keyboard.name} ({keyboard.why})", *said, engine.scheduling, lock_memory()]
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    speech.say(Ready(since_ns, tuple(said)))

    def listen() -> None:
        try:
            while True:
                message = pickle.load(hear)
                if isinstance(message, Ask):
                    speech.say(_answer(message, engine, keyboard.errors, log.dropped))
                else:
                    engine.submit(message)
        except EOFError:
            pass
        finally:
            ended.set()

    Thread(target=listen, name="ripieno-listener", daemon=True).start()
    warm(begin.settings, begin.style)
    hold_garbage()
    while engine.is_running and not ended.wait(_NEWS_APART_S):
        if not speech.is_behind:
            _tell(log, speech)
    keyboard.close()
    engine.close()
    while _tell(log, speech):
        pass


def _answer(ask: Ask, engine: Engine, lost_inputs: int, dropped_news: int) -> Answer:
    try:
        shown = engine.look()
    except MachineError:
        shown = None
    return Answer(ask.number, shown, engine.counts, lost_inputs, dropped_news)


def _tell(log: Log, speech: Speech) -> bool:
    news = [packed(timed) for timed in log.take(_NEWS_AT_ONCE)]
    if news:
        speech.say(news)
    return bool(news)


if __name__ == "__main__":
    sys.exit(main())
