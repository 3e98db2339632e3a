"""YAML read into plain data, with the place in the file where each value and key stands.

Read from the parser's events, so that nothing in a file makes this recurse or multiply: YAML
1.2 without anchors, aliases, tags, repeated keys and second documents.
Plain scalars follow the core schema of YAML 1.2.2 (10.3.2) except that octal, hexadecimal and
zero-padded numbers stay text: PyYAML's own YAML 1.1 reads 012 as 10, 6:8 as 368 and `on` as
true, and people mean none of these.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import yaml

# PyYAML built without libyaml has only the loader in Python: slower, the same events.
LOADER: type = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

MAX_DEPTH = 12  # nested lists and mappings; a style needs seven
MAX_DIGITS = 18  # of a whole number: what 64 bits hold
MAX_SHOWN = 40  # characters of a value that a message repeats

Path = tuple[str | int, ...]

_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"([-+]?)\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
_WORDS = {
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys(("null", "Null", "NULL", "~", ""), None),
}
# YAML 1.2.2, 5.1: what is no c-printable, which no escape makes welcome outside quotes.
_UNPRINTABLE = re.compile(r"[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """What is wrong at a place in a file; lines and columns count characters from 1."""

    line: int
    column: int
    message: str


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is wrong with the value at `path`, or with its key."""

    path: Path
    message: str
    at_key: bool = False


