"""The chord that is on, as the hands have it: voiced, suspended, and bound to each of them.

It is voiced near the chord of the strike before, which an amended reading does not change.
"""

from dataclasses import dataclass
from functools import lru_cache

from ripieno.arrange import suspension
from ripieno.arrange.voicing import HandVoicing, Voicing, voice
from ripieno.perform.hand_player import Bound
from ripieno.style.model import Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side

_voice_again = lru_cache(maxsize=1024)(voice)  # progressions come again
_LEFT, _RIGHT = Side  # a member is looked up much faster here than in its class


@dataclass(frozen=True, slots=True)
class Harmony:
    """The chord that is on. `serial` counts strikes: an amended chord keeps its number."""

    chord: Chord
    serial: int
    level: int  # the player's velocity, 1..127


class ChordOn:
    """`harmony` is None while no chord is on; `voicing` stays until the next, or `forget`.

    `muted` is the hand that has no tones. No hand spans more than `span` semitones.
    """

    def __init__(self, span: int, muted: Side | None) -> None:
        self.harmony: Harmony | None = None
        self.voicing: Voicing | None = None
        self.muted = muted
        self._span = span
        self._before: Voicing | None = None  # this strike's
        self._last: Chord | None = None  # that was on
        self._serial = 0
        self._suspended: Voicing | None = None  # what sounds while the third is held off
        self._left: Bound | None = None  # what the hands have to play with just now
        self._right: Bound | None = None

    @property
    def is_suspended(self) -> bool:
        return self._suspended is not None

    def strike(self, style: Style, chord: Chord, level: int, *, amends: bool) -> None:
        """A chord is on, or another reading of it.

        That is suspended, too, if its third has not sounded in the reading before.
        """
        sounded = self.harmony.chord.pitch_classes if amends and self.harmony else frozenset()
        suspends = not amends or self.is_suspended or suspension.third(chord) not in sounded
        if not amends:
            self._serial += 1
            self._before = self.voicing
        self.harmony, self._last = Harmony(chord, self._serial, level), chord
        self._revoice(style, chord)
        if suspends:
            self._suspend(style, chord)
        self._bind()

    def set_style(self, style: Style) -> None:
        """Voiced as another style has it, with nothing suspended."""
        if self.harmony is not None:
            self._revoice(style, self.harmony.chord)
        self.resolve()

    def set_muted(self, muted: Side | None) -> None:
        self.muted = muted
        self._bind()

    def resolve(self) -> None:
        """What was suspended is not any more."""
        self._suspended = None
        self._bind()

    def lift(self) -> None:
        """No chord is on."""
        self.harmony = None
        self.resolve()

    def forget(self) -> None:
        """Nor has there been one to voice the next one near."""
        self.voicing, self._before = None, None

    def bound(self, side: Side) -> Bound | None:
        """What the hand's tones are just now; None without a chord, and for a muted hand."""
        return self._left if side is _LEFT else self._right

    def _bind(self) -> None:
        """Whatever the hands have to play with may be another."""
        voicing = self._suspended or self.voicing
        if self.harmony is None or voicing is None:
            self._left = self._right = None
            return
        self._left = self._bound(_LEFT, voicing.left, self.harmony)
        self._right = self._bound(_RIGHT, voicing.right, self.harmony)

    def _bound(self, side: Side, shape: HandVoicing | None, harmony: Harmony) -> Bound | None:
        if shape is None or side is self.muted:
            return None
        return Bound(harmony.serial, shape, harmony.level)

    def of_muted(self, style: Style) -> tuple[int, ...]:
        """The tones that the muted hand would have, ascending, with what is suspended in them.

        While no chord is on they are those of the last one, played from rest; none before it,
        and where no hand is muted.
        """
        voicings = [self.voicing, self._suspended]
        if self.harmony is None:
            voicings = [None if self._last is None else self._from_rest(style, self._last)]
        shapes = [v.left if self.muted is Side.LEFT else v.right for v in voicings if v]
        notes = {note for shape in shapes if shape for note in shape.notes}
        return () if self.muted is None else tuple(sorted(notes))

    def _from_rest(self, style: Style, chord: Chord) -> Voicing:
        return voice(style.left, style.right, chord, None, self._span)

    def _suspend(self, style: Style, chord: Chord) -> None:
        wanted, voicing = style.suspension, self.voicing
        self._suspended = (
            None
            if wanted is None or voicing is None
            else suspension.suspended(voicing, chord, wanted.degree, self._span)
        )

    def _revoice(self, style: Style, chord: Chord) -> None:
        self.voicing = _voice_again(style.left, style.right, chord, self._before, self._span)
