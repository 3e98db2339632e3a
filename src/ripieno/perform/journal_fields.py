"""The values of a journal's lines, each read with what was expected of it.

Every reader raises KeyError for a field that is missing, and ValueError with one clear line for
a value that makes no sense.
"""

import re
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from ripieno.style.yaml_marks import shown

Line = dict[str, object]
E = TypeVar("E", bound=StrEnum)

_RATIO = re.compile(r"-?[0-9]{1,24}(/[1-9][0-9]{0,15})?")


def ratio(data: Line, field: str, least: float = 0, most: float = 1e9) -> Fraction:
    written = text(data, field)
    value = Fraction(written) if _RATIO.fullmatch(written) else None
    if value is None or not least <= value <= most:
        raise ValueError(
            f"'{field}' is {shown(written)}; a ratio from {least:g} to {most:g} was expected"
        )
    return value


def whole(data: Line, field: str, most: int = 127, *, least: int = 0) -> int:
    value = data[field]
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise ValueError(
            f"'{field}' is {shown(value)}; a whole number from {least} to {most} was expected"
        )
    return value


def wholes(data: Line, field: str, most: int) -> tuple[int, ...]:
    values = data[field]
    if not isinstance(values, list) or len(values) > most:
        raise ValueError(f"'{field}' is {shown(values)}; a list of whole numbers was expected")
    return tuple(whole({field: value}, field, most) for value in values)


def number(data: Line, field: str, least: float, most: float) -> float:
    value = data[field]
    found = float("nan") if isinstance(value, bool) else value
    if not isinstance(found, int | float) or not least <= found <= most:
        raise ValueError(
            f"'{field}' is {shown(value)}; a number from {least:g} to {most:g} was expected"
        )
    return found


def flag(data: Line, field: str) -> bool:
    value = data[field]
    if not isinstance(value, bool):
        raise ValueError(f"'{field}' is {shown(value)}; true or false was expected")
    return value


def text(data: Line, field: str) -> str:
    value = data[field]
    if not isinstance(value, str):
        raise ValueError(f"'{field}' is {shown(value)}; a text was expected")
    return value


def one_of(data: Line, field: str, kind: type[E]) -> E:
    value = text(data, field)
    if value not in list(kind):
        raise ValueError(f"'{field}' is {shown(value)}; {' or '.join(kind)} was expected")
    return kind(value)
