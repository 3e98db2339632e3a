"""What a style is. Built by `style.load`, which refuses what makes no sense; trusted after.

A style says what each hand's shape is (`Hand`), and for each meter it serves, the rhythm in
which each hand plays the tones of its shape (`Figure`, one `Lane` a hand).
"""

import re
from dataclasses import dataclass
from enum import Enum, StrEnum
from fractions import Fraction
from functools import cached_property


class Tone(StrEnum):
    """A place in a hand's shape, named by the chord tone that fills it.

    ROOT, THIRD, FIFTH and OCTAVE every chord can fill: a suspended chord has its fourth or
    second where the third stands, and what stands in for the fifth of larger chords is said
    in `arrange.voicing`. OCTAVE doubles the lowest note of the shape, an octave above it.
    The others only some chords have, so a shape names them with what is played instead.
    """

    ROOT = "root"
    THIRD = "third"
    FIFTH = "fifth"
    OCTAVE = "octave"
    SIXTH = "sixth"
    SEVENTH = "seventh"
    NINTH = "ninth"


ALWAYS = (Tone.ROOT, Tone.THIRD, Tone.FIFTH, Tone.OCTAVE)


class Inversion(StrEnum):
    """Which tone of a shape is lowest; NEAREST: the one that moves the hand least."""

    ROOT = "root"
    FIRST = "first"
    SECOND = "second"
    THIRD = "third"
    NEAREST = "nearest"


@dataclass(frozen=True, slots=True)
class Hand:
    """The shape of one hand.

    `tones` run from the bottom up in root position; each is a tuple of alternatives, the
    first that the chord has being played, the last being one of ALWAYS. 1..5 tones.
    `around` is the note (0..127) near which the middle of the shape lies.
    """

    tones: tuple[tuple[Tone, ...], ...]
    inversion: Inversion
    around: int


class Begin(StrEnum):
    """When a lane's cycle starts: with the bar, or anew with each strike of the player."""

    BAR = "bar"
    STRIKE = "strike"


class Spot(StrEnum):
    """A place in a shape counted from its notes, whatever tones they are."""

    BOTTOM = "bottom"
    MIDDLE = "middle"  # only in shapes of three or five notes
    TOP = "top"
    UPPER = "upper"  # all but the lowest
    ALL = "all"


Play = Spot | Tone | int  # int: 1..5 counted from the bottom


@dataclass(frozen=True, slots=True)
class Step:
    """One place of a lane's grid: what is struck there; nothing struck is a rest.

    `lasts` counts the steps that its notes stay down, 1 or more; `accent` is added to the
    velocity, -127..127.
    """

    plays: tuple[Play, ...] = ()
    lasts: int = 1
    accent: int = 0


@dataclass(frozen=True, slots=True)
class Lane:
    """The rhythm of one hand: a grid and a cycle of steps on it.

    `length` is the part of its steps that a note stays down, (0, 1]; 1 joins it to the next.
    `roll_ms` spreads the notes of a step from the lowest up, so far apart; 0 strikes together.
    A lane that begins with the strike may play its cycle once (`repeats` false): what its last
    step struck then stays down until the next strike.
    """

    every_quarters: Fraction
    steps: tuple[Step, ...]
    begins: Begin = Begin.BAR
    length: Fraction = Fraction(1)
    roll_ms: float = 0.0
    repeats: bool = True

    @property
    def cycle_quarters(self) -> Fraction:
        return self.every_quarters * len(self.steps)


@dataclass(frozen=True)
class Meter:
    """A time signature, beats over note value. 6/8, 9/8 and 12/8 count dotted quarters.

    Without slots, so that its lengths are worked out once: every strike asks for them.
    """

    count: int
    unit: int  # 2, 4, 8 or 16

    def __str__(self) -> str:
        return f"{self.count}/{self.unit}"

    @cached_property
    def bar_quarters(self) -> Fraction:
        return Fraction(4 * self.count, self.unit)

    @cached_property
    def is_compound(self) -> bool:
        """Whether a beat has three units, as in 6/8, 9/8 and 12/8."""
        return self.unit >= 8 and self.count % 3 == 0 and self.count > 3

    @cached_property
    def beat_quarters(self) -> Fraction:
        """The length of a beat: three units in compound meters, else one."""
        return Fraction(4 * (3 if self.is_compound else 1), self.unit)

    @cached_property
    def beats(self) -> int:
        """Beats in a bar."""
        return int(self.bar_quarters / self.beat_quarters)


