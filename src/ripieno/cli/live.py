"""A live session: an engine at work, what it played kept for a file, and how it is ended."""

import argparse
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from subprocess import Popen
from typing import Generic, Protocol, TypeVar

from ripieno.cli.writing import Journal, journal_file
from ripieno.engine.log import Log
from ripieno.engine.loop import Engine, Output, Timed
from ripieno.engine.rig import Rig
from ripieno.errors import MachineError
from ripieno.host.engine_process import EngineProcess
from ripieno.midi import systems
from ripieno.midi.memory import MemoryOut
from ripieno.perform.events import Send
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

DEFAULT_BPM = 92.0


class _Closes(Protocol):
    def close(self) -> None: ...


PlayingT = TypeVar("PlayingT", bound=_Closes)


class LiveSession(Generic[PlayingT]):
    """A running engine. Times of what is kept count from `start_ns`."""

    def __init__(
        self,
        engine: PlayingT,
        news: Callable[[], list[Timed]],
        journal: Journal | None,
        start_ns: int,
    ) -> None:
        self.engine = engine
        self.start_ns = start_ns
        self._news = news
        self._journal = journal

    def news(self) -> list[Timed]:
        """What has happened since the last call, oldest first; it goes into the journal."""
        news = self._news()
        self._keep(lambda kept: kept.add(since(self.start_ns, timed.happening) for timed in news))
        return news

    def close(self) -> None:
        """Silence, and the end of the engine."""
        self.engine.close()

    def end_journal(self, length_ns: int) -> None:
        """What is still to be written, and the session's length."""
        self.news()
        self._keep(lambda kept: kept.close(length_ns))

    def _keep(self, write: Callable[[Journal], None]) -> None:
        """A journal that cannot be written is given up, and the music goes on."""
        if self._journal is None or not self._journal.is_kept:
            return
        try:
            write(self._journal)
        except MachineError as refusal:
            print(f"ripieno: {refusal}; playing on without a journal", file=sys.stderr)


def since(start_ns: int, happening: Happening) -> Happening:
    """The same with its times counted from the beginning of a session."""
    match happening:
        case Send():
            return replace(happening, due_ns=happening.due_ns - start_ns)
        case Heard():
            return replace(
                happening,
                at_ns=happening.at_ns - start_ns,
                strike_ns=happening.strike_ns - start_ns,
            )
        case event:
            return replace(event, at_ns=event.at_ns - start_ns)


@contextmanager
def session(
    output: Output, chosen: Settings, style: Style, journal: Path | None
) -> Iterator[LiveSession[Engine]]:
    """An engine of this process playing to `output` until the context is left, then silent."""
    log = Log()
    with journal_file(journal, chosen, style) as kept:
        engine = Engine(Performer(chosen, style), output, record=log.put)
        live = LiveSession(engine, log.take, kept, time.monotonic_ns())
        engine.start()
        with _ended(live):
            yield live


@contextmanager
def process_session(
    process: Popen[bytes], rig: Rig, chosen: Settings, style: Style, journal: Path | None
) -> Iterator[LiveSession[EngineProcess]]:
    """As `session`, in an engine's process and on the ports of `rig`. Raises MachineError."""
    with journal_file(journal, chosen, style) as kept:
        engine = EngineProcess(chosen, style, rig, process)
        live = LiveSession(engine, engine.news, kept, engine.since_ns)
        with _ended(live):
            yield live


@contextmanager
def _ended(live: LiveSession[PlayingT]) -> Iterator[None]:
    try:
        yield
    finally:
        live.close()
        live.end_journal(time.monotonic_ns() - live.start_ns)


def is_heard(output: Output) -> bool:
    """Whether what is sent there can reach a sound at all."""
    return not isinstance(output, MemoryOut)


def playing_rig(args: argparse.Namespace) -> Rig:
    """The ports asked for, on the system of this machine. Raises MachineError if it has none."""
    system = systems.choose()
    if system.api is None:
        raise MachineError(f"nothing to play on: {system.why}; 'ripieno demo' works without")
    print(f"MIDI: {system.name} ({system.why})")
    return Rig(system, args.input, args.output, args.sound)


def say_lost(engine: EngineProcess) -> None:
    """What did not get through, on stderr. Raises MachineError if the engine has ended."""
    if not engine.is_running:
        raise MachineError("the engine has ended by a fault of its own, which stands above")
    answer = engine.ask()
    if answer.lost_inputs or answer.counts.failed:
        print(
            f"\nlost: {answer.lost_inputs} inputs, {answer.counts.failed} outputs",
            file=sys.stderr,
        )


@contextmanager
def until_signalled() -> Iterator[SimpleQueue[int]]:
    """A queue that gets the signals that end the program, so that it ends in order."""
    ended: SimpleQueue[int] = SimpleQueue()
    ends = [signal.SIGINT, signal.SIGTERM] + ([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])
    before = {number: signal.signal(number, lambda number, _: ended.put(number)) for number in ends}
    try:
        yield ended
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
