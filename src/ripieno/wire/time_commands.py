"""The commands about the time: tempo and taps, who leads, beginnings and ends."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from ripieno.errors import AuthorError
from ripieno.wire.words import NUMBER, Row, plain, shown, signed, whole

# The same as perform.settings has them for a session's beginning; a test holds them together,
# because neither part may import the other.
BPM_RANGE = (20.0, 400.0)
MOST_NUDGE_MS = 250.0
RAMP_BEATS = (1, 256)
LEADERS = ("none", "clock", "hands")
MOST_LEAN = 100
STARTS = ("strike", "downbeat")
MOST_PICKUP = 31
COUNT_BARS = (1, 4)
ENDING_BEATS = (1, 64)
SWING_RANGE = (1.0, 3.5)


@dataclass(frozen=True, slots=True)
class ChooseTempo:
    """Beats a minute, 20..400."""

    bpm: float


@dataclass(frozen=True, slots=True)
class NudgeTempo:
    """So many beats a minute faster or slower; the outcome stays within the range."""

    by: float


@dataclass(frozen=True, slots=True)
class TempoByValue:
    """The tempo is 40 + the value, 0..127, of the controller that asks: a pedal or a fader."""


@dataclass(frozen=True, slots=True)
class RampTempo:
    """To a tempo, 20..400, within so many beats, 1..256."""

    bpm: float
    beats: int


@dataclass(frozen=True, slots=True)
class ScaleTempo:
    """Half or double time."""

    double: bool


@dataclass(frozen=True, slots=True)
class Tap:
    """One of the taps whose distance is a beat."""


@dataclass(frozen=True, slots=True)
class Nudge:
    """All comes so many milliseconds later, -250..250; below 0 earlier."""

    later_ms: float


@dataclass(frozen=True, slots=True)
class ChooseLeader:
    """Whom the time follows: one of LEADERS."""

    leader: str


@dataclass(frozen=True, slots=True)
class ChooseLean:
    """How closely it follows the hands, 0..100; None: what the controller that asks is at."""

    lean: int | None


@dataclass(frozen=True, slots=True)
class Downbeat:
    """A bar begins with this beat."""


@dataclass(frozen=True, slots=True)
class Break:
    """Silence until the next strike; the time goes on."""


@dataclass(frozen=True, slots=True)
class CountIn:
    """So many bars, 1..4, are counted from now."""

    bars: int


@dataclass(frozen=True, slots=True)
class EndSlowly:
    """Slow down into a last chord in so many beats, 1..64; None: in a bar and a part of one."""

    beats: int | None


@dataclass(frozen=True, slots=True)
class ChooseStart:
    """Where what is struck in a running time comes in: one of STARTS."""

    start: str


@dataclass(frozen=True, slots=True)
class ChoosePickup:
    """So many beats, 0..31, before the first downbeat of what begins next."""

    beats: int


@dataclass(frozen=True, slots=True)
class ChooseSwing:
    """Long to short, 1..3.5; None: by the tempo."""

    swing: float | None


@dataclass(frozen=True, slots=True)
class SendClock:
    """Whether MIDI clock goes out."""

    on: bool


TimeCommand: TypeAlias = (
    ChooseTempo
    | NudgeTempo
    | TempoByValue
    | RampTempo
    | ScaleTempo
    | Tap
    | Nudge
    | ChooseLeader
    | ChooseLean
    | Downbeat
    | Break
    | CountIn
    | EndSlowly
    | ChooseStart
    | ChoosePickup
    | ChooseSwing
    | SendClock
)

TIME_TABLE = (
    Row(
        "tempo",
        "[BPM, BPM over BEATS, +N, -N, half or double]",
        "beats a minute, 20 to 400; with a sign, so many more or fewer; over so many beats, "
        "little by little; half or double time; without a number, what the controller that does "
        "it is at: 40 and its value, 0 to 127",
        ("half", "double"),
    ),
    Row("tap", "", "tap the tempo and where the beat is"),
    Row("nudge", "+N or -N", "all comes so many milliseconds later, or with - earlier"),
    Row(
        "follow",
        "none, clock or hands",
        "whom the time follows: nobody, a MIDI clock, or the hands that play the chords",
        LEADERS,
    ),
    Row(
        "lean",
        "[0 to 100]",
        "how closely the time follows the hands: 0 is steady, 100 goes with each chord; without a "
        "number, what the controller that does it is at",
    ),
    Row("downbeat", "", "a bar begins with the beat that is now"),
    Row("break", "", "release everything and be silent until the next chord, in time"),
    Row("count", "[1 to 4]", "count in so many bars; chords struck meanwhile wait for their end"),
    Row(
        "ending",
        "[BEATS]",
        "slow down for so many beats, or for a bar and what is left of this one, into a last "
        "chord that dies away",
    ),
    Row(
        "start",
        "strike or downbeat",
        "whether what is struck in a running time comes in at once or with the next bar",
        STARTS,
    ),
    Row("pickup", "BEATS", "so many beats stand before the first bar of what begins next"),
    Row(
        "swing",
        "RATIO or by-tempo",
        "long to short, 1 (straight) to 3.5; by-tempo: the faster, the straighter",
        ("by-tempo",),
    ),
    Row("send-clock", "on or off", "whether MIDI clock goes out with the notes", ("on", "off")),
)

_ROWS = {row.name: row for row in TIME_TABLE}


def time_words(command: TimeCommand) -> tuple[str, ...]:
    """The words that `TIME_READERS` make the same command of."""
    match command:
        case ChooseTempo(bpm):
            return "tempo", plain(bpm)
        case NudgeTempo(by):
            return "tempo", signed(by)
        case TempoByValue():
            return ("tempo",)
        case RampTempo(bpm, beats):
            return "tempo", plain(bpm), "over", str(beats)
        case ScaleTempo(double):
            return "tempo", "double" if double else "half"
        case Nudge(later_ms):
            return "nudge", signed(later_ms)
        case ChooseLeader(leader):
            return "follow", leader
        case ChooseLean(lean):
            return ("lean",) if lean is None else ("lean", str(lean))
        case CountIn(bars):
            return "count", str(bars)
        case EndSlowly(beats):
            return ("ending",) if beats is None else ("ending", str(beats))
        case ChooseStart(start):
            return "start", start
        case ChoosePickup(beats):
            return "pickup", str(beats)
        case ChooseSwing(swing):
            return "swing", "by-tempo" if swing is None else plain(swing)
        case SendClock(on):
            return "send-clock", "on" if on else "off"
        case Tap():
            return ("tap",)
        case Downbeat():
            return ("downbeat",)
        case Break():
            return ("break",)


def is_by_value(command: object) -> bool:
    """Whether a command takes its number from the controller that gives it."""
    return isinstance(command, TempoByValue) or command == ChooseLean(None)


def _tempo(words: Sequence[str]) -> TimeCommand:
    row = _ROWS["tempo"]
    if not words:
        return TempoByValue()
    if len(words) == 3 and words[1] == "over":
        return RampTempo(_bpm(words[0]), whole(words[2], *RAMP_BEATS, "number of beats"))
    text = row.one(words)
    if text in row.fixed:
        return ScaleTempo(double=text == "double")
    if NUMBER.fullmatch(text) is None:
        raise row.wrong(words)
    if text[0] in "+-":
        if abs(float(text)) > BPM_RANGE[1]:
            raise AuthorError(f"tempo {shown(text)} is more than {BPM_RANGE[1]:g} at once")
        return NudgeTempo(float(text))
    return ChooseTempo(_bpm(text))


def _bpm(text: str) -> float:
    least, most = BPM_RANGE
    if NUMBER.fullmatch(text) is None or text[0] in "+-" or not least <= float(text) <= most:
        raise AuthorError(f"{shown(text)} is no tempo: write a number from {least:g} to {most:g}")
    return float(text)


def _nudge(words: Sequence[str]) -> TimeCommand:
    text = _ROWS["nudge"].one(words)
    if NUMBER.fullmatch(text) is None or text[0] not in "+-":
        raise _ROWS["nudge"].wrong(words)
    if abs(float(text)) > MOST_NUDGE_MS:
        raise AuthorError(f"nudge {shown(text)} is more than {MOST_NUDGE_MS:g} ms at once")
    return Nudge(float(text))


def _lean(words: Sequence[str]) -> TimeCommand:
    if not words:
        return ChooseLean(None)
    row = _ROWS["lean"]
    return ChooseLean(whole(row.one(words), 0, MOST_LEAN, "lean"))


def _count(words: Sequence[str]) -> TimeCommand:
    row = _ROWS["count"]
    return CountIn(whole(row.one(words or ("1",)), *COUNT_BARS, "number of bars"))


def _ending(words: Sequence[str]) -> TimeCommand:
    if not words:
        return EndSlowly(None)
    row = _ROWS["ending"]
    return EndSlowly(whole(row.one(words), *ENDING_BEATS, "number of beats"))


def _pickup(words: Sequence[str]) -> TimeCommand:
    row = _ROWS["pickup"]
    return ChoosePickup(whole(row.one(words), 0, MOST_PICKUP, "number of beats"))


def _swing(words: Sequence[str]) -> TimeCommand:
    row, (least, most) = _ROWS["swing"], SWING_RANGE
    text = row.one(words)
    if text in row.fixed:
        return ChooseSwing(None)
    if NUMBER.fullmatch(text) is None or not least <= float(text) <= most:
        raise AuthorError(
            f"{shown(text)} is no swing: write a number from {least:g} to {most:g}, or by-tempo"
        )
    return ChooseSwing(float(text))


TIME_READERS: dict[str, Callable[[Sequence[str]], TimeCommand]] = {
    "tempo": _tempo,
    "nudge": _nudge,
    "follow": lambda words: ChooseLeader(_ROWS["follow"].one_fixed(words)),
    "lean": _lean,
    "count": _count,
    "ending": _ending,
    "start": lambda words: ChooseStart(_ROWS["start"].one_fixed(words)),
    "pickup": _pickup,
    "swing": _swing,
    "send-clock": lambda words: SendClock(on=_ROWS["send-clock"].one_fixed(words) == "on"),
}
TIME_BARE: dict[str, TimeCommand] = {"tap": Tap(), "downbeat": Downbeat(), "break": Break()}
