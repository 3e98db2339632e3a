"""An engine that is replaced when it ends.

Another process waits, begun and with everything imported and the output open, that only has to be
told what to play: so the notes of an engine that was killed end some milliseconds later, and the
music goes on in its own time. The new engine gets what the player had chosen and what was being
played.

An engine that does not answer for two seconds is killed: it would never end by itself, for
instance in a send that a dead MIDI server does not take.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from queue import SimpleQueue
from threading import Lock
from typing import Protocol

from ripieno.engine.loop import Timed
from ripieno.engine.messages import (
    NEITHER,
    SERVER_IS_GONE,
    Answer,
    Begin,
    OpenAhead,
    Ports,
    Standing,
)
from ripieno.engine.spawn import Spawned
from ripieno.errors import MachineError
from ripieno.host.counting import Counted, counts_of, together
from ripieno.host.engine_process import EngineProcess, Word
from ripieno.midi.systems import System
from ripieno.perform.chord_on import Harmony
from ripieno.perform.events import Input
from ripieno.perform.presses import Bind
from ripieno.units import NS_PER_S

_ASK_NS = NS_PER_S  # between two questions whether it still turns
_ANSWER_NS = 2 * NS_PER_S
# Between two turns no more than this counts as waiting: a host that was itself held up, with the
# whole machine perhaps, has not waited all that time.
_LATE_NS = NS_PER_S // 2
# Ports that have not changed for so long are settled: of JACK clients that are activated at once,
# some are never woken.
_SETTLED_NS = NS_PER_S // 2
# An engine that cannot begin is tried again after so long, twice as long each time.
_AGAIN_NS, _AGAIN_AT_MOST_NS = NS_PER_S // 5, 2 * NS_PER_S


class Begins(Protocol):
    """What an engine is to begin with.

    The one before it was playing so much and on such a system, which is there still; None: it is
    not, or there was none before.
    """

    def __call__(self, standing: Standing, system: System | None) -> Begin: ...


class KeptEngine:
    """All calls are for one thread but `submit` and `ask`, which may come from any.

    `tell` gets the words of the engines from threads of their own; a word that is None is an
    engine's end, and then `turn` must be called soon.
    """

    def __init__(
        self,
        begins: Begins,
        tell: Callable[[Word], None],
        first: Spawned | None = None,
        waits: Callable[[], None] = lambda: None,
    ) -> None:
        """`waits` is called each second while a call takes long: an engine ends or begins."""
        self.restarts = 0
        self.renewals = 0  # of these, those that were wanted
        self.ended = 0  # notes that engines or runs before had left sounding
        self.why = ""  # what ended the last engine, or keeps the next from beginning
        self.cause = ""  # what ended the last engine
        self._begins = begins
        self._tell = tell
        self._waits = waits
        self._spare = first
        self._ahead: Ports | None = None  # what the spare has been told of
        self._ports: Ports | None = None  # the engine's, since `_ports_ns`
        self._ports_ns = 0
        self._engine: EngineProcess | None = None
        self._late: list[Input | Bind] = []  # what came while there was none
        self._standing = Standing()
        self._system: System | None = None
        self._remembered = NEITHER
        self._is_renewed = False  # the engine that is on its way was wanted
        self._counted: Counted = {}  # by the engines before this one
        self._answer: Answer | None = None  # this one's latest
        self._last_words: list[Timed] = []
        self._question: tuple[int, SimpleQueue[Answer | None]] | None = None
        self._asked_ns = self._waited_ns = 0
        self._handing_over = Lock()
        self._turned_ns = time.monotonic_ns()
        self._again_ns, self._again_at_ns = _AGAIN_NS, 0

    def start(self) -> EngineProcess:
        """The first engine. Raises MachineError if it cannot begin."""
        return self._begin(Standing())

    @property
    def engine(self) -> EngineProcess | None:
        """The one that plays; None while another is on its way."""
        return self._engine

    @property
    def harmony(self) -> Harmony | None:
        """The chord that is on, as the engine said last; None for none, and without an engine."""
        engine = self._engine
        return None if engine is None else engine.standing.harmony

    def submit(self, event: Input | Bind) -> None:
        """For the engine, or for the next one if there is none just now."""
        with self._handing_over:
            engine = self._engine
            if engine is None:
                self._late.append(event)
                return
        engine.submit(event)

    def ask(self) -> Answer | None:
        """None if there is no engine, or none that answers."""
        engine = self._engine
        try:
            return None if engine is None else engine.ask()
        except MachineError:
            return None

    def counts(self, answer: Answer | None) -> Counted:
        """What went by in all engines so far, by this one's answer; nothing without one.

        Of an engine that has ended, the last second may be missing.
        """
        return {} if answer is None else together(self._counted, counts_of(answer))

    def news(self) -> list[Timed]:
        """What the engine has done since the last call."""
        engine = self._engine
        return [] if engine is None else engine.news()

    def turn(self) -> bool:
        """Look after it. Whether another engine has begun, with news of its own."""
        now_ns = time.monotonic_ns()
        passed_ns = min(now_ns - self._turned_ns, _LATE_NS)
        self._turned_ns = now_ns
        if self._engine is not None:
            if self._engine.is_running:
                self._see_that_it_turns(now_ns, passed_ns)
                self._prepare_spare(self._engine.ports, now_ns)
                return False
            self._bury(self._engine)
        if now_ns < self._again_at_ns:
            return False
        return self._replace(now_ns)

    def renew(self) -> None:
        """Have another engine play on, with what only an engine's beginning can change."""
        engine = self._engine
        if engine is not None:
            self._is_renewed = True
            engine.end()

    def last_words(self) -> list[Timed]:
        """What the engine before this one did at its end."""
        words, self._last_words = self._last_words, []
        return words

    def close(self) -> list[Timed]:
        """Silence, and the end. What it has done since the last news."""
        engine, self._engine = self._engine, None
        if engine is not None:
            engine.close()
            self._last_words += engine.news()
        if self._spare is not None:
            self._spare.close()
        return self.last_words()

    def _bury(self, engine: EngineProcess) -> None:
        self._waits()
        engine.close()
        self.why = self.cause = _cause(engine.exit_status)
        self._counted = self.counts(self._answer) or self._counted
        self._answer = None
        self._standing = engine.standing
        self._last_words += engine.news()
        self._engine, self._question = None, None
        self._remembered = engine.ports.remembered
        server_is_gone = engine.exit_status == SERVER_IS_GONE
        self._system = None if server_is_gone else engine.ports.system
        if server_is_gone and self._spare is not None:  # it has a port there
            self._spare.process.kill()
            self._spare.close()
            self._spare = Spawned()

    def _replace(self, now_ns: int) -> bool:
        try:
            self._begin(self._standing)
        except MachineError as reason:
            self.why = str(reason)
            self._again_at_ns = now_ns + self._again_ns
            self._again_ns = min(2 * self._again_ns, _AGAIN_AT_MOST_NS)
            return False
        self.restarts += 1
        self.renewals += self._is_renewed
        self._is_renewed = False
        self._again_ns = _AGAIN_NS
        return True

    def _begin(self, standing: Standing) -> EngineProcess:
        process, self._spare = self._spare or Spawned(), None
        begin = replace(self._begins(standing, self._system), remembered=self._remembered)
        engine = EngineProcess(begin, process, self._tell, self._waits)
        with self._handing_over:
            for event in self._late:
                engine.submit(event)
            self._engine, self._late = engine, []
        self.ended += engine.ready.ended
        self._spare, self._ahead, self._ports = Spawned(), None, None
        return engine

    def _prepare_spare(self, ports: Ports, now_ns: int) -> None:
        """Have the spare open the engine's output, as soon as that has been there for a while."""
        assert self._spare is not None, "there is one from an engine's beginning"
        before, self._ports = self._ports, ports
        if before is None or _open_ones(before) != _open_ones(ports):
            self._ports_ns = now_ns
            if self._ahead is not None:
                self._spare.tell(OpenAhead(ports.system, ""))
                self._ahead = None
        elif self._ahead is None and now_ns - self._ports_ns > _SETTLED_NS:
            self._spare.tell(OpenAhead(ports.system, ports.output.name))
            self._ahead = ports

    def _see_that_it_turns(self, now_ns: int, passed_ns: int) -> None:
        """`passed_ns` since the last turn, as far as it counts."""
        assert self._engine is not None, "it is running"
        if self._question is None:
            self._question = self._engine.begin_to_ask()
            self._asked_ns, self._waited_ns = now_ns, 0
        elif not self._question[1].empty():
            if now_ns - self._asked_ns >= _ASK_NS:
                self._engine.stop_asking(self._question[0])
                self._answer = self._question[1].get() or self._answer
                self._question = None
        else:
            self._waited_ns += passed_ns
            if self._waited_ns > _ANSWER_NS:
                self._engine.kill()


def _open_ones(ports: Ports) -> tuple[System, str, str]:
    return ports.system, ports.input.name, ports.output.name


def _cause(exit_status: int | None) -> str:
    if exit_status == SERVER_IS_GONE:
        return "the MIDI server has ended"
    if exit_status is not None and exit_status < 0:
        return f"the engine was ended by signal {-exit_status}"
    if exit_status == 0:
        return "the engine was begun anew"
    return f"the engine has ended by a fault of its own (status {exit_status})"
