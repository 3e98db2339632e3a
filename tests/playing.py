"""`ripieno play` as a process of its own, on virtual ports of whatever MIDI system there is."""

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def started(options: Sequence[str], home: Path) -> Iterator[subprocess.Popen[str]]:
    """The program with its ports open, which it says; killed if a test leaves it running.

    Nobody may look for the ports by jack_lsp before that. A process of two JACK clients that
    opens its second while another program's is just closing can take the closed one's semaphore
    for its own, and is then never woken (seen in one start of eight, jackd2 1.9.21).
    """
    command = [sys.executable, "-m", "ripieno", "play", "--in", "virtual", "--out", "virtual"]
    # No styles of the user's, and nothing that the user's daemon has left sounding.
    own = {"XDG_CONFIG_HOME": str(home), "XDG_STATE_HOME": str(home)}
    own["RIPIENO_RUNTIME"] = str(home / "run")
    with subprocess.Popen(
        [*command, *options],
        env=os.environ | own,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as program:
        try:
            assert program.stdout is not None
            said: list[str] = []
            while not said or not said[-1].startswith("output:"):
                said.append(program.stdout.readline())
                assert said[-1], f"it ended: {said}"
            yield program
        finally:
            if program.poll() is None:
                program.kill()
