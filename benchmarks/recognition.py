"""How long a reading takes: `python benchmarks/recognition.py`.

The same chords are read by ripieno, by pychord (`find_chords_from_notes`) and by music21
(`Chord(...).root()`, `quality`, `inversion()`, the nearest it has). Every quality of our table
on twelve roots in root position, in seeded random order; the slow libraries read a sample.

Ripieno is measured warm (the chord has been read before), warm with a key and a previous
chord, on sets that key and previous chord decide, and cold (nothing has been read before:
all 2048 sets of intervals above a bass, each for the first time). Times are microseconds of
one call by `perf_counter_ns`, whose own cost, printed first, is not taken off. Collection of
garbage is off, as it is while the program plays.
"""

import gc
import random
import time
from collections.abc import Callable, Iterable

import music21.chord
import pychord

from ripieno.theory import recognize as recognition
from ripieno.theory.chord import QUALITIES
from ripieno.theory.key import Key, Mode
from ripieno.theory.pitch import spell
from ripieno.theory.recognize import recognize

ROUNDS = 40
SAMPLE = 300


def measure(call: Callable[..., object], cases: Iterable[object]) -> list[float]:
    times = []
    for case in cases:
        start = time.perf_counter_ns()
        call(case)
        times.append((time.perf_counter_ns() - start) / 1000)
    return sorted(times)


def report(name: str, times: list[float], reference_us: float | None = None) -> float:
    median, p99 = times[len(times) // 2], times[len(times) * 99 // 100]
    ratio = "" if reference_us is None else f"{median / reference_us:10.0f} x"
    print(f"{name:34}{len(times):8}{median:12.2f}{p99:12.2f}{times[-1]:12.2f}{ratio}")
    return median


def chords() -> list[list[int]]:
    sets = [
        [48 + root, *sorted(60 + (root + above) % 12 for above in quality.semitones[1:])]
        for root in range(12)
        for quality in QUALITIES.values()
    ]
    random.Random(1).shuffle(sets)
    return sets


def all_sets() -> list[list[int]]:
    return [[60 + above for above in range(12) if held >> above & 1] for held in range(1, 4096, 2)]


def forget() -> None:
    """Empty every table, as after a start."""
    for table in (recognition._ways, recognition._plain, recognition._settled):
        table.cache_clear()


def with_music21(keys: list[int]) -> tuple[object, object, object]:
    chord = music21.chord.Chord(keys)
    return chord.root(), chord.quality, chord.inversion()


def main() -> None:
    gc.disable()
    sets = chords()
    key, previous = Key(7, Mode.MAJOR), recognize([55, 59, 62]).chord
    tied = [keys for keys in all_sets() if recognition._plain(mask(keys), 0)[1]]
    print(f"{'microseconds':34}{'readings':>8}{'median':>12}{'p99':>12}{'max':>12}")
    report("an empty call", measure(lambda _: None, sets * ROUNDS))
    forget()
    cold = all_sets()
    random.Random(2).shuffle(cold)
    cold_times = measure(recognize, cold)
    measure(recognize, sets)
    warm = report("warm", measure(recognize, sets * ROUNDS))
    report("warm, key and previous chord", measure(in_context(key, previous), sets * ROUNDS))
    measure(in_context(key, previous), tied)
    report("warm, decided by these", measure(in_context(key, previous), tied * ROUNDS), warm)
    report("cold, any set", cold_times, warm)
    some = sets[:SAMPLE]
    names = [[spell(note % 12) for note in keys] for keys in some if len(keys) > 1]
    report("pychord", measure(pychord.find_chords_from_notes, names), warm)
    report("music21", measure(with_music21, some), warm)


def mask(keys: list[int]) -> int:
    return sum(1 << key - keys[0] for key in keys)


def in_context(key: Key, previous: object) -> Callable[[list[int]], object]:
    return lambda keys: recognize(keys, key, previous)


if __name__ == "__main__":
    main()
