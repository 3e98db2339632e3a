"""The JACK server is killed (SIGKILL) under load and begun again.

The instrument and the keyboard die with it, as all its clients do, and are back as soon as it
answers; a recovery is the time from there to the first note, to a player who goes on pressing
chords a tenth of a second apart.
"""

import random
import time
from dataclasses import dataclass, field

from faults.daemon import Daemon, Home, wait_until_gone
from faults.outcome import Outcome, all_within, times
from faults.server import JackServer, running_server
from faults.stage import Stage

BACK_MS = 1000
_DOWN_S = (0.0, 2.0)
_PATIENCE_S = 10.0


@dataclass
class _Seen:
    server_ns: list[int] = field(default_factory=list)
    back_ns: list[int] = field(default_factory=list)
    ended_ns: list[int] = field(default_factory=list)
    hanging: int = 0
    engines: set[int] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)


def run(count: int, seed: int = 1) -> list[Outcome]:
    rng = random.Random(seed)
    seen = _Seen()
    with running_server() as server, Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            for number in range(count):
                _one(server, daemon, stage, rng, seen, number)
            daemon.tell("silence")
            seen.hanging += stage.wait_until_silent(2.0)
            left = wait_until_gone(sorted(seen.engines - set(daemon.engines())), 2.0)
            restarts = daemon.status().restarts
            everybody = [*daemon.engines(), *left]
            status = daemon.close()
        frozen = wait_until_gone(everybody, 5.0)
    server_back = times("after the server answers", seen.server_ns)
    back, ended = times("after the ports are back", seen.back_ns), times("ended", seen.ended_ns)
    sound = not (seen.hanging or seen.faults or left or frozen) and status == 0
    in_time = all_within(server_back, count, BACK_MS)
    remarks = [f"engines begun anew: {restarts}", *seen.faults[:10]]
    if left or frozen:
        remarks.append(f"processes left over: {len({*left, *frozen})}")
    return [
        Outcome(
            "server", "JACK server killed and begun again", count, seen.hanging,
            (server_back, back, ended), f"plays again in {BACK_MS} ms, none hanging",
            sound, in_time, tuple(remarks),
        )
    ]  # fmt: skip


def _one(
    server: JackServer, daemon: Daemon, stage: Stage, rng: random.Random, seen: _Seen, number: int
) -> None:
    account = stage.account
    account.forget()
    if stage.play_until_heard(time.monotonic_ns(), _PATIENCE_S) is None:
        seen.faults.append(f"kill {number}: it did not play before")
    stage.melody()
    time.sleep(rng.uniform(0.2, 1.0))
    seen.engines.update(daemon.engines())
    killed_ns = server.kill()
    stage.die()
    time.sleep(rng.uniform(*_DOWN_S))
    stage.live()
    answers_ns = server.start()
    back_ns = stage.plug("instrument", "keyboard")
    heard_ns = stage.play_until_heard(answers_ns, _PATIENCE_S)
    if heard_ns is None:
        seen.faults.append(f"kill {number}: silent {_PATIENCE_S:g} s after the server's return")
        return
    seen.server_ns.append(heard_ns - answers_ns)
    seen.back_ns.append(max(0, heard_ns - back_ns))
    account.wait_until(lambda a: not any(ns < killed_ns for ns in a.down.values()), 1.0)
    seen.hanging += len(account.sounding_since_before(killed_ns))
    ended_ns = account.last_end_of_older(killed_ns)
    if ended_ns is not None:
        seen.ended_ns.append(max(0, ended_ns - back_ns))
