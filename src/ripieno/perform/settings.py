"""What the player has chosen apart from the style, as a performance begins."""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from ripieno.style.model import COMMON_TIME, Meter
from ripieno.theory.hand import Side
from ripieno.theory.key import Key

BPM_RANGE = (20.0, 400.0)
MOST_SEED = 1 << 53  # what every reader of JSON keeps whole
TRANSPOSE_RANGE = (-24, 24)
SWING_RANGE = (1.0, 3.5)  # long to short; 3.5 is the most that was measured, Friberg 2002


class ReadKeys(StrEnum):
    """How keys become a chord: as they are, or one key as a degree of the song's key."""

    PLAYED = "played"
    FROM_KEY = "from-key"


@dataclass(frozen=True, slots=True)
class Settings:
    """`channel` is the accompaniment's, 0..15; melody keeps the one it came in on.

    `split` is the lowest key of the melody zone, None for a keyboard that is all chords. Every key
    sounds `transpose` semitones higher than it is, -24..24; the split point counts keys.
    `span` is the widest a hand may reach, in semitones; `seed` that of the touch's unevenness.
    A `muted` hand is the player's own to play. Without a count in `swing` (1 is straight, 2 is
    two to one) nothing swings.
    """

    bpm: float = 92.0
    meter: Meter = COMMON_TIME
    swing: Fraction = Fraction(1)
    hold: bool = True
    reading: ReadKeys = ReadKeys.PLAYED
    key: Key | None = None
    split: int | None = None
    transpose: int = 0
    muted: Side | None = None
    channel: int = 0
    span: int = 12
    seed: int = 1
