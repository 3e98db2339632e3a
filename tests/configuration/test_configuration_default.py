"""The file of the first run, the published schema and the page are the form of a configuration."""

import json
import re
from dataclasses import fields
from pathlib import Path

import pytest

from ripieno.configuration.default import Row, default_text, rows
from ripieno.configuration.document import ConfigurationForm, schema_text
from ripieno.configuration.edit import with_control
from ripieno.configuration.load import configuration_from
from ripieno.configuration.model import Configuration, Control
from ripieno.perform.press import press_named
from ripieno.perform.settings import Follow
from ripieno.style.shipped import presets_folder

PAGE = Path(__file__).parents[2] / "docs" / "configuration.md"
HERE = Path("config.yaml")


def test_the_file_of_the_first_run_is_the_defaults() -> None:
    assert configuration_from(HERE, default_text()) == Configuration()


def test_the_file_of_the_first_run_names_every_key_under_a_comment_of_its_own() -> None:
    lines = default_text().splitlines()
    for row in rows():
        if row.default is not None:
            at = next(
                i
                for i, line in enumerate(lines)
                if line.split(": ")[0].strip() == row.key.split(".")[-1]
            )
            above = "\n".join(lines[:at]).rpartition("\n\n")[2]
            told = " ".join(re.sub(r"^ *# ", "", line) for line in above.splitlines())
            assert row.says in told
            assert row.allowed in told


def test_a_key_of_the_first_runs_file_that_is_changed_is_that_value_in_the_configuration() -> None:
    text = default_text()
    for old, new, name, value in [
        ("tempo: 92", "tempo: 60", "tempo", 60.0),
        ("sound: false", "sound: true", "sound", True),
        ("channel: 1", "channel: 2", "channel", 1),
        ("split: null", "split: 48", "split", 48),
        ("swing: 1", "swing: null", "swing", None),
        ("follow: none", "follow: clock", "follow", Follow.CLOCK),
        ("send_clock: false", "send_clock: true", "send_clock", True),
    ]:
        line = f"\n{old}\n"
        assert text.count(line) == 1
        changed = configuration_from(HERE, text.replace(line, f"\n{new}\n"))
        assert getattr(changed, name) == value


def test_the_example_of_a_control_in_it_can_be_uncommented() -> None:
    text = default_text()
    before, found, rest = text.partition("# controls:\n")
    assert found
    example, _, after = rest.partition("controls: []\n")
    assert after == ""
    shown = "controls:\n" + "".join(line.removeprefix("# ") for line in example.splitlines(True))
    control = Control(press_named("controller 20 on channel 1"), ("style", "waltz"))
    assert configuration_from(HERE, before + shown).controls == (control,)
    assert configuration_from(HERE, with_control(text, control)).controls == (control,)


def test_the_keys_of_the_file_are_the_fields_of_the_configuration() -> None:
    assert list(ConfigurationForm.model_fields) == [field.name for field in fields(Configuration)]


def test_the_shipped_schema_is_the_form_of_a_configuration() -> None:
    shipped = (presets_folder() / "config.schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), "write it with: ripieno check --as configuration --schema"


def test_every_key_has_a_description_and_an_example_for_editors_to_show() -> None:
    schema = json.loads(schema_text())
    objects = [schema, *(d for d in schema["$defs"].values() if "properties" in d)]
    assert len(objects) == 3
    for described in objects:
        assert described["additionalProperties"] is False
        for key, value in described["properties"].items():
            assert len(value["description"]) > 10, key
            assert value["examples"], key


# By hand from perform.settings, docs/control.md and the options of the command line.
@pytest.mark.parametrize(
    ("key", "default", "allowed"),
    [
        ("tempo", "92", "20 to 400"),
        ("swing", "1", "1 to 3.5, or null"),
        ("follow", "none", "none, clock, hands"),
        ("lean", "75", "0 to 100"),
        ("start", "strike", "strike, downbeat"),
        ("pickup", "0", "0 to 31"),
        ("send_clock", "false", "true, false"),
        ("transpose", "0", "-24 to 24"),
        ("channel", "1", "1 to 16"),
        ("span", "octave", "octave, ninth, tenth"),
        ("reading", "played", "played, from-key"),
        ("hold", "true", "true, false"),
        ("split", "null", "such as C4"),
        ("journals.most", "500", "1 to 1000000"),
        ("controls", "[]", "a list of at most 256"),
        ("controls.press", None, "such as controller 20 on channel 1"),
    ],
)
def test_a_row_says_the_default_and_the_range(key: str, default: str | None, allowed: str) -> None:
    (row,) = (row for row in rows() if row.key == key)
    assert (row.default, row.allowed) == (default, allowed)


def cells(row: Row) -> list[str]:
    default = "it must be there" if row.default is None else f"`{row.default}`"
    return [f"`{row.key}`", default, row.allowed, row.says]


def test_the_page_lists_every_key_with_its_default_its_values_and_its_meaning() -> None:
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    table = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if line.startswith("| `")
    ]
    assert table == [cells(row) for row in rows()]


def test_the_yaml_that_the_page_shows_can_be_read() -> None:
    shown = re.findall(
        r"^```yaml\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
    )
    assert shown
    for text in shown:
        assert configuration_from(HERE, text) != Configuration()
