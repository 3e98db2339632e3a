"""A bar's steps: read from the daemon's answer, fingered, walked through, drawn as a grid.

Positions and lengths are counted in quarters from the beginning of the cycle. A moment is a
place where at least one hand strikes.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache

from rich.style import Style
from textual.strip import Strip

from ripieno.dashboard.keyboard import CHIP, SIGN, strip_of
from ripieno.errors import AuthorError
from ripieno.theory.hand import OCTAVE, Side, fingering
from ripieno.theory.pitch import HIGHEST, LOWEST, note_name

LABEL = 9  # columns before the grid
SPEEDS = (25, 33, 50, 60, 70, 80, 90, 100)  # per cent of the tempo, for practising

_REVERSE = Style(reverse=True)
_FINEST = 96  # parts of a quarter; the wire's floats are fractions no finer than this
_FINGERS = 5
_WIDEST = 16  # columns of the finest step; our choice, wider tears the row apart

Sides = Mapping[Side, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Step:
    """One hand strikes `notes`, ascending, at a place, and holds them for so long."""

    at: Fraction
    side: Side
    notes: tuple[int, ...]
    lasts: Fraction


@dataclass(frozen=True, slots=True)
class Position:
    """What a hand reaches without moving, from one place on, and the finger of each note."""

    since: Fraction
    fingers: Mapping[int, int]


@dataclass(frozen=True, eq=False)
class Figure:
    """A cycle of steps on a chord, of one bar or several. All lengths are above 0."""

    chord: str
    quarters: Fraction
    beat_quarters: Fraction
    bar_quarters: Fraction
    steps: tuple[Step, ...]

    @cached_property
    def moments(self) -> tuple[Fraction, ...]:
        return tuple(sorted({step.at for step in self.steps}))

    @cached_property
    def notes(self) -> frozenset[int]:
        return frozenset(note for step in self.steps for note in step.notes)

    @cached_property
    def positions(self) -> Mapping[Side, tuple[Position, ...]]:
        return {side: tuple(_positions(self.of(side), side)) for side in Side}

    def of(self, side: Side) -> list[Step]:
        return sorted((s for s in self.steps if s.side is side), key=lambda step: step.at)

    def struck(self, at: Fraction) -> Sides:
        """What each hand strikes at a moment."""
        return {side: _all_notes([s for s in self.of(side) if s.at == at]) for side in Side}

    def held(self, at: Fraction) -> Sides:
        """What each hand holds at a place from earlier in the cycle."""
        return {
            side: _all_notes([s for s in self.of(side) if s.at < at < s.at + s.lasts])
            for side in Side
        }

    def moment_before(self, at: Fraction) -> int:
        """The number of the last moment that is no later; before the first, the last of all."""
        return sum(moment <= at for moment in self.moments) - 1

    def to_next(self, index: int) -> Fraction:
        """Quarters from one moment to the next, round the cycle's end."""
        following = (*self.moments, self.moments[0] + self.quarters)
        return following[index % len(self.moments) + 1] - following[index % len(self.moments)]

    def finger(self, side: Side, note: int, at: Fraction) -> int | None:
        """The finger that has a note at a place; None for a hand with more notes than fingers."""
        having = [p for p in self.positions[side] if note in p.fingers]
        if not having:
            return None
        before = [position for position in having if position.since <= at]
        return (before or having)[-1].fingers[note]


@dataclass(frozen=True, slots=True)
class Practice:
    """Where in the bar a player is, and how fast it goes round if it does."""

    index: int = 0  # of the moment
    speed: int = 100  # per cent, one of SPEEDS
    looping: bool = False

    def stepped(self, figure: Figure, by: int) -> "Practice":
        return replace(self, index=(self.index + by) % len(figure.moments))

    def paced(self, by: int) -> "Practice":
        place = min(max(SPEEDS.index(self.speed) + by, 0), len(SPEEDS) - 1)
        return replace(self, speed=SPEEDS[place])

    def seconds(self, figure: Figure, bpm: float) -> float:
        """From this moment to the next, at the slowed tempo."""
        quarters = figure.to_next(self.index)
        return float(quarters / figure.beat_quarters) * 60 / (bpm * self.speed / 100)


def _all_notes(steps: Sequence[Step]) -> tuple[int, ...]:
    return tuple(sorted({note for step in steps for note in step.notes}))


