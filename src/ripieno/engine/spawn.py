"""The engine's process, begun. Imports next to nothing, so that it can be begun first of all."""

import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

LOOK = "--look"
_END_S = 1.0


class Spawned:
    """A process begun, but not told yet what to play.

    It takes about as long to begin as reading a style does: do both at once. It gets no signal
    that a terminal sends: Ctrl-C and hanging up are the host's to answer.
    """

    def __init__(self, *, looks: bool = False) -> None:
        """`looks`: it begins by finding the MIDI system, for it will be told at once."""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ripieno.engine.process", *([LOOK] if looks else [])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )

    def tell(self, message: object) -> None:
        """Something that comes before `Begin`. One that has ended is told nothing."""
        assert self.process.stdin is not None
        with suppress(BrokenPipeError):
            self.process.stdin.write(pickle.dumps(message, pickle.HIGHEST_PROTOCOL))
            self.process.stdin.flush()

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
