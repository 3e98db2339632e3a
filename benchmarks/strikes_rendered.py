"""Recorded strikes through the whole program: `python benchmarks/strikes_rendered.py FILE.jsonl`.

Each line of the file is an object whose `keys` are lists `[onset ms from the first key,
duration ms, note, velocity]`, ordered by onset, with the `piece` and the `pianist` they are from.
They are written into a MIDI file (a tick is 1.04 ms), `ripieno render` plays it, and the chords
in its journal are held against what was pressed. `strikes.py` does the same with the trigger
alone and with more kinds of playing. Reported for each way of playing:

- whole: per cent of the strikes of which, from the last key on, there was one reading, and that
  one was the strike's own keys (with held common tones, when legato)
- own: per cent of which the last reading was their own keys, whatever came before it
- partial: readings of something else before the last key was down, for 100 strikes
- after: readings of something else from the last key on, for 100 strikes
- delay: ms from the last key to the reading that is right, at 50 and 99 %

Alone, strikes are 3 s apart, each as it was recorded. Legato, strikes of one pianist in one
piece follow each other at 600 ms; common tones stay down, and each other key comes up 0 to
100 ms after the next strike's first. A strike that adds no key to the one before is struck anew.
"""

import json
import random
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import mido

from ripieno.cli.entry import main as ripieno

Key = tuple[float, float, int, int]  # onset ms, duration ms, note, velocity
Strike = list[Key]
Event = tuple[float, bool, int, int]  # ms, down, note, velocity; releases sort first

STYLE = "smooth-chords"
TICKS = 960
TICK_MS = 1000 / TICKS  # at 60 quarters a minute
LEAD_MS = 1000.0
NEAR_MS = 1e-5  # a tick is not a whole number of nanoseconds
ALONE_MS, LEGATO_MS, OVERLAP_MS = 3000.0, 600.0, 100.0


@dataclass(frozen=True)
class Played:
    """A strike as it was played, times as they stand in the file; `until_ms`: the next one."""

    first_ms: float
    last_ms: float
    until_ms: float
    own: tuple[int, ...]


@dataclass(frozen=True)
class Verdict:
    """What a strike was read as. `delay_ms` is None if its own keys were never read."""

    played: Played
    whole: bool
    own: bool
    partial: int
    after: int
    delay_ms: float | None


def alone(strikes: Iterable[Strike]) -> tuple[list[Event], list[Played]]:
    """Each strike by itself."""
    events: list[Event] = []
    played = []
    start = LEAD_MS
    for keys in strikes:
        for onset, lasts, note, velocity in keys:
            events.append((start + onset, True, note, velocity))
            events.append((start + onset + lasts, False, note, 0))
        last = start + max(key[0] for key in keys)
        until = start + ALONE_MS
        played.append(_played(start, last, until, (key[2] for key in keys)))
        start = until
    return events, played


def legato(chains: Iterable[list[Strike]], seed: int) -> tuple[list[Event], list[Played]]:
    """Chains of strikes, each joined to the next; three seconds between two chains."""
    rng = random.Random(seed)
    events: list[Event] = []
    played = []
    start = LEAD_MS
    for chain in chains:
        down: set[int] = set()
        for keys in chain:
            chord = {note: (onset, velocity) for onset, _, note, velocity in keys}
            if not chord.keys() - down:
                events += [(start - rng.uniform(20, 40), False, note, 0) for note in sorted(down)]
                down = set()
            new = sorted(chord.keys() - down)
            early = min(chord[note][0] for note in new)
            onsets = {note: start + chord[note][0] - early for note in new}
            events += [(at, True, note, chord[note][1]) for note, at in onsets.items()]
            events += [
                (start + rng.uniform(0, OVERLAP_MS), False, note, 0)
                for note in sorted(down - chord.keys())
            ]
            until = start + LEGATO_MS
            played.append(_played(start, max(onsets.values()), until, chord))
            down, start = set(chord), until
        events += [(start, False, note, 0) for note in sorted(down)]
        start += ALONE_MS
    return events, played


