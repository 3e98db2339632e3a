"""The YAML door: style files in, frozen styles out, or every fault with its place.

`style_from_data` and `style_to_data` are the same door for styles inside other files.
"""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.style import meaning, shape
from ripieno.style.document import (
    FigureForm,
    HandForm,
    LaneForm,
    StepForm,
    StyleForm,
)
from ripieno.style.model import (
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
from ripieno.style.yaml_marks import (
    BrokenError,
    Complaint,
    Fault,
    place_at,
    read_marked,
    shown,
    unprintable,
)

MAX_BYTES = 256 * 1024
MAX_FAULTS = 100  # of one file

_DEGREES = {Suspended.FOURTH: 4, Suspended.SECOND: 2}
_SUSPENDED = {degree: tone for tone, degree in _DEGREES.items()}


class StyleError(AuthorError):
    """A style file with `faults`, in the order of the file: one line each."""

    def __init__(self, path: Path, faults: list[Fault]) -> None:
        self.path = path
        self.faults = tuple(sorted(set(faults))[:MAX_FAULTS])
        super().__init__("\n".join(f"{path}:{f.line}:{f.column}: {f.message}" for f in self.faults))


def load_style(path: Path) -> Style:
    """The style in a file. Raises StyleError with all its faults, AuthorError if unreadable."""
    text = _text(path, _bytes(path))
    bad = unprintable(text)
    if bad is not None:
        raise StyleError(path, [bad])
    try:
        marked = read_marked(text)
    except BrokenError as error:
        raise StyleError(path, error.faults) from None
    form, complaints = _judge(marked.data)
    known = {(fault.line, fault.column) for fault in marked.faults}
    located = [marked.locate(complaint) for complaint in complaints]
    faults = marked.faults + [f for f in located if (f.line, f.column) not in known]
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
    }
    if style.suspension is not None:
        data["suspend"] = {
            "tone": _SUSPENDED[style.suspension.degree].value,
            "lasts": _note_value(style.suspension.lasts_quarters),
        }
    return data


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise AuthorError(f"{path}: there is no such file; check its name") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise AuthorError(f"{shown(str(path))}: cannot be read ({error})") from None
    if len(data) > MAX_BYTES:
        found = f"the file has more than {MAX_BYTES // 1024} KiB; expected a style, which is small"
        raise StyleError(path, [Fault(1, 1, found)])
    return data


def _text(path: Path, data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        place = place_at(before, len(before))
        found = f"found the byte 0x{data[error.start]:02X}; expected UTF-8 text; save it as UTF-8"
        raise StyleError(path, [Fault(*place, found)]) from None


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
    )


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
        "length": f"{lane.length.numerator}/{lane.length.denominator}",
        "roll": lane.roll_ms,
        "steps": [_step_data(step) for step in lane.steps],
    }


def _step_data(step: Step) -> object:
    if not step.plays:
        return "rest"
    plays = [play if isinstance(play, int) else play.value for play in step.plays]
    return {"play": plays, "lasts": step.lasts, "accent": step.accent}


def _note_value(quarters: Fraction) -> str:
    value = quarters / 4
    return f"{value.numerator}/{value.denominator}"
