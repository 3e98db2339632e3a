"""Random control lines over the socket: commands, nearly commands, and garbage."""

import json
import random
import socket
import time

from faults.daemon import Daemon, Home, resident_kib
from faults.outcome import Outcome
from faults.server import running_server
from faults.stage import PATIENCE_S, Stage
from ripieno.style.shipped import presets_folder
from ripieno.wire.command import TABLE

# Memory is compared between a tenth of the way and its end. What grows by less is no leak that
# a million lines would show: the allocator keeps some MiB more or less.
_WARM_PART = 10
_FLAT_KIB = 8192
_AT_ONCE = 400
_HELLO = b'{"ripieno": 1, "program": "a fault suite"}\n'
_ARGUMENTS = (
    *(path.stem for path in (presets_folder() / "styles").glob("*.yaml")),
    "60", "92.5", "+2", "-3", "400", "401", "nan", "1e9", "4/4", "3/4", "7/8", "0/0", "C", "Em",
    "none", "on", "off", "C4", "G9", "H4", "-24", "25", "played", "from-key", "next", "tempo", "",
    "\u266d", "x" * 101,
)  # fmt: skip
_NAMES = [row.name for row in TABLE if row.name not in ("watch", "reload")]  # `watch` answers more
_RIGHT = (
    ("style", "waltz"), ("style", "alberti"), ("next",), ("previous",), ("tempo", "120"),
    ("tempo", "-7"), ("tap",), ("meter", "3/4"), ("key", "Eb"), ("hold", "on"), ("split", "C5"),
    ("transpose", "2"), ("reading", "played"), ("stop",), ("silence",), ("status",),
)  # fmt: skip


def run(count: int, seed: int = 1) -> list[Outcome]:
    rng = random.Random(seed)
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            stage.chord()
            pids = [daemon.pid, daemon.playing]
            first: list[int] = []
            answered = sent = 0
            while sent < count:
                if not first and sent >= count // _WARM_PART:
                    first = [resident_kib(pid) for pid in pids]
                answered += _batch(home, rng, min(_AT_ONCE, count - sent))
                sent += min(_AT_ONCE, count - sent)
            growth = [resident_kib(pid) - was for pid, was in zip(pids, first, strict=True)]
            plays = _plays(daemon, stage)
            daemon.tell("silence")
            hanging = stage.wait_until_silent(2.0)
            same = [daemon.pid, daemon.playing] == pids
        tracebacks = home.said.count("Traceback")
    sound = plays and same and not (hanging or tracebacks) and max(growth) < _FLAT_KIB
    return [
        Outcome(
            "lines", "random control lines", sent, hanging, (),
            "no crash, no traceback, memory flat, still plays", sound, None,
            (
                f"answers: {answered:,}; tracebacks: {tracebacks}; "
                f"{'the same processes' if same else 'A PROCESS HAS BEEN REPLACED'}; "
                f"{'plays' if plays else 'DOES NOT PLAY'}",
                f"memory since a tenth of them: host {growth[0]:+} KiB, engine {growth[1]:+} KiB",
            ),
        )
    ]  # fmt: skip


def _batch(home: Home, rng: random.Random, count: int) -> int:
    """A connection with so many lines. The number of answers."""
    lines = [_line(rng) for _ in range(count)]
    answers = 0
    with socket.socket(socket.AF_UNIX) as link:
        link.settimeout(PATIENCE_S)
        link.connect(str(home.endpoint.path))
        heard = link.makefile("rb")
        link.sendall(_HELLO)
        heard.readline()
        for start in range(0, count, 50):  # more at once and neither side would read
            some = lines[start : start + 50]
            link.sendall(b"".join(line + b"\n" for line in some))
            for _ in some:
                if not heard.readline():
                    return answers
                answers += 1
        if rng.random() < 0.02:
            link.sendall(b"{" * 70_000)  # too long: the daemon says so and hangs up
            heard.readline()
    return answers


def _line(rng: random.Random) -> bytes:
    kind = rng.random()
    if kind < 0.4:
        return _request(rng, rng.choice(_RIGHT))
    if kind < 0.8:
        words = [rng.choice(_NAMES), *rng.choices(_ARGUMENTS, k=rng.randrange(4))]
        return _request(rng, words)
    if kind < 0.9:  # a request with one byte changed
        data = bytearray(_request(rng, rng.choice(_RIGHT)))
        data[rng.randrange(len(data))] = rng.randrange(256)
        return bytes(data).replace(b"\n", b" ")
    return rng.randbytes(rng.randrange(1, 200)).replace(b"\n", b" ")


def _request(rng: random.Random, words: object) -> bytes:
    return json.dumps({"id": rng.randrange(1 << 53), "tell": words}).encode()


def _plays(daemon: Daemon, stage: Stage) -> bool:
    """Whatever the lines have set, it plays once it is set as it was."""
    daemon.tell("learn")  # no control is waited for
    for words in ("hold on", "reading played", "split none", "tempo 160", "transpose 0"):
        daemon.tell(*words.split())
    daemon.tell("style", "alberti")
    stage.account.forget()
    return stage.play_until_heard(time.monotonic_ns(), PATIENCE_S) is not None
