"""A style in the user's own editor."""

import asyncio
import sys
from pathlib import Path

import pytest
from listed import listed

from ripieno.dashboard.editing import edit, editor, own_file
from ripieno.errors import MachineError


@pytest.fixture
def own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The folder of the user's own styles, as `style.shipped` has it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    from ripieno.style.shipped import user_styles_folder

    return user_styles_folder()


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    path = tmp_path / "presets" / "waltz.yaml"
    path.parent.mkdir()
    path.write_text("name: Waltz\n", encoding="utf-8")
    return path


def test_a_shipped_style_is_copied_to_where_the_users_are_found(own: Path, shipped: Path) -> None:
    path = own_file(listed("waltz", file=str(shipped)))
    assert path == own / "waltz.yaml"
    assert path.read_bytes() == shipped.read_bytes()


def test_the_users_own_file_is_never_overwritten(own: Path, shipped: Path) -> None:
    own.mkdir(parents=True)
    (own / "waltz.yaml").write_text("mine", encoding="utf-8")
    assert own_file(listed("waltz", file=str(shipped))).read_text(encoding="utf-8") == "mine"


def test_a_style_of_the_users_is_edited_where_it_is(own: Path, shipped: Path) -> None:
    assert own_file(listed("waltz", own=True, file=str(shipped))) == shipped
    assert not own.exists()


def test_what_cannot_be_copied_is_refused_in_one_line(own: Path, tmp_path: Path) -> None:
    with pytest.raises(MachineError, match=r"gone\.yaml cannot be copied"):
        own_file(listed("waltz", file=str(tmp_path / "gone.yaml")))
    assert not list(own.glob("*"))
    own.rmdir()
    own.write_text("no folder", encoding="utf-8")
    with pytest.raises(MachineError, match="cannot be copied"):
        own_file(listed("waltz", file=__file__))


def test_visual_comes_before_editor_and_may_have_arguments() -> None:
    assert editor({"VISUAL": "my 'big one' -w", "EDITOR": "ed"}) == ["my", "big one", "-w"]
    assert editor({"VISUAL": " ", "EDITOR": "ed"}) == ["ed"]


def test_an_editor_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(MachineError, match="EDITOR is 'ed \"'"):
        editor({"EDITOR": 'ed "'})


def test_without_any_editor_the_variable_to_set_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(MachineError, match="set EDITOR"):
        editor({})


def test_the_editor_gets_the_file_and_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "a b.yaml"
    script = "import pathlib, sys; pathlib.Path(sys.argv[1]).write_text('written')"
    asyncio.run(edit(path, [sys.executable, "-c", script]))
    assert path.read_text(encoding="utf-8") == "written"


@pytest.mark.parametrize(
    ("command", "why"),
    [(["no-such-editor"], "cannot be begun"), ([sys.executable, "-c", "exit(3)"], "status 3")],
)
def test_an_editor_that_fails_is_one_line(tmp_path: Path, command: list[str], why: str) -> None:
    with pytest.raises(MachineError, match=why) as refused:
        asyncio.run(edit(tmp_path / "x.yaml", command))
    assert "\n" not in str(refused.value)
