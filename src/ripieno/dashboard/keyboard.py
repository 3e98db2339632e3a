"""A piano's keys drawn as text, with who holds which of them down, and with which finger.

What tells the hands apart is a letter on the key, L or R, above the finger's number; colour says
it once more. What the player presses has a disc. The colours of the keys are the instrument's,
so they are the same on a light and on a dark screen; the lines between white keys and the blocks
of the black ones are drawn with characters, so that they are there without any colour.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, auto
from functools import lru_cache
from itertools import groupby

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from ripieno.theory.hand import Side
from ripieno.theory.pitch import note_name, spell

SIGN = {Side.LEFT: "L", Side.RIGHT: "R", None: "●"}
CHIP = {
    Side.LEFT: "bold #ffffff on #1f5fbf",
    Side.RIGHT: "bold #000000 on #f0a830",
    None: "bold #ffffff on #0b7a2b",
}

_INK = {Side.LEFT: "#1f5fbf", Side.RIGHT: "#8a5000", None: "#0b7a2b"}  # on a white key
_PALE = {Side.LEFT: "#9cc4ff", Side.RIGHT: "#ffd080", None: "#a8dcb8"}  # on a black key
_WHITE, _BLACK = "#e8e8e8", "#202020"
_FACE = f"#808080 on {_WHITE}"
_BLOCK = f"{_BLACK} on {_WHITE}"
_FAINT = "dim"

_WHITES = (0, 2, 4, 5, 7, 9, 11)
_LEAST_OCTAVES = 3
_USUAL = (36, 4)  # C2 to C6: where most of it happens, while there is nothing to go by
_MOST_KEPT = 5  # octaves; beyond it the keys would become narrow for what is long gone
_NARROWEST, _WIDEST = 2, 8  # columns of a white key; wider looks like a fence


class Hold(Enum):
    """How a key is down."""

    STRUCK = auto()
    HELD = auto()  # from before
    YOURS = auto()  # it is for the player to play


@dataclass(frozen=True, slots=True)
class Down:
    """A key that is down: by which hand, None for what passes through or is pressed."""

    note: int
    hand: Side | None = None
    finger: int | None = None
    hold: Hold = Hold.STRUCK


@dataclass(frozen=True, slots=True)
class Reach:
    """The keys that are drawn: from a C upwards, so many octaves and the C above them."""

    lowest: int
    octaves: int

    @property
    def highest(self) -> int:
        return self.lowest + 12 * self.octaves

    def holds(self, note: int) -> bool:
        return self.lowest <= note <= self.highest

    def grown(self, low: int, high: int) -> "Reach":
        """As many octaves more as it takes to hold both notes."""
        lowest = min(self.lowest, low // 12 * 12)
        return Reach(lowest, -(-(max(self.highest, high) - lowest) // 12))


@dataclass(frozen=True, slots=True)
class Shape:
    """Rows of the black keys' part and of the white keys' part below it, 1 or more each.

    With one row of each there is no room for fingers. `named`: rows of names above and below.
    """

    black_rows: int = 2
    white_rows: int = 2
    named: bool = True

    @property
    def rows(self) -> int:
        return self.black_rows + self.white_rows + 2 * self.named


def reach_for(notes: Iterable[int], width: int, before: Reach | None = None) -> Reach:
    """Whole octaves around the notes that `width` columns have room for.

    They stay what they were while the notes lie inside, so that the picture does not move under
    the eye; else they grow, and only where there is no room for that they begin anew. Of notes
    too far apart for the width the highest are left out.
    """
    most = _octaves_in(width)
    if before is not None and before.octaves > most:
        before = None
    wanted = sorted(notes)
    if not wanted:
        return before or Reach(_USUAL[0], min(_USUAL[1], most))
    if before is not None and before.holds(wanted[0]) and before.holds(wanted[-1]):
        return before
    if before is not None:
        grown = before.grown(wanted[0], wanted[-1])
        if grown.octaves <= min(most, _MOST_KEPT):
            return grown
    return _around(wanted[0], wanted[-1], most)


def _octaves_in(width: int) -> int:
    return max(1, ((width - 1) // _NARROWEST - 1) // len(_WHITES))


def _around(low: int, high: int, most: int) -> Reach:
    """With enough octaves to know one's place by, added below the notes rather than above."""
    lowest = low // 12 * 12
    reach = Reach(lowest, min(max(1, -(-(high - lowest) // 12)), most))
    while reach.octaves < min(_LEAST_OCTAVES, most):
        below = 12 if reach.lowest > _USUAL[0] else 0
        reach = Reach(reach.lowest - below, reach.octaves + 1)
    return reach


_USUAL_SHAPE = Shape()


@lru_cache(maxsize=256)
def draw(
    reach: Reach, downs: tuple[Down, ...], width: int, shape: Shape = _USUAL_SHAPE, centre: int = 1
) -> tuple[Strip, ...]:
    """The rows of the picture. `centre` spells the names: `theory.key.Key.centre`.

    Kept, because a figure comes back to the same keys: 3 ms become a look into a table.
    """
    picture = _Picture(reach, width, shape)
    for down in downs:
        if down.note < reach.lowest:
            picture.beyond("<", 0)
        elif down.note > reach.highest:
            picture.beyond(">", -1)
        elif down.note % 12 in _WHITES:
            picture.press_white(down, centre)
    picture.lay_black_keys()
    for down in downs:
        if reach.holds(down.note) and down.note % 12 not in _WHITES:
            picture.press_black(down, centre)
    return picture.strips()


class _Picture:
    """Cells, each a character and a style, row by row."""

    def __init__(self, reach: Reach, width: int, shape: Shape) -> None:
        self._reach, self._shape = reach, shape
        whites = reach.octaves * len(_WHITES) + 1
        self._pitch = min(_WIDEST, max(_NARROWEST, (width - 1) // whites))
        self._columns = min(whites * self._pitch + 1, max(width, 1))
        self._top = 1 if shape.named else 0
        self._cells = [[(" ", _FACE)] * self._columns for _ in range(shape.rows)]
        for row in range(self._top, self._top + self._keys_rows):
            for column in range(0, self._columns, self._pitch):
                self._put(row, column, "│", _FACE)
        if shape.named:
            for row in (0, -1):
                self._cells[row] = [(" ", "")] * (self._columns + 1)
            self._name_octaves()

    @property
    def _keys_rows(self) -> int:
        return self._shape.black_rows + self._shape.white_rows

    def _put(self, row: int, column: int, text: str, style: str) -> None:
        for place, character in enumerate(text, column):
            if 0 <= place < len(self._cells[row]):
                self._cells[row][place] = (character, style)

    def _name_octaves(self) -> None:
        for octave in range(self._reach.octaves + 1):
            note = self._reach.lowest + 12 * octave
            self._put(-1, self._middle(note), note_name(note), _FAINT)

    def _start(self, note: int) -> int:
        """The first column of a white key, which is the line on its left."""
        octave, end = divmod(note - self._reach.lowest, 12)
        return (octave * len(_WHITES) + _WHITES.index(end)) * self._pitch

    def _middle(self, note: int) -> int:
        if note % 12 in _WHITES:
            return self._start(note) + (self._pitch + 1) // 2
        return self._start(note - 1) + self._pitch

    @property
    def _overhang(self) -> int:
        """Columns of a black key on either side of the line that it lies on."""
        return 0 if self._pitch < 4 else 1 if self._pitch < 7 else 2

    def press_white(self, down: Down, centre: int) -> None:
        style = CHIP[down.hand] if down.hold is Hold.STRUCK else _FACE
        for row in range(self._top, self._top + self._keys_rows):
            self._put(row, self._start(down.note) + 1, " " * (self._pitch - 1), style)
        last = self._top + self._keys_rows - 1
        self._mark(down, last, self._shape.white_rows, _INK, _WHITE)
        self._name(down, -1, centre)

    def lay_black_keys(self) -> None:
        for note in range(self._reach.lowest, self._reach.highest):
            if note % 12 not in _WHITES:
                self._lay_black(note, "█", _BLOCK)

    def _lay_black(self, note: int, character: str, style: str) -> None:
        for row in range(self._top, self._top + self._shape.black_rows):
            left = self._middle(note) - self._overhang
            self._put(row, left, character * (2 * self._overhang + 1), style)

    def press_black(self, down: Down, centre: int) -> None:
        if down.hold is Hold.STRUCK:
            self._lay_black(down.note, " ", CHIP[down.hand])
        last = self._top + self._shape.black_rows - 1
        self._mark(down, last, self._shape.black_rows, _PALE, _BLACK)
        self._name(down, 0, centre)

    def _mark(
        self, down: Down, last: int, rows: int, ink: dict[Side | None, str], ground: str
    ) -> None:
        """The hand's letter, and below it the finger where there is a row for it."""
        style = {
            Hold.STRUCK: CHIP[down.hand],
            Hold.HELD: f"{ink[down.hand]} on {ground}",
            Hold.YOURS: f"bold underline {ink[down.hand]} on {ground}",
        }[down.hold]
        column = self._middle(down.note)
        if rows == 1 or down.finger is None:
            self._put(last, column, SIGN[down.hand], style)
        else:
            self._put(last - 1, column, SIGN[down.hand], style)
            self._put(last, column, str(down.finger), style)

    def _name(self, down: Down, row: int, centre: int) -> None:
        if self._shape.named:
            if self._pitch < 3 and down.note % 12 == 2:
                self._make_room(self._middle(down.note - 2))
            self._put(row, self._middle(down.note), spell(down.note % 12, centre), "bold")

    def _make_room(self, column: int) -> None:
        """Where keys are narrow, the name of a D would run into that of the octave: `C4D`."""
        for place in (column, column + 1):
            if 0 <= place < self._columns and self._cells[-1][place][1] == _FAINT:
                self._put(-1, place, " ", "")

    def beyond(self, sign: str, column: int) -> None:
        """Something is down outside of the picture, on this side."""
        if self._shape.named:
            self._put(-1, column % len(self._cells[-1]), sign, "bold reverse")

    def strips(self) -> tuple[Strip, ...]:
        return tuple([strip_of(cells) for cells in self._cells])


def strip_of(cells: Iterable[tuple[str, str]]) -> Strip:
    """A line of characters with a style each, ready for the screen."""
    return Strip(
        Segment("".join(character for character, _ in run), Style.parse(style))
        for style, run in groupby(cells, key=lambda cell: cell[1])
    )
