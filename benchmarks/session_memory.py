"""Whether a long session needs more and more memory: `python benchmarks/session_memory.py`.

Two hours of dense playing go through the performer in virtual time: the style with the most notes
at 160 quarters a minute, another chord every second beat (in six keys, so that chords come back
and others are new), hands that overlap, a melody above the split point, the player's own pedal, a
tempo change every minute and a style change every five. What comes out is dropped. Every ten
minutes: what Python has allocated since the beginning (tracemalloc, after a collection), and the
process's resident memory.
"""

import gc
import random
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

from ripieno.perform.events import Controller, Input, KeyDown, KeyUp, Send, SetStyle, SetTempo
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.load import load_style
from ripieno.style.shipped import presets_folder
from ripieno.units import NS_PER_S, ns_from_ms

MINUTES, REPORT_MINUTES = 120, 10
BPM = 160.0
CHORD_MS = 2 * 60_000 / BPM
STYLES = ("rippling-sixteenths", "repeated-triplets", "parallel-arpeggio", "suspend-fourth")
SCALE = (0, 2, 4, 5, 7, 9, 11)
SPLIT = 72


def events() -> Iterator[Input]:
    """Everything a player does, ascending in time."""
    rng = random.Random(1)
    styles = [load_style(presets_folder() / "styles" / f"{name}.yaml") for name in STYLES]
    for number in range(int(MINUTES * 60_000 / CHORD_MS)):
        start = number * CHORD_MS
        tonic, degree = 48 + number // 400 % 6, rng.randrange(7)
        size = rng.choice((3, 3, 3, 4))
        keys = [tonic + _tone(degree + 2 * place) for place in range(size)]
        tune = [rng.randrange(SPLIT, SPLIT + 20) for _ in range(4)]
        done: list[Input] = []
        for place, key in enumerate(keys):
            done.append(KeyDown(_ns(start + 9 * place), key, rng.randint(40, 110)))
            done.append(KeyUp(_ns(start + CHORD_MS - 5 + 9 * place), key))
        for place, key in enumerate(tune):
            at = start + place * CHORD_MS / 4 + rng.uniform(0, 20)
            done.append(KeyDown(_ns(at), key, rng.randint(40, 110)))
            done.append(KeyUp(_ns(at + CHORD_MS / 5), key))
        done.append(Controller(_ns(start + 100), 64, 127 * (number % 2)))
        if number % 80 == 79:
            done.append(SetTempo(_ns(start + 50), BPM + rng.uniform(-8, 8)))
        if number % 400 == 399:
            done.append(SetStyle(_ns(start + 60), styles[number // 400 % len(styles)]))
        yield from done


def _tone(degree: int) -> int:
    octave, step = divmod(degree, len(SCALE))
    return 12 * octave + SCALE[step]


def _ns(ms: float) -> int:
    return ns_from_ms(ms)


def in_order(unordered: Iterator[Input]) -> Iterator[Input]:
    """The events ascending, held back no longer than the hands of two chords overlap."""
    waiting: list[Input] = []
    for event in unordered:
        waiting.append(event)
        if len(waiting) > 60:
            waiting.sort(key=lambda one: one.at_ns)
            yield from waiting[:20]
            del waiting[:20]
    yield from sorted(waiting, key=lambda one: one.at_ns)


def resident_mib() -> float:
    """Linux only."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 2**20


def main() -> None:
    first = load_style(presets_folder() / "styles" / f"{STYLES[0]}.yaml")
    performer = Performer(Settings(bpm=BPM, split=SPLIT), first)
    tracemalloc.start(1)
    print("minutes      sent   allocated KiB   resident MiB")
    sent, report_ns = 0, REPORT_MINUTES * 60 * NS_PER_S
    for happening in play(performer, in_order(events()), MINUTES * 60 * NS_PER_S):
        if not isinstance(happening, Send):
            continue
        sent += 1
        if happening.due_ns >= report_ns:
            gc.collect()
            used, _ = tracemalloc.get_traced_memory()
            minutes = report_ns // (60 * NS_PER_S)
            print(f"{minutes:7}{sent:10}{used / 1024:16.1f}{resident_mib():15.1f}", flush=True)
            report_ns += REPORT_MINUTES * 60 * NS_PER_S


if __name__ == "__main__":
    main()
