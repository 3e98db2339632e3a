"""Where styles are found, and which of two with one id."""

from pathlib import Path

import pytest
from style_texts import SHORTEST

from ripieno.errors import AuthorError
from ripieno.style.load import load_style
from ripieno.style.shipped import (
    all_styles,
    find_style,
    presets_folder,
    shipped_styles,
    user_styles_folder,
)


@pytest.mark.parametrize("path", shipped_styles(), ids=lambda path: path.stem)
def test_every_shipped_style_loads(path):
    assert load_style(path).id == path.stem


def test_styles_are_shipped_and_each_names_the_schema_that_editors_hold_it_against():
    assert len(shipped_styles()) >= 12
    for path in shipped_styles():
        first = path.read_text(encoding="utf-8").splitlines()[0]
        schema = first.removeprefix("# yaml-language-server: $schema=")
        assert (path.parent / schema).resolve() == (
            presets_folder() / "style.schema.json"
        ).resolve()


def test_a_style_of_the_user_hides_the_shipped_one_of_its_id(tmp_path):
    own = tmp_path / "waltz.yaml"
    own.write_text(SHORTEST)
    assert find_style("waltz", None) in shipped_styles()
    assert find_style("waltz", tmp_path) == own
    listed = [path for path in all_styles(tmp_path) if path.stem == "waltz"]
    assert listed == [own]


def test_styles_of_the_user_are_listed_among_the_shipped_in_order(tmp_path):
    (tmp_path / "mine.yaml").write_text(SHORTEST)
    (tmp_path / "notes.txt").write_text("no style")
    ids = [path.stem for path in all_styles(tmp_path)]
    assert ids == sorted([*(path.stem for path in shipped_styles()), "mine"])


def test_a_path_is_taken_as_it_is(tmp_path):
    for text in (str(tmp_path / "x.yaml"), "x.yaml", "./waltz", str(tmp_path / "waltz")):
        assert find_style(text, tmp_path) == Path(text)


def test_an_unknown_id_is_told_with_those_that_are_near(tmp_path):
    (tmp_path / "my-waltz.yaml").write_text(SHORTEST)
    with pytest.raises(AuthorError, match=r"no style 'walz'; did you mean waltz"):
        find_style("walz", tmp_path)
    with pytest.raises(AuthorError, match="`ripieno styles` lists them"):
        find_style("\x1b" * 5000, tmp_path)


def test_a_missing_user_folder_holds_no_styles(tmp_path):
    assert all_styles(tmp_path / "none") == all_styles(None)


def test_the_users_styles_lie_in_the_configuration_folder(monkeypatch, tmp_path):
    """XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, where the system follows it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    folder = user_styles_folder()
    assert folder.parts[-2:] == ("ripieno", "styles")
