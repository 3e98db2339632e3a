"""The host is killed (SIGKILL) at random instants while ten notes sound; or all of it at once.

Of a host alone the engine sees the end: it releases everything and ends. Where all was killed,
what sounds is ended by `ripieno silence` or by the next start, in turn.
"""

import os
import random
import signal
import time
from contextlib import suppress
from dataclasses import dataclass, field

from faults.daemon import Daemon, Home, wait_until_gone
from faults.outcome import Outcome, all_within, times
from faults.server import running_server
from faults.stage import NS_PER_MS, Stage

SILENT_MS, BACK_MS = 100, 1500
_TEN = 10
_UNDER_WAY_NS = 6 * NS_PER_MS  # two audio periods and some: what had left before the kill
_PATIENCE_S = 10.0


@dataclass
class _Seen:
    silent_ns: list[int] = field(default_factory=list)
    back_ns: list[int] = field(default_factory=list)
    hanging: int = 0
    left: int = 0
    faults: list[str] = field(default_factory=list)


def run(count: int, seed: int = 1) -> list[Outcome]:
    """`count` kills of the host alone, and half as many of everything."""
    rng = random.Random(seed)
    alone, all_of_it = _Seen(), _Seen()
    of_all = -(-count // 2)
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        daemon = Daemon(home).wait_until_ready()
        try:
            for number in range(count):
                daemon = _host(home, daemon, stage, rng, alone, number)
            for number in range(of_all):
                daemon = _everything(home, daemon, stage, rng, all_of_it, number)
            daemon.tell("silence")
            alone.hanging += stage.wait_until_silent(2.0)
        finally:
            daemon.close()
    return [
        _outcome(alone, "host killed while ten notes sound", count, silent_ms=SILENT_MS),
        _outcome(all_of_it, "host and engines killed at once", of_all, silent_ms=None),
    ]


def _outcome(seen: _Seen, what: str, count: int, *, silent_ms: float | None) -> Outcome:
    silent, back = times("silent after", seen.silent_ns), times("a new start", seen.back_ns)
    sound = not (seen.hanging or seen.left or seen.faults)
    in_time = all_within(back, count, BACK_MS)
    wanted = f"none hanging, a new start plays in {BACK_MS} ms"
    if silent_ms is not None:
        in_time = in_time and all_within(silent, count, silent_ms)
        wanted = f"silent in {silent_ms:g} ms, {wanted}"
    remarks = [f"processes left over: {seen.left}"] if seen.left else []
    return Outcome(
        "host", what, count, seen.hanging, (silent, back), wanted, sound, in_time,
        tuple(remarks + seen.faults[:10]),
    )  # fmt: skip


def _host(
    home: Home, daemon: Daemon, stage: Stage, rng: random.Random, seen: _Seen, number: int
) -> Daemon:
    engines = _play_and_wait(daemon, stage, rng)
    killed_ns = daemon.kill()
    _see_the_end(stage, seen, killed_ns)
    seen.left += len(wait_until_gone(engines, 5.0))
    return _start_again(home, daemon, stage, seen, number)


def _everything(
    home: Home, daemon: Daemon, stage: Stage, rng: random.Random, seen: _Seen, number: int
) -> Daemon:
    engines = _play_and_wait(daemon, stage, rng)
    killed_ns = time.monotonic_ns()
    victims = [*engines, daemon.pid]
    rng.shuffle(victims)
    for pid in victims:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    daemon.kill()
    wait_until_gone(engines, 5.0)
    if number % 2:
        said = home.run("silence")
        if said.returncode:
            seen.faults.append(f"kill {number}: silence says '{said.stderr.strip()}'")
        _see_the_end(stage, seen, killed_ns)
        return _start_again(home, daemon, stage, seen, number)
    stage.lift_all()  # what is pressed while nobody listens is pressed again
    again = _start_again(home, daemon, stage, seen, number)
    _see_the_end(stage, seen, killed_ns)
    return again


def _play_and_wait(daemon: Daemon, stage: Stage, rng: random.Random) -> list[int]:
    """A dense figure under a held melody, up to a random instant. The engines' processes."""
    stage.account.forget()
    stage.lift_all()
    stage.chord()
    stage.melody()
    stage.wait_for_notes(_TEN)
    time.sleep(rng.uniform(0.1, 1.5))
    return daemon.engines()


def _see_the_end(stage: Stage, seen: _Seen, killed_ns: int) -> None:
    """Every note that sounded has its own note-off, or hangs."""
    older_ns = killed_ns + _UNDER_WAY_NS
    account = stage.account
    account.wait_until(lambda a: not any(ns <= older_ns for ns in a.down.values()), 2.0)
    hanging = account.sounding_since_before(older_ns + 1)
    seen.hanging += len(hanging)
    ended_ns = account.last_end_of_older(older_ns)
    if not hanging and ended_ns is not None:
        seen.silent_ns.append(ended_ns - killed_ns)


def _start_again(home: Home, killed: Daemon, stage: Stage, seen: _Seen, number: int) -> Daemon:
    assert not killed.is_running
    began_ns = time.monotonic_ns()
    daemon = Daemon(home)
    heard_ns = stage.play_until_heard(began_ns, _PATIENCE_S)
    if heard_ns is None:
        seen.faults.append(f"kill {number}: the next start does not play")
    else:
        seen.back_ns.append(heard_ns - began_ns)
    return daemon.wait_until_ready()
