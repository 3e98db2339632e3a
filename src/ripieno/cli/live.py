"""A live session: an engine on its ports, and what it played kept for a file."""

import argparse
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Protocol

from ripieno.cli.writing import Journal, journal_file
from ripieno.engine.loop import Engine, Output
from ripieno.midi import ports, systems
from ripieno.midi.memory import MemoryOut
from ripieno.midi.soundfont import find_soundfont
from ripieno.midi.synth import Synth
from ripieno.perform.events import Send
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style


class _Opened(Protocol):
    """An output that has been opened, and why it was that one."""

    name: str
    why: str

    def send(self, data: bytes) -> None: ...
    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class _Both:
    """A port and a synthesizer fed alike."""

    first: Output
    second: Output

    def send(self, data: bytes) -> None:
        try:
            self.first.send(data)
        finally:
            self.second.send(data)


@dataclass(frozen=True, slots=True)
class Timed:
    """Something that happened, and the monotonic nanosecond by which it had."""

    done_ns: int
    happening: Happening


class LiveSession:
    """A running engine. Times of what is kept count from `start_ns`."""

    def __init__(self, engine: Engine, log: SimpleQueue[Timed], journal: Journal | None) -> None:
        self.engine = engine
        self.start_ns = time.monotonic_ns()
        self._log = log
        self._journal = journal

    def news(self) -> list[Timed]:
        """What has happened since the last call, oldest first; it goes into the journal."""
        news: list[Timed] = []
        try:
            while True:
                news.append(self._log.get_nowait())
        except Empty:
            pass
        if self._journal is not None:
            self._journal.add(since(self.start_ns, timed.happening) for timed in news)
        return news

    def close(self) -> int:
        """Silence, and the end of the journal. Returns the session's length in nanoseconds."""
        self.engine.close()
        return time.monotonic_ns() - self.start_ns


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
) -> Iterator[LiveSession]:
    """An engine playing to `output` until the context is left, then silent and written down."""
    with journal_file(journal, chosen, style) as kept:
        log: SimpleQueue[Timed] = SimpleQueue()
        engine = Engine(
            Performer(chosen, style),
            output,
            record=lambda happening: log.put(Timed(time.monotonic_ns(), happening)),
        )
        live = LiveSession(engine, log, kept)
        engine.start()
        try:
            yield live
        finally:
            length_ns = live.close()
            live.news()
            if kept is not None:
                kept.close(length_ns)


@contextmanager
def opened_output(
    args: argparse.Namespace, system: systems.System
) -> Iterator[tuple[Output, list[str]]]:
    """The output asked for by --out and --sound, with a sentence on each. Raises MachineError."""
    with ExitStack() as stack:
        outputs: list[_Opened] = []
        said: list[str] = []
        if args.sound:
            font, why = find_soundfont()
            outputs.append(Synth(font))
            stack.callback(outputs[-1].close)
            said.append(f"sound font: {why}")
        if args.output is not None or not args.sound:
            outputs.append(ports.open_output(system, args.output))
            stack.callback(outputs[-1].close)
        said += [f"output: {output.name} ({output.why})" for output in outputs]
        yield (outputs[0] if len(outputs) == 1 else _Both(*outputs)), said


def is_heard(output: Output) -> bool:
    """Whether what is sent there can reach a sound at all."""
    return not isinstance(output, MemoryOut)