def _positions(steps: Sequence[Step], side: Side) -> Iterator[Position]:
    """The steps of one hand, in groups for which it need not move.

    A group grows while five fingers and an octave suffice (or the widest of the steps, if that
    is more). So a broken chord is fingered as the chord is, as teachers print it.
    """
    reach = max([OCTAVE, *(step.notes[-1] - step.notes[0] for step in steps)])
    since, group = Fraction(0), set[int]()
    for step in steps:
        joined = group | set(step.notes)
        if group and (len(joined) > _FINGERS or max(joined) - min(joined) > reach):
            yield _position(since, group, side)
            since, joined = step.at, set(step.notes)
        group = joined
    if group:
        yield _position(since, group, side)


def _position(since: Fraction, group: set[int], side: Side) -> Position:
    notes = tuple(sorted(group))
    fingers = fingers_of(notes, side)
    return Position(since, dict(zip(notes, fingers, strict=False)))


def fingers_of(notes: tuple[int, ...], side: Side) -> tuple[int, ...]:
    """One finger a note; none at all if there are more notes than fingers."""
    return fingering(notes, side) if 0 < len(notes) <= _FINGERS else ()


def beat_words(figure: Figure, at: Fraction) -> str:
    """`beat 2` on the beat, `after beat 2` between it and the next; the bar where there are two."""
    bar, inside = divmod(at, figure.bar_quarters)
    beats, rest = divmod(inside, figure.beat_quarters)
    words = f"{'after ' if rest else ''}beat {beats + 1}"
    return words if figure.quarters <= figure.bar_quarters else f"bar {bar + 1}, {words}"


def figure_from(answer: Mapping[str, object], bar_quarters: float) -> Figure:
    """The figure of a daemon's answer; the bar is the status's. Raises AuthorError, one line."""
    steps = answer.get("steps")
    if not isinstance(steps, list):
        raise _unreadable("'steps'", "a list")
    chord = answer.get("chord")
    if not isinstance(chord, str):
        raise _unreadable("'chord'", "a text")
    quarters, beat = _place(answer, "quarters"), _place(answer, "beat_quarters")
    if min(quarters, beat) <= 0:
        raise _unreadable("the length of the bar or the beat", "more than 0")
    bar = Fraction(bar_quarters).limit_denominator(_FINEST) or quarters
    return Figure(chord, quarters, beat, bar, tuple([_step(step, quarters) for step in steps]))


def _step(data: object, quarters: Fraction) -> Step:
    if not isinstance(data, Mapping):
        raise _unreadable("a step", "an object")
    at, lasts, notes = _place(data, "at"), _place(data, "lasts"), data.get("notes")
    if at >= quarters:
        raise _unreadable("'at' of a step", f"less than the figure's {float(quarters):g} quarters")
    if data.get("hand") not in list(Side):
        raise _unreadable("'hand' of a step", "left or right")
    if not isinstance(notes, list) or not notes or not all(map(_is_note, notes)):
        raise _unreadable("'notes' of a step", f"a list of numbers from {LOWEST} to {HIGHEST}")
    return Step(at, Side(str(data["hand"])), tuple(sorted(set(notes))), lasts)


