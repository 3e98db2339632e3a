"""The ending's last chord: slowed down to, held in both hands, dying away, over.

How long it is held and faded is our choice: about what a grand piano's middle register still
sounds for after a chord (common practice, no source). The fade is MIDI's expression, controller
11, so that an organ or strings die away as a piano does by itself. It takes its part of what the
player's own pedal says, and gives that back only when the last notes have rung out: expression is
heard in what is released, too, and strings given back with their note-offs swell up again.
"""

from fractions import Fraction

from ripieno.arrange.voicing import Voicing
from ripieno.perform.message import EXPRESSION, control
from ripieno.style.model import Begin, Lane, Spot, Step
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_S

_HELD_NS, _FADING_NS = 4 * NS_PER_S, 4 * NS_PER_S
_STEPS = 32
_RINGING_NS = 3 * NS_PER_S  # of released notes: our choice, longer than strings and rooms ring
_ROLL_MS = 25.0
_WHOLE = Lane(
    every_quarters=Fraction(4),
    steps=(Step((Spot.ALL,)),),
    begins=Begin.STRIKE,
    roll_ms=_ROLL_MS,
    repeats=False,
)


def lanes_of_last_chord(voicing: Voicing) -> list[tuple[Side, Lane]]:
    """A lane for each hand that has a shape."""
    shapes = ((Side.LEFT, voicing.left), (Side.RIGHT, voicing.right))
    return [(side, _WHOLE) for side, shape in shapes if shape is not None]


class Fade:
    """From the strike of the last chord to its end."""

    def __init__(self, at_ns: int, beat_ns: int) -> None:
        self._late_ns = at_ns + beat_ns  # until then another chord is still the last one
        self._begins_ns = at_ns + _HELD_NS
        self._step = 0

    def is_over_for(self, at_ns: int) -> bool:
        """Whether a chord that is struck now is a new beginning, not the last chord itself."""
        return at_ns > self._late_ns

    @property
    def is_done(self) -> bool:
        return self._step > _STEPS

    @property
    def due_ns(self) -> int | None:
        """When it is fainter again; None when it has ended."""
        return None if self.is_done else self._begins_ns + self._step * (_FADING_NS // _STEPS)

    def left(self, now_ns: int) -> int:
        """How much is left by now, 0.._STEPS."""
        while (due_ns := self.due_ns) is not None and due_ns <= now_ns:
            self._step += 1
        return _STEPS - max(0, self._step - 1)


class Ending:
    """`at` is where the last chord is to be, None unless the music slows down to it.

    `expression` is the player's own, 0..127. `back_due_ns` is when it is given back at last,
    None unless notes ring out that have died away.
    """

    def __init__(self, channel: int) -> None:
        self.at: Fraction | None = None
        self.expression = 127
        self.back_due_ns: int | None = None
        self._channel = channel
        self._left = _STEPS  # of the expression
        self._fade: Fade | None = None

    @property
    def is_on(self) -> bool:
        return self.at is not None or self.has_struck

    @property
    def has_struck(self) -> bool:
        """Whether its last chord is there."""
        return self._fade is not None

    def strike(self, at_ns: int, beat_ns: int) -> None:
        self.at = None
        self._fade = Fade(at_ns, beat_ns)

    def is_over_for(self, at_ns: int) -> bool:
        """Whether a chord that is struck now is a new beginning, not the last chord itself."""
        return self._fade is not None and self._fade.is_over_for(at_ns)

    @property
    def fade_due_ns(self) -> int | None:
        return None if self._fade is None else self._fade.due_ns

    @property
    def is_done(self) -> bool:
        return self._fade is not None and self._fade.is_done

    def fade(self, now_ns: int) -> list[bytes]:
        """What is due by now of a chord that dies away."""
        if self._fade is None:
            return []
        self._left = self._fade.left(now_ns)
        return self._expressed()

    def express(self, value: int) -> list[bytes]:
        """The player's own expression came to a value, 0..127."""
        self.expression = value
        return self._expressed()

    def die_away(self, at_ns: int) -> None:
        """There is no ending any more; its notes, released now, ring out as faint as they are."""
        self.at = self._fade = None
        if self._left < _STEPS and self.back_due_ns is None:
            self.back_due_ns = at_ns + _RINGING_NS

    def leave(self) -> list[bytes]:
        """There is no ending any more; what gives the player's expression back."""
        self.at = self._fade = None
        return self.give_back()

    def give_back(self) -> list[bytes]:
        """The player's expression, if any has been taken."""
        self.back_due_ns = None
        if self._left == _STEPS:
            return []
        self._left = _STEPS
        return self._expressed()

    def _expressed(self) -> list[bytes]:
        return [control(self._channel, EXPRESSION, self.expression * self._left // _STEPS)]
