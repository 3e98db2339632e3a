"""Large letters made of blocks, for what is read from a piano bench.

A letter is seven rows of points, its own shapes; digits are equally wide, so that counting moves
nothing. A point is `scale` cells wide and `scale` half cells high, for a terminal's cell is about
twice as high as it is wide: so points are square.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

ROWS = 7
_WORTH = 1.4  # our choice: a line more must make the letters larger by so much
MOST_SCALE = 8  # our choice: larger letters are further apart than an eye takes in at once

_SHAPES = """
A|.###. #...# #...# ##### #...# #...# #...#
B|####. #...# #...# ####. #...# #...# ####.
C|.#### #.... #.... #.... #.... #.... .####
D|####. #...# #...# #...# #...# #...# ####.
E|##### #.... #.... ####. #.... #.... #####
F|##### #.... #.... ####. #.... #.... #....
G|.#### #.... #.... #.### #...# #...# .###.
I|### .#. .#. .#. .#. .#. ###
M|#...# ##.## #.#.# #.#.# #...# #...# #...#
V|#...# #...# #...# #...# .#.#. .#.#. ..#..
a|.... .... .##. ...# .### #..# .###
b|#... #... ###. #..# #..# #..# ###.
d|...# ...# .### #..# #..# #..# .###
e|.... .... .##. #..# #### #... .###
f|.## #.. ### #.. #.. #.. #..
g|.... .... .### #..# .### ...# ###.
i|# . # # # # #
j|..# ... ..# ..# ..# #.# .#.
m|..... ..... ##.#. #.#.# #.#.# #.#.# #.#.#
n|.... .... ###. #..# #..# #..# #..#
o|.... .... .##. #..# #..# #..# .##.
r|... ... #.# ##. #.. #.. #..
s|.... .... .### #... .##. ...# ###.
u|.... .... #..# #..# #..# #..# .###
v|..... ..... #...# #...# .#.#. .#.#. ..#..
0|.###. #...# #..## #.#.# ##..# #...# .###.
1|..#.. .##.. ..#.. ..#.. ..#.. ..#.. .###.
2|.###. #...# ....# ..##. .#... #.... #####
3|####. ....# ....# .###. ....# ....# ####.
4|...#. ..##. .#.#. #..#. ##### ...#. ...#.
5|##### #.... ####. ....# ....# #...# .###.
6|.###. #.... #.... ####. #...# #...# .###.
7|##### ....# ...#. ...#. ..#.. ..#.. ..#..
8|.###. #...# #...# .###. #...# #...# .###.
9|.###. #...# #...# .#### ....# ....# .###.
#|.#.#. .#.#. ##### .#.#. ##### .#.#. .#.#.
/|....# ...#. ...#. ..#.. .#... .#... #....
(|..# .#. #.. #.. #.. .#. ..#
)|#.. .#. ..# ..# ..# .#. #..
,|.. .. .. .. .# .# #.
.|. . . . . . #
+|..... ..#.. ..#.. ##### ..#.. ..#.. .....
-|.... .... .... #### .... .... ....
°|.#. #.# .#. ... ... ... ...
ø|....# .###. #..## #.#.# ##..# .###. #....
"""
_LETTERS = {
    line[0]: tuple(line[2:].split(" ")) for line in _SHAPES.splitlines() if line.strip()
} | {" ": ("..",) * ROWS}
_UNKNOWN = ("#####", "#...#", "#...#", "#...#", "#...#", "#...#", "#####")
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}

# A chord symbol's root, what follows it, and the bass: the slash of 6/9 is none.
_SYMBOL = re.compile(r"([A-G](?:#|b)*)(.*?)(/[A-G](?:#|b)*)?")


@dataclass(frozen=True, slots=True)
class Layout:
    """A text in large letters: its lines, and the size of a point. Scale 0 is plain text."""

    lines: tuple[str, ...]
    scale: int


def has_letter(character: str) -> bool:
    """Whether there is a shape for it; others are drawn as an empty box."""
    return character in _LETTERS


def points_wide(text: str) -> int:
    """The width in points, with one between letters."""
    return sum(len(_shape(c)[0]) for c in text) + max(len(text) - 1, 0)


def cells_high(scale: int) -> int:
    """The rows of cells that a line takes."""
    return -(-ROWS * scale // 2)


def height(layout: Layout) -> int:
    """The rows of cells that all lines take, with the gaps between them."""
    if not layout.scale:
        return len(layout.lines)
    gap = (layout.scale + 1) // 2
    return len(layout.lines) * cells_high(layout.scale) + (len(layout.lines) - 1) * gap


def laid_out(text: str, width: int, rows: int, most: int = MOST_SCALE) -> Layout:
    """The largest letters that show all of a text in so many cells.

    A chord symbol is broken before its bass, before what is in parentheses, and after its root,
    if the letters become so much larger that it is worth it. Only if that is not enough it is
    broken anywhere.
    """
    able = [
        Layout(lines, scale)
        for lines in _ways_to_break(text)
        if (scale := _largest(lines, width, rows, most))
    ]
    if able:
        return max(able, key=lambda layout: layout.scale / _WORTH ** len(layout.lines))
    anywhere = Layout(_broken_anywhere(text, width), 1)
    if width >= len(_UNKNOWN[0]) and height(anywhere) <= rows:
        return anywhere
    return Layout((text,), 0)


def _largest(lines: tuple[str, ...], width: int, rows: int, most: int) -> int:
    """The scale at which the lines fit, 0 if none does."""
    wide = max(points_wide(line) for line in lines)
    scales = range(min(most, width // max(wide, 1)), 0, -1)
    return next((scale for scale in scales if height(Layout(lines, scale)) <= rows), 0)


def drawn(layout: Layout, width: int) -> list[str]:
    """The rows of cells of a layout, each line in the middle of the width."""
    if not layout.scale:
        return [line.center(width) for line in layout.lines]
    gap = [" " * width] * ((layout.scale + 1) // 2)
    rows: list[str] = []
    for number, line in enumerate(layout.lines):
        rows += gap if number else []
        rows += [row.center(width) for row in drawn_line(line, layout.scale)]
    return rows


def drawn_line(text: str, scale: int) -> list[str]:
    """The rows of cells of one line, as wide as the letters are."""
    wide = [_points(text, row, scale) for row in range(ROWS) for _ in range(scale)]
    if len(wide) % 2:
        wide.append([False] * len(wide[0]))
    pairs = zip(wide[::2], wide[1::2], strict=True)
    return ["".join(_BLOCKS[above, below] for above, below in zip(*p, strict=True)) for p in pairs]


def _points(text: str, row: int, scale: int) -> list[bool]:
    line = ".".join(_shape(character)[row] for character in text)
    return [point == "#" for point in line for _ in range(scale)]


def _shape(character: str) -> tuple[str, ...]:
    return _LETTERS.get(character, _UNKNOWN)


def _ways_to_break(text: str) -> Iterator[tuple[str, ...]]:
    """All ways to set its parts on lines; of as many lines, those broken late come first."""
    parts = _parts(text)
    for count in range(len(parts)):
        for places in combinations(range(len(parts) - 1, 0, -1), count):
            bounds = (0, *reversed(places), len(parts))
            yield tuple(
                "".join(parts[start:end])
                for start, end in pairwise(bounds)
            )  # fmt: skip


def _parts(text: str) -> Sequence[str]:
    match = _SYMBOL.fullmatch(text)
    if match is None:
        return [text]
    root, kind, bass = match.groups()
    kind, bracket, added = kind.partition("(")
    return [part for part in (root, kind, bracket + added, bass) if part]


def _broken_anywhere(text: str, width: int) -> tuple[str, ...]:
    lines = [""]
    for character in text:
        if points_wide(lines[-1] + character) > width and lines[-1]:
            lines.append("")
        lines[-1] += character
    return tuple(lines)
