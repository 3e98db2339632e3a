"""How fast `ripieno render` is, in multiples of real time: `python benchmarks/rendering.py`.

Each style that is shipped renders ten minutes of music at 120 quarters a minute, a chord a bar,
from file to file, in the meter the style is for. Beside each, in the same run, what the files
alone cost: mido reads the input, and reads and writes what was rendered. Times are this process's
processor time, which does not count what other programs take meanwhile; the best of three.

With `--profile` the slowest style is rendered once more, and its costliest functions are listed.
"""

import cProfile
import pstats
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time

import mido

from ripieno.cli.entry import main as ripieno
from ripieno.style.load import load_style
from ripieno.style.model import Meter
from ripieno.style.shipped import shipped_styles

MINUTES = 10
BPM = 120
TICKS = 960
CHORDS = ((60, 64, 67), (57, 60, 64), (53, 57, 60), (55, 59, 62), (52, 55, 59), (62, 65, 69))
SPREAD = 24  # ticks from key to key: 12 ms


def song(path: Path, meter: Meter) -> Path:
    """A chord a bar for ten minutes."""
    bar = int(meter.bar_quarters * TICKS)
    messages = []
    for number in range(MINUTES * BPM * TICKS // bar):
        for place, note in enumerate(CHORDS[number % len(CHORDS)]):
            at = number * bar + place * SPREAD
            messages.append((at, mido.Message("note_on", note=note, velocity=80)))
            messages.append((at + bar - 4 * SPREAD, mido.Message("note_off", note=note)))
    track = mido.MidiTrack(
        [
            mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(BPM)),
            mido.MetaMessage("time_signature", numerator=meter.count, denominator=meter.unit),
        ]
    )
    before = 0
    for at, message in sorted(messages, key=lambda timed: timed[0]):
        track.append(message.copy(time=at - before))
        before = at
    track.append(mido.MetaMessage("end_of_track", time=MINUTES * BPM * TICKS - before))
    mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track]).save(path)
    return path


def best_s(do: Callable[[], object]) -> float:
    taken = []
    for _ in range(3):
        start = process_time()
        do()
        taken.append(process_time() - start)
    return min(taken)


def render(style: str, source: Path, target: Path) -> None:
    assert ripieno(["render", str(source), "-s", style, "-o", str(target)]) == 0


def files_alone(source: Path, target: Path, copy: Path) -> None:
    mido.MidiFile(source)
    mido.MidiFile(target).save(copy)


def main() -> None:
    rates = {}
    with TemporaryDirectory() as name:
        folder = Path(name)
        print(f"{'':24}{'notes':>7}{'render':>9}{'x real':>8}{'files':>9}{'x real':>8}")
        for path in shipped_styles():
            source = song(folder / "in.mid", load_style(path).own_meter)
            target = folder / "out.mid"
            taken = best_s(lambda p=path.stem, s=source, t=target: render(p, s, t))
            bare = best_s(lambda s=source, t=target: files_alone(s, t, folder / "copy.mid"))
            rates[path.stem] = MINUTES * 60 / taken
            notes = sum(m.type == "note_on" for m in mido.MidiFile(target).tracks[0])
            print(
                f"{path.stem:24}{notes:7}{taken:7.2f} s{MINUTES * 60 / taken:8.0f}"
                f"{bare:7.2f} s{MINUTES * 60 / bare:8.0f}"
            )
        slowest = min(rates, key=lambda style: rates[style])
        print(f"median {median(rates.values()):.0f} x, worst {rates[slowest]:.0f} x ({slowest})")
        if "--profile" in sys.argv:
            profile(slowest, folder)


def profile(style: str, folder: Path) -> None:
    path = next(path for path in shipped_styles() if path.stem == style)
    source = song(folder / "in.mid", load_style(path).own_meter)
    profiler = cProfile.Profile()
    profiler.runcall(render, style, source, folder / "out.mid")
    pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(25)


if __name__ == "__main__":
    main()
