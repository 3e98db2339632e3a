"""The published schema is the form that files are held against."""

import json
from collections.abc import Iterator
from typing import Any

import yaml

from ripieno.style.document import StyleForm, schema_text
from ripieno.style.load import style_from_data
from ripieno.style.shape import read_form
from ripieno.style.shipped import presets_folder
from ripieno.style.yaml_marks import read_marked


def _objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if "properties" in schema:
            yield schema
        for value in schema.values():
            yield from _objects(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from _objects(value)


def test_the_shipped_schema_is_the_form_of_a_style():
    shipped = (presets_folder() / "style.schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), "write it with: ripieno check --schema"


def test_every_key_has_a_description_for_editors_to_show():
    objects = list(_objects(json.loads(schema_text())))
    assert len(objects) == 9
    for schema in objects:
        assert schema["additionalProperties"] is False
        for key, value in schema["properties"].items():
            assert len(value["description"]) > 10, key
            assert value["examples"], key


def test_the_example_of_every_key_is_accepted_where_it_stands():
    data = {name: field.examples[0] for name, field in StyleForm.model_fields.items()}
    assert style_from_data(data, "example").name == "Waltz"


def test_what_a_message_tells_an_author_to_write_can_be_read():
    _, complaints = read_form({})
    told = [c.message.split("`")[1] for c in complaints]
    assert len(told) == 5
    data = {}
    for line in told:
        data |= read_marked(line).data
    assert style_from_data(data, "told").suits == ("gig", "learner")


def test_a_nested_example_can_be_read_too():
    text = "hands: {left: {}, right: {tones: [root], around: x}}\nfigures: [{left: {steps: []}}]"
    _, complaints = read_form(yaml.safe_load(text))
    for complaint in complaints:
        if complaint.message.count("`") == 2:
            line = complaint.message.split("`")[1]
            assert isinstance(read_marked(line).data, dict)
    assert any("add it, as in `around: C4`" in c.message for c in complaints)
