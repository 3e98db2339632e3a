"""The ending's last chord: slowed down to, held in both hands, dying away, over.

How long it is held and faded is our choice: about what a grand piano's middle register still
sounds for after a chord (common practice, no source). The fade is MIDI's expression, controller
11, so that an organ or strings die away as a piano does by itself.
"""

from fractions import Fraction

from ripieno.arrange.voicing import Voicing
from ripieno.perform.message import EXPRESSION, control
from ripieno.style.model import Begin, Lane, Spot, Step
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_S

_HELD_NS, _FADING_NS = 4 * NS_PER_S, 4 * NS_PER_S
_STEPS = 32
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
    """From the strike of the last chord to its end. `expression` is the player's, 0..127."""

    def __init__(self, channel: int, at_ns: int, beat_ns: int, expression: int) -> None:
        self._channel, self._expression = channel, expression
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

    def perform(self, now_ns: int) -> list[bytes]:
        """What is due by now."""
        value = self._expression
        while (due_ns := self.due_ns) is not None and due_ns <= now_ns:
            value = self._expression * (_STEPS - self._step) // _STEPS
            self._step += 1
        return [control(self._channel, EXPRESSION, value)]

    def over(self) -> list[bytes]:
        """What gives the player's expression back, if any has been taken."""
        return [control(self._channel, EXPRESSION, self._expression)] if self._step else []


class Ending:
    """`at` is where the last chord is to be, None unless the music slows down to it.

    `expression` is the player's own, 0..127, to which a chord that has died away gives back.
    """

    def __init__(self, channel: int) -> None:
        self.at: Fraction | None = None
        self.expression = 127
        self._channel = channel
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
        self._fade = Fade(self._channel, at_ns, beat_ns, self.expression)

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
        return [] if self._fade is None else self._fade.perform(now_ns)

    def leave(self) -> list[bytes]:
        """There is no ending any more; what gives the player's expression back."""
        fade, self.at, self._fade = self._fade, None, None
        return [] if fade is None else fade.over()