def _played(first: float, last: float, until: float, keys: Iterable[int]) -> Played:
    first, last, until = (round(ms / TICK_MS) * TICK_MS for ms in (first, last, until))
    return Played(first, last, until, tuple(sorted(set(keys))))


def write(path: Path, events: Iterable[Event]) -> None:
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    before = 0
    for ms, down, note, velocity in sorted(events):
        tick = round(ms / TICK_MS)
        kind = "note_on" if down else "note_off"
        track.append(mido.Message(kind, note=note, velocity=velocity, time=tick - before))
        before = tick
    track.append(mido.MetaMessage("end_of_track", time=TICKS))
    mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track]).save(path)


def rendered(events: Iterable[Event], folder: Path) -> list[dict[str, Any]]:
    """The chord lines of the journal."""
    song, journal = folder / "strikes.mid", folder / "journal.jsonl"
    write(song, events)
    out = str(folder / "out.mid")
    status = ripieno(["render", str(song), "-s", STYLE, "-o", out, "--journal", str(journal)])
    assert status == 0, "its message stands above"
    lines = map(json.loads, journal.read_text(encoding="utf-8").splitlines())
    return [line for line in lines if line["kind"] == "chord"]


def judged(played: list[Played], chords: list[dict[str, Any]]) -> list[Verdict]:
    """Each strike with the readings from its first key up to the next strike's.

    A reading replaced in the same instant, by a key of the same tick, sounds nothing and is none.
    """
    verdicts = []
    lasting = [a for a, b in pairwise([*chords, {"ms": None}]) if a["ms"] != b["ms"]]
    waiting = iter([*lasting, {"ms": float("inf")}])
    chord = next(waiting)
    for strike in played:
        mine = []
        while chord["ms"] < strike.until_ms - NEAR_MS:
            mine.append(chord)
            chord = next(waiting)
        early = [c for c in mine if c["ms"] < strike.last_ms - NEAR_MS]
        late = [tuple(c["keys"]) for c in mine[len(early) :]]
        right = [c for c in mine if tuple(c["keys"]) == strike.own]
        verdicts.append(
            Verdict(
                strike,
                whole=late == [strike.own],
                own=bool(mine) and tuple(mine[-1]["keys"]) == strike.own,
                partial=sum(tuple(c["keys"]) != strike.own for c in early),
                after=sum(keys != strike.own for keys in late),
                delay_ms=right[-1]["ms"] - right[-1]["strike_ms"] if right else None,
            )
        )
    return verdicts


def quantile(values: list[float], part: float) -> float:
    return sorted(values)[int(len(values) * part)]


def delays(verdicts: list[Verdict]) -> list[float]:
    return [v.delay_ms for v in verdicts if v.delay_ms is not None]


def report(name: str, verdicts: list[Verdict]) -> None:
    count, late = len(verdicts), delays(verdicts)
    rates = [
        100 * sum(values) / count
        for values in zip(*((v.whole, v.own, v.partial, v.after) for v in verdicts), strict=True)
    ]
    print(
        f"{name:24}{count:6}" + "".join(f"{rate:9.2f}" for rate in rates),
        f"  {quantile(late, 0.5):.2f} / {quantile(late, 0.99):.2f}",
    )


def main(path: str) -> None:
    lines = [json.loads(line) for line in Path(path).read_text().splitlines()]
    strikes = [[tuple(key) for key in line["keys"]] for line in lines]
    chains = [
        [[tuple(key) for key in line["keys"]] for line in group]
        for _, group in groupby(lines, key=lambda line: (line["piece"], line["pianist"]))
    ]
    print(f"{'':24}{'n':>6}{'whole':>9}{'own':>9}{'partial':>9}{'after':>9}  delay")
    with TemporaryDirectory() as folder:
        for name, (events, played) in (
            ("alone", alone(strikes)),
            ("alone, three keys", alone(keys for keys in strikes if len(keys) == 3)),
            ("legato", legato(chains, seed=1)),
        ):
            verdicts = judged(played, rendered(events, Path(folder)))
            report(name, verdicts)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python benchmarks/strikes_rendered.py FILE.jsonl")
    main(sys.argv[1])
