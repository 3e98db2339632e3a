"""A session in this process: an engine at work, and what it played kept for a file."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from ripieno.cli.writing import Journal, journal_file
from ripieno.engine.log import Log
from ripieno.engine.loop import Engine, Output, Timed
from ripieno.errors import MachineError
from ripieno.midi.memory import MemoryOut
from ripieno.perform.offline import since
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style


class LiveSession:
    """A running engine. Times of what is kept count from `start_ns`."""

    def __init__(self, engine: Engine, log: Log, journal: Journal | None, start_ns: int) -> None:
        self.engine = engine
        self.start_ns = start_ns
        self._log = log
        self._journal = journal

    def news(self) -> list[Timed]:
        """What has happened since the last call, oldest first; it goes into the journal."""
        news = self._log.take()
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


@contextmanager
def session(
    output: Output, chosen: Settings, style: Style, journal: Path | None
) -> Iterator[LiveSession]:
    """An engine of this process playing to `output` until the context is left, then silent."""
    log = Log()
    with journal_file(journal, chosen, style) as kept:
        engine = Engine(Performer(chosen, style), output, record=log.put)
        live = LiveSession(engine, log, kept, time.monotonic_ns())
        engine.start()
        try:
            yield live
        finally:
            live.close()
            live.end_journal(time.monotonic_ns() - live.start_ns)


def is_heard(output: Output) -> bool:
    """Whether what is sent there can reach a sound at all."""
    return not isinstance(output, MemoryOut)
