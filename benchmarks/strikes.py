"""How well the trigger reads recorded strikes: `python benchmarks/strikes.py FILE.jsonl`.

Each line of the file is an object whose `keys` are lists `[onset ms from the first key,
duration ms, note, velocity]`, ordered by onset. Reported for each set of strikes, in per
cent of its strikes unless said otherwise:

- own: the last reading is the strike's own keys (with held common tones, when legato)
- split: it was read as more than one new strike
- early: something else was read before the last key was down, and not replaced at once
- late: something else was read from then on
- readings: readings a strike
- delay: ms from the last key to the reading that is right, at 50, 90 and 99 %

Alone, strikes are played as recorded, or slowed down by a factor as a beginner might (an
assumption: no measured spread of beginners is known). Legato, each strike follows the last
one 0.3 to 2 s later, common tones stay down, and the other keys come up 0 to 100 ms after
the new strike's first key; the progressions take their spreads from the file, lie close to
the chord before, and have one slip (a neighbouring key brushed for 30 to 90 ms) in 33.
"""

import json
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from ripieno.perform.trigger import Strike, Timing, Trigger
from ripieno.units import ms_from_ns, ns_from_ms

Key = tuple[float, float, int, int]  # onset ms, duration ms, note, velocity
Event = tuple[float, bool, int, int]  # ms, down, note, velocity; releases sort first

PROGRESSIONS = ("1 4 5 1", "1 6 4 5", "1 5 6 4", "2 5 1 6", "6 2 3 6", "1 3 4 2", "7 1 4 5")
SCALE = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True)
class Played:
    """A strike as it was played: `last_ms` is its last key, `until_ms` the next strike."""

    first_ms: float
    last_ms: float
    until_ms: float
    own: tuple[tuple[int, ...], ...]  # the readings that are right


def play(events: list[Event]) -> list[Strike]:
    """All readings of a stream of keys."""
    trigger = Trigger(Timing())
    readings: list[Strike | None] = []
    for ms, down, note, velocity in sorted(events):
        at_ns = ns_from_ms(ms)
        readings += advance(trigger, at_ns)
        if down:
            readings.append(trigger.key_down(at_ns, note, velocity))
        else:
            readings.append(trigger.key_up(at_ns, note))
    readings += advance(trigger, 2**63)
    return [reading for reading in readings if reading]


def advance(trigger: Trigger, now_ns: int) -> Iterator[Strike | None]:
    while (due_ns := trigger.due_ns()) is not None and due_ns <= now_ns:
        yield trigger.advance(now_ns)


def alone(strikes: list[list[Key]], factor: float) -> tuple[list[Event], list[Played]]:
    """Each strike by itself, two seconds of silence before the next."""
    events: list[Event] = []
    played = []
    start = 0.0
    for keys in strikes:
        for onset, lasts, note, velocity in keys:
            events.append((start + onset * factor, True, note, velocity))
            events.append((start + (onset + lasts) * factor, False, note, 0))
        last = start + keys[-1][0] * factor
        until = start + max(key[0] + key[1] for key in keys) * factor + 2000
        own = tuple(sorted({key[2] for key in keys}))
        played.append(Played(start, last, until, (own,)))
        start = until
    return events, played


def legato(
    chords: list[dict[int, float]], seed: int, factor: float = 1.0, slips: float = 0.0
) -> tuple[list[Event], list[Played]]:
    """Chords (note -> onset ms) joined to each other; one that adds no key is struck again."""
    rng = random.Random(seed)
    events: list[Event] = []
    played: list[Played] = []
    down: set[int] = set()
    start = 0.0
    for chord in chords:
        if not chord.keys() - down:
            events += [(start - rng.uniform(20, 40), False, note, 0) for note in down]
            down = set()
        new = chord.keys() - down
        first = min(chord[note] for note in new)
        onsets = {note: start + (chord[note] - first) * factor for note in sorted(new)}
        events += [(onset, True, note, 80) for note, onset in onsets.items()]
        events += [
            (start + rng.uniform(0, 100), False, note, 0) for note in sorted(down - chord.keys())
        ]
        own, slipped = set(chord), set()
        beside = rng.choice(sorted(new)) + rng.choice((-1, 1))
        if rng.random() < slips and beside not in own | down:
            at = start + rng.uniform(0, 20)
            events += [(at, True, beside, 40), (at + rng.uniform(30, 90), False, beside, 0)]
            slipped = {beside}
        last = max(onsets.values())
        until = max(start + rng.uniform(300, 2000), last + 250)
        rights = (tuple(sorted(own)), tuple(sorted(own | slipped)))
        played.append(Played(start, last, until, rights))
        down, start = own, until
    return events, played


