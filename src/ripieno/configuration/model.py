"""What a configuration is. Built by `configuration.load`; trusted after.

Imports neither pydantic nor yaml: a program that only asks for the defaults does not wait.
"""

from dataclasses import dataclass, fields
from fractions import Fraction

from ripieno.perform.press import Press
from ripieno.perform.settings import Follow, ReadKeys, Settings, Start
from ripieno.style.model import Meter
from ripieno.theory.hand import NINTH, OCTAVE, TENTH
from ripieno.theory.key import Key

MIB = 1 << 20
SPANS = {"octave": OCTAVE, "ninth": NINTH, "tenth": TENTH}
CHANNEL_RANGE = (1, 16)  # as people count; inside, 0..15
MOST_CONTROLS = 256  # our choice: more than any keyboard has

_FINEST_SWING = 1000  # the greatest denominator of a ratio: far finer than anyone hears
_PLAIN = Settings()


@dataclass(frozen=True, slots=True)
class Control:
    """A press that gives a command. `do` are the words that `wire.command` writes for it."""

    press: Press
    do: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Journals:
    """Whether sessions are kept, and how many bytes all their files together may have."""

    keep: bool = True
    most_bytes: int = 500 * MIB


@dataclass(frozen=True, slots=True)
class Configuration:
    """The fields have the names of the file's keys and the units of `perform.settings`.

    `input` and `output` are a port's name, a part of one, `virtual`, or None for the likeliest;
    `style` is an id, and whether there is such a style is not known here; `tempo` in beats a
    minute; `meter` None for the style's own; no two of `controls` have the same press.
    """

    input: str | None = None
    output: str | None = None
    sound: bool = False
    style: str = "smooth-chords"
    tempo: float = _PLAIN.bpm
    meter: Meter | None = None
    swing: Fraction | None = _PLAIN.swing
    key: Key | None = _PLAIN.key
    hold: bool = _PLAIN.hold
    reading: ReadKeys = _PLAIN.reading
    split: int | None = _PLAIN.split
    transpose: int = _PLAIN.transpose
    span: int = _PLAIN.span
    channel: int = _PLAIN.channel
    seed: int = _PLAIN.seed
    follow: Follow = _PLAIN.follow
    lean: int = _PLAIN.lean
    start: Start = _PLAIN.start
    pickup: int = _PLAIN.pickup
    send_clock: bool = _PLAIN.send_clock
    journals: Journals = Journals()
    controls: tuple[Control, ...] = ()


def settings_for(configuration: Configuration, meter_of_style: Meter) -> Settings:
    """What a performance begins with, in a style that has this meter of its own."""
    return Settings(
        bpm=configuration.tempo,
        meter=configuration.meter or meter_of_style,
        swing=configuration.swing,
        hold=configuration.hold,
        reading=configuration.reading,
        key=configuration.key,
        split=configuration.split,
        transpose=configuration.transpose,
        channel=configuration.channel,
        span=configuration.span,
        seed=configuration.seed,
        follow=configuration.follow,
        lean=configuration.lean,
        start=configuration.start,
        pickup=configuration.pickup,
        send_clock=configuration.send_clock,
    )


def changed(before: Configuration, after: Configuration) -> dict[str, object]:
    """The values of `after` that differ, by the names of their fields, in the file's order."""
    return {
        field.name: getattr(after, field.name)
        for field in fields(Configuration)
        if getattr(before, field.name) != getattr(after, field.name)
    }


def swing_ratio(number: float) -> Fraction:
    """The ratio that is meant by a number with few decimals: 1.667 is 1667/1000."""
    return Fraction(number).limit_denominator(_FINEST_SWING)


def channel_inside(number: int) -> int:
    """0..15 for a channel 1..16."""
    return number - CHANNEL_RANGE[0]


def channel_told(channel: int) -> int:
    """1..16 for a channel 0..15."""
    return channel + CHANNEL_RANGE[0]