COMMON_TIME = Meter(4, 4)


METER = re.compile(r"([1-9][0-9]?)/(2|4|8|16)")
MOST_BEATS = 32
METERS = f"1 to {MOST_BEATS} over 2, 4, 8 or 16"


def meter_named(text: str) -> Meter:
    """The meter of `6/8`. Raises ValueError with one clear line."""
    match = METER.fullmatch(text)
    if match is None or int(match[1]) > MOST_BEATS:
        raise ValueError(f"'{text}' is no meter: write beats over a note value, as 4/4 or 6/8")
    return Meter(int(match[1]), int(match[2]))


@dataclass(frozen=True, slots=True)
class Figure:
    """What the hands do in the meters named. At least one hand plays."""

    meters: tuple[Meter, ...]
    left: Lane | None
    right: Lane | None


@dataclass(frozen=True, slots=True)
class Suspension:
    """A tone held in place of the third from the chord's arrival until it resolves."""

    degree: int  # 4 from above, 2 from below
    lasts_quarters: Fraction


class Pedal(StrEnum):
    LEGATO = "legato"  # changed with each chord, down in between
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Touch:
    """How the player's velocity becomes each note's. All in MIDI velocity units.

    `left` and `right` are the hands' balance, `top` is added to the highest note of the
    right hand, -64..64; `unevenness` bounds the seeded difference of each note, 0..20.
    """

    left: int = 0
    right: int = 0
    top: int = 0
    unevenness: int = 0


@dataclass(frozen=True, slots=True)
class Catch:
    """How far from a place of the grid a chord may come and still belong to it.

    `late_ms` after it the chord corrects what the place struck; `early_ms` before it a struck
    lane sounds at once but counts from the place. Both 0..200, and neither reaches further than
    `part` of a step, (0, 1/2]: past the middle a chord would be early for the next step too.

    What a style does not say is this. 80 ms: within it fall nine in ten spreads of a two-hand
    chord (58 ms, Vienna 4x22, measured) and the 22 ms that a leading hand runs ahead. 60 ms: that
    spread, by which the first keys of a chord that is meant for the place come before the last.
    """

    late_ms: float = 80.0
    early_ms: float = 60.0
    part: Fraction = Fraction(1, 2)


USUAL_CATCH = Catch()


class Swings(Enum):
    """Which pairs of notes swing when the player asks for swing."""

    NONE = None
    EIGHTHS = Fraction(1, 2)
    SIXTEENTHS = Fraction(1, 4)


@dataclass(frozen=True, slots=True)
class Style:
    """A whole style. `id` is its file's stem; the hands exist where a figure uses them."""

    id: str
    name: str
    use: str  # one sentence: when to use it
    suits: tuple[str, ...]  # of "gig", "learner", "studio"
    left: Hand | None
    right: Hand | None
    figures: tuple[Figure, ...]
    suspension: Suspension | None
    pedal: Pedal
    touch: Touch
    swings: Swings
    catch: Catch = USUAL_CATCH

    def figure_for(self, meter: Meter) -> Figure:
        """The figure for `meter`; where there is none the first, whose cycle then runs on."""
        for figure in self.figures:
            if meter in figure.meters:
                return figure
        return self.figures[0]

    @property
    def own_meter(self) -> Meter:
        """The meter that nothing else says: 4/4 if it has a figure for it, or its first."""
        meters = [meter for figure in self.figures for meter in figure.meters]
        return COMMON_TIME if COMMON_TIME in meters else meters[0]

    def foreign_to(self, meter: Meter) -> str | None:
        """A sentence for a meter that there is no figure for; None if there is one."""
        if any(meter in figure.meters for figure in self.figures):
            return None
        first = self.figures[0].meters[0]
        return f"style '{self.id}' has no figure for {meter}: its figure for {first} runs on"
