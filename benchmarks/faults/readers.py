"""A hundred clients that watch and never read, beside a figure: do they move its notes?

The scheduling error of each message, from when it was due to when it had been sent, is taken in
one run with and without them, in turn, as the engine tells its host.
"""

import argparse
import os
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from threading import Thread

from faults.daemon import Home
from faults.outcome import Outcome, times
from faults.server import running_server
from faults.stage import INSTRUMENT, KEYBOARD, Stage
from ripieno.cli.hosting import add_hosting, hosted
from ripieno.engine.loop import Timed
from ripieno.perform.events import Send

CLIENTS = 100
_PERIOD_S = 4.0
_SETTLE_S = 0.3  # a period begins when all have connected
_HELLO = b'{"ripieno": 1, "program": "a fault suite"}\n{"id": 1, "tell": ["watch"]}\n'
# The same twice is never quite the same: what two halves of an idle run differ by, by far.
_MOVED = 1.5


def run(count: int, seed: int = 1) -> list[Outcome]:
    """`count` periods with them, and as many without, in turn."""
    errors: dict[bool, list[int]] = {False: [], True: []}
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with _host(home) as heard:
            stage.chord()
            for _ in range(count):
                for crowded in (False, True):
                    with _crowd(home, CLIENTS if crowded else 0):
                        time.sleep(_SETTLE_S)
                        heard.clear()
                        time.sleep(_PERIOD_S)
                        errors[crowded] += _errors(heard)
    alone, crowded_ = times("without them", errors[False]), times("with them", errors[True])
    ratios = [
        None if not a or b is None else b / a
        for a, b in ((alone.median, crowded_.median), (alone.p99, crowded_.p99))
    ]
    in_time = all(ratio is not None and ratio <= _MOVED for ratio in ratios)
    said = " and ".join("-" if r is None else f"{r:.2f}" for r in ratios)
    remarks = (
        f"with them over without, median and p99: {said}",
        *(f"{t.what}: {t.median} / {t.p99} / {t.worst} ms" for t in (alone, crowded_)),
    )
    return [
        Outcome(
            "readers", f"{CLIENTS} watching clients that never read", len(errors[True]), None,
            (crowded_, alone), f"scheduling error not moved (at most {_MOVED:g} times)",
            bool(errors[True]), in_time, remarks,
        )
    ]  # fmt: skip


@contextmanager
def _host(home: Home) -> Iterator[list[Timed]]:
    """The host in this process, whose engine has one of its own. What the engine has sent."""
    parser = argparse.ArgumentParser()
    add_hosting(parser)
    words = ["--in", KEYBOARD, "--out", INSTRUMENT, "--style", "rippling-sixteenths"]
    files = ["--config", str(home.config), "--journals", str(home.journals)]
    args = parser.parse_args([*words, *files, "--tempo", "160"], argparse.Namespace(engine=None))
    heard: list[Timed] = []
    before = os.environ.get("RIPIENO_RUNTIME")
    os.environ["RIPIENO_RUNTIME"] = str(home.endpoint.folder)
    try:
        with hosted(args, lambda _: None, heard.append) as (host, _):
            thread = Thread(target=host.run)
            thread.start()
            try:
                yield heard
            finally:
                host.tell(None)  # the end
                thread.join()
    finally:
        if before is None:
            del os.environ["RIPIENO_RUNTIME"]
        else:
            os.environ["RIPIENO_RUNTIME"] = before


@contextmanager
def _crowd(home: Home, count: int) -> Iterator[None]:
    with ExitStack() as stack:
        for _ in range(count):
            link = stack.enter_context(socket.socket(socket.AF_UNIX))
            link.connect(str(home.endpoint.path))
            link.sendall(_HELLO)
        yield


def _errors(heard: list[Timed]) -> list[int]:
    return [
        timed.done_ns - timed.happening.due_ns
        for timed in list(heard)
        if isinstance(timed.happening, Send)
    ]
