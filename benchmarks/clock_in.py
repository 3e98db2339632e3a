"""How well a MIDI clock is followed: `python benchmarks/clock_in.py`.

Clocks are simulated, with seeds: ticks at a tempo, each of them late or early by Gaussian jitter.
Beside each figure, in the same run, that of the plain delay-locked loop at 1 Hz (Adriaensen 2005,
by code that cites it), which is told the first tempo, and is given every tick. Reported:

- off: standard deviation of where the music is from where the sender is, at the instants that
  were meant, in ms; tempo: that of the tempo that is shown
- step, knob: another tempo from one tick to the next; how long until the tempo shown is within
  the given limit for good, and how far off the music is at worst
- gap: the sender goes on, but for two seconds nothing arrives; how far off the music is when the
  clock is back, by how much the next answer moves it at once, and how far off it is at worst
  after that; the worst of 50 seeds
- unknown: a clock that starts, while 120 is set; after how many ticks the tempo is within 2 % for
  good, and after how many the music is within a tenth of a tick; the worst of 50 seeds
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import pi, sqrt
from random import Random
from statistics import pstdev

from ripieno.perform.clock import TICKS_A_QUARTER, ClockFollower, Pace
from ripieno.units import NS_PER_MINUTE, NS_PER_MS, NS_PER_S

SEEDS = 50
LONG, SHORT = 5000, 500  # ticks


@dataclass(frozen=True)
class Row:
    """One figure. `plain` is None where the plain loop has no answer."""

    name: str
    unit: str
    ours: float
    plain: float | None


@dataclass(frozen=True)
class Heard:
    """What a tick led to. `off_ms`: how far ahead the music is as the next is meant to come."""

    bpm: float
    off_ms: float
    jump_ms: float


Follow = Callable[[Sequence[float], Sequence[int]], list[Heard]]


def tick_ns(bpm: float) -> float:
    return NS_PER_MINUTE / TICKS_A_QUARTER / bpm


def meant(bpms: Sequence[float]) -> list[float]:
    """When the sender means its ticks; the tempo of each holds until the next."""
    return list(accumulate((tick_ns(bpm) for bpm in bpms[:-1]), initial=float(NS_PER_S)))


def arrived(instants: Sequence[float], jitter_ms: float, seed: int) -> list[int]:
    luck = Random(seed)
    return list(
        accumulate((round(at + luck.gauss(0, jitter_ms) * NS_PER_MS) for at in instants), max)
    )


def ours(instants: Sequence[float], arrivals: Sequence[int]) -> list[Heard]:
    """The first tick is a start, while 120 is set."""
    follower = ClockFollower()
    follower.begin(0)
    heard: list[Heard] = []
    before = Pace(round(instants[0]), 0, tick_ns(120))
    for number, (at_ns, next_ns) in enumerate(zip(arrivals, instants[1:], strict=False)):
        pace = follower.tick(at_ns, before)
        bpm = follower.bpm or 0.0
        length_ms = (next_ns - instants[number]) / NS_PER_MS
        off = pace.place_at(round(next_ns)) - number - 1
        jump = pace.place_at(at_ns) - before.place_at(at_ns)
        heard.append(Heard(bpm, off * length_ms, jump * length_ms))
        before = pace
    return heard


def plain(instants: Sequence[float], arrivals: Sequence[int]) -> list[Heard]:
    """The loop with its gains for the first tempo, which it knows."""
    length = instants[1] - instants[0]
    return _plain(instants, arrivals, length)


def plain_at_120(instants: Sequence[float], arrivals: Sequence[int]) -> list[Heard]:
    """The loop that takes the first tempo for 120."""
    return _plain(instants, arrivals, tick_ns(120))


def _plain(instants: Sequence[float], arrivals: Sequence[int], length: float) -> list[Heard]:
    w = 2 * pi * length / NS_PER_S
    due = arrivals[0] + length
    heard = [Heard(NS_PER_MINUTE / TICKS_A_QUARTER / length, (instants[1] - due) / NS_PER_MS, 0.0)]
    for at_ns, next_ns in zip(arrivals[1:], instants[2:], strict=False):
        late = at_ns - due
        due += sqrt(2) * w * late + length
        length += w * w * late
        bpm = NS_PER_MINUTE / TICKS_A_QUARTER / length
        heard.append(Heard(bpm, (next_ns - due) / NS_PER_MS, 0.0))
    return heard


def both(figure: Callable[[Follow], float], name: str, unit: str) -> Row:
    return Row(name, unit, figure(ours), figure(plain))


def jitter(jitter_ms: float) -> Iterator[Row]:
    def heard(follow: Follow) -> list[Heard]:
        instants = meant([120.0] * LONG)
        return follow(instants, arrived(instants, jitter_ms, 1))[200:]

    name = f"jitter {jitter_ms:g} ms"
    yield both(lambda f: pstdev(one.off_ms for one in heard(f)), f"{name}: off, SD", "ms")
    yield both(lambda f: pstdev(one.bpm for one in heard(f)), f"{name}: tempo, SD", "bpm")


def step(first: float, then: float, jitter_ms: float, limit_bpm: float) -> Iterator[Row]:
    instants = meant([first] * SHORT + [then] * SHORT)

    def settled_s(follow: Follow) -> float:
        heard = follow(instants, arrived(instants, jitter_ms, 1))
        last = max(n for n, one in enumerate(heard) if abs(one.bpm - then) > limit_bpm)
        return (instants[last + 1] - instants[SHORT]) / NS_PER_S

    def worst_ms(follow: Follow) -> float:
        heard = follow(instants, arrived(instants, jitter_ms, 1))
        return max(abs(one.off_ms) for one in heard[SHORT - 1 :])

    name = f"{first:g} -> {then:g}, jitter {jitter_ms:g} ms"
    yield both(settled_s, f"{name}: within {limit_bpm:g} bpm", "s")
    yield both(worst_ms, f"{name}: off, worst", "ms")


def gap(jitter_ms: float) -> Iterator[Row]:
    """The follower numbers the ticks after the gap by itself; the sender's numbers are known."""
    length, lost = tick_ns(120), round(2 * NS_PER_S / tick_ns(120))
    before, jumps, after = [], [], []
    for seed in range(SEEDS):
        instants = meant([120.0] * (2 * SHORT + lost))
        arrivals = arrived(instants, jitter_ms, seed)
        follower, pace = ClockFollower(), Pace(0, 0, length)
        follower.begin(0)
        for number, (at_ns, next_ns) in enumerate(pairwise(arrivals)):
            if SHORT < number < SHORT + lost:
                continue
            if number == SHORT + lost:
                pace = follower.miss(follower.lost_ns or 0) or pace
            moved = follower.tick(at_ns, pace if number else None)
            if number == SHORT + lost:
                before.append(abs(pace.place_at(round(instants[number])) - number))
                jumps.append(abs(moved.place_at(at_ns) - pace.place_at(at_ns)))
            if number >= SHORT + lost:
                after.append(abs(moved.place_at(next_ns) - number - 1))
            pace = moved
    name, ms = f"gap of 2 s, jitter {jitter_ms:g} ms", length / NS_PER_MS
    yield Row(f"{name}: off at its end", "ms", max(before) * ms, None)
    yield Row(f"{name}: jump", "ms", max(jumps) * ms, None)
    yield Row(f"{name}: off after it, worst", "ms", max(after) * ms, None)