def _is_note(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and LOWEST <= value <= HIGHEST


def _place(data: Mapping[str, object], name: str) -> Fraction:
    value = data.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e4:
        raise _unreadable(f"'{name}'", "a number of quarters")
    return Fraction(value).limit_denominator(_FINEST)


def _unreadable(what: str, expected: str) -> AuthorError:
    return AuthorError(
        f"the daemon's figure cannot be read: {what} should be {expected}; "
        "are daemon and dashboard of one version?"
    )


@dataclass(frozen=True, slots=True)
class Scale:
    """Which part of the cycle is drawn, and how many columns a quarter has."""

    since: Fraction
    until: Fraction
    per_quarter: Fraction

    @classmethod
    def of(cls, figure: Figure, width: int, at: Fraction) -> "Scale":
        """As much as fits, in whole beats, or bars, around a place; each step in a column."""
        finest = Fraction(
            1, math.lcm(*(m.denominator for m in (*figure.moments, figure.beat_quarters)))
        )
        columns = min(_WIDEST, int(width * finest / figure.quarters))
        if columns:
            return cls(Fraction(0), figure.quarters, columns / finest)
        page = int(width * finest / figure.beat_quarters) * figure.beat_quarters
        page = page // figure.bar_quarters * figure.bar_quarters or page or figure.beat_quarters
        since = at // page * page
        return cls(since, min(since + page, figure.quarters), min(1 / finest, width / page))

    def column(self, at: Fraction) -> int:
        return int((at - self.since) * self.per_quarter)

    @property
    def columns(self) -> int:
        return self.column(self.until)

    def shows(self, at: Fraction) -> bool:
        return self.since <= at < self.until


def grid(
    figure: Figure, width: int, height: int, cursor: Fraction | None = None, centre: int = 1
) -> tuple[Strip, ...]:
    """The beats above, then a row for each note, the highest on top, then the cursor.

    Where there is no room for that, one row for each hand. A number is the finger that strikes;
    a disc several notes at once; a line as long as they are held.
    """
    scale = Scale.of(figure, width - LABEL - 1, Fraction(0) if cursor is None else cursor)
    column = scale.column(cursor) if cursor is not None and scale.shows(cursor) else None
    return _grid(figure, scale, height, column, centre)


@lru_cache(maxsize=256)  # the cursor comes back to the same columns in each bar
def _grid(
    figure: Figure, scale: Scale, height: int, cursor: int | None, centre: int
) -> tuple[Strip, ...]:
    ruler, *rows = _rows(figure, scale, height, centre)
    if cursor is not None:
        rows = [_reversed_at(row, LABEL + cursor) for row in rows]
    return ruler, *rows, _pointer(scale, cursor)


def _reversed_at(row: Strip, column: int) -> Strip:
    if row.cell_length <= column:
        return row
    here = row.crop(column, column + 1).apply_style(_REVERSE)
    return Strip.join([row.crop(0, column), here, row.crop(column + 1)])


@lru_cache(maxsize=32)
def _rows(figure: Figure, scale: Scale, height: int, centre: int) -> tuple[Strip, ...]:
    rows = _note_rows(figure)
    if len(rows) + 2 > height:
        rows = [(side, None) for side in (Side.RIGHT, Side.LEFT)]
    drawn = [_row(figure, scale, side, note, centre) for side, note in rows]
    if 2 * len(rows) + 3 <= height:  # as far apart as the room allows reads best from afar
        drawn = [line for row in drawn for line in (row, Strip.blank(0))]
    return _ruler(figure, scale), *drawn


def _note_rows(figure: Figure) -> list[tuple[Side, int | None]]:
    return [
        (side, note)
        for side in (Side.RIGHT, Side.LEFT)
        for note in reversed(_all_notes(figure.of(side)))
    ]


def _beats(figure: Figure, scale: Scale) -> Iterator[tuple[int, int]]:
    """The column of each beat that is drawn, and its number in the bar."""
    for count in range(math.ceil(figure.quarters / figure.beat_quarters)):
        at = count * figure.beat_quarters
        if scale.shows(at):
            yield scale.column(at), int(at % figure.bar_quarters / figure.beat_quarters) + 1


def _ruler(figure: Figure, scale: Scale) -> Strip:
    cells = [(" ", "")] * (scale.columns + 1)
    for column, beat in _beats(figure, scale):
        for place, digit in enumerate(str(beat)[-2:], column):
            cells[place] = (digit, "bold")
    return strip_of([*_label("beats"), *cells])


def _pointer(scale: Scale, cursor: int | None) -> Strip:
    cells = [(" ", "")] * (scale.columns + 1)
    if cursor is not None:
        cells[cursor] = ("▲", "bold")
    return strip_of([*_label(""), *cells])


def _label(words: str, style: str = "") -> list[tuple[str, str]]:
    return [(c, style) for c in words.ljust(LABEL - 1)[: LABEL - 1]] + [(" ", "")]


def _row(
    figure: Figure,
    scale: Scale,
    side: Side,
    note: int | None,
    centre: int,
) -> Strip:
    cells = _empty_cells(figure, scale)
    for step in figure.of(side):
        if note is None or note in step.notes:
            alone = step.notes[0] if len(step.notes) == 1 else None
            which = alone if note is None else note
            finger = None if which is None else figure.finger(side, which, step.at)
            _draw_step(cells, scale, step, "●" if finger is None else str(finger))
    name = side.value if note is None else note_name(note, centre)
    return strip_of([(SIGN[side], CHIP[side]), *_label(f" {name}")[:-1], *cells, ("│", "dim")])


def _empty_cells(figure: Figure, scale: Scale) -> list[tuple[str, str]]:
    cells = [(" ", "dim")] * scale.columns
    for column, beat in _beats(figure, scale):
        cells[column] = ("│" if beat == 1 else "┊", "dim")
    return cells


def _draw_step(cells: list[tuple[str, str]], scale: Scale, step: Step, sign: str) -> None:
    first, last = scale.column(step.at), scale.column(step.at + step.lasts)
    for column in range(max(first + 1, 0), min(max(last, first + 1), len(cells))):
        cells[column] = ("─", "")
    if scale.shows(step.at):
        cells[first] = (sign, CHIP[step.side])
