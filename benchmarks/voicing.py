"""How long `voice` takes: python benchmarks/voicing.py

Each figure is over every chord of a chain that visits all roots with eight qualities, both
hands having a voicing before. Cold: nothing remembered of any chord. Warm: the chord was
voiced before in these shapes, from wherever the hands were.
"""

from collections.abc import Callable
from statistics import quantiles
from time import perf_counter_ns

from ripieno.arrange import voicing
from ripieno.arrange.voicing import Voicing, voice
from ripieno.style.model import Hand, Inversion, Tone
from ripieno.theory.chord import QUALITIES, Chord

KINDS = ("maj", "min", "sus4", "7", "maj7", "hdim7", "9", "13")
CHORDS = [
    Chord(5 * step % 12, QUALITIES[kind], 5 * step % 12) for step in range(12) for kind in KINDS
]
TRIAD = ((Tone.ROOT,), (Tone.THIRD,), (Tone.FIFTH,))
FULL = (*TRIAD, (Tone.OCTAVE,))
SHAPES = {
    "bass and nearest triad": (
        Hand(((Tone.ROOT,),), Inversion.ROOT, 43),
        Hand(TRIAD, Inversion.NEAREST, 64),
    ),
    "two fixed chords of four": (
        Hand(FULL, Inversion.ROOT, 54),
        Hand(FULL, Inversion.FIRST, 70),
    ),
    "two nearest chords of four": (
        Hand(FULL, Inversion.NEAREST, 52),
        Hand(FULL, Inversion.NEAREST, 70),
    ),
}


def chain(left: Hand, right: Hand, before_each: Callable[[], None]) -> list[float]:
    """Microseconds of each chord of the chain."""
    taken = []
    previous: Voicing | None = None
    for chord in CHORDS:
        before_each()
        start = perf_counter_ns()
        previous = voice(left, right, chord, previous)
        taken.append((perf_counter_ns() - start) / 1000)
    return taken


def forget() -> None:
    voicing._stacks.cache_clear()
    voicing._ways.cache_clear()


def report(name: str, state: str, taken: list[float]) -> None:
    cuts = quantiles(taken, n=100)
    print(f"{name:28} {state:5} median {cuts[49]:6.1f} us   p99 {cuts[98]:6.1f} us")


def main() -> None:
    for name, (left, right) in SHAPES.items():
        cold = [t for _ in range(10) for t in chain(left, right, forget)]
        chain(left, right, lambda: None)
        warm = [t for _ in range(10) for t in chain(left, right, lambda: None)]
        report(name, "cold", cold)
        report(name, "warm", warm)


if __name__ == "__main__":
    main()
