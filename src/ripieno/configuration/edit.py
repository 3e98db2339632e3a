"""Controls learned and forgotten: a configuration's text changed there and nowhere else.

Only what a change needs is rewritten: a bound press gets another command in its place, a new
control comes after the last, a forgotten one takes its lines with it. Comments, the order of
keys, quotes and line ends stay as their author wrote them.

The places come from PyYAML's own nodes, made by its parser in Python, whose marks count
characters; a byte order mark is set aside. YAML can be written in more ways than are changed
here, so each outcome is read again: it is refused unless it says the old text with this change.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import yaml

from ripieno.configuration.load import MAX_BYTES, ConfigurationError, marked_text
from ripieno.configuration.meaning import complaints, control_from, text_done
from ripieno.configuration.model import MOST_CONTROLS, Control
from ripieno.errors import AuthorError

_BREAK = re.compile(r"\r\n|[\n\r\x85\u2028\u2029]")
_BOM = "\ufeff"
# Text that YAML reads as itself without quotes, also between brackets.
_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9+./-]*( [A-Za-z0-9+./-]+)*")
_INDENT = 2
_NAME = Path("the configuration")  # in messages: whoever has the text knows the file
_BY_HAND = "change it by hand, or write the controls as a list of lines that begin with '-'"


def with_control(text: str, control: Control) -> str:
    """The text with the control bound; what its press did before it does no more.

    Raises AuthorError where the text cannot be read or changed.
    """
    before = _controls(text)
    presses = [bound.press for bound in before]
    if control in before:
        return text
    if control.press in presses:
        i = presses.index(control.press)
        return _checked(text, _with_command(text, i, control), _put(before, i, control))
    if len(before) >= MOST_CONTROLS:
        raise AuthorError(f"there are {MOST_CONTROLS} controls already; forget one of them first")
    return _checked(text, _with_another(text, control), [*before, control])


def without_control(text: str, do: Sequence[str]) -> str:
    """The text without the controls that do this; the same text if there is none.

    Raises AuthorError where the text cannot be read or changed.
    """
    left = _controls(text)
    forgotten = [i for i, control in enumerate(left) if control.do == tuple(do)]
    for i in reversed(forgotten):
        del left[i]
        text = _checked(text, _with_one_less(text, i), left)
    return text


@dataclass(frozen=True, slots=True)
class _Found:
    """A text without byte order mark, its top mapping, and the key `controls` with its value."""

    text: str
    top: yaml.MappingNode
    key: yaml.Node | None = None
    value: yaml.Node | None = None

    @property
    def items(self) -> list[yaml.Node]:
        return list(self.value.value) if isinstance(self.value, yaml.SequenceNode) else []

    @property
    def is_flow(self) -> bool:
        """Whether the list stands between brackets."""
        return isinstance(self.value, yaml.SequenceNode) and bool(self.value.flow_style)


def _find(text: str) -> _Found:
    body = text.removeprefix(_BOM)
    top = yaml.compose(body, Loader=yaml.SafeLoader)
    assert isinstance(top, yaml.MappingNode), "_controls has read the text"
    for key, value in top.value:
        if key.value == "controls":
            return _Found(body, top, key, value)
    return _Found(body, top)


def _data(text: str) -> dict[str, object]:
    marked = marked_text(_NAME, text)
    wrong = [marked.locate(complaint) for complaint in complaints(marked.data)]
    if marked.faults or wrong:
        raise ConfigurationError(_NAME, [*marked.faults, *wrong])
    if not isinstance(marked.data, dict):
        raise AuthorError(f"{_NAME} is no mapping of keys to values; {_BY_HAND}")
    return marked.data


def _controls(text: str) -> list[Control]:
    return _controls_in(_data(text))


def _controls_in(data: dict[str, object]) -> list[Control]:
    listed = data.get("controls") or []
    if not isinstance(listed, list):
        raise AuthorError(f"{_NAME}: 'controls' is no list; {_BY_HAND}")
    found: list[Control] = []
    for item in listed:
        press, do = (item.get("press"), item.get("do")) if isinstance(item, dict) else (None, None)
        if not (isinstance(press, str) and isinstance(do, str)):
            raise AuthorError(f"{_NAME}: control {len(found) + 1} lacks a press or a do; mend it")
        found.append(control_from(press, do))
    return found


def _checked(old: str, new: str, controls: list[Control]) -> str:
    """`new` with the mark of `old`, if it says the same but for the controls."""
    new = (_BOM if old.startswith(_BOM) else "") + new
    if len(new.encode("utf-8")) > MAX_BYTES:
        raise AuthorError(
            f"{_NAME} would have more than {MAX_BYTES // 1024} KiB; shorten its comments"
        )
    try:
        data = _data(new)
        is_right = _controls_in(data) == controls and _rest(data) == _rest(_data(old))
    except AuthorError:
        is_right = False
    if not is_right:
        raise AuthorError(f"{_NAME}: its 'controls' are written in an unusual way; {_BY_HAND}")
    return new


def _rest(data: dict[str, object]) -> list[tuple[str, object]]:
    """All but the controls, in their order; `repr` because nan is not even equal to itself."""
    return [(key, repr(value)) for key, value in data.items() if key != "controls"]


def _put(controls: list[Control], i: int, control: Control) -> list[Control]:
    return [*controls[:i], control, *controls[i + 1 :]]


def _with_command(text: str, i: int, control: Control) -> str:
    """What control `i` does written anew, in its place."""
    found = _find(text)
    (node,) = (value for key, value in found.items[i].value if key.value == "do")
    start, end = _span(node)
    written = found.text[start:end]
    tail = _BREAK.search(written[len(written.rstrip()) :])
    return found.text[:start] + _command(control) + (tail[0] if tail else "") + found.text[end:]


def _with_another(text: str, control: Control) -> str:
    found = _find(text)
    if found.items:
        return _after_last(found, control)
    if found.top.flow_style:
        return _first_in_brackets(found, control)
    if found.key is None:
        return _at_the_end(found, control)
    column = found.top.start_mark.column + _INDENT
    emptied, at = _emptied(found)
    return _with_lines(emptied, at, _item(control, column))


def _after_last(found: _Found, control: Control) -> str:
    text, last = found.text, found.items[-1]
    if found.is_flow:
        end = _span(last)[1]
        return f"{text[:end]}, {_in_braces(control)}{text[end:]}"
    assert found.value is not None, "it has items"
    return _with_lines(text, _end_of(last), _item(control, found.value.start_mark.column))


def _first_in_brackets(found: _Found, control: Control) -> str:
    """Into a file that is one mapping between braces."""
    text, listed = found.text, f"[{_in_braces(control)}]"
    if found.value is None:
        start = found.top.start_mark.index + 1
        return f"{text[:start]}controls: {listed}, {text[start:].lstrip(' ')}"
    start, end = _span(found.value)
    return (
        f"{text[:start]} {listed}{text[end:]}"
        if start == end
        else text[:start] + listed + text[end:]
    )


def _at_the_end(found: _Found, control: Control) -> str:
    column = found.top.start_mark.column
    lines = [" " * column + "controls:", *_item(control, column + _INDENT)]
    return _with_lines(found.text, _end_of_document(found.text), lines)


def _end_of_document(text: str) -> int:
    """Where the line `...` begins that ends it, or where the text ends."""
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        if isinstance(event, yaml.DocumentEndEvent) and event.explicit:
            assert event.start_mark is not None, "the parser marks its events"
            return event.start_mark.index
    return len(text)


def _emptied(found: _Found) -> tuple[str, int]:
    """The text with nothing after `controls:`, and where in that line that is."""
    assert found.value is not None, "the key is there"
    start, end = _span(found.value)
    colon = _after_colon(found)
    if not found.text[colon:start].strip(" "):
        start = colon
    return found.text[:start] + found.text[end:], start


def _with_one_less(text: str, i: int) -> str:
    found = _find(text)
    items = found.items
    if found.is_flow:
        return _without_braces(found, i)
    start = _begin_of(found, i)
    end = _end_of(items[i])
    kept = found.text[:start] + found.text[_line_end(found.text, end) :]
    if len(items) == 1:
        colon = _after_colon(found)
        return f"{kept[:colon]} []{kept[colon:]}"
    return kept


def _without_braces(found: _Found, i: int) -> str:
    spans = [_span(item) for item in found.items]
    assert found.value is not None, "it has items"
    if len(spans) == 1:
        start, end = _span(found.value)
        return f"{found.text[:start]}[]{found.text[end:]}"
    start, end = (spans[i - 1][1], spans[i][1]) if i else (spans[0][0], spans[1][0])
    return found.text[:start] + found.text[end:]


def _begin_of(found: _Found, i: int) -> int:
    """Where the line of an item's dash begins."""
    assert found.value is not None, "it has items"
    column = found.value.start_mark.column
    region = _end_of(found.items[i - 1]) if i else _line_start(found.text, _span(found.value)[0])
    # Between the item before and this one are comments and its dash, the only line that begins so.
    dash = re.compile(f"(?<![^\n\r\x85\u2028\u2029]){' ' * column}-(?![^ \t\n\r\x85\u2028\u2029])")
    match = dash.search(found.text, region)
    if match is None:
        raise AuthorError(f"{_NAME}: its 'controls' are written in an unusual way; {_BY_HAND}")
    return match.start()


