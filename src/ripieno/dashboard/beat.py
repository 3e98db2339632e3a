"""The bar as movement: a line that fills, and a ball that lands on each beat. Pure.

The ball goes as a conductor's hand does, down onto the beat and up from it, highest before the
first beat of a bar; so the eye knows a beat before it comes (common practice, no source).
"""

from typing import TypeAlias

# A row of cells in pieces, each with whether it stands out.
Row: TypeAlias = list[tuple[str, bool]]

_LOW, _HIGH = 0.6, 1.0  # how high the ball goes between beats, and before a new bar
_SMALL, _LARGE = 2, 4  # cells that the ball is wide, the latter above more than two rows


def beat_rows(share: float | None, beats: int, width: int, rows: int) -> list[Row]:
    """The bar in `rows` rows of `width` cells, the last of them the line with the beats' numbers.

    `share` is how much of the bar has gone, 0 to under 1; None while nothing is played.
    """
    if width < 1:
        return [[] for _ in range(rows)]
    places = [round(beat * width / beats) for beat in range(beats)]
    line = _line(share, places, width)
    if share is None:
        return [[(" " * width, False)] for _ in range(rows - 1)] + [line]
    level = round(_height(share, beats) * (2 * (rows - 1) - 1))
    ball = min(_LARGE if rows > 3 else _SMALL, width)
    at = min(int(share * width), width - ball)
    above = [_air(row, level, (at, ball), width) for row in range(rows - 2, -1, -1)]
    return [*above, line]


def _height(share: float, beats: int) -> float:
    """Of the ball above the line, 0 to 1."""
    beat, inside = divmod(share * beats, 1)
    top = _HIGH if int(beat) == beats - 1 else _LOW
    return 4 * inside * (1 - inside) * top


def _air(row: int, level: int, ball: tuple[int, int], width: int) -> Row:
    """A row above the line, 0 the lowest; a row has two levels. `ball`: where, and how wide."""
    if level // 2 != row:
        return [(" " * width, False)]
    at, wide = ball
    shape = ("▀" if level % 2 else "▄") * wide
    return [(" " * at + shape + " " * (width - at - wide), False)]


def _line(share: float | None, places: list[int], width: int) -> Row:
    """`1━━━━2━━──3────`: thick as far as the bar has gone, the number of this beat standing out."""
    gone = 0 if share is None else int(share * width)
    now = -1 if share is None else int(share * len(places))
    row: Row = []
    for number, (start, end) in enumerate(zip(places, [*places[1:], width], strict=True)):
        room = end - start
        label = f" {number + 1} " if number == now else str(number + 1)
        label = label if len(label) < room else str(number + 1)[:room]
        thick = min(max(gone - start - len(label), 0), room - len(label))
        row.append((label, number == now))
        row.append(("━" * thick + "─" * (room - len(label) - thick), False))
    return row
