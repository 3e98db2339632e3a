"""What goes into the performer and what comes out: frozen, stamped, in nanoseconds."""

from dataclasses import dataclass

from ripieno.perform.settings import ReadKeys
from ripieno.perform.transport import Transport
from ripieno.style.model import Meter, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.theory.key import Key


@dataclass(frozen=True, slots=True)
class KeyDown:
    """A key struck. note 0..127, velocity 1..127, channel 0..15."""

    at_ns: int
    note: int
    velocity: int
    channel: int = 0


@dataclass(frozen=True, slots=True)
class KeyUp:
    """A key released; `velocity` is its release velocity, 0..127."""

    at_ns: int
    note: int
    velocity: int = 64
    channel: int = 0


@dataclass(frozen=True, slots=True)
class Controller:
    """A control change below the channel mode messages: number 0..119, value 0..127."""

    at_ns: int
    number: int
    value: int
    channel: int = 0


@dataclass(frozen=True, slots=True)
class Passing:
    """A whole MIDI message that only passes through: program, bend, pressure."""

    at_ns: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Stop:
    """The figure ends: every note released, the pedal up. The next strike starts it anew."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class Silence:
    """Stop, and tell the synthesizer to forget what it may still be sounding."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class SetStyle:
    at_ns: int
    style: Style


@dataclass(frozen=True, slots=True)
class SetTempo:
    """Beats per minute, 20..400, of the meter's beat."""

    at_ns: int
    bpm: float


@dataclass(frozen=True, slots=True)
class SetMeter:
    """Another meter, whose first downbeat is now."""

    at_ns: int
    meter: Meter


@dataclass(frozen=True, slots=True)
class SetHold:
    """Whether the harmony goes on when the keys are lifted."""

    at_ns: int
    hold: bool


@dataclass(frozen=True, slots=True)
class SetKey:
    at_ns: int
    key: Key | None


@dataclass(frozen=True, slots=True)
class SetSplit:
    """The lowest key of the melody zone, 0..127; None: all keys are chords."""

    at_ns: int
    split: int | None


@dataclass(frozen=True, slots=True)
class SetTranspose:
    """How many semitones higher than its key every note is, -24..24."""

    at_ns: int
    semitones: int


@dataclass(frozen=True, slots=True)
class SetReading:
    """How keys become a chord."""

    at_ns: int
    reading: ReadKeys


@dataclass(frozen=True, slots=True)
class SetMuted:
    """The hand that is silent, for the player to play it; None: none is."""

    at_ns: int
    muted: Side | None


@dataclass(frozen=True, slots=True)
class Show:
    """Notes, 0..127, that sound until the next of these, beside whatever is played."""

    at_ns: int
    notes: tuple[int, ...]
    velocity: int = 80


@dataclass(frozen=True, slots=True)
class Resume:
    """What an instrument before this one was playing goes on: its chord, in its time.

    `level` is the velocity, 1..127, with which the chord had been struck.
    """

    at_ns: int
    chord: Chord
    level: int
    transport: Transport


Input = (
    KeyDown
    | KeyUp
    | Controller
    | Passing
    | Stop
    | Silence
    | SetStyle
    | SetTempo
    | SetMeter
    | SetHold
    | SetKey
    | SetSplit
    | SetTranspose
    | SetReading
    | SetMuted
    | Show
    | Resume
)


@dataclass(frozen=True, slots=True)
class Send:
    """One MIDI message to send; `due_ns` is the instant it belongs to."""

    due_ns: int
    data: bytes
