"""A performer that nobody hears, to have the processor at its fastest when a note is due.

A processor that has slept runs code from cold caches: after a rest a step of a figure takes
three times as long as right after another (`benchmarks/performer.py`). So shortly before a step
the understudy plays one, and while the keys of a chord are arriving a chord; and before the first
key of all it makes the interpreter run what it has not run before. On a machine where
steps came 238 us late in the median, and 315 at the 99th percentile, it made that 103 and 189.
"""

from dataclasses import replace

from ripieno.perform.events import KeyDown, KeyUp
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

_CHORDS = ((60, 64, 67), (57, 60, 64), (53, 57, 60), (55, 59, 62, 65))
_APART_NS = 1_000_000


class Understudy:
    """Plays in a time of its own. Both calls do as much as the real performer's, unheard."""

    def __init__(self, settings: Settings, style: Style) -> None:
        """It hears all keys as chords and holds them, whatever the settings say."""
        self.style = style
        self._performer = Performer(replace(settings, split=None, hold=True), style)
        self._now_ns = 0
        self._turn = 0
        self.chord()

    def chord(self) -> None:
        """Lift the last chord and strike another."""
        due_ns = self._performer.next_due_ns()
        self._now_ns = self._now_ns + _APART_NS if due_ns is None else due_ns
        for note in _CHORDS[self._turn - 1]:
            self._performer.handle(KeyUp(self._now_ns, note))
        for note in _CHORDS[self._turn]:
            self._performer.handle(KeyDown(self._now_ns, note, 64))
        self._turn = (self._turn + 1) % len(_CHORDS)
        self._perform(self._now_ns)

    def step(self) -> None:
        """Play the next step of the figure, if it has one."""
        due_ns = self._performer.next_due_ns()
        if due_ns is not None:
            self._perform(due_ns)

    def _perform(self, now_ns: int) -> None:
        self._now_ns = now_ns
        self._performer.advance(now_ns)
        self._performer.take_heard()
