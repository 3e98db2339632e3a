"""The engine's process, begun, and how it is told. Imports next to nothing, to be begun first."""

import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import IO

LOOK = "--look"
_END_S = 1.0


def send(stream: IO[bytes], message: object) -> None:
    """One message, for `pickle.load` at the other end. Raises OSError if nobody is there."""
    stream.write(pickle.dumps(message, pickle.HIGHEST_PROTOCOL))
    stream.flush()


def command_of(module: str, *arguments: str) -> list[str]:
    """What begins a process of the program's own.

    `-P`: what lies in the folder that somebody is in, such as a `queue.py`, is not taken for a
    module.
    """
    return [sys.executable, "-P", "-m", module, *arguments]


class Spawned:
    """A process begun, but not told yet what to play.

    It takes about as long to begin as reading a style does: do both at once. It gets no signal
    that a terminal sends: Ctrl-C and hanging up are the host's to answer.
    """

    def __init__(self, *, looks: bool = False) -> None:
        """`looks`: it begins by finding the MIDI system, for it will be told at once."""
        self.process = subprocess.Popen(
            command_of("ripieno.engine.process", *([LOOK] if looks else [])),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )

    def tell(self, message: object) -> None:
        """Something that comes before `Begin`. One that has ended is told nothing."""
        assert self.process.stdin is not None
        with suppress(BrokenPipeError):
            send(self.process.stdin, message)

    def close(self) -> None:
        """End it, if it has not been told to begin. May be called again."""
        for stream in (self.process.stdin, self.process.stdout):
            assert stream is not None
            with suppress(BrokenPipeError):
                stream.close()
        try:
            self.process.wait(timeout=_END_S)
        except subprocess.TimeoutExpired:  # such as a port that a dead MIDI server does not close
            self.process.kill()
            self.process.wait()


@contextmanager
def spawned() -> Iterator[Spawned]:
    """One that ends with the context."""
    process = Spawned(looks=True)
    try:
        yield process
    finally:
        process.close()
