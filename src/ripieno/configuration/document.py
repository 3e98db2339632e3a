"""The form of a configuration file: its keys, their types, ranges and meaning, for people.

The descriptions here are what an editor shows, through `presets/config.schema.json`, what the
file that is written on the first run says above each key, and what docs/configuration.md says.
What presses and commands are is judged by `configuration.meaning`.
"""

import json
from collections.abc import Callable
from typing import Annotated, Any, TypeVar

from pydantic import ConfigDict, Field, PlainValidator, Strict, WithJsonSchema
from pydantic_core import PydanticCustomError

from ripieno.configuration.model import (
    CHANNEL_RANGE,
    MIB,
    MOST_CONTROLS,
    SPANS,
    Configuration,
    channel_told,
)
from ripieno.errors import AuthorError
from ripieno.perform.settings import (
    BPM_RANGE,
    MOST_LEAN,
    MOST_PICKUP,
    MOST_SEED,
    SWING_RANGE,
    TRANSPOSE_RANGE,
    Follow,
    ReadKeys,
    Start,
)
from ripieno.style.document import Form
from ripieno.style.values import Line, MeterName
from ripieno.theory.hand import OCTAVE
from ripieno.theory.key import Key, key_named
from ripieno.theory.pitch import HIGHEST, LOWEST, note_named

# Bounds of our choice: far outside what anyone needs, near enough to catch slips.
MOST_JOURNALS_MIB = 1_000_000
_MOST_LETTERS = 200  # of a port's name or a style's id

_DEFAULT = Configuration()
_SPAN_OF = {semitones: name for name, semitones in SPANS.items()}
assert _DEFAULT.span == OCTAVE, "the description of `span` counts on it"

T = TypeVar("T")


def _read_by(read: Callable[[str], T], expected: str) -> PlainValidator:
    """Text (or a whole number as text) that `read` takes; else what was `expected`."""

    def reads(value: object) -> T:
        try:
            return read(str(value) if isinstance(value, str | int) else "")
        except (AuthorError, KeyError):
            raise PydanticCustomError("expected", "{expected}", {"expected": expected}) from None

    return PlainValidator(reads)


def _span(text: str) -> str:
    return _SPAN_OF[SPANS[text]]


_NOTE_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "integer", "minimum": LOWEST, "maximum": HIGHEST},
        {"type": "string", "pattern": "^[A-Ga-g](#{1,2}|b{1,2}|♯|♭)?-?[0-9]$"},
    ]
}

Text = Annotated[Line, Field(max_length=_MOST_LETTERS)]
KeyName = Annotated[
    Key,
    _read_by(key_named, "a tonic and a mode, such as G, Eb major or E minor"),
    WithJsonSchema({"type": "string"}),
]
SplitNote = Annotated[
    int,
    _read_by(note_named, f"a note by name, such as C4, or as {LOWEST} to {HIGHEST}"),
    WithJsonSchema(_NOTE_SCHEMA),
]
SpanName = Annotated[
    str,
    _read_by(_span, f"one of {', '.join(SPANS)}"),
    WithJsonSchema({"type": "string", "enum": list(SPANS)}),
]


class JournalsForm(Form):
    """The files of the sessions."""

    keep: bool = Field(
        default=_DEFAULT.journals.keep,
        examples=[False],
        description="Whether each session is kept in a file that can be played again.",
    )
    most: int = Field(
        default=_DEFAULT.journals.most_bytes // MIB,
        ge=1,
        le=MOST_JOURNALS_MIB,
        examples=[200],
        description="The most that all sessions together take, in MiB; the oldest are deleted.",
    )


class ControlForm(Form):
    """A press that gives a command."""

    press: Text = Field(
        examples=["controller 20 on channel 1"],
        description="A controller (0 to 119), a note or a program (0 to 127) on a channel.",
    )
    do: Text = Field(
        examples=["style waltz"],
        description="A command as one would tell it, such as next, tap, tempo +2 or silence.",
    )


