"""The dashboard of a loaded run: the real one, attached, and gone with the run, however it ends."""

import os
import select
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from short_run import ORDER

from jack_server import PATIENCE_S
from ripieno.engine.loop import Counts
from ripieno.engine.messages import Answer, Ports, Ready
from ripieno.errors import AuthorError
from ripieno.latency import in_process
from ripieno.latency.load import Load, loaded
from ripieno.latency.scene import Scene
from ripieno.latency.screen import Attended
from ripieno.midi.lasting import PortState
from ripieno.midi.systems import System
from ripieno.perform.chosen import Chosen
from ripieno.perform.performer import Performer
from ripieno.perform.snapshot import snapshot
from ripieno.wire.command import Silence

CHOSEN = Chosen(ORDER.settings, ORDER.dense[0])
PORTS = Ports(
    System(None, "memory", "here", virtual=False), PortState("Keys", "a"), PortState("Piano", "b")
)
SCENE = Scene(CHOSEN, Ready(0, PORTS, "real time", (), 0))


def test_the_screen_is_told_what_the_engine_said_last() -> None:
    attended = Attended(SCENE)
    assert attended.status().counts == {}, "nothing is known yet"
    shown = snapshot(Performer(CHOSEN.settings, CHOSEN.style), 0)
    attended.hear(Answer(1, shown, Counts(sent=7), 0, 0, 0))
    attended.hear(Scene(Chosen(ORDER.settings, ORDER.dense[1]), SCENE.ready))
    status = attended.status()
    assert (status.style, status.counts["sent"]) == (ORDER.dense[1].id, 7)
    assert (status.engine, status.input, status.output) == ("playing", "Keys", "Piano")


def test_nothing_can_be_told_to_an_engine_that_is_measured() -> None:
    with pytest.raises(AuthorError):
        Attended(SCENE).carry_out(Silence())


@contextmanager
def load() -> Iterator[tuple[Load, dict[str, str]]]:
    with (
        in_process.opened(ORDER.settings, ORDER.at_once[0]) as ground,
        loaded(ground, ORDER.settings, ORDER.at_once) as at_work,
    ):
        yield at_work, ground.about


@pytest.fixture
def on_linux() -> None:
    if not Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").exists():
        pytest.skip("only Linux lists a process's children")


def children(pid: int) -> dict[str, int]:
    """The processes begun by one, by their command lines."""
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return {Path(f"/proc/{child}/cmdline").read_text(): int(child) for child in listed}


def screen() -> int:
    """The process that has the control socket."""
    return next(n for line, n in children(os.getpid()).items() if "latency.screen" in line)


def dashboard() -> int:
    return next(n for line, n in children(screen()).items() if "dashboard" in line)


def wait_until_gone(process: int) -> None:
    """`process` is a descriptor of one, for its number may be another's later."""
    try:
        assert select.select([process], [], [], PATIENCE_S)[0], "it has not ended"
    finally:
        os.close(process)


def test_the_dashboard_is_attached_before_anything_is_measured() -> None:
    with load() as (at_work, about):
        state = at_work.screen.state
    has_none = "none: this system has no pseudo terminals"
    assert state == (has_none if sys.platform == "win32" else "attached, 120 by 40")
    assert about["dashboard"] == state


@pytest.mark.usefixtures("on_linux")
def test_ctrl_c_ends_the_dashboard_too() -> None:
    processes: list[int] = []

    def play() -> None:
        with load():
            processes.append(os.pidfd_open(dashboard()))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        play()
    wait_until_gone(processes[0])


@pytest.mark.usefixtures("on_linux")
def test_a_screen_that_is_killed_takes_the_dashboard_with_it_and_the_run_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with TemporaryDirectory() as folder, monkeypatch.context() as environment:
        environment.setenv("TMPDIR", folder)  # for it has no time to clean up
        play_on_without_screen()


def play_on_without_screen() -> None:
    with load() as (_, about):
        process = os.pidfd_open(dashboard())
        os.kill(screen(), signal.SIGKILL)
        wait_until_gone(process)
    assert about["dashboard"] == "its control socket ended before its time, status -9"


@pytest.mark.usefixtures("on_linux")
def test_a_dashboard_that_ends_before_its_time_is_told_of() -> None:
    with load() as (_, about):
        process = os.pidfd_open(dashboard())
        os.kill(dashboard(), signal.SIGKILL)
        wait_until_gone(process)
    assert about["dashboard"] == "ended before its time, status -9"
