"""What goes into the performer and what comes out: frozen, stamped, in nanoseconds."""

from dataclasses import dataclass
from fractions import Fraction

from ripieno.perform.settings import Follow, ReadKeys, Start
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
    """Another meter, whose first downbeat is the beat nearest to now."""

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


@dataclass(frozen=True, slots=True)
class Tapped:
    """There is a beat at `beat_ns`, in the past, and so many beats a minute.

    What plays is moved so that its nearest beat is there.
    """

    at_ns: int
    beat_ns: int
    bpm: float


@dataclass(frozen=True, slots=True)
class Nudge:
    """All comes so much later from now on, earlier if it is negative: -250..250 ms."""

    at_ns: int
    later_ms: float


@dataclass(frozen=True, slots=True)
class Ramp:
    """The tempo goes to `bpm` within so many beats, 1..256, evenly in time."""

    at_ns: int
    bpm: float
    beats: int


@dataclass(frozen=True, slots=True)
class Scale:
    """Half (1/2) or double (2) time, of whatever leads."""

    at_ns: int
    factor: Fraction


@dataclass(frozen=True, slots=True)
class Downbeat:
    """A bar begins with the beat that is at `beat_ns`, no later than now."""

    at_ns: int
    beat_ns: int


@dataclass(frozen=True, slots=True)
class Break:
    """Everything is released and silent until the next strike; the time goes on."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class CountIn:
    """So many bars, 1..4, are counted aloud from now; what is struck meanwhile waits for them."""

    at_ns: int
    bars: int


@dataclass(frozen=True, slots=True)
class Ending:
    """A ritardando over the next `beats`, 1..64, into a last chord that is held and dies away.

    0: to the second next downbeat, so that it takes at least a bar.
    """

    at_ns: int
    beats: int = 0


@dataclass(frozen=True, slots=True)
class SetFollow:
    """Who leads the time from now on."""

    at_ns: int
    follow: Follow


@dataclass(frozen=True, slots=True)
class SetLean:
    """How closely the time follows the hands, 0 (steady) to 100 (leaning)."""

    at_ns: int
    lean: int


@dataclass(frozen=True, slots=True)
class SetStart:
    """Where the music comes in when the time is already running."""

    at_ns: int
    start: Start


@dataclass(frozen=True, slots=True)
class SetPickup:
    """So many beats, 0..31, stand before the first downbeat of what begins next."""

    at_ns: int
    pickup: int


@dataclass(frozen=True, slots=True)
class SetSwing:
    """Long to short, 1..3.5; None: by the tempo."""

    at_ns: int
    swing: Fraction | None


@dataclass(frozen=True, slots=True)
class SetSendClock:
    """Whether MIDI clock goes out."""

    at_ns: int
    send_clock: bool


@dataclass(frozen=True, slots=True)
class ClockTick:
    """A MIDI clock came in: a 24th of a quarter (MIDI 1.0, timing clock F8)."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class ClockStart:
    """The song begins with the next clock (MIDI 1.0, FA)."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class ClockContinue:
    """The song goes on with the next clock, from where it is (MIDI 1.0, FB)."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class ClockStop:
    """The song stands still (MIDI 1.0, FC)."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class SongPosition:
    """The next start is there: in sixteenths from the beginning, 0..16383 (MIDI 1.0, F2).

    And in `ticks` more, 0..5, of which MIDI knows nothing: a song may have been stopped there.
    """

    at_ns: int
    sixteenths: int
    ticks: int = 0


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
    | Tapped
    | Nudge
    | Ramp
    | Scale
    | Downbeat
    | Break
    | CountIn
    | Ending
    | SetFollow
    | SetLean
    | SetStart
    | SetPickup
    | SetSwing
    | SetSendClock
    | ClockTick
    | ClockStart
    | ClockContinue
    | ClockStop
    | SongPosition
)


@dataclass(frozen=True, slots=True)
class Send:
    """One MIDI message to send; `due_ns` is the instant it belongs to."""

    due_ns: int
    data: bytes
