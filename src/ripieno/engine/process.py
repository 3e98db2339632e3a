"""The engine's own process: ports and the performer, and nothing else.

A screen in the same interpreter costs 20 ms at the 99th percentile, whatever the scheduling; so
the host starts this with `python -m ripieno.engine.process` and speaks to it over the two
standard streams, in pickled messages. It is the same program on both sides of a pipe that
nobody else has.

To the engine: a `Begin`, perhaps after some `OpenAhead`s, then inputs and `Bind`s, each handed to
the loop, and `Ask`s. The stream's end means that the host is gone or wants an end: everything is
released. To the host: a `Ready` or a `Refused`, then `News`, `Standing` and `Ports` when they have
changed, `Pressed`, and an `Answer` to each `Ask`.

News leaves 40 ms apart, 64 things at a time, for what packs it would hold the interpreter
while a note is due. If nobody takes it, it is dropped and counted.

When the MIDI server dies, the process leaves at once with status 75 (EX_TEMPFAIL of sysexits.h)
and touches nothing of the server's: closing its ports would wait a second or crash, and sending
to them stops the whole interpreter for good. The host begins another.
"""

import os
import pickle
import signal
import sys
import time
from contextlib import ExitStack
from queue import SimpleQueue
from threading import Event, Thread
from typing import BinaryIO, NoReturn

from ripieno.engine.log import Log
from ripieno.engine.loop import Engine
from ripieno.engine.messages import (
    SERVER_IS_GONE,
    Answer,
    Ask,
    Begin,
    OpenAhead,
    Ports,
    Ready,
    Refused,
    Standing,
    packed,
)
from ripieno.engine.plugs import Plugs
from ripieno.engine.realtime import hold_garbage, lock_memory
from ripieno.engine.spawn import LOOK, send
from ripieno.errors import MachineError
from ripieno.midi.ahead import PortsAhead
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System, choose
from ripieno.perform.events import Controller, Resume, SetSendClock
from ripieno.perform.message import EXPRESSION
from ripieno.perform.performer import Performer
from ripieno.perform.presses import Pressed
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
                send(self._stream, message)
            except OSError:
                return  # nobody is there: the end of the other stream says so too


def main() -> int:
    """Play until the host's stream ends or a signal does it.

    Called with LOOK it finds the MIDI system and its ports before it is told what to play; a
    process that waits for another to end does not, for by then another system may answer.
    """
    hear, speech = _streams()
    ahead, found = PortsAhead(), None
    if LOOK in sys.argv[1:]:
        found = choose()
        ahead.look(found)
    begin = _begun(hear, ahead)
    if begin is None:  # the host has nothing to play after all
        ahead.close()
        return 0
    with ExitStack() as stack:
        stack.callback(speech.close)
        try:
            playing = _Playing(begin, found, ahead, speech, stack)
        except MachineError as refusal:
            speech.say(Refused(str(refusal)))
            return refusal.exit_status
        return playing.go_on(hear)


def _begun(hear: BinaryIO, ahead: PortsAhead) -> Begin | None:
    """What to play, once it is told; None at the stream's end."""
    while True:
        try:
            message = pickle.load(hear)
        except EOFError:
            message = None
        if ahead.server_is_gone:
            os._exit(SERVER_IS_GONE)
        if message is None or isinstance(message, Begin):
            return message
        assert isinstance(message, OpenAhead), f"nothing such as {message!r} comes first"
        ahead.follow(message.system, message.output)


def _streams() -> tuple[BinaryIO, Speech]:
    """The pipes; what a library prints goes to standard error from now on.

    Not sys.stdin: an interpreter that ends while a thread waits in that aborts.
    """
    hear, speak = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return hear, Speech(speak)


