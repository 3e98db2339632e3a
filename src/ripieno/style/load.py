"""The YAML door: style files in, frozen styles out, or every fault with its place.

`style_from_data` and `style_to_data` are the same door for styles inside other files.
"""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.style import meaning, shape
from ripieno.style.document import (
    CatchForm,
    FigureForm,
    HandForm,
    LaneForm,
    StepForm,
    StyleForm,
)
from ripieno.style.model import (
    Catch,
    Figure,
    Hand,
    Lane,
    Play,
    Spot,
    Step,
    Style,
    Suspension,
    Swings,
    Tone,
    Touch,
)
from ripieno.style.values import Suspended
from ripieno.style.yaml_file import FileError, all_faults, read_data, read_text
from ripieno.style.yaml_marks import Complaint, shown

MAX_BYTES = 256 * 1024

_DEGREES = {Suspended.FOURTH: 4, Suspended.SECOND: 2}
_SUSPENDED = {degree: tone for tone, degree in _DEGREES.items()}


class StyleError(FileError):
    """A style file with `faults`, in the order of the file: one line each."""


def load_style(path: Path) -> Style:
    """The style in a file. Raises StyleError with all its faults, AuthorError if unreadable."""
    text = read_text(path, MAX_BYTES, "a style, which is small", StyleError)
    marked = read_data(path, text, StyleError)
    form, complaints = _judge(marked.data)
    faults = all_faults(marked, complaints)
    if form is None or faults:
        raise StyleError(path, faults)
    return _style(form, path.stem)


def style_from_data(data: object, id: str) -> Style:  # noqa: A002 - as the model calls it
    """The style that a file's plain data describes. Raises AuthorError, one line a fault."""
    form, complaints = _judge(data)
    if form is None or complaints:
        raise AuthorError(
            "\n".join(
                f"style {shown(id)}: {'.'.join(map(str, c.path)) or 'the whole'}: {c.message}"
                for c in complaints
            )
        )
    return _style(form, id)


def style_to_data(style: Style) -> dict[str, object]:
    """JSON-ready data from which `style_from_data` builds the same style. `id` stays out."""
    data: dict[str, object] = {
        "name": style.name,
        "use": style.use,
        "suits": list(style.suits),
        "hands": {
            side: _hand_data(hand)
            for side, hand in (("left", style.left), ("right", style.right))
            if hand is not None
        },
        "figures": [_figure_data(figure) for figure in style.figures],
        "pedal": style.pedal.value,
        "touch": {
            "left": style.touch.left,
            "right": style.touch.right,
            "top": style.touch.top,
            "unevenness": style.touch.unevenness,
        },
        "swing": style.swings.name.lower(),
        "catch": {
            "late": style.catch.late_ms,
            "early": style.catch.early_ms,
            "part": _fraction(style.catch.part),
        },
    }
    if style.suspension is not None:
        data["suspend"] = {
            "tone": _SUSPENDED[style.suspension.degree].value,
            "lasts": _note_value(style.suspension.lasts_quarters),
        }
    return data


def _judge(data: object) -> tuple[StyleForm | None, list[Complaint]]:
    form, complaints = shape.read_form(data)
    return form, complaints + meaning.complaints(data)


def _style(form: StyleForm, id: str) -> Style:  # noqa: A002 - as the model calls it
    return Style(
        id=id,
        name=form.name,
        use=form.use,
        suits=tuple(suit.value for suit in form.suits),
        left=_hand(form.hands.left) if form.hands.left else None,
        right=_hand(form.hands.right) if form.hands.right else None,
        figures=tuple(_figure(figure) for figure in form.figures),
        suspension=Suspension(_DEGREES[form.suspend.tone], form.suspend.lasts * 4)
        if form.suspend
        else None,
        pedal=form.pedal,
        touch=Touch(**form.touch.model_dump()),
        swings=Swings[form.swing.upper()],
        catch=_catch(form.catch),
    )


def _catch(form: CatchForm) -> Catch:
    return Catch(float(form.late), float(form.early), form.part)


def _hand(form: HandForm) -> Hand:
    tones = tuple(tuple(place) for place in meaning.alternatives_of(form))
    return Hand(tones, form.inversion, form.around)


def _figure(form: FigureForm) -> Figure:
    return Figure(
        tuple(form.meters),
        _lane(form.left) if form.left else None,
        _lane(form.right) if form.right else None,
    )


def _lane(form: LaneForm) -> Lane:
    return Lane(
        every_quarters=form.every * 4,
        steps=_steps(form),
        begins=form.begins,
        length=form.length,
        roll_ms=float(form.roll),
        repeats=form.repeats,
    )


def _steps(form: LaneForm) -> tuple[Step, ...]:
    """One step for each place; a hold is an empty one that lengthens the step before it."""
    steps: list[Step] = []
    sounding = 0
    for entry in form.steps:
        if entry == "hold":
            steps[sounding] = replace(steps[sounding], lasts=steps[sounding].lasts + 1)
            steps.append(Step())
        else:
            sounding = len(steps)
            steps.append(_step(entry))
    return tuple(steps)


def _step(entry: object) -> Step:
    match entry:
        case "rest":
            return Step()
        case StepForm():
            return Step(_plays(entry.play), entry.lasts, entry.accent)
        case Spot() | Tone() | int() | list():
            return Step(_plays(entry))
        case _:
            raise AssertionError(f"no form of a step: {entry!r}")


def _plays(entry: Play | list[Play]) -> tuple[Play, ...]:
    return tuple(entry) if isinstance(entry, list) else (entry,)


def _hand_data(hand: Hand) -> dict[str, object]:
    return {
        "tones": [[tone.value for tone in place] for place in hand.tones],
        "inversion": hand.inversion.value,
        "around": hand.around,
    }


def _figure_data(figure: Figure) -> dict[str, object]:
    data: dict[str, object] = {"meters": [str(meter) for meter in figure.meters]}
    lanes = (("left", figure.left), ("right", figure.right))
    return data | {side: _lane_data(lane) for side, lane in lanes if lane is not None}


def _lane_data(lane: Lane) -> dict[str, object]:
    return {
        "every": _note_value(lane.every_quarters),
        "begins": lane.begins.value,
        "repeats": lane.repeats,
        "length": _fraction(lane.length),
        "roll": lane.roll_ms,
        "steps": [_step_data(step) for step in lane.steps],
    }


def _step_data(step: Step) -> object:
    if not step.plays:
        return "rest"
    plays = [play if isinstance(play, int) else play.value for play in step.plays]
    return {"play": plays, "lasts": step.lasts, "accent": step.accent}


def _note_value(quarters: Fraction) -> str:
    return _fraction(quarters / 4)


def _fraction(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"
