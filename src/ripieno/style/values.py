"""The values that stand in a style file: note values, meters, notes, tones, steps.

Each is a type for `style.document`: how it is read, what is said when it cannot be, and its
JSON Schema. What is not in its form is refused with the error type `expected`, whose message
completes "expected ...".
"""

import re
from collections.abc import Callable
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    Discriminator,
    Field,
    PlainValidator,
    Strict,
    Tag,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from ripieno.errors import AuthorError
from ripieno.style.model import METER, METERS, Meter, Play, Spot, Tone, meter_named
from ripieno.theory.pitch import PIANO_HIGHEST, PIANO_LOWEST, note_named

# Bounds of our choice: far outside what anyone plays, near enough to catch slips.
SHORTEST_EVERY, LONGEST_EVERY = Fraction(1, 96), Fraction(8)  # of a whole note
MAX_STEPS = 256
MAX_ROLL_MS = 120
MAX_CATCH_MS = 200
MAX_CATCH_PART = Fraction(1, 2)  # of a step; see `model.Catch`
MAX_FINGERS = 5

PLAY_WORDS: dict[str, Play] = {word.value: word for kind in (Spot, Tone) for word in kind}

_FRACTION = re.compile(r"([1-9][0-9]{0,2})/([1-9][0-9]{0,2})")
_FRACTION_SCHEMA = {"type": "string", "pattern": f"^{_FRACTION.pattern}$"}
_EVERY_EXPECTED = (
    f"a note value from {SHORTEST_EVERY} to {LONGEST_EVERY}/1 as a fraction of a whole note, "
    "1/4 being a quarter and 1/12 a triplet eighth"
)
_PLAY_EXPECTED = f"one of {', '.join(PLAY_WORDS)}, or a number from 1 to {MAX_FINGERS}"


class Suits(StrEnum):
    """Whom a style serves."""

    GIG = "gig"
    LEARNER = "learner"
    STUDIO = "studio"


class Suspended(StrEnum):
    """The tone that waits in place of the third: above it or below."""

    FOURTH = "fourth"
    SECOND = "second"


def _refused(expected: str) -> PydanticCustomError:
    return PydanticCustomError("expected", "{expected}", {"expected": expected})


def _fraction(value: object) -> Fraction | None:
    match = _FRACTION.fullmatch(value) if isinstance(value, str) else None
    return Fraction(int(match[1]), int(match[2])) if match else None


def _note_value(value: object) -> Fraction:
    fraction = _fraction(value)
    if fraction is None or not SHORTEST_EVERY <= fraction <= LONGEST_EVERY:
        raise _refused(_EVERY_EXPECTED)
    return fraction


def _part_up_to(most: Fraction, such_as: str) -> Callable[[object], Fraction]:
    """What reads a part of something: above 0 and up to `most`, a number or a fraction."""

    def part(value: object) -> Fraction:
        if isinstance(value, int | float) and not isinstance(value, bool) and 0 < value <= most:
            fraction: Fraction | None = Fraction(value).limit_denominator(999)
        else:
            fraction = _fraction(value)
        if fraction is None or not 0 < fraction <= most:
            expected = f"a number above 0 and up to {most}, or a fraction such as {such_as}"
            raise _refused(expected)
        return fraction

    return part


def _part_schema(most: float) -> dict[str, Any]:
    limits = {"type": "number", "exclusiveMinimum": 0, "maximum": most}
    return {"anyOf": [limits, _FRACTION_SCHEMA]}


def _meter(value: object) -> Meter:
    try:
        return meter_named(value if isinstance(value, str) else "")
    except ValueError:
        expected = f"a meter, {METERS}, such as 3/4 or 6/8"
        raise _refused(expected) from None


def _around(value: object) -> int:
    expected = f"a note of the piano, A0 to C8, by name or as {PIANO_LOWEST} to {PIANO_HIGHEST}"
    if not isinstance(value, int | str):
        raise _refused(expected)
    try:
        note = note_named(str(value))
    except AuthorError:
        raise _refused(expected) from None
    if not PIANO_LOWEST <= note <= PIANO_HIGHEST:
        raise _refused(expected)
    return note


