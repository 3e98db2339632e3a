"""What is done before the first key, so that the first chords are as quick as later ones.

Three things make a chord slow that is met for the first time: its reading is searched for, its
shapes are filled, and the interpreter runs code that it has not run before. So every quality is
read on every bass that it may have, the style's shapes are filled for each of them, and those of
common qualities are set down on all roots; then a performer that nobody hears plays some chords.
`benchmarks/performer.py` measures what it takes and what it gains.
"""

from collections.abc import Iterator
from dataclasses import replace

from ripieno.arrange.voicing import voice
from ripieno.perform.events import Input, KeyDown, KeyUp
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style
from ripieno.theory.chord import QUALITIES
from ripieno.theory.recognize import COMMON, recognize
from ripieno.units import NS_PER_MS, NS_PER_S

_REHEARSED = ((60, 64, 67), (57, 60, 64), (53, 57, 60), (55, 59, 62, 65)) * 3
_EACH_NS = NS_PER_S  # how long a rehearsed chord lasts
_KEY_NS = 5 * NS_PER_MS


def warm(settings: Settings, style: Style) -> None:
    """Meet the chords there are, in a style; nothing that is played later comes out otherwise.

    Takes some 0.1 s and 3 MiB for the first style, less for each further one: not for the time
    when notes are due.
    """
    for quality in QUALITIES.values():
        roots = range(12) if quality.id in COMMON else range(1)
        for root in roots:
            for bass in quality.semitones:
                keys = {root + bass, *(12 + root + above for above in quality.semitones)}
                chord = recognize(keys, settings.key).chord
                voice(style.left, style.right, chord, None, settings.span)
    _rehearse(replace(settings, split=None, hold=True), style)


def _rehearse(settings: Settings, style: Style) -> None:
    performer = Performer(settings, style)
    for event in _rehearsal():
        while (due_ns := performer.next_due_ns()) is not None and due_ns < event.at_ns:
            performer.advance(due_ns)
        performer.handle(event)
        performer.advance(event.at_ns)


def _rehearsal() -> Iterator[Input]:
    """Chords that follow each other, keys down one after the other and up together."""
    for number, keys in enumerate(_REHEARSED):
        start_ns = number * _EACH_NS
        for place, key in enumerate(keys):
            yield KeyDown(start_ns + place * _KEY_NS, key, 80)
        for key in keys:
            yield KeyUp(start_ns + _EACH_NS // 2, key)
