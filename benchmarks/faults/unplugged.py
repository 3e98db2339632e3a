"""Cables are pulled and plugged again, at random instants while a dense figure plays.

What comes back finds a player who goes on pressing chords, a tenth of a second apart; so a
recovery is the time from the port's return to the first note at the instrument, with up to a
tenth of a second in it until there was a chord to be heard.

A port that is gone for less than half a second may come back between two looks of the daemon's,
which are a quarter apart, and more while it opens its other port. Those have a row of their own.
"""

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from faults.daemon import Daemon, Home
from faults.outcome import Outcome, Times, all_within, times
from faults.server import running_server
from faults.stage import NS_PER_S, Stage

BACK_MS = 1000
RELEASED_MS = 1000  # our choice: a player who sees nothing happen waits about so long
_GONE_S = (0.5, 1.2)
_BLINK_S = (0.02, 0.5)
_BLINKS = 20  # one in so many cycles more
_PATIENCE_S = 5.0


@dataclass
class _Seen:
    back_ns: list[int] = field(default_factory=list)
    released_ns: list[int] = field(default_factory=list)
    ended_ns: list[int] = field(default_factory=list)
    pulls_of_keys: int = 0
    hanging: int = 0
    not_told: int = 0
    lost: list[str] = field(default_factory=list)

    def back(self) -> Times:
        return times("plays again after", self.back_ns)


def run(count: int, seed: int = 1) -> list[Outcome]:
    rng = random.Random(seed)
    seen, blinked = _Seen(), _Seen()
    blinks = max(1, count // _BLINKS)
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            for number in range(count):
                _cycle(daemon, stage, rng, seen, number, rng.uniform(*_GONE_S))
            for number in range(blinks):
                _cycle(daemon, stage, rng, blinked, number, rng.uniform(*_BLINK_S))
                _settle(stage)
            daemon.tell("silence")
            seen.hanging += stage.wait_until_silent(2.0)
            restarts = daemon.status().restarts
    return [_outcome(seen, count, restarts), _blinks(blinked, blinks)]


def _outcome(seen: _Seen, count: int, restarts: int) -> Outcome:
    back = seen.back()
    ended = times("what sounded at the pull ended, after the instrument was back", seen.ended_ns)
    released = times("released after the keyboard went", seen.released_ns)
    sound = not (seen.hanging or seen.lost or seen.not_told)
    in_time = all_within(back, count, BACK_MS) and all_within(
        released, seen.pulls_of_keys, RELEASED_MS
    )
    remarks = [f"engines that ended meanwhile: {restarts}"] if restarts else []
    if seen.not_told:
        remarks.append(f"times that status did not say what was missing: {seen.not_told}")
    return Outcome(
        "unplug", "port pulled and plugged again", count, seen.hanging, (back, ended, released),
        f"plays again in {BACK_MS} ms, none hanging", sound, in_time,
        tuple(remarks + seen.lost[:10]),
    )  # fmt: skip


def _blinks(seen: _Seen, count: int) -> Outcome:
    remarks = (f"{len(seen.lost)} of {count} were not noticed before the next pull",)
    return Outcome(
        "unplug", "port gone for less than half a second", count, seen.hanging, (seen.back(),),
        "no figure: it may not be noticed", sound=True, remarks=remarks if seen.lost else (),
    )  # fmt: skip


def _cycle(
    daemon: Daemon, stage: Stage, rng: random.Random, seen: _Seen, number: int, gone_s: float
) -> None:
    account = stage.account
    account.forget()
    if stage.play_until_heard(time.monotonic_ns()) is None:
        seen.lost.append(f"cycle {number}: it did not play before the pull")
        return
    stage.melody()
    time.sleep(rng.uniform(0.05, 0.4))
    names, plug = _kind(stage, rng)
    pulled_ns = stage.pull(*names)
    time.sleep(gone_s)
    if gone_s >= _GONE_S[0]:
        _look_while_gone(daemon, stage, seen, names, pulled_ns)
    back_ns = plug()
    heard_ns = stage.play_until_heard(back_ns, _PATIENCE_S)
    if heard_ns is None:
        seen.lost.append(f"cycle {number}: silent {_PATIENCE_S:g} s after {', '.join(names)}")
    else:
        seen.back_ns.append(heard_ns - back_ns)
        left_s = (back_ns - time.monotonic_ns()) / NS_PER_S + BACK_MS / 1000
        account.wait_until(
            lambda a: not any(ns < pulled_ns for ns in a.down.values()), max(0.05, left_s)
        )
        seen.hanging += len(account.sounding_since_before(pulled_ns))
        ended_ns = account.last_end_of_older(pulled_ns)
        if "instrument" in names and ended_ns is not None:
            seen.ended_ns.append(max(0, ended_ns - back_ns))


def _kind(stage: Stage, rng: random.Random) -> tuple[tuple[str, ...], Callable[[], int]]:
    """What is pulled, and how it is plugged again."""
    kind = rng.choice(("keyboard", "instrument", "both", "another first"))
    if kind == "both":
        names = tuple(rng.sample(("keyboard", "instrument"), 2))
        return names, lambda: stage.plug(*names)
    if kind == "another first":
        return ("instrument",), lambda: _after_another(stage)
    return (kind,), lambda: stage.plug(kind)


def _after_another(stage: Stage) -> int:
    """Another instrument takes the place that the first had in the list of ports."""
    stage.plug("other")
    back_ns = stage.plug("instrument")
    stage.pull("other")
    return back_ns


def _look_while_gone(
    daemon: Daemon, stage: Stage, seen: _Seen, names: tuple[str, ...], pulled_ns: int
) -> None:
    status = daemon.status()
    ports = {"keyboard": status.input, "instrument": status.output}
    seen.not_told += any(ports[name] for name in names)
    if names == ("keyboard",):
        seen.pulls_of_keys += 1
        if not stage.wait_until_silent(_PATIENCE_S):
            last_ns = max((e.off_ns for e in stage.account.ended), default=pulled_ns)
            seen.released_ns.append(max(0, last_ns - pulled_ns))


def _settle(stage: Stage) -> None:
    """Whatever a blink has left, a longer pull of both mends."""
    stage.pull("keyboard", "instrument")
    time.sleep(1.5 * _GONE_S[0])
    stage.plug("instrument", "keyboard")
    stage.play_until_heard(time.monotonic_ns(), _PATIENCE_S)
    stage.lift_all()
