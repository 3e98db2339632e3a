"""The keys of a configuration in words, and the file that is written when there is none."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ripieno.configuration.document import ConfigurationForm, ControlForm, JournalsForm
from ripieno.style.document import Form

_WIDTH = 88

_HEAD = """\
# What ripieno plays with. Save this file while it plays: what you changed is taken over at
# once. A file with a fault changes nothing, and 'ripieno tell status' says where the fault is;
# so does 'ripieno check' with this file's name. A key that is left out has its default.
"""


@dataclass(frozen=True, slots=True)
class Row:
    """A key with its default as it is written, what it may be, and what it says.

    `key` is `journals.most` for a key inside another. Without a default it must be there.
    """

    key: str
    default: str | None
    allowed: str
    says: str


def rows() -> list[Row]:
    """Every key of a configuration file, in the order of the file."""
    found: list[Row] = []
    for row in _rows_of(ConfigurationForm, ""):
        if row.key == "journals":
            found += _rows_of(JournalsForm, "journals.")
        else:
            found.append(row)
    return found + list(_rows_of(ControlForm, "controls."))


def default_text() -> str:
    """A file that says what each key is and gives it its default."""
    parts, within = [_HEAD], ""
    for row in rows():
        outer, inside, key = row.key.rpartition(".")
        if row.default is None:
            continue  # of a control: the example shows it
        if not inside:
            parts.append("\n")
        elif outer != within:
            parts.append(f"\n{outer}:\n")
        within = outer
        lines = [*_comment(row), *(_control_example() if key == "controls" else ())]
        parts += [f"{'  ' if inside else ''}{line}\n" for line in (*lines, f"{key}: {row.default}")]
    return "".join(parts)


def _rows_of(form: type[Form], prefix: str) -> Iterator[Row]:
    schema = form.model_json_schema()
    for key, field in form.model_fields.items():
        property_ = schema["properties"][key]
        if "$ref" in property_:
            property_ = property_ | schema["$defs"][property_["$ref"].rpartition("/")[2]]
        default = None
        if not field.is_required():
            default = _written(field.get_default(call_default_factory=True))
        yield Row(prefix + key, default, _allowed(property_), str(field.description))


def _written(value: object) -> str:
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case float():
            return f"{value:g}"
        case _:
            return str(value)


def _allowed(schema: dict[str, Any]) -> str:
    if "enum" in schema:
        return ", ".join(schema["enum"])
    if schema.get("type") == "boolean":
        return "true, false"
    if "minimum" in schema:
        return f"{_written(schema['minimum'])} to {_written(schema['maximum'])}"
    kinds = [kind for kind in schema.get("anyOf", ()) if kind.get("type") != "null"]
    if len(kinds) == 1 and "minimum" in kinds[0]:
        return f"{_allowed(kinds[0])}, or null"
    for kind in kinds:
        if kind.get("type") == "array":
            return f"a list of at most {kind['maxItems']}"
    return f"such as {schema['examples'][0]}"


def _comment(row: Row) -> list[str]:
    return [f"# {line}" for line in (*textwrap.wrap(row.says, _WIDTH), f"Values: {row.allowed}.")]


def _control_example() -> list[str]:
    examples = ConfigurationForm.model_fields["controls"].examples
    assert examples, "every field of a form has an example"
    press, do = (f"{key}: {value}" for key, value in examples[0][0].items())
    return ["# controls:", f"#   - {press}", f"#     {do}"]
