"""What is done before the first key, so that the first chords are as quick as later ones.

Three things make a chord slow that is met for the first time: its reading is searched for, its
shapes are filled, and the interpreter runs code that it has not run before. So every quality is
read on every bass that it may have, the style's shapes are filled for each of them, and those of
common qualities are set down on all roots; then an understudy plays some chords.
`benchmarks/performer.py` measures what it takes and what it gains.
"""

from ripieno.arrange.voicing import voice
from ripieno.perform.settings import Settings
from ripieno.perform.understudy import Understudy
from ripieno.style.model import Style
from ripieno.theory.chord import QUALITIES
from ripieno.theory.recognize import COMMON, recognize

_CHORDS, _STEPS = 12, 12  # that are played, and steps of the figure in each chord


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
    understudy = Understudy(settings, style)
    for _ in range(_CHORDS):
        for _ in range(_STEPS):
            understudy.step()
        understudy.chord()
