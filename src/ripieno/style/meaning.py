"""What makes no musical sense in a style whose form is right, or in the parts that are.

Each part of the file is judged on its own, so that one slip does not hide the others.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import chain
from typing import TypeVar

from pydantic import ValidationError

from ripieno.style.document import (
    FigureForm,
    Form,
    HandForm,
    LaneForm,
    StepForm,
    SuspendForm,
)
from ripieno.style.model import ALWAYS, Begin, Inversion, Meter, Play, Spot, Tone
from ripieno.style.yaml_marks import Complaint, Path

SIDES = ("left", "right")
_NEEDED_TONES = {Inversion.FIRST: 2, Inversion.SECOND: 3, Inversion.THIRD: 4}
# Note values offered in place of one that does not fit, as fractions of a whole note.
_OFFERED = [
    Fraction(n, d)
    for n, d in [(1, 1), (3, 4), (1, 2), (3, 8), (1, 4), (3, 16), (1, 6), (1, 8), (1, 12), (1, 16)]
] + [Fraction(1, 24), Fraction(1, 32)]

# What no check here minds, in place of a value that is not in its form. Only lanes that begin
# with the bar are held against their grid.
_HARMLESS_STEP = Spot.ALL.value
_HARMLESS: dict[str, dict[str, object]] = {
    "around": {"around": 60},
    "every": {"every": "1/4", "begins": "strike"},
    "begins": {"begins": "strike"},
    "repeats": {"repeats": False, "begins": "strike"},
}

F = TypeVar("F", bound=Form)


@dataclass(frozen=True, slots=True)
class _Figure:
    path: Path
    meters: dict[int, Meter]  # by their place in the list
    lanes: dict[str, LaneForm]
    named: frozenset[str]  # the hands it has a lane for, right or wrong


@dataclass(slots=True)
class _Parts:
    """The parts of a style that have their right form."""

    hands: dict[str, HandForm] = field(default_factory=dict)
    figures: list[_Figure] = field(default_factory=list)
    suspend: SuspendForm | None = None
    hands_named: frozenset[str] = frozenset()
    sides_clear: bool = True  # no unknown key stands where a hand's name would


def complaints(data: object) -> list[Complaint]:
    """Everything that makes no sense in the sound parts of `data`."""
    parts = _parts(data)
    hands = [_hand(("hands", side), hand) for side, hand in parts.hands.items()]
    lanes = [
        _lane((*figure.path, side), lane, figure, parts.hands.get(side), side)
        for figure in parts.figures
        for side, lane in figure.lanes.items()
    ]
    return [
        *chain.from_iterable(hands),
        *chain.from_iterable(lanes),
        *_meters_named_again(parts.figures),
        *(_sides(parts) if parts.sides_clear else ()),
        *_suspension(parts),
    ]


def _parts(data: object) -> _Parts:
    parts = _Parts()
    top = _mapping(data)
    hands = _mapping(top.get("hands"))
    parts.hands = _sound_sides(HandForm, hands)
    parts.hands_named = _named(hands)
    parts.suspend = _sound(SuspendForm, top.get("suspend"))
    parts.sides_clear = set(hands) <= set(SIDES)
    figures = top.get("figures")
    for i, entry in enumerate(figures if isinstance(figures, list) else []):
        figure = _mapping(entry)
        parts.sides_clear &= set(figure) <= set(FigureForm.model_fields)
        lanes = _sound_sides(LaneForm, figure)
        meters = _sound_meters(figure.get("meters"))
        parts.figures.append(_Figure(("figures", i), meters, lanes, _named(figure)))
    return parts


def _mapping(data: object) -> Mapping[str, object]:
    return data if isinstance(data, dict) else {}


def _named(data: Mapping[str, object]) -> frozenset[str]:
    return frozenset(side for side in SIDES if data.get(side) is not None)


def _sound(form: type[F], data: object) -> F | None:
    """`data` in its form, unknown keys left out and bad values made harmless; None if it can't.

    A bad value has its own complaint already, and must not bring about others.
    """
    known = {key: value for key, value in _mapping(data).items() if key in form.model_fields}
    try:
        return form.model_validate(known)
    except ValidationError as error:
        locs = [detail["loc"] for detail in error.errors(include_url=False)]
    bad_steps = {loc[1] for loc in locs if loc[0] == "steps" and len(loc) > 1}
    for key in {str(loc[0]) for loc in locs if loc[0] != "steps" or len(loc) == 1}:
        if key in _HARMLESS:
            known |= _HARMLESS[key]
        elif form.model_fields[key].is_required():
            return None
        else:
            del known[key]
    steps = known.get("steps")
    if bad_steps and isinstance(steps, list):
        known["steps"] = [_HARMLESS_STEP if i in bad_steps else s for i, s in enumerate(steps)]
    return form.model_validate(known)


def _sound_sides(form: type[F], data: Mapping[str, object]) -> dict[str, F]:
    read = {side: _sound(form, data[side]) for side in _named(data)}
    return {side: part for side in SIDES if (part := read.get(side)) is not None}


def _sound_meters(data: object) -> dict[int, Meter]:
    meters = {}
    for i, entry in enumerate(data if isinstance(data, list) else []):
        figure = _sound(FigureForm, {"meters": [entry]})
        if figure is not None:
            meters[i] = figure.meters[0]
    return meters


def alternatives_of(hand: HandForm) -> list[list[Tone]]:
    """Each place of a shape as the list of its alternatives."""
    return [entry if isinstance(entry, list) else [entry] for entry in hand.tones]


def _hand(path: Path, hand: HandForm) -> Iterator[Complaint]:
    places = alternatives_of(hand)
    for i, place in enumerate(places):
        yield from _place((*path, "tones", i), place)
    yield from _repeated_places(path, places)
    for i, place in enumerate(places):
        if Tone.OCTAVE in place and (i < len(places) - 1 or i == 0):
            yield Complaint(
                (*path, "tones", i),
                "'octave' doubles the lowest tone above the others; expected it last, after one "
                "tone or more; move it to the end of the list",
            )
    turning = sum(place != [Tone.OCTAVE] for place in places)
    needed = _NEEDED_TONES.get(hand.inversion, 0)
    if turning < needed:
        yield Complaint(
            (*path, "inversion"),
            f"the {hand.inversion} inversion needs {needed} tones besides the octave, and the "
            f"{path[-1]} hand has {turning}; name more tones or choose a lower inversion",
        )


def _place(path: Path, place: list[Tone]) -> Iterator[Complaint]:
    """One place of a shape: alternatives that end with what every chord has, none in vain."""
    for i, tone in enumerate(place):
        if tone in place[:i]:
            yield Complaint((*path, i), f"'{tone}' stands here twice; keep one of them")
        elif tone in ALWAYS and i < len(place) - 1:
            yield Complaint(
                (*path, i),
                f"every chord has '{tone}', so that '{place[i + 1]}' after it is never played; "
                f"put '{tone}' last",
            )
    if place[-1] not in ALWAYS:
        options = ", ".join([*place, Tone.OCTAVE])
        yield Complaint(
            path,
            f"not every chord has '{place[-1]}'; expected root, third, fifth or octave as the "
            f"last alternative; write [{options}] or the like",
        )


def _repeated_places(path: Path, places: list[list[Tone]]) -> Iterator[Complaint]:
    for i, place in enumerate(places):
        if place[0] in (before[0] for before in places[:i]):
            yield Complaint(
                (*path, "tones", i),
                f"'{place[0]}' is in the shape already; expected each tone once; "
                "take it out, or use octave to double the lowest",
            )


def _lane(
    path: Path, lane: LaneForm, figure: _Figure, hand: HandForm | None, side: str
) -> Iterator[Complaint]:
    if lane.begins is Begin.BAR:
        for meter in figure.meters.values():
            yield from _grid(path, lane, meter)
        if not lane.repeats:
            yield Complaint(
                (*path, "repeats"),
                "a lane that begins with the bar goes round; expected `repeats: true`; "
                "add `begins: strike` to play the cycle once",
            )
    yield from _holds((*path, "steps"), lane)
    for i, entry in enumerate(lane.steps):
        yield from _step((*path, "steps", i), entry, hand, side)


def _grid(path: Path, lane: LaneForm, meter: Meter) -> Iterator[Complaint]:
    """A lane that begins with the bar meets every bar line."""
    bar = meter.bar_quarters / 4
    if (bar / lane.every).denominator != 1:
        nearest = sorted(_fitting(bar), key=lambda v: max(v / lane.every, lane.every / v))
        values = ", ".join(f"{v.numerator}/{v.denominator}" for v in sorted(nearest[:4])[::-1])
        yield Complaint(
            (*path, "every"),
            f"'every: {_written(lane.every)}' does not divide a bar of {meter}; use {values}",
        )
        return
    cycle = lane.every * len(lane.steps)
    if (bar / cycle).denominator != 1 and (cycle / bar).denominator != 1:
        yield Complaint(
            (*path, "steps"),
            f"{len(lane.steps)} steps of {_written(lane.every)} neither divide a bar of {meter} "
            f"nor fill whole bars; expected {_counts(int(bar / lane.every))} steps, or a "
            "multiple of the last",
        )


def _fitting(bar: Fraction) -> list[Fraction]:
    return [value for value in _OFFERED if (bar / value).denominator == 1]


def _counts(steps: int) -> str:
    """The cycles that divide a bar of so many steps, the longest four of them."""
    counts = [str(n) for n in range(1, steps + 1) if steps % n == 0][-4:]
    return " or ".join([", ".join(counts[:-1]), counts[-1]] if counts[:-1] else counts)


def _written(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


def _holds(path: Path, lane: LaneForm) -> Iterator[Complaint]:
    """`hold` has something to hold, and nothing outlasts a cycle that goes round."""
    sounding: int | None = None
    lasts: dict[int, int] = {}
    for i, entry in enumerate(lane.steps):
        if entry != "hold":
            sounding = None if entry == "rest" else i
            lasts[i] = entry.lasts if isinstance(entry, StepForm) else 1
        elif sounding is None:
            where = "after a rest" if i else "first in the cycle"
            yield Complaint(
                (*path, i),
                f"'hold' stands {where}, where nothing sounds; expected it after a step that "
                "plays; write rest, or what is to be struck",
            )
        else:
            lasts[sounding] += 1
    for i, count in lasts.items():
        if lane.repeats and count > len(lane.steps):
            entry = lane.steps[i]
            inner = ("lasts",) if isinstance(entry, StepForm) else ()
            yield Complaint(
                (*path, i, *inner),
                f"a step that lasts {count} steps meets itself in a cycle of {len(lane.steps)}; "
                f"expected {len(lane.steps)} or fewer, holds included",
            )


def _step(path: Path, entry: object, hand: HandForm | None, side: str) -> Iterator[Complaint]:
    match entry:
        case "rest" | "hold":
            return
        case StepForm():
            yield from _step((*path, "play"), entry.play, hand, side)
        case list():
            for i, play in enumerate(entry):
                if play in entry[:i]:
                    yield Complaint((*path, i), f"'{play}' stands here twice; keep one of them")
                yield from _step((*path, i), play, hand, side)
        case Spot() | Tone() | int() if hand is not None:
            if trouble := _trouble(entry, hand, side):
                yield Complaint(path, trouble)


def _trouble(play: Play, hand: HandForm, side: str) -> str | None:
    """Why a hand's shape has no such note, if it has none."""
    places = alternatives_of(hand)
    count = len(places)
    notes = f"the {side} hand's shape has {count} {'note' if count == 1 else 'notes'}"
    match play:
        case Tone() if not any(play in place for place in places):
            tones = ", ".join(" or ".join(place) for place in places)
            return (
                f"'{play}' is not in the {side} hand's tones ({tones}); play one of these, or "
                "add it to the hand"
            )
        case Spot.MIDDLE if count not in (3, 5):
            return f"{notes}, and none is the middle; count from the bottom, 1 to {count}"
        case Spot.UPPER if count == 1:
            return f"{notes}, and none is above it; play all, or add a tone to the hand"
        case int() if play > count:
            return f"{notes}, so that there is no {play}; count from the bottom, 1 to {count}"
    return None


