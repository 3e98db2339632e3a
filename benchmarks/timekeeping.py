"""Keeping time, in one table: `python benchmarks/timekeeping.py [SEEDS] [--jack SECONDS]`.

Each figure stands beside what it is measured against. With `--jack` an external program also hears
the clock that goes out, for so long (`clock_out.py`).
"""

import argparse
from collections.abc import Iterator
from fractions import Fraction
from random import Random
from statistics import pstdev

import clock_in
import clock_out
import following
from ripieno.perform.curve import RITARDANDO_CURVATURE, RITARDANDO_TO, Curve, along
from ripieno.perform.swing import ratio_at
from ripieno.perform.tap import Taps
from ripieno.perform.transport import Transport
from ripieno.style.model import COMMON_TIME
from ripieno.units import NS_PER_MINUTE, NS_PER_MS

Line = tuple[str, str, str]  # what, our figure, what it is measured against

# Friberg & Sundberg 1999, eight eighths at 120 with w = 0.5 and q = 3: the formula's integral,
# computed apart from this program.
RITARDANDO_MS = (0, 254.79, 520.27, 798.47, 1092.27, 1405.90, 1746.12, 2125.24, 2571.43)
JITTER_MS, BPM = 20.0, 120.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seeds", nargs="?", type=int, default=following.SEEDS)
    parser.add_argument("--jack", type=float, metavar="SECONDS")
    args = parser.parse_args()
    for line in rows(args.seeds, args.jack):
        print(f"{line[0]:62}{line[1]:>26}  {line[2]}")


def rows(seeds: int, jack_s: float | None = None) -> Iterator[Line]:
    """All lines."""
    yield from taps()
    yield from ritardando()
    yield from swing()
    yield from clock_coming_in()
    if jack_s is not None:
        for what, figure in clock_out.rows(jack_s):
            yield f"clock out, {what}", figure, "24 a quarter, p99 under 1 ms, no drift"
    yield from hands(seeds)


def taps() -> Iterator[Line]:
    """The deviation of tapped tempi, beside the bound of least squares."""
    luck = Random(1)
    for count in (4, 5, 6, 8):
        found = []
        for _ in range(1000):
            said = _tapped([500 * i + luck.gauss(0, JITTER_MS) for i in range(count)])
            found.append(said)
        middle = (count - 1) / 2
        squares = sum((i - middle) ** 2 for i in range(count))
        bound = BPM * JITTER_MS / squares**0.5 / 500
        yield (
            f"tap, {count} taps 20 ms off at 120, SD",
            f"{pstdev(found):.2f} bpm",
            f"least squares {bound:.2f}, x {pstdev(found) / bound:.2f}",
        )
    missed = _tapped([0, 500, 1000, 2000, 2500])
    yield "tap, one tap missed", f"{100 * (missed / BPM - 1):+.2f} %", "under 2 %"


def _tapped(ms: list[float]) -> float:
    taps, said = Taps(), None
    for at in ms:
        said = taps.tap(round(at * NS_PER_MS))
    assert said is not None
    return said.bpm


def ritardando() -> Iterator[Line]:
    """The onsets of an ending."""
    start = Transport(0, Fraction(0), Fraction(500 * NS_PER_MS), COMMON_TIME)
    pieces = list(along(Curve(RITARDANDO_TO, RITARDANDO_CURVATURE), start, 0, Fraction(4)))
    worst = 0.0
    for i, expected in enumerate(RITARDANDO_MS):
        place = Fraction(i, 2)
        piece = [piece for piece in pieces if piece.anchor_quarters <= place][-1]
        worst = max(worst, abs(piece.due_ns(place) / NS_PER_MS - expected))
    yield "ritardando, eight eighths, worst onset", f"{worst:.4f} ms", "0.01 ms"


def swing() -> Iterator[Line]:
    """The ratio by tempo."""
    half = Fraction(1, 2)
    for bpm in (100, 150, 200, 240, 300):
        ratio = float(ratio_at(Fraction(NS_PER_MINUTE, bpm), half))
        expected = min(3.5, (60_000 / bpm - 100) / 100)
        yield f"swing at {bpm}", f"{ratio:.2f}", f"100 ms short note: {expected:.2f}"


def clock_coming_in() -> Iterator[Line]:
    """Ours beside a plain loop at 1 Hz."""
    for row in clock_in.rows():
        plain = "" if row.plain is None else f"plain loop {row.plain:.3f}"
        yield f"clock in, {row.name}", f"{row.ours:.3f} {row.unit}", plain


def hands(seeds: int) -> Iterator[Line]:
    """The next beat's error, beside the other predictors'."""
    for name, *cells in following.rows(seeds):
        ours, meant, hand, _played, constant, last, ratios, lost, _slips = cells
        yield (
            f"hands, {name}: next beat off, median/90 %, per cent",
            ours,
            f"constant {constant}, last interval {last}, ratios {ratios}; off what was meant "
            f"{meant}, the hand alone {hand}; "
            f"lost {lost}",
        )


if __name__ == "__main__":
    main()
