"""The scripts for shells, in the shells that they are for."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from calling import call, environment

from rig import STYLE_IDS
from ripieno.cli.entry import COMMANDS, main
from ripieno.errors import AuthorError
from ripieno.style.load import load_style
from ripieno.style.shipped import shipped_styles
from ripieno.wire.command import TABLE, command_from

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a Unix shell")

TOLD = [row.name for row in TABLE if row.name != "watch"]
IN_BASH = """
source "$0"
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
$(complete -p ripieno | sed 's/.*-F \\([^ ]*\\) .*/\\1/')
printf '%s\\n' "${COMPREPLY[@]}"
"""
IN_FISH = """
source $argv[1]
complete -C "$argv[2]"
"""

Completes = Callable[..., list[str]]


def outcome(folder: Path, *command: str) -> list[str]:
    """The lines that a shell prints; the program is the one of this environment."""
    result = subprocess.run(
        command, env=environment(folder) | {"PATH": f"{folder}/bin:{os.environ['PATH']}"},
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert result.stderr == ""
    return [line for line in result.stdout.splitlines() if line]


def program_on_the_path(folder: Path) -> None:
    program = folder / "bin" / "ripieno"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m ripieno "$@"\n')
    program.chmod(0o755)


@pytest.fixture
def bash(tmp_path: Path, capfd) -> Completes:
    """The words that bash offers for the last of some."""
    if shutil.which("bash") is None:
        pytest.skip("needs bash")
    program_on_the_path(tmp_path)
    script = tmp_path / "script.bash"
    script.write_text(call(capfd, "completion", "bash").out)
    return lambda *words: outcome(tmp_path, "bash", "-c", IN_BASH, str(script), "ripieno", *words)


@pytest.fixture
def fish(tmp_path: Path, capfd) -> Completes:
    """The same in fish."""
    if shutil.which("fish") is None:
        pytest.skip("needs fish")
    program_on_the_path(tmp_path)
    script = tmp_path / "script.fish"
    script.write_text(call(capfd, "completion", "fish").out)

    def offered(*words: str) -> list[str]:
        line = " ".join(["ripieno", *words])
        lines = outcome(tmp_path, "fish", "-c", IN_FISH, str(script), line)
        return [line.partition("\t")[0] for line in lines]

    return offered


@pytest.fixture(params=["bash", "fish"])
def shell(request: pytest.FixtureRequest) -> Completes:
    return request.getfixturevalue(request.param)


def test_every_command_is_offered(shell: Completes) -> None:
    assert set(shell("")) == set(COMMANDS)
    assert shell("ren") == ["render"]


def test_every_option_that_a_commands_help_shows_is_offered(bash: Completes, capfd) -> None:
    for command in COMMANDS:
        with pytest.raises(SystemExit):
            main([command, "--help"])
        shown = capfd.readouterr().out
        options = re.findall(r"^  (?:-\w(?: \S+)?, )?(--[a-z-]+)", shown, re.MULTILINE)
        assert "--help" in options
        offered = [word for word in bash(command, "--") if not word.startswith("--no-")]
        assert sorted(offered) == sorted(options), command


def test_the_words_of_tell_are_offered_one_after_the_other(shell: Completes) -> None:
    assert set(shell("tell", "")) >= set(TOLD)
    assert shell("tell", "tra") == ["transpose"]
    for row in TABLE:
        if row.fixed:
            assert set(shell("tell", row.name, "")) == set(row.fixed)
    assert shell("tell", "learn", "hold", "of") == ["off"]


def test_after_learn_and_forget_comes_what_a_control_can_do(bash: Completes) -> None:
    for verb in ("learn", "forget"):
        offered = set(bash("tell", verb, ""))
        for name in TOLD:
            assert (name in offered) == is_learnable(verb, name)


def is_learnable(verb: str, name: str) -> bool:
    try:
        command_from([verb, name])
    except AuthorError as refusal:
        return "no control can do that" not in str(refusal)
    return True


@pytest.mark.parametrize(
    "words", [("tell", "style"), ("play", "-s"), ("render", "--style"), ("styles",)], ids=" ".join
)
def test_the_ids_of_styles_are_offered(shell: Completes, words: tuple[str, ...]) -> None:
    assert set(shell(*words, "")) >= set(STYLE_IDS)
    assert shell(*words, "wal") == [name for name in STYLE_IDS if name.startswith("wal")]


def test_a_style_that_was_written_since_is_offered_too(shell: Completes, tmp_path: Path) -> None:
    # XDG_CONFIG_HOME is the test's folder: environment() says so.
    own = tmp_path / "ripieno" / "styles"
    if sys.platform != "linux":
        pytest.skip("the folder is where Linux has it")
    assert shell("tell", "style", "my-o") == []
    own.mkdir(parents=True)
    (own / "my-own.yaml").write_bytes(shipped_styles()[0].read_bytes())
    load_style(own / "my-own.yaml")
    assert shell("tell", "style", "my-o") == ["my-own"]


def test_files_are_offered_where_a_file_is_wanted(shell: Completes, tmp_path: Path) -> None:
    (tmp_path / "night.jsonl").touch()
    assert shell("replay", f"{tmp_path}/nig") == [f"{tmp_path}/night.jsonl"]
    assert shell("render", "--journal", f"{tmp_path}/nig") == [f"{tmp_path}/night.jsonl"]


def test_the_values_that_an_option_can_have_are_offered(shell: Completes) -> None:
    assert set(shell("play", "--span", "")) == {"octave", "ninth", "tenth"}


@pytest.mark.parametrize("name", ["bash", "zsh", "fish"])
def test_a_shell_finds_no_fault_in_its_script(name: str, tmp_path: Path, capfd) -> None:
    if shutil.which(name) is None:
        pytest.skip(f"needs {name}")
    script = tmp_path / "script"
    script.write_text(call(capfd, "completion", name).out)
    assert outcome(tmp_path, name, "-n", str(script)) == []


def test_zsh_is_told_what_its_script_completes(capfd) -> None:
    script = call(capfd, "completion", "zsh").out
    assert script.startswith("#compdef ripieno\n")
    completed = {row.name for row in TABLE if f"{row.name}) _arguments" in script}
    assert completed == set(TOLD) - {"learn", "forget"}  # which have words of their own


def test_the_list_of_styles_is_ids_alone(capfd) -> None:
    result = call(capfd, "completion", "styles")
    assert (result.status, result.err) == (0, "")
    assert set(result.out.splitlines()) >= set(STYLE_IDS)
