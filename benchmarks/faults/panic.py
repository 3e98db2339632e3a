"""Silence, asked for in each of its ways while a dense figure plays under a held melody."""

import random
import signal
import time
from collections.abc import Callable

from faults.daemon import Daemon, Home
from faults.outcome import Outcome, all_within, times
from faults.server import running_server
from faults.stage import PATIENCE_S, Stage

SILENT_MS = 200  # our choice: sooner than a player can press anything else
_PRESS = bytes((0xB0, 20, 127)), bytes((0xB0, 20, 0))  # a button, and its release
_QUIET_S = 0.3
_TEN = 10


def run(count: int, seed: int = 1) -> list[Outcome]:
    """`count` times each way."""
    rng = random.Random(seed)
    outcomes = []
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            _learn(daemon, stage)
            for what, ask in _ways(daemon, stage):
                outcomes.append(_outcome(what, ask, daemon, stage, rng, count))
    return outcomes


def _ways(daemon: Daemon, stage: Stage) -> tuple[tuple[str, Callable[[], object]], ...]:
    return (
        ("silence from the control socket", lambda: daemon.tell("silence")),
        ("silence from a learned control", lambda: stage.send_apart(*_PRESS)),
        ("silence from MIDI's all sound off", lambda: stage.send(bytes((0xB0, 120, 0)))),
        ("silence from a signal", lambda: daemon.signal(signal.SIGUSR1)),
    )


def _learn(daemon: Daemon, stage: Stage) -> None:
    daemon.tell("learn", "silence")
    daemon.status()  # the engine answers after it has heard of the learning
    stage.send_apart(*_PRESS)
    give_up = time.monotonic() + PATIENCE_S
    while daemon.status().learning is not None:
        assert time.monotonic() < give_up, "the control was not learnt"


def _outcome(
    what: str,
    ask: Callable[[], object],
    daemon: Daemon,
    stage: Stage,
    rng: random.Random,
    count: int,
) -> Outcome:
    spans_ns, hanging, played_on = [], 0, 0
    for _ in range(count):
        stage.account.forget()
        stage.lift_all()
        stage.chord()
        stage.melody()
        stage.wait_for_notes(_TEN)
        time.sleep(rng.uniform(0.1, 0.8))
        asked_ns = time.monotonic_ns()
        ask()
        left = stage.wait_until_silent(2.0)
        hanging += left
        ends = [ended.off_ns for ended in stage.account.ended]
        if not left and ends:
            spans_ns.append(max(0, max(ends) - asked_ns))
        silent_ns = time.monotonic_ns()
        time.sleep(_QUIET_S)
        played_on += stage.account.first_strike_after(silent_ns) is not None
    silent = times("silent after", spans_ns)
    sound = not (hanging or played_on) and silent.count == count
    in_time = all_within(silent, count, SILENT_MS)
    remarks = (f"times that it played on: {played_on}",) if played_on else ()
    daemon.tell("silence")
    return Outcome(
        "panic", what, count, hanging, (silent,), f"silent in {SILENT_MS} ms and stays so", sound,
        in_time, remarks,
    )  # fmt: skip