@dataclass(slots=True)
class Marked:
    """Plain data and where it stands: `values` and `keys` give (line, column), from 1."""

    data: object = None
    values: dict[Path, tuple[int, int]] = field(default_factory=dict)
    keys: dict[Path, tuple[int, int]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def locate(self, complaint: Complaint) -> Fault:
        """The complaint as a fault, at the nearest place that the file has."""
        path = complaint.path
        while path and path not in self.values:
            path = path[:-1]
        place = self.values[path]
        if complaint.at_key and path in self.keys:
            place = self.keys[path]
        return Fault(*place, complaint.message)


class BrokenError(Exception):
    """The text is no YAML that can be read on; `faults` are those found up to there."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__(faults)
        self.faults = faults


def shown(value: object) -> str:
    """A value as messages repeat it: one printable line, not long."""
    match value:
        case None:
            return "nothing"
        case bool():
            return "true" if value else "false"
        case list():
            return "a list"
        case dict():
            return "a mapping"
        case str():
            short = value if len(value) <= MAX_SHOWN else value[:MAX_SHOWN] + "..."
            return "'" + "".join(c if c.isprintable() else ascii(c)[1:-1] for c in short) + "'"
        case _:
            return str(value)


def read_marked(text: str) -> Marked:
    """Read one YAML document. What can be read past is left in `faults`; else BrokenError."""
    reader = _Reader(text)
    try:
        reader.read()
    except _StopError as stop:
        raise BrokenError([*reader.marked.faults, stop.fault]) from None
    except yaml.MarkedYAMLError as error:
        raise BrokenError([*reader.marked.faults, _syntax_fault(text, error)]) from None
    return reader.marked


def unprintable(text: str) -> Fault | None:
    """The first character that no YAML file may hold."""
    found = _UNPRINTABLE.search(text)
    if found is None:
        return None
    return Fault(
        *place_at(text, found.start()),
        f"found the character U+{ord(found[0]):04X}; expected text; "
        "save the file as UTF-8 text, or take the character out",
    )


def place_at(text: str, offset: int) -> tuple[int, int]:
    """Line and column, from 1, of a character."""
    before = text[:offset]
    return before.count("\n") + 1, offset - (before.rfind("\n") + 1) + 1


class _StopError(Exception):
    def __init__(self, fault: Fault) -> None:
        super().__init__(fault)
        self.fault = fault


class _Reader:
    def __init__(self, text: str) -> None:
        self.marked = Marked()
        self._events: Iterator[yaml.Event] = iter(yaml.parse(text, Loader=LOADER))

    def read(self) -> None:
        opening = [next(self._events), next(self._events)]
        if not isinstance(opening[1], yaml.DocumentStartEvent):
            raise _StopError(Fault(1, 1, "the file is empty; expected keys and their values"))
        self.marked.data = self._node(next(self._events), ())
        next(self._events)
        after = next(self._events)
        if not isinstance(after, yaml.StreamEndEvent):
            raise _StopError(
                Fault(
                    *_place(after),
                    "a second document begins; expected one document a file; "
                    "move it to a file of its own",
                )
            )

    def _node(self, event: yaml.Event, path: Path) -> object:
        self.marked.values[path] = _place(event)
        if isinstance(event, yaml.AliasEvent):
            self._fault(event, f"found the alias '*{event.anchor}'; {_WRITE_OUT}")
            return None
        assert isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent), "no other node"
        if event.anchor is not None:
            self._fault(event, f"found the anchor '&{event.anchor}'; {_WRITE_OUT}")
        if event.tag is not None:
            self._fault(event, f"found the tag {shown(event.tag)}; {_NO_TAGS}")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event)
        if len(path) >= MAX_DEPTH:
            raise _StopError(
                Fault(
                    *_place(event),
                    f"nested {len(path) + 1} deep; expected {MAX_DEPTH} levels at most; "
                    "close some brackets or indent less",
                )
            )
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(path)
        return self._mapping(path)

    def _list(self, path: Path) -> list[object]:
        items: list[object] = []
        while not isinstance(event := next(self._events), yaml.SequenceEndEvent):
            items.append(self._node(event, (*path, len(items))))
        return items

    def _mapping(self, path: Path) -> dict[str, object]:
        items: dict[str, object] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            key = self._key(event, items, path)
            if key is None:
                self._skip(next(self._events))
            else:
                self.marked.keys[(*path, key)] = _place(event)
                items[key] = self._node(next(self._events), (*path, key))
        return items

    def _key(self, event: yaml.Event, items: dict[str, object], path: Path) -> str | None:
        """The key's text; None if it is none, which is then a fault."""
        if not isinstance(event, yaml.ScalarEvent):
            self._fault(event, "found no single word for a key; expected `key: value`")
            if not isinstance(event, yaml.AliasEvent):
                self._skip(event)
            return None
        if event.anchor is not None or event.tag is not None:
            self._fault(event, f"found an anchor or a tag on a key; {_NO_TAGS}")
        if event.value in items:
            first = self.marked.keys[(*path, event.value)]
            self._fault(
                event,
                f"the key {shown(event.value)} stands here again, first in line {first[0]}; "
                "expected each key once; keep one of them",
            )
            return None
        return str(event.value)

    def _skip(self, event: yaml.Event) -> None:
        """Read past the node that `event` begins."""
        depth = _opens(event)
        while depth:
            depth += _opens(next(self._events))

    def _scalar(self, event: yaml.ScalarEvent) -> object:
        text: str = event.value
        if not event.implicit[0]:
            return text
        if text in _WORDS:
            return _WORDS[text]
        if _INT.fullmatch(text):
            if len(text) > MAX_DIGITS:
                self._fault(
                    event,
                    f"found a number of {len(text)} digits; expected {MAX_DIGITS} at most; "
                    "write a smaller one",
                )
                return 0
            return int(text)
        if _FLOAT.fullmatch(text):
            return float(text)
        if special := _NOT_FINITE.fullmatch(text):
            return float(f"{special[1]}inf" if special[2] else "nan")
        return text

    def _fault(self, event: yaml.Event, message: str) -> None:
        self.marked.faults.append(Fault(*_place(event), message))


_WRITE_OUT = "expected no anchors and aliases; write the value out in both places"
_NO_TAGS = "expected plain words, numbers, lists and mappings; leave it out"


def _opens(event: yaml.Event) -> int:
    if isinstance(event, yaml.CollectionStartEvent):
        return 1
    return -1 if isinstance(event, yaml.CollectionEndEvent) else 0


def _place(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    assert mark is not None, "the parser marks its events"
    return mark.line + 1, mark.column + 1


def _syntax_fault(text: str, error: yaml.MarkedYAMLError) -> Fault:
    mark = error.problem_mark
    assert mark is not None, "the parser marks its errors"
    lines = text.splitlines()
    line = lines[mark.line] if mark.line < len(lines) else ""
    if line[mark.column : mark.column + 1] == "\t":
        message = "found a tab; expected spaces, which alone indent YAML; replace it by spaces"
    else:
        context = f"{error.context}: " if error.context else ""
        message = (
            f"found no valid YAML ({context}{error.problem}); expected closed brackets and "
            "quotes and even indentation; look at this line and the one above"
        )
    return Fault(mark.line + 1, mark.column + 1, message)
