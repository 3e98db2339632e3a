"""The engine's process is killed (SIGKILL) at random instants while ten notes sound."""

import cmath
import math
import os
import random
import signal
import time
from dataclasses import dataclass, field

from faults.daemon import DENSE, Daemon, Home, wait_until_gone
from faults.outcome import Outcome, all_within, times
from faults.server import running_server
from faults.stage import NS_PER_MS, NS_PER_S, PATIENCE_S, Stage
from ripieno.wire.status import Status

SILENT_MS, BACK_MS = 100, 1500
_TEN = 10
_UNDER_WAY_NS = 6 * NS_PER_MS  # two audio periods and some: what had left before the kill
# An eighth of the shortest step or less; the mean of some strikes comes nearer than each of them,
# which audio periods, the touch's unevenness and this program's own lateness move.
_ON_GRID_NS = 10 * NS_PER_MS
_STEPS = {"repeated-triplets": 3}  # in a quarter; the other dense styles have 4
KEYS = ("C", "E minor", "F", "B minor", "Eb")


@dataclass
class _Seen:
    silent_ns: list[int] = field(default_factory=list)
    back_ns: list[int] = field(default_factory=list)
    hanging: int = 0
    fewer_than_ten: int = 0
    changed: list[str] = field(default_factory=list)
    off_grid: list[str] = field(default_factory=list)
    left: list[int] = field(default_factory=list)


def run(count: int, seed: int = 1) -> list[Outcome]:
    rng = random.Random(seed)
    seen = _Seen()
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            for number in range(count):
                _one(daemon, stage, rng, seen, number)
            daemon.tell("silence")
            seen.hanging += stage.wait_until_silent(2.0)
            restarts = daemon.status().restarts
    silent, back = times("silent after", seen.silent_ns), times("plays again after", seen.back_ns)
    sound = not (seen.hanging or seen.changed or seen.left) and restarts == count
    in_time = all_within(silent, count, SILENT_MS) and all_within(back, count, BACK_MS)
    in_time = in_time and not seen.off_grid
    wanted = f"silent in {SILENT_MS} ms, back in {BACK_MS} ms, as it was, none hanging"
    remarks = [f"restarts counted by the daemon: {restarts}"]
    if seen.fewer_than_ten:
        remarks.append(f"kills with fewer than ten notes sounding: {seen.fewer_than_ten}")
    if seen.left:
        remarks.append(f"killed engines that were still there: {len(seen.left)}")
    remarks += (seen.changed + seen.off_grid)[:10]
    what = "engine killed while ten notes sound"
    return [
        Outcome(
            "engine", what, count, seen.hanging, (silent, back), wanted, sound, in_time,
            tuple(remarks),
        )
    ]  # fmt: skip


def _one(daemon: Daemon, stage: Stage, rng: random.Random, seen: _Seen, number: int) -> None:
    account = stage.account
    _choose(daemon, rng)
    _play_densely(stage)
    before = daemon.status()
    before_ns = time.monotonic_ns()
    time.sleep(rng.uniform(0.3, 1.5))
    account.wait_until(lambda a: len(a.down) >= _TEN, 1.0)
    seen.fewer_than_ten += len(account.down) < _TEN
    killed = daemon.playing
    at_ns = time.monotonic_ns()
    os.kill(killed, signal.SIGKILL)
    older_ns = at_ns + _UNDER_WAY_NS
    account.wait_until(lambda a: not any(ns <= older_ns for ns in a.down.values()), 3.0)
    hanging = account.sounding_since_before(older_ns + 1)
    seen.hanging += len(hanging)
    silent_ns = account.last_end_of_older(older_ns)
    if not hanging and silent_ns is not None:
        seen.silent_ns.append(silent_ns - at_ns)
    since_ns = older_ns if silent_ns is None else silent_ns
    account.wait_until(lambda a: bool(a.strikes) and a.strikes[-1] > since_ns, PATIENCE_S)
    back_ns = account.first_strike_after(since_ns)
    if back_ns is None:
        seen.changed.append(f"kill {number}: it did not play again")
        return
    seen.back_ns.append(back_ns - at_ns)
    seen.left += wait_until_gone([killed], 1.0)
    time.sleep(0.6)  # some steps, for the grid
    after = daemon.status()
    after_ns = time.monotonic_ns()
    differences = _differences(before, after) + _off_bar(before, after, after_ns - before_ns)
    seen.changed += [f"kill {number}: {what}" for what in differences]
    off_grid = _off_grid(account.strikes, before_ns, at_ns, before)
    seen.off_grid += [f"kill {number}: {what}" for what in off_grid]


def _choose(daemon: Daemon, rng: random.Random) -> None:
    """Something else each time, so that what comes back can be told from what was at first."""
    daemon.tell("style", rng.choice(DENSE))
    daemon.tell("tempo", str(rng.randint(120, 190)))
    daemon.tell("key", *rng.choice(KEYS).split())


def _play_densely(stage: Stage) -> None:
    """A chord on a figure that begins anew, and nine melody keys."""
    stage.lift_all()
    stage.account.forget()
    stage.chord()
    stage.melody()
    stage.wait_for_notes(_TEN)


def _differences(before: Status, after: Status) -> list[str]:
    names = ("style", "bpm", "meter", "key", "chord", "split", "hold")
    return [
        f"{name} was {getattr(before, name)} and is {getattr(after, name)}"
        for name in names
        if getattr(before, name) != getattr(after, name)
    ]


def _off_bar(before: Status, after: Status, passed_ns: int) -> list[str]:
    """The bar goes on in its time, to within a beat that two questions are apart."""
    places = [(s.bar, s.beat) for s in (before, after)]
    if None in places[0] or None in places[1]:
        return [f"the place was {places[0]} and is {places[1]}"]
    beats = [4 * bar + beat for bar, beat in places]
    passed = passed_ns / NS_PER_S * before.bpm / 60
    off = beats[1] - beats[0] - passed
    return [] if abs(off) <= 1.5 else [f"its place in the bars is {off:+.1f} beats off"]


def _off_grid(strikes: list[int], since_ns: int, at_ns: int, status: Status) -> list[str]:
    """Whether the strikes after the kill lie on the grid of those from `since_ns` to it.

    The grid is the style's step. Each side's place on it is the direction of its strikes' mean,
    for the grid is a circle.
    """
    step_ns = 60 * NS_PER_S / status.bpm / _STEPS.get(status.style, 4)
    before = [ns for ns in strikes if since_ns < ns < at_ns]
    after = [ns for ns in strikes if ns > at_ns + 50 * NS_PER_MS]
    if not before or not after:
        return ["there were no strikes to compare"]
    turn = _direction(after, step_ns) / _direction(before, step_ns)
    off_ns = cmath.phase(turn) / (2 * math.pi) * step_ns
    return [] if abs(off_ns) <= _ON_GRID_NS else [f"it is {off_ns / NS_PER_MS:.1f} ms off its grid"]


def _direction(strikes: list[int], step_ns: float) -> complex:
    return sum(cmath.exp(2j * math.pi * (ns % step_ns) / step_ns) for ns in strikes)
