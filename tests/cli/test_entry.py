"""The command line's door: statuses, one line for a refusal, nothing for a reader that left."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from calling import call, environment, refused, run

from ripieno import __version__
from ripieno.cli.entry import COMMANDS, main
from ripieno.errors import AuthorError, MachineError, UsageError


def helped(capfd: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert left.value.code == 0
    printed, complaint = capfd.readouterr()
    assert complaint == ""
    return printed


def test_help_names_every_command_and_what_it_does(capfd) -> None:
    text = " ".join(helped(capfd, "--help").split())
    for name, does in COMMANDS.items():
        assert f"{name} {does}" in text


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(capfd, command: str) -> None:
    assert helped(capfd, command, "--help").startswith(f"usage: ripieno {command} ")


def test_wrong_use_of_a_command_that_plays_leaves_no_engine_behind(capfd) -> None:
    """Its process begins before the words are read."""
    children = Path(f"/proc/{os.getpid()}/task/{threading.get_native_id()}/children")
    if not children.exists():
        pytest.skip("only Linux lists a process's children")
    before = children.read_text()
    assert "no tempo" in refused(capfd, 2, "serve", "--tempo", "fast")
    assert children.read_text() == before


def test_every_file_of_a_command_is_reached() -> None:
    folder = Path(sys.modules["ripieno.cli"].__file__).parent
    with_parser = {p.stem for p in folder.glob("*.py") if "\ndef add_parser(" in p.read_text()}
    assert with_parser == set(COMMANDS)


def test_the_version_is_the_packages(capfd) -> None:
    assert helped(capfd, "--version") == f"ripieno {__version__}\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "the following arguments are required: COMMAND; 'ripieno --help' says more"),
        (["rendr"], "invalid choice: 'rendr'"),
        (["name", "--loud"], "--loud"),
        (["render"], "'ripieno render --help' says more"),
        (["--quiet", "styles"], "unrecognized arguments: --quiet"),
    ],
    ids=str,
)
def test_a_command_that_does_not_exist_is_bad_usage_in_one_line(
    capfd, words: list[str], said: str
) -> None:
    assert said in refused(capfd, 2, *words)


# The design's statuses: 1 found wrong, 2 usage, 3 the machine refuses.
@pytest.mark.parametrize(
    ("error", "status"), [(AuthorError, 1), (UsageError, 2), (MachineError, 3)]
)
def test_each_refusal_has_its_status(error: type, status: int) -> None:
    assert error("x").exit_status == status


def test_an_options_name_is_not_guessed_from_its_beginning(capfd) -> None:
    # 'play' keeps its sessions in the folder of --journals; --journal is another command's.
    assert "unrecognized arguments: --journal=x" in refused(capfd, 2, "play", "--journal=x")
    assert "unrecognized arguments: --vers" in refused(capfd, 2, "name", "C4", "--vers")


def test_refusals_reach_the_shell(tmp_path: Path) -> None:
    result = run(tmp_path, "styles", "waltzz")
    assert (result.returncode, result.stdout) == (1, "")
    assert result.stderr.startswith("ripieno: there is no style 'waltzz'; did you mean waltz")
    assert run(tmp_path, "styles").returncode == 0
    assert run(tmp_path, "nothing").returncode == 2


def test_naming_a_chord_does_not_wait_for_midi(tmp_path: Path) -> None:
    program = (
        "import sys; from ripieno.cli.entry import main; main(['name', 'C4', 'E4', 'G4']);"
        "print(sorted({'rtmidi', 'mido', 'textual', 'yaml'} & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", program], env=environment(tmp_path), capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert result.stdout.splitlines()[-1] == "[]"


def test_a_reader_that_has_seen_enough_is_no_error(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "ripieno", "styles", "--json"],
        env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as process:  # fmt: skip
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 0


@pytest.mark.skipif(sys.platform == "win32", reason="a shell's closed streams")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_standard_streams_are_no_error(tmp_path: Path, closed: str) -> None:
    for words, status in (("styles", 0), ("styles waltzz", 1)):
        result = subprocess.run(
            ["sh", "-c", f'exec "$0" -m ripieno {words} {closed}', sys.executable],
            env=environment(tmp_path), capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert result.returncode == status
        assert "Traceback" not in result.stderr
        assert "there is no style" not in result.stdout


def test_the_program_runs_as_a_module_and_as_a_script(tmp_path: Path, capfd) -> None:
    script = Path(sys.executable).with_name("ripieno")
    if not script.exists():
        pytest.skip("the package is not installed here")
    by_script = subprocess.run(
        [script, "name", "C4", "E4", "G4"], env=environment(tmp_path), capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    assert by_script.stdout == run(tmp_path, "name", "C4", "E4", "G4").stdout
    assert by_script.stdout == call(capfd, "name", "C4", "E4", "G4").out
