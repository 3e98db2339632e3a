"""Whether data has the form of a style or another file, and if not, what its author should read.

pydantic finds what is wrong; its words are for programmers, so each of its findings is told
again here: what was found, what was expected, what to write.
"""

import difflib
from collections.abc import Iterable
from typing import Any, TypeVar, get_args, overload

import yaml
from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from ripieno.style.document import Form, StyleForm
from ripieno.style.yaml_marks import Complaint, Path, shown

MAX_COMPLAINTS = 100  # a file with more has one cause

_EXPECTED = {
    "string_type": "text",
    "string_unicode": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "finite_number": "a number",
    "bool_type": "true or false",
    "list_type": "a list",
    "model_type": "a mapping of keys to values",
    "greater_than_equal": "{ge:g} or more",
    "less_than_equal": "{le:g} or less",
    "too_short": "a list of {min_length} or more",
    "too_long": "a list of {max_length} or fewer",
    "string_too_short": "{min_length} characters or more",
    "string_too_long": "{max_length} characters or fewer",
    "enum": "one of {expected}",
    "literal_error": "one of {expected}",
    "expected": "{expected}",
}


FormT = TypeVar("FormT", bound=Form)


@overload
def read_form(data: object) -> tuple[StyleForm | None, list[Complaint]]: ...
@overload
def read_form(data: object, form: type[FormT]) -> tuple[FormT | None, list[Complaint]]: ...
def read_form(data: object, form: type[Form] = StyleForm) -> tuple[Form | None, list[Complaint]]:
    """The form that `data` fills in, or None and what is wrong with it.

    Each field of a form has an example, and the whole a title: what it is called in messages.
    """
    try:
        return form.model_validate(data), []
    except ValidationError as error:
        found = error.errors(include_url=False)
    return None, [_complaint(form, data, detail) for detail in found[:MAX_COMPLAINTS]]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`did you mean 'x'?`, or what there is where nothing is near."""
    words = list(known)
    near = difflib.get_close_matches(word[:80], words, n=1)
    return f"did you mean '{near[0]}'?" if near else f"expected one of {', '.join(words)}"


def _complaint(whole: type[Form], data: object, detail: ErrorDetails) -> Complaint:
    path = _path_in(data, detail["loc"])
    kind = detail["type"]
    if kind == "extra_forbidden":
        key = str(detail["loc"][-1])
        known = did_you_mean(key, _form_at(whole, path[:-1]).model_fields)
        return Complaint(
            path, f"{shown(key)} is no key {_where(whole, path[:-1])}; {known}", at_key=True
        )
    if kind == "missing":
        key = str(detail["loc"][-1])
        example = _example(_form_at(whole, path).model_fields[key])
        return Complaint(
            path,
            f"'{key}' is missing {_where(whole, path)}; add it, as in `{key}: {example}`",
            at_key=True,
        )
    advice = _advice(whole, path)
    return Complaint(path, f"found {_found(detail)}; expected {_expected(detail)}{advice}")


def _path_in(data: object, loc: tuple[str | int, ...]) -> Path:
    """`loc` without what pydantic adds for unions, as far as the data goes."""
    path: Path = ()
    here: Any = data
    for i, part in enumerate(loc):
        inside = (isinstance(here, dict) and part in here) or (
            isinstance(here, list) and isinstance(part, int) and part < len(here)
        )
        if inside and not _names_a_union(loc, i):
            here, path = here[part], (*path, part)
    return path


def _names_a_union(loc: tuple[str | int, ...], i: int) -> bool:
    """Whether the part at `i` is the tag of the steps', tones' or plays' kind, not a key."""
    return loc[i - 1 : i] == ("play",) or loc[max(0, i - 2) : i - 1] in (("steps",), ("tones",))


def _kind(detail: ErrorDetails) -> str:
    """The type of an error; of text that is checked otherwise first, pydantic says `too_long`."""
    is_long_text = detail["type"] == "too_long" and isinstance(detail["input"], str)
    return "string_too_long" if is_long_text else detail["type"]


def _found(detail: ErrorDetails) -> str:
    value = detail["input"]
    if _kind(detail) in ("too_short", "too_long"):
        return f"a list of {len(value)}"
    if _kind(detail) == "string_too_long":
        return f"{len(value)} characters"
    return shown(value)


def _expected(detail: ErrorDetails) -> str:
    text = _EXPECTED[_kind(detail)].format_map(detail.get("ctx", {}))
    if detail["type"] in ("enum", "literal_error"):
        choices = text.replace("'", "").replace(" or ", ", ")
        near = difflib.get_close_matches(
            str(detail["input"])[:80], choices.removeprefix("one of ").split(", "), n=1
        )
        return choices + (f"; did you mean '{near[0]}'?" if near else "")
    return text


def _advice(whole: type[Form], path: Path) -> str:
    field = _field_at(whole, path)
    key = next((part for part in reversed(path) if isinstance(part, str)), None)
    return f"; write it as in `{key}: {_example(field)}`" if field is not None else ""


def _example(field: FieldInfo) -> str:
    assert field.examples, "every field of a form has an example"
    flow = yaml.safe_dump(field.examples[0], default_flow_style=True, sort_keys=False, width=999)
    return flow.removesuffix("...\n").strip()


def _where(whole: type[Form], path: Path) -> str:
    """`here (figure 1, left, step 2)`, or `in a style` for the whole."""
    names: list[str] = []
    for part in path:
        if isinstance(part, str):
            names.append(part)
        else:
            names[-1] = f"{names[-1].removesuffix('s')} {part + 1}"
    if names:
        return f"here ({', '.join(names)})"
    title = whole.model_config.get("title")
    assert title is not None, "the form of a whole file has a title"
    return f"in a {title.lower()}"


def _form_at(whole: type[Form], path: Path) -> type[Form]:
    """The form that the mapping at `path` should fill in."""
    form = whole
    for part in path:
        if isinstance(part, str):
            form = _form_in(form.model_fields[part].annotation) or form
    return form


def _field_at(whole: type[Form], path: Path) -> FieldInfo | None:
    """The field that the value at `path` belongs to; None for the whole."""
    keys = [i for i, part in enumerate(path) if isinstance(part, str)]
    if not keys:
        return None
    return _form_at(whole, path[: keys[-1]]).model_fields[str(path[keys[-1]])]


def _form_in(annotation: Any) -> type[Form] | None:
    if isinstance(annotation, type) and issubclass(annotation, Form):
        return annotation
    found = (_form_in(argument) for argument in get_args(annotation))
    return next((form for form in found if form is not None), None)
