"""The configuration file on the disk: found, written, and looked at for changes."""

import os
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from ripieno.configuration.default import default_text
from ripieno.configuration.file import Watch, default_path, save, write_default
from ripieno.configuration.load import load_configuration, text_of
from ripieno.configuration.model import Configuration
from ripieno.errors import MachineError

posix = pytest.mark.skipif(sys.platform == "win32", reason="modes and links of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_the_file_lies_in_the_configuration_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, where the system follows it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("RIPIENO_CONFIG", raising=False)
    assert default_path().parts[-2:] == ("ripieno", "config.yaml")
    monkeypatch.setenv("RIPIENO_CONFIG", "")
    assert default_path().parts[-2:] == ("ripieno", "config.yaml")
    monkeypatch.setenv("RIPIENO_CONFIG", str(tmp_path / "gig.yaml"))
    assert default_path() == tmp_path / "gig.yaml"


def test_a_first_run_writes_the_defaults_for_their_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "new" / "ripieno" / "config.yaml"
    write_default(path)
    assert load_configuration(path) == Configuration()
    assert text_of(path) == default_text()
    assert os.listdir(path.parent) == ["config.yaml"]
    if sys.platform != "win32":
        assert (mode(path), mode(path.parent)) == (0o600, 0o700)


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    path.write_text("seed: 5\n")
    write_default(path)
    assert path.read_text() == "seed: 5\n"


def test_a_text_is_saved_as_it_is_with_its_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    text = "\ufeffseed: 1\r\n# é\rhold: true\n"
    save(path, text)
    assert path.read_bytes() == text.encode("utf-8")
    assert text_of(path) == text


@posix
@pytest.mark.parametrize("kept", [0o600, 0o644, 0o664, 0o400])
def test_saving_keeps_the_mode_of_the_file(tmp_path: Path, kept: int) -> None:
    path = tmp_path / "config.yaml"
    path.write_text("seed: 1\n")
    path.chmod(kept)
    save(path, "seed: 2\n")
    assert (path.read_text(), mode(path)) == ("seed: 2\n", kept)


@posix
def test_of_a_link_the_file_that_it_leads_to_is_written(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    target = tmp_path / "kept" / "mine.yaml"
    target.write_text("seed: 1\n")
    path = tmp_path / "config.yaml"
    path.symlink_to(Path("kept") / "mine.yaml")
    save(path, "seed: 2\n")
    assert path.is_symlink()
    assert not target.is_symlink()
    assert target.read_text() == "seed: 2\n"
    assert sorted(os.listdir(tmp_path / "kept")) == ["mine.yaml"]


@posix
def test_a_reader_of_the_old_file_never_sees_a_part_of_the_new_one(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    path.write_text("seed: 1\n")
    with path.open() as old:
        save(path, "seed: 2\n")
        assert old.read() == "seed: 1\n"


def test_a_folder_that_cannot_be_written_is_one_line_and_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    for write in (write_default, lambda path: save(path, "seed: 1\n")):
        with pytest.raises(MachineError, match="cannot be written") as refused:
            write(tmp_path / "file" / "config.yaml")
        assert "\n" not in str(refused.value)
    (tmp_path / "config.yaml").mkdir()
    with pytest.raises(MachineError, match="cannot be written"):
        save(tmp_path / "config.yaml", "seed: 1\n")
    assert sorted(os.listdir(tmp_path)) == ["config.yaml", "file"]


_AS_NOBODY = """
import os, sys
from pathlib import Path
import ripieno.configuration.default  # while its files may still be read
from ripieno.configuration.file import save, write_default
from ripieno.errors import MachineError
path = Path(sys.argv[1])
os.setgid(65534); os.setuid(65534)
for write in (write_default, lambda path: save(path, "seed: 1\\n")):
    try:
        write(path)
    except MachineError as refusal:
        print(refusal)
"""


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() != 0, reason="only root can become somebody else"
)
def test_a_folder_that_may_not_be_written_is_one_line(tmp_path: Path) -> None:
    folder = Path(tempfile.mkdtemp(prefix="ripieno-read-only-"))  # tmp_path hides from others
    folder.chmod(0o555)
    try:
        done = subprocess.run(
            [sys.executable, "-c", _AS_NOBODY, folder / "config.yaml"],
            capture_output=True, text=True, check=False, cwd=tmp_path,
        )  # fmt: skip
        assert done.stderr == ""
        lines = done.stdout.splitlines()
        assert len(lines) == 2
        assert all("Permission denied" in line and "RIPIENO_CONFIG" in line for line in lines)
        assert os.listdir(folder) == []
    finally:
        folder.rmdir()


# ---- watching ---------------------------------------------------------------------------------


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "config.yaml"
    path.write_text("seed: 1\n")
    os.utime(path, ns=(1_000, 1_000))
    return path


def test_a_file_that_nobody_touches_has_not_changed(path: Path) -> None:
    watch = Watch(path)
    path.read_text()
    assert [watch.changed() for _ in range(3)] == [False] * 3
    assert not watch.vanished()


def test_what_is_written_in_place_is_seen_once_and_so_is_the_rest_of_it(path: Path) -> None:
    watch = Watch(path)
    with path.open("w") as file:
        file.write("seed: 2\n")
        file.flush()
        assert [watch.changed(), watch.changed()] == [True, False]
        file.write("hold: false\n")
    assert [watch.changed(), watch.changed()] == [True, False]


def test_a_change_of_as_many_bytes_is_seen_by_its_time(path: Path) -> None:
    watch = Watch(path)
    path.write_text("seed: 2\n")
    assert [watch.changed(), watch.changed()] == [True, False]


def test_a_change_within_one_tick_of_the_clock_is_seen_by_its_size(path: Path) -> None:
    watch = Watch(path)
    path.write_text("seed: 22\n")
    os.utime(path, ns=(1_000, 1_000))
    assert [watch.changed(), watch.changed()] == [True, False]


def test_another_file_put_in_its_place_is_seen_by_its_number(path: Path) -> None:
    watch = Watch(path)
    other = path.with_name("other")
    other.write_text("seed: 2\n")
    os.utime(other, ns=(1_000, 1_000))
    os.replace(other, path)
    assert [watch.changed(), watch.changed()] == [True, False]


def test_what_the_program_itself_saves_is_seen_too(path: Path) -> None:
    watch = Watch(path)
    save(path, "seed: 2\n")
    assert [watch.changed(), watch.changed()] == [True, False]


def test_a_file_that_vanishes_is_no_change_and_is_told_once(path: Path) -> None:
    watch = Watch(path)
    away = path.with_name("away")
    path.rename(away)
    assert not watch.changed()
    assert [watch.vanished(), watch.vanished()] == [True, False]
    assert not watch.changed()
    assert not watch.vanished()
    away.rename(path)
    assert [watch.changed(), watch.vanished()] == [False, False]
    path.unlink()
    assert [watch.changed(), watch.vanished()] == [False, True]


def test_a_file_that_is_back_before_anybody_asked_is_not_told_as_gone(path: Path) -> None:
    watch = Watch(path)
    path.unlink()
    assert not watch.changed()
    path.write_text("seed: 2\n")
    assert watch.changed()
    assert not watch.vanished()


def test_a_file_that_was_never_there_is_no_loss_and_is_seen_when_it_comes(tmp_path: Path) -> None:
    watch = Watch(tmp_path / "folder" / "config.yaml")
    assert [watch.changed(), watch.vanished()] == [False, False]
    write_default(tmp_path / "folder" / "config.yaml")
    assert [watch.changed(), watch.changed()] == [True, False]


@posix
def test_a_link_that_leads_to_another_file_is_a_change(path: Path) -> None:
    link = path.with_name("link.yaml")
    link.symlink_to(path)
    watch = Watch(link)
    assert not watch.changed()
    other = path.with_name("other.yaml")
    other.write_text("seed: 1\n")
    os.utime(other, ns=(1_000, 1_000))
    link.unlink()
    link.symlink_to(other)
    assert watch.changed()


def test_reading_the_defaults_and_watching_do_not_wait_for_pydantic() -> None:
    program = (
        "import sys, ripieno.configuration.edit, ripieno.configuration.file,"
        "ripieno.configuration.load, ripieno.configuration.model;"
        "print(sorted({'pydantic', 'rtmidi', 'mido', 'textual'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"
