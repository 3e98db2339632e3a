"""Styles as a daemon lists them, and which of them a search text finds."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from ripieno.errors import AuthorError

T = TypeVar("T")

# Notes a bar. Our choice: each takes in about a third of the shipped styles.
MOST_CALM, LEAST_BUSY = 8.0, 16.0

RULE = "All words must fit: name, use, in 3/4, left hand, calm (sparse), busy (dense)."

_METER_BEGUN = re.compile(r"[1-9][0-9]?(/[0-9]{0,2})?", re.ASCII)
_HANDS = ("both", "left", "right")
_CALM, _BUSY = ("sparse", "calm"), ("dense", "busy")


@dataclass(frozen=True, slots=True)
class ListedStyle:
    """`density` is notes a bar, None where the daemon does not know, as in a style with faults.

    `hands` is both, left or right, '' in such a style. `own` are the user's, the others come with
    the program.
    """

    id: str
    name: str
    use: str
    suits: tuple[str, ...]
    meters: tuple[str, ...]
    hands: str
    density: float | None
    account: tuple[str, ...]
    own: bool
    file: str
    faults: tuple[str, ...]


def styles_from(answer: Mapping[str, object]) -> tuple[ListedStyle, ...]:
    """The styles of an answer. Raises AuthorError for one that is of another form."""
    listed = answer.get("styles")
    if not isinstance(listed, list):
        raise AuthorError("the daemon's answer has no list of styles; is it of another version?")
    return tuple(_style(item) for item in listed)


def density_word(density: float | None) -> str:
    """`calm`, `moderate` or `busy`."""
    if density is None:
        return "unknown"
    return "calm" if density <= MOST_CALM else "busy" if density >= LEAST_BUSY else "moderate"


def found(styles: Iterable[ListedStyle], text: str) -> list[ListedStyle]:
    """Those that all words of the text match, by the name before the others; RULE says how."""
    asked = _asked(text)
    ranked = [(_rank(style, asked), style) for style in styles]
    matching = [(rank, style) for rank, style in ranked if rank is not None]
    return [style for _, style in sorted(matching, key=lambda pair: pair[0])]


# What one word asks of a style: None for no match, else the better the lower.
_Ask = Callable[[ListedStyle], int | None]


def _rank(style: ListedStyle, asked: list[_Ask]) -> int | None:
    total = 0
    for ask in asked:
        rank = ask(style)
        if rank is None:
            return None
        total += rank
    return total


def _asked(text: str) -> list[_Ask]:
    """One entry a word, save that `left hand` and `in 3/4` are one together."""
    words = text.lower().replace(",", " ").split()
    asked: list[_Ask] = []
    i = 0
    while i < len(words):
        word, after = words[i], words[i + 1] if i + 1 < len(words) else ""
        if word in _HANDS and after and "hands".startswith(after):
            asked.append(partial(_hands, word))
            i += 1
        elif word != "in" or _METER_BEGUN.fullmatch(after) is None:
            asked.append(partial(_word, word))
        i += 1
    return asked


def _hands(which: str, style: ListedStyle) -> int | None:
    return 0 if style.hands == which else None


def _word(word: str, style: ListedStyle) -> int | None:
    if word in style.name.lower() or word in style.id.lower():
        return 0
    if _is_property(word, style):
        return 1
    return 2 if word in style.use.lower() else None


def _is_property(word: str, style: ListedStyle) -> bool:
    if _METER_BEGUN.fullmatch(word) and any(meter.startswith(word) for meter in style.meters):
        return True
    if any(word in suit.lower() for suit in style.suits) or word == style.hands:
        return True
    return word in {"calm": _CALM, "busy": _BUSY}.get(density_word(style.density), ())


def _style(item: object) -> ListedStyle:
    if not isinstance(item, Mapping):
        raise AuthorError("a style in the daemon's list is no object; is it of another version?")
    return ListedStyle(
        id=_get(item, "id", str),
        name=_get(item, "name", str),
        use=_get(item, "use", str),
        suits=_texts(item, "suits"),
        meters=_texts(item, "meters"),
        hands="" if item.get("faults") else _get(item, "hands", str),
        density=_density(item),
        account=_texts(item, "account"),
        own=_get(item, "own", bool),
        file=_get(item, "file", str),
        faults=_texts(item, "faults"),
    )


def _get(item: Mapping[str, object], name: str, kind: type[T]) -> T:
    value = item.get(name)
    if not isinstance(value, kind):
        raise AuthorError(
            f"'{name}' of a style in the daemon's list is {value!r:.40}; is it of another version?"
        )
    return value


def _texts(item: Mapping[str, object], name: str) -> tuple[str, ...]:
    return tuple(str(text) for text in _get(item, name, list))


def _density(item: Mapping[str, object]) -> float | None:
    value = item.get("density")
    return float(value) if isinstance(value, int | float) and not item.get("faults") else None