class _Playing:
    """An engine, what it is plugged into, and what the host hears of it."""

    def __init__(
        self,
        begin: Begin,
        found: System | None,
        ahead: PortsAhead,
        speech: Speech,
        stack: ExitStack,
    ) -> None:
        """Returns when it plays. Raises MachineError."""
        self._begin, self._speech = begin, speech
        self._log, self._ended = Log(_NEWS_KEPT), Event()
        self._told = Standing()
        self._telling = Thread(target=self._tell, name="ripieno-telling", daemon=True)
        kept = Sounding.unkept() if begin.sounding is None else Sounding.at(begin.sounding)
        system = begin.rig.system or begin.system or found or choose()
        self._plugs = Plugs(
            begin.rig, system, kept, ahead, begin.remembered, hurries=begin.system is not None
        )
        stack.callback(self._plugs.close)
        self._performer = Performer(begin.settings, begin.style)
        self._engine = Engine(
            self._performer, self._plugs.to, record=self._log.put, notice=self._notice
        )
        stack.callback(self._engine.close)
        self._start()

    def go_on(self, hear: BinaryIO) -> int:
        """Until the end: the host's or a signal's, and then 0, or the loop's by a fault, then 1."""
        signal.signal(signal.SIGTERM, lambda *_: self._ended.set())
        Thread(target=self._listen, args=(hear,), name="ripieno-listener", daemon=True).start()
        self._telling.start()
        warm(self._begin.settings, self._begin.style)
        hold_garbage()
        while self._engine.is_running and not self._ended.wait(_NEWS_APART_S):
            self._turn()
        is_fault = not self._engine.is_running
        self._tell_no_more()
        self._engine.close()
        while self._tell_news():
            pass
        return 1 if is_fault else 0

    def _start(self) -> None:
        plugs, begin = self._plugs, self._begin
        self._engine.submit(begin.bound)
        since_ns = time.monotonic_ns()
        harmony, transport = begin.standing.harmony, begin.standing.transport
        if begin.system is not None:  # the engine before may have ended while a chord died away
            self._engine.submit(self._expression(since_ns))
        if harmony is not None and transport is not None:
            self._engine.submit(Resume(since_ns, harmony.chord, harmony.level, transport))
        if begin.settings.send_clock:  # it ticks before anything is played
            self._engine.submit(SetSendClock(since_ns, send_clock=True))
        self._engine.start()
        plugs.begin(self._engine)
        memory = lock_memory()
        said = (*plugs.said, memory)
        scheduling = self._engine.scheduling
        self._ports = self._ports_now()
        self._speech.say(Ready(since_ns, self._ports, scheduling, said, plugs.ended, memory))

    def _expression(self, at_ns: int) -> Controller:
        begin = self._begin
        return Controller(at_ns, EXPRESSION, begin.standing.expression, begin.settings.channel)

    def _turn(self) -> None:
        if self._plugs.server_is_gone:
            self._leave()
        self._plugs.turn()
        if (ports := self._ports_now()) != self._ports:
            self._ports = ports
            self._speech.say(ports)

    def _tell(self) -> None:
        """Not held up by ports that are being opened: another engine may have to go on any time."""
        while not self._ended.wait(_NEWS_APART_S):
            if not self._speech.is_behind:
                self._tell_standing()
                self._tell_news()

    def _tell_no_more(self) -> None:
        self._ended.set()
        self._telling.join()

    def _ports_now(self) -> Ports:
        plugs = self._plugs
        return Ports(plugs.system, *plugs.states, plugs.remembered, plugs.lack)

    def _leave(self) -> NoReturn:
        self._tell_no_more()
        while self._tell_news():
            pass
        self._speech.close()
        os._exit(SERVER_IS_GONE)

    def _tell_standing(self) -> None:
        playing = self._performer.accompaniment  # what is read of it is never changed in place
        standing = Standing(playing.harmony, playing.transport, playing.expression)
        if standing != self._told:
            self._told = standing
            self._speech.say(standing)

    def _tell_news(self) -> bool:
        news = [packed(timed) for timed in self._log.take(_NEWS_AT_ONCE)]
        if news:
            self._speech.say(news)
        return bool(news)

    def _notice(self, pressed: Pressed) -> None:
        if not self._speech.is_behind:
            self._speech.say(pressed)

    def _listen(self, hear: BinaryIO) -> None:
        try:
            while True:
                message = pickle.load(hear)
                if isinstance(message, Ask):
                    self._speech.say(self._answer(message))
                else:
                    self._engine.submit(message)
        except EOFError:
            pass
        finally:
            self._ended.set()

    def _answer(self, ask: Ask) -> Answer:
        try:
            shown = self._engine.look()
        except MachineError:
            shown = None
        plugs, counts = self._plugs, self._engine.counts
        return Answer(
            ask.number,
            shown,
            counts,
            plugs.lost_inputs,
            self._log.dropped,
            plugs.unheard,
            self._performer.accompaniment.skipped,
            plugs.renewed,
        )


if __name__ == "__main__":
    sys.exit(main())
