"""The chord that is on, as the hands have it: voiced, suspended, and bound to each of them.

It is voiced near the chord of the strike before, which an amended reading does not change.
"""

from dataclasses import dataclass

from ripieno.arrange import suspension
from ripieno.arrange.voicing import Voicing, voice
from ripieno.perform.hand_player import Bound
from ripieno.style.model import Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side


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
        self._serial = 0
        self._suspended: Voicing | None = None  # what sounds while the third is held off
        self._bounds: dict[Side, Bound] = {}  # as they were last asked for since a change

    @property
    def is_suspended(self) -> bool:
        return self._suspended is not None

    def strike(self, style: Style, chord: Chord, level: int, *, amends: bool) -> None:
        """A chord is on, or another reading of it."""
        if not amends:
            self._serial += 1
            self._before = self.voicing
        self.harmony, self._bounds = Harmony(chord, self._serial, level), {}
        self._revoice(style, chord)
        if not amends or self.is_suspended:
            self._suspend(style, chord)

    def set_style(self, style: Style) -> None:
        """Voiced as another style has it, with nothing suspended."""
        self.resolve()
        if self.harmony is not None:
            self._revoice(style, self.harmony.chord)

    def set_muted(self, muted: Side | None) -> None:
        self.muted, self._bounds = muted, {}

    def resolve(self) -> None:
        """What was suspended is not any more."""
        self._suspended, self._bounds = None, {}

    def lift(self) -> None:
        """No chord is on."""
        self.harmony = None
        self.resolve()

    def forget(self) -> None:
        """Nor has there been one to voice the next one near."""
        self.voicing, self._before = None, None

    def bound(self, side: Side) -> Bound | None:
        """What the hand's tones are just now; None without a chord, and for a muted hand."""
        if side not in self._bounds:
            voicing = self._suspended or self.voicing
            if self.harmony is None or voicing is None or side is self.muted:
                return None
            shape = voicing.left if side is Side.LEFT else voicing.right
            assert shape is not None, "a lane's hand has a shape: style.load sees to it"
            self._bounds[side] = Bound(self.harmony.serial, shape, self.harmony.level)
        return self._bounds[side]

    def _suspend(self, style: Style, chord: Chord) -> None:
        wanted, voicing = style.suspension, self.voicing
        self._suspended = (
            None
            if wanted is None or voicing is None
            else suspension.suspended(voicing, chord, wanted.degree, self._span)
        )

    def _revoice(self, style: Style, chord: Chord) -> None:
        self.voicing = voice(style.left, style.right, chord, self._before, self._span)
