"""A fault of a file, shown at its place: the line as it stands there, and a mark below it."""

import re
from dataclasses import dataclass

_PLACED = re.compile(r"(?P<file>.+?):(?P<line>[0-9]{1,9}):(?P<column>[0-9]{1,9}): (?P<why>.+)")
_FEWEST_COLUMNS = 10


@dataclass(frozen=True, slots=True)
class Place:
    """`line` and `column` count from 1."""

    file: str
    line: int
    column: int
    why: str


def place_of(fault: str) -> Place | None:
    """Where `FILE:LINE:COLUMN: WHY` points; None for a fault of the whole file."""
    match = _PLACED.fullmatch(fault)
    if match is None:
        return None
    return Place(match["file"], int(match["line"]), int(match["column"]), match["why"])


def shown_there(fault: str, text: str | None, columns: int) -> list[str]:
    """The fault, then its line of the file's text with a mark; the fault alone without them.

    Of a line that is longer than the columns the part around the fault is shown.
    """
    place = place_of(fault)
    lines = [] if text is None else text.splitlines()
    if place is None or not 1 <= place.line <= len(lines):
        return [fault]
    number = f"{place.line} | "
    room = max(_FEWEST_COLUMNS, columns - len(number))
    at = min(max(place.column, 1), len(lines[place.line - 1]) + 1) - 1
    begin = 0 if at < room else at - room // 2
    part = lines[place.line - 1][begin : begin + room]
    there = "".join(c if c.isprintable() else " " for c in part)
    return [fault, number + there, " " * (len(number) + at - begin) + "^"]
