"""The units for systemd, judged by systemd's own program and held against docs/daemon.md."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ripieno.cli.entry import COMMANDS

ROOT = Path(__file__).parents[1]
USER, APPLIANCE, REALTIME = (
    ROOT / "systemd" / name
    for name in ("ripieno.service", "ripieno-appliance.service", "user@.service.d/realtime.conf")
)
FILES = [USER, APPLIANCE, REALTIME]
PAGE = (ROOT / "docs" / "daemon.md").read_text(encoding="utf-8")
ANALYZE = shutil.which("systemd-analyze")
PROGRAM = re.compile(r"(?<=[=-])\S*/ripieno(?= )")  # in a unit's Exec lines

needs_systemd = pytest.mark.skipif(ANALYZE is None, reason="needs systemd-analyze, from systemd")


def directives(path: Path) -> list[tuple[str, str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line]
    return [(a, b) for line in lines if line[0] not in "#[" for a, _, b in [line.partition("=")]]


def section(title: str) -> str:
    _, found, rest = PAGE.partition(f"\n## {title}\n")
    assert found, title
    return rest.partition("\n## ")[0]


def analyze(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """systemd-analyze, for a user whose home and runtime folder are inside `folder`."""
    runtime = folder / "run"
    runtime.mkdir(mode=0o700, exist_ok=True)
    own = {"HOME": str(folder), "XDG_RUNTIME_DIR": str(runtime), "SYSTEMD_COLORS": "0"}
    assert ANALYZE is not None
    return subprocess.run(
        [ANALYZE, "--no-pager", *words], env=os.environ | own, capture_output=True, text=True,
        check=False,
    )  # fmt: skip


def installed(folder: Path, unit: Path) -> Path:
    """A copy of a unit whose program is one that is there, as verifying wants it."""
    copy = folder / unit.name
    copy.write_text(PROGRAM.sub(sys.executable, unit.read_text(encoding="utf-8")))
    return copy


@needs_systemd
@pytest.mark.parametrize(("unit", "words"), [(USER, ["--user"]), (APPLIANCE, [])], ids=str)
def test_systemd_finds_no_fault_in_a_unit(unit: Path, words: list[str], tmp_path: Path) -> None:
    copy = installed(tmp_path, unit)
    result = analyze(tmp_path, *words, "verify", str(copy))
    assert (result.returncode, result.stdout, result.stderr) == (0, "", "")
    copy.write_text(copy.read_text().replace("RestartSec=1", "RestartSec=soon"))
    assert "Failed to parse" in analyze(tmp_path, *words, "verify", str(copy)).stderr


@needs_systemd
def test_systemd_finds_no_fault_in_the_limits_for_a_users_manager(tmp_path: Path) -> None:
    unit = tmp_path / "user@.service"
    unit.write_text("[Service]\nExecStart=/bin/true\n")
    folder = tmp_path / "user@.service.d"
    folder.mkdir()
    limits = folder / "realtime.conf"
    limits.write_text(REALTIME.read_text())
    result = analyze(tmp_path, "verify", str(unit))
    assert (result.returncode, result.stderr) == (0, "")
    limits.write_text("[Service]\nLimitRTPRIO=high\n")
    assert "Failed to parse" in analyze(tmp_path, "verify", str(unit)).stderr


@needs_systemd
@pytest.mark.parametrize(("unit", "words"), [(USER, ["--user"]), (APPLIANCE, [])], ids=str)
def test_a_unit_is_no_more_exposed_than_the_page_says(
    unit: Path, words: list[str], tmp_path: Path
) -> None:
    told = section("What the units may and may not do")
    version = re.search(r"systemd (\d+)", told)
    assert version is not None
    if not analyze(tmp_path, "--version").stdout.startswith(f"systemd {version[1]} "):
        pytest.skip(f"other versions of systemd than {version[1]} count differently")
    copy = installed(tmp_path, unit)
    result = analyze(tmp_path, *words, "security", "--offline=true", str(copy))
    found = re.search(r"exposure level for \S+: (\S+)", result.stdout)
    stated = re.search(rf"\| `{re.escape(unit.name)}` \| ([\d.]+) \|", told)
    assert found is not None, result.stderr
    assert stated is not None
    assert float(found[1]) <= float(stated[1])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_line_of_a_unit_has_its_reason_above_it(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    bare = [
        line
        for above, line in zip(["", *lines], lines, strict=False)
        if line and line[0] not in "#[" and not above.startswith("# ")
    ]
    assert bare == []
    assert directives(path)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_unit_has_a_line_that_would_break_midi_and_the_page_says_why(path: Path) -> None:
    told = section("What the units may and may not do")
    forbidden = re.findall(r"^\| `(\w+)(?:=[^`]*)?` \| (.+) \|$", told, re.MULTILINE)
    names = {name for name, reason in forbidden if len(reason.split()) > 3}
    assert {"PrivateDevices", "RestrictRealtime", "CPUSchedulingPolicy"} <= names
    assert names & {name for name, _ in directives(path)} == set()


@pytest.mark.parametrize("unit", [USER, APPLIANCE], ids=lambda path: path.name)
def test_a_unit_calls_commands_that_the_program_has(unit: Path) -> None:
    called = [value for name, value in directives(unit) if name.startswith("Exec")]
    assert len(called) == 3
    assert {words.split()[1] for words in called} <= set(COMMANDS)


@pytest.mark.parametrize("unit", [USER, APPLIANCE], ids=lambda path: path.name)
def test_the_two_units_treat_the_program_alike(unit: Path) -> None:
    wanted = ["Type", "NotifyAccess", "WatchdogSec", "Restart", "RestartSec", "KillMode"]
    wanted += ["StartLimitIntervalSec", "RestartPreventExitStatus", "UMask", "LimitRTTIME"]
    mine, theirs = dict(directives(unit)), dict(directives(USER))
    assert {name: mine[name] for name in wanted} == {name: theirs[name] for name in wanted}


def test_the_module_of_each_group_of_devices_that_is_let_in_is_loaded_first() -> None:
    """systemd.resource-control(5), DeviceAllow=: groups are resolved when the unit starts."""
    lines = directives(APPLIANCE)
    groups = [value.split()[0] for name, value in lines if name == "DeviceAllow"]
    modules = {"char-alsa": "snd_seq"}  # its sequencer; what it needs, snd, is loaded with it
    assert groups == list(modules)
    for module in modules.values():
        assert ("Wants", f"modprobe@{module}.service") in lines
        assert ("After", f"modprobe@{module}.service") in lines


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_the_page_says_how_each_file_is_installed(path: Path) -> None:
    assert f"systemd/{path.relative_to(ROOT / 'systemd')}" in PAGE