def progressions(
    strikes: list[list[Key]], count: int, tones: int, seed: int
) -> list[dict[int, float]]:
    """Diatonic chords of three or four tones in close position, in all major keys."""
    rng = random.Random(seed)
    chords: list[dict[int, float]] = []
    hand = [60, 64, 67, 71][:tones]
    while len(chords) < count:
        tonic = rng.randrange(12)
        for degree in map(int, rng.choice(PROGRESSIONS).split()):
            steps = [degree - 1 + 2 * tone for tone in range(tones)]
            hand = nearest([(tonic + SCALE[step % 7]) % 12 for step in steps], hand)
            onsets = [key[0] for key in rng.choice(strikes)]
            while len(onsets) < tones:
                onsets.append(onsets[-1] + rng.uniform(0, 10))
            onsets = rng.sample(onsets[:tones], tones)
            chords.append(dict(zip(hand, onsets, strict=True)))
    return chords


def nearest(pitch_classes: list[int], hand: list[int]) -> list[int]:
    """The close position, its lowest note in 48..65, that moves the hand least."""
    positions = [
        sorted(lowest + (p - lowest) % 12 for p in pitch_classes)
        for lowest in range(48, 66)
        if lowest % 12 in pitch_classes
    ]
    return min(positions, key=lambda p: sum(abs(a - b) for a, b in zip(p, hand, strict=True)))


def over_pedal_point(chords: list[dict[int, float]], note: int) -> list[dict[int, float]]:
    return [{note: 0.0, **chord} for chord in chords]


def report(name: str, events: list[Event], played: list[Played]) -> None:
    readings = play(events)
    own = split = early = late = count = 0
    delays = []
    for strike in played:
        start_ns, end_ns = ns_from_ms(strike.first_ms), ns_from_ms(strike.until_ms)
        mine = [r for r in readings if start_ns <= r.at_ns < end_ns]
        heard = [a for a, b in pairwise([*mine, None]) if b is None or b.at_ns > a.at_ns]
        last_ns = ns_from_ms(strike.last_ms)
        wrong = [r for r in heard if r.keys not in strike.own]
        count += len(mine)
        split += sum(not r.amends for r in mine) > 1
        late += any(r.at_ns >= last_ns for r in wrong)
        early += any(r.at_ns < last_ns for r in wrong)
        if mine and mine[-1].keys in strike.own:
            own += 1
            delays.append(max(0.0, ms_from_ns(mine[-1].at_ns - last_ns)))
    delays.sort()
    at = [delays[int(len(delays) * part)] for part in (0.5, 0.9, 0.99)]
    rates = [100 * n / len(played) for n in (own, split, early, late)]
    print(
        f"{name:24}{len(played):6}" + "".join(f"{rate:8.2f}" for rate in rates),
        f"{count / len(played):9.3f}   {at[0]:.1f} / {at[1]:.1f} / {at[2]:.1f}",
    )


def main(path: str) -> None:
    lines = Path(path).read_text().splitlines()
    strikes: list[list[Key]] = [[tuple(k) for k in json.loads(line)["keys"]] for line in lines]
    print(f"{'':24}{'n':>6}{'own':>8}{'split':>8}{'early':>8}{'late':>8}  readings   delay")
    for factor in (1, 2, 3):
        report(f"alone, x{factor}", *alone(strikes, factor))
    three = [keys for keys in strikes if len(keys) == 3]
    report("alone, three keys", *alone(three, 1))
    mixed = random.Random(1).sample(strikes, len(strikes))
    recorded = [{key[2]: key[0] for key in keys} for keys in mixed]
    report("legato, recorded", *legato(recorded, seed=2))
    triads = progressions(three, 2000, 3, seed=3)
    for factor in (1, 2, 3):
        report(f"legato, triads x{factor}", *legato(triads, 4, factor, slips=0.03))
    sevenths = progressions(three, 2000, 4, seed=5)
    report("legato, sevenths", *legato(sevenths, 6, slips=0.03))
    report("legato, pedal point", *legato(over_pedal_point(triads, 36), 7, slips=0.03))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python benchmarks/strikes.py FILE.jsonl")
    main(sys.argv[1])