def _meters_named_again(figures: list[_Figure]) -> Iterator[Complaint]:
    first: dict[Meter, Path] = {}
    for figure in figures:
        for i, meter in figure.meters.items():
            path = (*figure.path, "meters", i)
            if meter in first:
                yield Complaint(
                    path,
                    f"{meter} is named before, in figure {int(first[meter][1]) + 1}; expected "
                    "each meter once; take one out",
                )
            else:
                first[meter] = path


def _sides(parts: _Parts) -> Iterator[Complaint]:
    """Every lane has a shape, every shape a lane, every figure a hand."""
    used = Counter(chain.from_iterable(figure.named for figure in parts.figures))
    for figure in parts.figures:
        if not figure.named:
            yield Complaint(
                figure.path, "no hand plays in this figure; add `left:` or `right:` to it"
            )
        for side in sorted(figure.named - parts.hands_named):
            yield Complaint(
                (*figure.path, side),
                f"the {side} hand plays here and has no shape; add `{side}:` under `hands:`",
                at_key=True,
            )
    for side in sorted(parts.hands_named):
        if parts.figures and not used[side]:
            yield Complaint(
                ("hands", side),
                f"no figure uses the {side} hand; add `{side}:` to a figure, or take it out here",
                at_key=True,
            )


def _suspension(parts: _Parts) -> Iterator[Complaint]:
    if parts.suspend is None or set(parts.hands) != parts.hands_named or not parts.sides_clear:
        return
    places = chain.from_iterable(alternatives_of(hand) for hand in parts.hands.values())
    thirds = [place for place in places if Tone.THIRD in place]
    if len(thirds) != 1 or thirds[0][0] is not Tone.THIRD:
        found = f"{len(thirds)} tones" if len(thirds) != 1 else "only an alternative"
        yield Complaint(
            ("suspend",),
            f"a suspension resolves into one third, and the hands name {found} third; expected "
            "exactly one tone `third` in both hands together; change `tones:`",
            at_key=True,
        )