def unknown(bpm: float, jitter_ms: float) -> Iterator[Row]:
    instants = meant([bpm] * SHORT)
    tenth_ms = max(tick_ns(bpm) / NS_PER_MS / 10, 4 * jitter_ms)

    def ticks(follow: Follow, is_off: Callable[[Heard], bool]) -> float:
        worst = 0
        for seed in range(SEEDS):
            heard = follow(instants, arrived(instants, jitter_ms, seed))
            worst = max(worst, *(n + 1 for n, one in enumerate(heard) if is_off(one)), 0)
        return worst + 1

    def has_other_tempo(one: Heard) -> bool:
        return abs(one.bpm / bpm - 1) > 0.02

    def is_elsewhere(one: Heard) -> bool:
        return abs(one.off_ms) > tenth_ms

    name = f"unknown {bpm:g}, jitter {jitter_ms:g} ms"
    for what, is_off in (("tempo", has_other_tempo), ("place", is_elsewhere)):
        yield Row(f"{name}: {what}", "ticks", ticks(ours, is_off), ticks(plain_at_120, is_off))


def rows() -> Iterator[Row]:
    """All figures, for a table."""
    for jitter_ms in (1.0, 3.0):
        yield from jitter(jitter_ms)
    yield from step(120, 126, 0, 0.1)
    yield from step(120, 126, 1, 1)
    yield from step(120, 180, 1, 2)
    yield from step(120, 80, 1, 2)
    yield from gap(1)
    for bpm in (20, 60, 120, 240, 400):
        yield from unknown(bpm, 0)
    for bpm in (60, 200):
        yield from unknown(bpm, 1)


def main() -> None:
    print(f"{'':48}{'follower':>10}{'plain loop, 1 Hz':>20}")
    for row in rows():
        beside = "-" if row.plain is None else f"{row.plain:.3f}"
        print(f"{row.name:48}{row.ours:10.3f}{beside:>20}  {row.unit}")


if __name__ == "__main__":
    main()