def _play(value: object) -> Play:
    if isinstance(value, str) and value in PLAY_WORDS:
        return PLAY_WORDS[value]
    if type(value) is int and 1 <= value <= MAX_FINGERS:
        return value
    raise _refused(_PLAY_EXPECTED)


def _step_word(value: object) -> Play | Literal["rest", "hold"]:
    if value == "rest" or value == "hold":
        return value
    try:
        return _play(value)
    except PydanticCustomError:
        raise _refused(f"rest, hold, {_PLAY_EXPECTED}, a list of those, or `play: ...`") from None


def _one_line(value: str) -> str:
    if not value.isprintable() or not value.strip():
        raise _refused("one line of printable text")
    return value


def _each_once(value: list[Suits]) -> list[Suits]:
    if len(set(value)) < len(value):
        raise _refused("each of them once")
    return value


def kind_of(value: object) -> str:
    """Which of a union's tagged types a value is meant for."""
    match value:
        case list():
            return "list"
        case dict():
            return "mapping"
        case _:
            return "word"


_PLAY_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"enum": list(PLAY_WORDS)},
        {"type": "integer", "minimum": 1, "maximum": MAX_FINGERS},
    ]
}
_STEP_SCHEMA: dict[str, Any] = {
    "anyOf": [{"enum": ["rest", "hold", *PLAY_WORDS]}, _PLAY_SCHEMA["anyOf"][1]]
}

_LIST_OR_WORD = Discriminator(lambda value: "list" if isinstance(value, list) else "word")

Line = Annotated[str, AfterValidator(_one_line)]
NoteValue = Annotated[Fraction, PlainValidator(_note_value), WithJsonSchema(_FRACTION_SCHEMA)]
Length = Annotated[
    Fraction, PlainValidator(_part_up_to(Fraction(1), "3/4")), WithJsonSchema(_part_schema(1))
]
CatchPart = Annotated[
    Fraction,
    PlainValidator(_part_up_to(MAX_CATCH_PART, "1/3")),
    WithJsonSchema(_part_schema(float(MAX_CATCH_PART))),
]
CatchMs = Annotated[float, Field(ge=0, le=MAX_CATCH_MS, allow_inf_nan=False)]
MeterName = Annotated[
    Meter,
    PlainValidator(_meter),
    WithJsonSchema({"type": "string", "pattern": f"^{METER.pattern}$"}),
]
NoteName = Annotated[
    int,
    PlainValidator(_around),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": PIANO_LOWEST, "maximum": PIANO_HIGHEST},
                {"type": "string", "pattern": "^[A-Ga-g](#{1,2}|b{1,2}|♯|♭)?[0-8]$"},
            ]
        }
    ),
]
PlayWord = Annotated[Play, PlainValidator(_play), WithJsonSchema(_PLAY_SCHEMA)]
ToneWord = Annotated[Tone, Strict(False)]
Plays = Annotated[
    Annotated[PlayWord, Tag("word")]
    | Annotated[list[PlayWord], Field(min_length=1, max_length=MAX_FINGERS), Tag("list")],
    _LIST_OR_WORD,
]
Alternatives = Annotated[
    Annotated[ToneWord, Tag("word")]
    | Annotated[list[ToneWord], Field(min_length=1, max_length=len(Tone)), Tag("list")],
    _LIST_OR_WORD,
]
Level = Annotated[int, Field(ge=-64, le=64)]
StepWord = Annotated[
    Play | Literal["rest", "hold"], PlainValidator(_step_word), WithJsonSchema(_STEP_SCHEMA)
]
SuitsList = Annotated[
    list[Annotated[Suits, Strict(False)]],
    AfterValidator(_each_once),
    Field(min_length=1, max_length=len(Suits), json_schema_extra={"uniqueItems": True}),
]
