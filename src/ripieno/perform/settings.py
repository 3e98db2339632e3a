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
MOST_LEAN = 100
MOST_PICKUP = 31
MOST_NUDGE_MS = 250.0
RAMP_BEATS = (1, 256)
COUNT_BARS = (1, 4)
MOST_SIXTEENTHS = (1 << 14) - 1  # a song position has 14 bits, MIDI 1.0
ENDING_BEATS = (1, 64)
SWING_RANGE = (1.0, 3.5)  # long to short; 3.5 is the most that was measured, Friberg 2002


def playable_bpm(bpm: float) -> float:
    """The nearest tempo that there is."""
    least, most = BPM_RANGE
    return min(max(bpm, least), most)


class ReadKeys(StrEnum):
    """How keys become a chord: as they are, or one key as a degree of the song's key."""

    PLAYED = "played"
    FROM_KEY = "from-key"


class Follow(StrEnum):
    """Who leads the time: the program at the tempo that was chosen, a MIDI clock, or the hands."""

    NONE = "none"
    CLOCK = "clock"
    HANDS = "hands"


class Start(StrEnum):
    """Where the music comes in that is struck in a running time: at once, or with the next bar."""

    STRIKE = "strike"
    DOWNBEAT = "downbeat"


@dataclass(frozen=True, slots=True)
class Settings:
    """`channel` is the accompaniment's, 0..15; melody keeps the one it came in on.

    `split` is the lowest key of the melody zone, None for a keyboard that is all chords. Every key
    sounds `transpose` semitones higher than it is, -24..24; the split point counts keys.
    `span` is the widest a hand may reach, in semitones; `seed` that of the touch's unevenness.
    A `muted` hand is the player's own to play. `swing` is long to short, 1 straight, 2 two to one;
    None goes by the tempo. `lean` is how closely the time follows the hands, where they lead it:
    0 (steady) to 100 (leaning). `pickup` beats stand before the first downbeat.
    """

    bpm: float = 92.0
    meter: Meter = COMMON_TIME
    swing: Fraction | None = Fraction(1)
    hold: bool = True
    reading: ReadKeys = ReadKeys.PLAYED
    key: Key | None = None
    split: int | None = None
    transpose: int = 0
    muted: Side | None = None
    channel: int = 0
    span: int = 12
    seed: int = 1
    follow: Follow = Follow.NONE
    lean: int = 75
    start: Start = Start.STRIKE
    pickup: int = 0
    send_clock: bool = False
