"""A gig of eight hours in virtual time: tempo, style, key and meter change every few bars.

A performer alone, and for the first minutes a journal, which is read and played again: the
replay sends the same bytes at the same times.
"""

import gc
import os
import random
from collections.abc import Iterator

from faults.daemon import resident_kib
from faults.midi_bytes import Balance
from faults.outcome import Outcome
from ripieno.perform import journal
from ripieno.perform.events import (
    Controller,
    Input,
    KeyDown,
    KeyUp,
    Send,
    SetKey,
    SetStyle,
    SetTempo,
    SetTranspose,
    Stop,
)
from ripieno.perform.offline import Happening, play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.load import load_style
from ripieno.style.shipped import presets_folder
from ripieno.theory.key import key_named

_MINUTE_NS = 60_000_000_000
_CHORD_NS = 700_000_000
_SPLIT = 72
_CHANGE_CHORDS = 6  # some three bars
_BREAK_CHORDS = 400  # a song ends
_FLAT_KIB = 16_384
_KEPT_MINUTES = 5
_KEYS = ("C", "G minor", "Eb", "A", "F# minor", "Db")
_SCALE = (0, 2, 4, 5, 7, 9, 11)


def run(count: int, seed: int = 1) -> list[Outcome]:
    """`count` minutes."""
    styles = [load_style(path) for path in sorted((presets_folder() / "styles").glob("*.yaml"))]
    settings = Settings(bpm=120, split=_SPLIT, seed=seed)
    performer, balance = Performer(settings, styles[0]), Balance()
    end_ns = count * _MINUTE_NS
    kept_ns = min(_KEPT_MINUTES * _MINUTE_NS, end_ns)
    kept: list[Happening] = []
    first_kib, changes = 0, 0
    for happening in play(performer, _events(end_ns, styles, seed), end_ns):
        if isinstance(happening, Send):
            balance.take(happening.data)
            at_ns = happening.due_ns
            if not first_kib and at_ns > end_ns // 10:
                gc.collect()
                first_kib = resident_kib(os.getpid())
        else:
            at_ns = happening.at_ns
            changes += isinstance(happening, SetStyle | SetTempo | SetKey)
        if at_ns < kept_ns:
            kept.append(happening)
    gc.collect()
    growth = resident_kib(os.getpid()) - first_kib
    same = _replays(settings, styles[0], kept, kept_ns)
    hanging = len(balance.down)
    return [
        Outcome(
            "gig", f"{count / 60:.2g} hours in virtual time, minutes", count, hanging, (),
            "each note-on one note-off, replay identical, memory flat",
            not (balance.wrong or hanging) and same and growth < _FLAT_KIB, None,
            (
                f"notes: {balance.strikes:,}; without their partner: {balance.wrong}; "
                f"changes of style, tempo, key: {changes:,}",
                f"replay {'identical' if same else 'DIFFERS'}; "
                f"memory since a tenth of it {growth:+} KiB",
            ),
        )
    ]  # fmt: skip


def _events(end_ns: int, styles: list, seed: int) -> Iterator[Input]:
    """Ascending: a chord's events all stand in its own time."""
    rng = random.Random(seed)
    for number in range(end_ns // _CHORD_NS):
        start_ns = number * _CHORD_NS
        if number % _BREAK_CHORDS == _BREAK_CHORDS - 1:
            yield Stop(start_ns)
        if number % _CHANGE_CHORDS == 0:
            yield SetStyle(start_ns + 1, rng.choice(styles))
            yield SetTempo(start_ns + 2, rng.uniform(50, 220))
            yield SetKey(start_ns + 3, key_named(rng.choice(_KEYS)))
        if number % (5 * _CHANGE_CHORDS) == 0:
            yield SetTranspose(start_ns + 4, rng.randint(-5, 5))
        keys: list[Input] = []
        tonic, degree = 48 + rng.randrange(12), rng.randrange(7)
        for place in range(rng.choice((3, 3, 3, 4))):
            octave, step = divmod(degree + 2 * place, 7)
            note = tonic + 12 * octave + _SCALE[step]
            keys.append(KeyDown(start_ns + 10 + 9_000_000 * place, note, rng.randint(30, 120)))
            keys.append(KeyUp(start_ns + _CHORD_NS - 60_000_000 + 9_000_000 * place, note))
        for place in range(rng.randrange(5)):
            note, at_ns = rng.randrange(_SPLIT, 100), start_ns + place * _CHORD_NS // 6
            keys.append(KeyDown(at_ns + 20, note, rng.randint(30, 120)))
            keys.append(KeyUp(at_ns + _CHORD_NS // 7, note))
        keys.append(Controller(start_ns + 200_000_000, 64, 127 * (number % 2)))
        yield from sorted(keys, key=lambda event: event.at_ns)


def _replays(settings: Settings, style: object, kept: list[Happening], end_ns: int) -> bool:
    """Whether what was kept, written and read as a journal, sends the same again."""
    lines, key = [journal.dump(journal.header(settings, style))], settings.key
    for happening in kept:
        line, key = journal.line(happening, key)
        lines.append(journal.dump(line))
    lines.append(journal.dump(journal.end(end_ns)))
    session = journal.read("the gig", iter(lines))
    again = play(Performer(session.settings, session.style), session.events, session.end_ns)
    sent = [h for h in kept if isinstance(h, Send)]
    # The session's end stops what the gig went on with: only what came before it is compared.
    return [h for h in again if isinstance(h, Send) and h.due_ns < end_ns] == sent