class ConfigurationForm(Form):
    """What the daemon plays with and on. Keys that are left out have their defaults."""

    model_config = ConfigDict(title="Configuration")

    input: Text | None = Field(
        default=_DEFAULT.input,
        examples=["Stage keyboard"],
        description="The MIDI input: a port's name, a part of one, virtual for a port of the "
        "program's own, or null for the likeliest.",
    )
    output: Text | None = Field(
        default=_DEFAULT.output,
        examples=["virtual"],
        description="The MIDI output, named as the input is. With sound, null is no port.",
    )
    sound: bool = Field(
        default=_DEFAULT.sound,
        examples=[True],
        description="Whether to play through FluidSynth on this machine; start with the volume "
        "low.",
    )
    style: Text = Field(
        default=_DEFAULT.style,
        examples=["waltz"],
        description="The id of the style that plays, as 'ripieno styles' lists them.",
    )
    tempo: float = Field(
        default=_DEFAULT.tempo,
        ge=BPM_RANGE[0],
        le=BPM_RANGE[1],
        allow_inf_nan=False,
        examples=[104],
        description="Beats a minute.",
    )
    meter: MeterName | None = Field(
        default=_DEFAULT.meter,
        examples=["3/4"],
        description="Beats over a note value, or null for the style's own.",
    )
    swing: float | None = Field(
        default=None if _DEFAULT.swing is None else float(_DEFAULT.swing),
        ge=SWING_RANGE[0],
        le=SWING_RANGE[1],
        allow_inf_nan=False,
        examples=[1.5],
        description="Long to short of the pairs that swing: 1 is straight, 2 two to one; or "
        "null: the faster the tempo, the straighter.",
    )
    key: KeyName | None = Field(
        default=_DEFAULT.key,
        examples=["E minor"],
        description="The song's key, which spells the chords, or null.",
    )
    hold: bool = Field(
        default=_DEFAULT.hold,
        examples=[False],
        description="Whether the harmony goes on when the keys are lifted.",
    )
    reading: Annotated[ReadKeys, Strict(False)] = Field(
        default=_DEFAULT.reading,
        examples=["from-key"],
        description="With played the keys are the chord; with from-key one key is a degree of "
        "the song's key.",
    )
    split: SplitNote | None = Field(
        default=_DEFAULT.split,
        examples=["C4"],
        description="The lowest key of the melody zone, below which keys are chords, or null: "
        "all are.",
    )
    transpose: int = Field(
        default=_DEFAULT.transpose,
        ge=TRANSPOSE_RANGE[0],
        le=TRANSPOSE_RANGE[1],
        examples=[-2],
        description="How many semitones higher than its key everything sounds.",
    )
    span: SpanName = Field(
        default=_SPAN_OF[_DEFAULT.span],
        examples=["ninth"],
        description="The widest that a hand may reach.",
    )
    channel: int = Field(
        default=channel_told(_DEFAULT.channel),
        ge=CHANNEL_RANGE[0],
        le=CHANNEL_RANGE[1],
        examples=[2],
        description="The accompaniment's MIDI channel.",
    )
    seed: int = Field(
        default=_DEFAULT.seed,
        ge=0,
        le=MOST_SEED,
        examples=[7],
        description="Of the touch's unevenness: the same seed plays the same.",
    )
    follow: Annotated[Follow, Strict(False)] = Field(
        default=_DEFAULT.follow,
        examples=["hands"],
        description="Whom the time follows: none, a MIDI clock, or the hands that play chords.",
    )
    lean: int = Field(
        default=_DEFAULT.lean,
        ge=0,
        le=MOST_LEAN,
        examples=[80],
        description="How closely the time follows the hands: 0 is steady, 100 goes with each "
        "chord.",
    )
    start: Annotated[Start, Strict(False)] = Field(
        default=_DEFAULT.start,
        examples=["downbeat"],
        description="Whether what is struck in a running time comes in with the strike or with "
        "the next downbeat.",
    )
    pickup: int = Field(
        default=_DEFAULT.pickup,
        ge=0,
        le=MOST_PICKUP,
        examples=[1],
        description="How many beats stand before the first downbeat.",
    )
    send_clock: bool = Field(
        default=_DEFAULT.send_clock,
        examples=[True],
        description="Whether MIDI clock goes out with the notes.",
    )
    journals: JournalsForm = Field(
        default_factory=JournalsForm,
        examples=[{"keep": True, "most": 200}],
        description="What is kept of what is played.",
    )
    controls: list[ControlForm] | None = Field(
        default_factory=list,
        max_length=MOST_CONTROLS,
        examples=[[{"press": "controller 20 on channel 1", "do": "style waltz"}]],
        description="Presses that give commands instead of playing. Each press stands once.",
    )


def schema_text() -> str:
    """The JSON Schema of configuration files, as `presets/config.schema.json` holds it."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    schema |= ConfigurationForm.model_json_schema()
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
