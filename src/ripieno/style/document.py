"""The form of a style file: its keys, their types, ranges and meaning, for authors.

The descriptions here are what an editor shows, through `presets/style.schema.json`. What
makes no musical sense though its form is right is told by `style.meaning`.
"""

import json
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Strict,
    Tag,
)

from ripieno.style.model import USUAL_CATCH, Begin, Inversion, Pedal
from ripieno.style.values import (
    MAX_FINGERS,
    MAX_ROLL_MS,
    MAX_STEPS,
    Alternatives,
    CatchMs,
    CatchPart,
    Length,
    Level,
    Line,
    MeterName,
    NoteName,
    NoteValue,
    Plays,
    PlayWord,
    StepWord,
    SuitsList,
    Suspended,
    kind_of,
)


class Form(BaseModel):
    """A mapping of a style file. Keys it does not name are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class HandForm(Form):
    """The shape of a hand: which chord tones it holds, and where."""

    tones: list[Alternatives] = Field(
        min_length=1,
        max_length=MAX_FINGERS,
        examples=[["root", "third", "fifth"]],
        description="The tones from the bottom up in root position, 1 to 5. Each is a tone or "
        "a list of alternatives, of which the first that the chord has is played: "
        "[seventh, octave]. root, third, fifth and octave are in every chord; sixth, seventh "
        "and ninth need an alternative that is.",
    )
    inversion: Annotated[Inversion, Strict(False)] = Field(
        default=Inversion.ROOT,
        examples=["second"],
        description="Which tone is lowest, or nearest: the inversion that moves the hand least.",
    )
    around: NoteName = Field(
        examples=["C4"],
        description="The note near which the middle of the hand lies: a name, C4 being middle "
        "C, or a number from 21 to 108.",
    )


class HandsForm(Form):
    """The shapes of the hands that play. A hand left out is silent."""

    left: HandForm | None = Field(
        default=None,
        examples=[{"tones": ["root", "octave"], "around": "C3"}],
        description="The left hand's shape.",
    )
    right: HandForm | None = Field(
        default=None,
        examples=[{"tones": ["root", "third", "fifth"], "around": "C5"}],
        description="The right hand's shape.",
    )


class StepForm(Form):
    """A step with its duration or accent."""

    play: Plays = Field(
        examples=["bottom"],
        description="What is struck: a spot (bottom, middle, top, upper, all), a tone, a number "
        "from 1 to 5 counted from the bottom, or a list of these.",
    )
    lasts: int = Field(
        default=1,
        ge=1,
        le=MAX_STEPS,
        examples=[2],
        description="How many steps of the grid the notes stay down.",
    )
    accent: int = Field(
        default=0,
        ge=-127,
        le=127,
        examples=[8],
        description="Added to the velocity of these notes.",
    )


StepEntry = Annotated[
    Annotated[StepWord, Tag("word")]
    | Annotated[list[PlayWord], Field(min_length=1, max_length=MAX_FINGERS), Tag("list")]
    | Annotated[StepForm, Tag("mapping")],
    Discriminator(kind_of),
]


class LaneForm(Form):
    """The rhythm of one hand: a grid and a cycle of steps on it."""

    every: NoteValue = Field(
        examples=["1/8"],
        description="The grid: one step each so often, as a fraction of a whole note. 1/4 is a "
        "quarter, 1/8 an eighth, 1/12 a triplet eighth, 3/8 a dotted quarter.",
    )
    begins: Annotated[Begin, Strict(False)] = Field(
        default=Begin.BAR,
        examples=["strike"],
        description="When the cycle starts: with the bar, or anew with each chord struck.",
    )
    repeats: bool = Field(
        default=True,
        examples=[True],
        description="Whether the cycle goes round. Only a lane that begins with the strike may "
        "say false: what its last step struck then stays down until the next chord.",
    )
    length: Length = Field(
        default=Fraction(1),
        examples=["3/4"],
        json_schema_extra={"default": 1},
        description="The part of its steps that a note stays down, above 0 and up to 1, which "
        "joins it to the next: a number or a fraction.",
    )
    roll: float = Field(
        default=0,
        ge=0,
        le=MAX_ROLL_MS,
        allow_inf_nan=False,
        examples=[30],
        description="Milliseconds between the notes of one step, from the lowest up; 0 strikes "
        "them together.",
    )
    steps: list[StepEntry] = Field(
        min_length=1,
        max_length=MAX_STEPS,
        examples=[["bottom", "hold", "top", "hold"]],
        description="The cycle, one entry for each place of the grid: rest; hold, which keeps "
        "the step before it down; a spot (bottom, middle, top, upper, all); a tone (root, third, "
        "fifth, octave, sixth, seventh, ninth); a number from 1 to 5 counted from the bottom; a "
        "list of these struck together; or {play: ..., lasts: N, accent: N}.",
    )


class FigureForm(Form):
    """What the hands do in the meters named."""

    meters: list[MeterName] = Field(
        min_length=1,
        max_length=32,
        examples=[["4/4", "2/4"]],
        json_schema_extra={"uniqueItems": True},
        description="The meters that this figure serves, 1 to 32 over 2, 4, 8 or 16.",
    )
    left: LaneForm | None = Field(
        default=None,
        examples=[{"every": "1/4", "steps": ["bottom"]}],
        description="What the left hand plays.",
    )
    right: LaneForm | None = Field(
        default=None,
        examples=[{"every": "1/8", "steps": ["all"]}],
        description="What the right hand plays.",
    )


class SuspendForm(Form):
    """A tone that waits in place of the third when a chord arrives, then resolves into it."""

    tone: Annotated[Suspended, Strict(False)] = Field(
        examples=["fourth"],
        description="fourth resolves down into the third, second resolves up.",
    )
    lasts: NoteValue = Field(
        examples=["1/2"],
        description="How long it waits, as a fraction of a whole note.",
    )


class TouchForm(Form):
    """How the player's velocity becomes each note's, in MIDI velocity units."""

    left: Level = Field(
        default=0, examples=[-8], description="Added to the left hand's notes, -64 to 64."
    )
    right: Level = Field(
        default=0, examples=[4], description="Added to the right hand's notes, -64 to 64."
    )
    top: Level = Field(
        default=0,
        examples=[6],
        description="Added to the highest note of the right hand, -64 to 64.",
    )
    unevenness: int = Field(
        default=0,
        ge=0,
        le=20,
        examples=[3],
        description="The most by which a note's velocity strays by itself, 0 to 20.",
    )


class CatchForm(Form):
    """How far from its step a chord may come and still belong to it."""

    late: CatchMs = Field(
        default=USUAL_CATCH.late_ms,
        examples=[50],
        description="Milliseconds, 0 to 200: a chord that comes no later than this after a step "
        "puts right what the step struck. Later than that it waits for the next.",
    )
    early: CatchMs = Field(
        default=USUAL_CATCH.early_ms,
        examples=[40],
        description="Milliseconds, 0 to 200: a chord that comes no earlier than this before a "
        "beat belongs to it. It sounds at once; a lane that begins with the strike counts from "
        "the beat.",
    )
    part: CatchPart = Field(
        default=USUAL_CATCH.part,
        examples=["1/3"],
        json_schema_extra={"default": "1/2"},
        description="Neither reaches further than this part of a step, above 0 and up to 1/2: a "
        "number or a fraction.",
    )


class StyleForm(Form):
    """An accompaniment style: the shape of each hand, and its rhythm in each meter."""

    model_config = ConfigDict(title="Style")

    name: Line = Field(
        max_length=80, examples=["Waltz"], description="The name that people see, one line."
    )
    use: Line = Field(
        max_length=200,
        examples=["Dances in three."],
        description="One sentence that says when to use it.",
    )
    suits: SuitsList = Field(
        examples=[["gig", "learner"]],
        json_schema_extra={"uniqueItems": True},
        description="Whom it serves: at least one of gig, learner and studio.",
    )
    hands: HandsForm = Field(
        examples=[{"right": {"tones": ["root", "third", "fifth"], "around": "C5"}}],
        description="The shape of each hand that plays.",
    )
    figures: list[FigureForm] = Field(
        min_length=1,
        max_length=64,
        examples=[[{"meters": ["4/4"], "right": {"every": "1/4", "steps": ["all"]}}]],
        description="The rhythms, each for the meters it names. In a meter that none names, the "
        "first is played.",
    )
    suspend: SuspendForm | None = Field(
        default=None,
        examples=[{"tone": "fourth", "lasts": "1/2"}],
        description="Delays the third of each chord. Exactly one tone of both hands must then "
        "be the third.",
    )
    pedal: Annotated[Pedal, Strict(False)] = Field(
        default=Pedal.LEGATO,
        examples=["legato"],
        description="The sustain pedal: legato changes it with each chord; none leaves it alone.",
    )
    touch: TouchForm = Field(
        default_factory=TouchForm,
        examples=[{"left": -8, "top": 6, "unevenness": 3}],
        description="The balance of hands and notes.",
    )
    swing: Literal["none", "eighths", "sixteenths"] = Field(
        default="none",
        examples=["eighths"],
        description="Which pairs of notes swing when the player asks for swing.",
    )
    catch: CatchForm = Field(
        default_factory=CatchForm,
        examples=[{"late": 50, "part": "1/3"}],
        description="How far from its step a chord may come, early or late.",
    )


def schema_text() -> str:
    """The JSON Schema of style files, as `presets/style.schema.json` holds it."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return json.dumps(schema | StyleForm.model_json_schema(), indent=2, ensure_ascii=False) + "\n"