def _end_of(node: yaml.Node) -> int:
    """Where what is written of a node ends; a block's own end mark is where the next begins."""
    while isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        node = last[1] if isinstance(last, tuple) else last
    return _span(node)[1]


def _span(node: yaml.Node) -> tuple[int, int]:
    return node.start_mark.index, node.end_mark.index


def _after_colon(found: _Found) -> int:
    assert found.key is not None, "the key is there"
    match = re.compile(r"[ \t]*:").match(found.text, _span(found.key)[1])
    if match is None:
        raise AuthorError(f"{_NAME}: its 'controls' are written in an unusual way; {_BY_HAND}")
    return match.end()


def _line_start(text: str, at: int) -> int:
    return max((match.end() for match in _BREAK.finditer(text, 0, at)), default=0)


def _line_end(text: str, at: int) -> int:
    """Where the line that `at` is in ends, its break included; `at` itself where one begins."""
    if at and _line_start(text, at) == at:
        return at
    match = _BREAK.search(text, at)
    return match.end() if match else len(text)


def _with_lines(text: str, at: int, lines: list[str]) -> str:
    """The lines put in after the line that `at` is in."""
    first = _BREAK.search(text)
    ends = first[0] if first else "\n"
    end = _line_end(text, at)
    before = text[:end]
    if before and _line_start(text, end) != end:
        before += ends
    return before + "".join(line + ends for line in lines) + text[end:]


def _item(control: Control, column: int) -> list[str]:
    space = " " * column
    return [f"{space}- press: {control.press}", f"{space}  do: {_command(control)}"]


def _in_braces(control: Control) -> str:
    return f"{{press: {control.press}, do: {_command(control)}}}"


def _command(control: Control) -> str:
    """As a scalar: JSON's strings are YAML's, too (YAML 1.2.2, 1.3)."""
    text = text_done(control.do)
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)
