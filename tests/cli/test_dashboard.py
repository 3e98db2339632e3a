"""`ripieno dashboard` in terminals: tmux's, and bare pseudo-terminals that die."""

import json
import os
import pty
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from typing import Self

import mido
import pytest
from calling import environment, refused, run

if sys.platform == "win32":
    pytest.skip("tmux and pseudo-terminals", allow_module_level=True)

import fcntl
import struct
import termios

PATIENCE_S = 60
NOWHERE = {"JACK_DEFAULT_SERVER": "ripieno-no-such-server"}
RIPIENO = [sys.executable, "-m", "ripieno"]
ENTER_SCREEN, LEAVE_SCREEN, SHOW_CURSOR = b"\x1b[?1049h", b"\x1b[?1049l", b"\x1b[?25h"


def wait_for(ready: Callable[[], bool], shown: Callable[[], str]) -> None:
    """Ask until it is so. Each asking runs a program, which is pause enough."""
    give_up = time.monotonic() + PATIENCE_S
    while not ready():
        if time.monotonic() > give_up:
            pytest.fail(f"waited in vain; the screen shows:\n{shown()}")


class Tmux:
    """A terminal of tmux in which a shell runs a command, and then says how it ended."""

    def __init__(
        self, folder: Path, size: tuple[int, int] = (80, 24), command: str = "dashboard"
    ) -> None:
        self._socket = ["tmux", "-S", str(folder / "tmux"), "-f", "/dev/null"]
        width, height = map(str, size)
        command = f"cd {folder}; {' '.join(RIPIENO)} {command}; echo ended with $?; exec cat"
        environ = environment(folder) | NOWHERE
        subprocess.run(
            [*self._socket, "new-session", "-d", "-x", width, "-y", height, command],
            env=environ, check=True,
        )  # fmt: skip

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.call("kill-server")

    def call(self, *words: str) -> str:
        return subprocess.run(
            [*self._socket, *words], capture_output=True, text=True, check=False
        ).stdout

    def press(self, *keys: str) -> None:
        self.call("send-keys", *keys)

    def shown(self) -> str:
        text = self.call("capture-pane", "-p")
        assert "Traceback" not in text, text
        return text

    def wait_for(self, *texts: str) -> str:
        """What is shown once it has all of the texts."""
        wait_for(lambda: all(text in self.shown() for text in texts), self.shown)
        return self.shown()


@contextmanager
def serving(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A real daemon, on no MIDI system."""
    with subprocess.Popen(
        [*RIPIENO, "serve"], env=environment(folder) | NOWHERE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    ) as process:  # fmt: skip
        try:
            assert "ready to play\n" in iter(process.stdout.readline, "")
            yield process
        finally:
            process.kill()


@pytest.fixture
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One with a short path, for sockets."""
    if shutil.which("tmux") is None:
        pytest.skip("needs tmux")
    return tmp_path_factory.mktemp("d")


def test_a_new_user_plays_and_changes_what_is_played_from_what_the_screen_says(
    folder: Path,
) -> None:
    with serving(folder), Tmux(folder) as screen:
        screen.wait_for("Press a chord on your keyboard, or the keys 1 to 7", "1-7 Chord")
        screen.press("4")
        screen.wait_for("no key is chosen; k chooses one", "bar.beat 1.")
        screen.press("k")
        screen.wait_for("key (such as G, E minor, or none):")
        screen.press("c", "Enter")
        screen.wait_for("IV in C major", "np Style")
        before = screen.shown().splitlines()[0]
        screen.press("n")
        wait_for(lambda: screen.shown().splitlines()[0] != before, screen.shown)
        screen.press("+", "+")
        screen.wait_for("tempo 94")
        screen.press("]")
        screen.wait_for("tempo 99")
        screen.press("Enter")
        screen.wait_for("bar.beat -")
        screen.press("q")
        screen.wait_for("ended with 0")


def test_a_daemon_that_is_killed_and_comes_back_is_said_and_found(folder: Path) -> None:
    with Tmux(folder) as screen:
        screen.wait_for("No daemon is running; start one with 'ripieno serve'.")
        for _ in range(2):
            with serving(folder) as daemon:
                screen.wait_for("Press a chord on your keyboard")
                screen.press("2")
                screen.wait_for("bar.beat 1.")
                daemon.send_signal(signal.SIGKILL)
                daemon.wait(PATIENCE_S)
                screen.wait_for("! No daemon is running; start one with")
        screen.press("n", "3", "Enter")
        for view in "dfgs":
            screen.press(view)
        screen.press("q")
        screen.wait_for("ended with 0")


def test_a_window_that_changes_its_size_while_a_figure_plays_shows_all_again(
    folder: Path,
) -> None:
    with serving(folder), Tmux(folder) as screen:
        screen.wait_for("Press a chord")
        screen.press("1")
        for width, height in ((20, 5), (200, 60), (3, 2), (120, 40), (80, 24)):
            screen.call("resize-window", "-x", str(width), "-y", str(height))
        screen.wait_for("tempo 92", "bar.beat", "q Quit")


class Terminal:
    """A pseudo-terminal with the dashboard in it, and all that it has written there."""

    def __init__(self, folder: Path) -> None:
        self.ours, self.its = pty.openpty()
        fcntl.ioctl(self.ours, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.modes = termios.tcgetattr(self.its)
        self.written = b""
        self.process = subprocess.Popen(
            [*RIPIENO, "dashboard"], stdin=self.its, stdout=self.its, stderr=self.its,
            env=environment(folder) | NOWHERE | {"TERM": "xterm-256color"},
            start_new_session=True, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )  # fmt: skip
        while b"Quit" not in self.written:  # the last word of the screen
            self.written += os.read(self.ours, 4096)

    def read_on(self) -> None:
        """Until nobody writes any more."""
        reader = Thread(target=self._read, daemon=True)
        reader.start()
        assert self.process.wait(PATIENCE_S) == 0
        os.write(self.its, b"the end")
        reader.join(PATIENCE_S)

    def _read(self) -> None:
        while not self.written.endswith(b"the end"):
            self.written += os.read(self.ours, 4096)

    def close(self) -> None:
        os.close(self.its)
        os.close(self.ours)


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_leaves_the_terminal_as_it_was_found(tmp_path: Path, name: str) -> None:
    terminal = Terminal(tmp_path)
    assert ENTER_SCREEN in terminal.written
    terminal.process.send_signal(getattr(signal, name))
    terminal.read_on()
    assert terminal.written.rindex(LEAVE_SCREEN) > terminal.written.rindex(ENTER_SCREEN)
    assert terminal.written.endswith(b"the end")
    assert SHOW_CURSOR in terminal.written[terminal.written.rindex(LEAVE_SCREEN) :]
    assert b"Traceback" not in terminal.written
    assert termios.tcgetattr(terminal.its) == terminal.modes
    terminal.close()


def test_a_terminal_that_dies_ends_it(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path)
    terminal.close()
    assert terminal.process.wait(PATIENCE_S) == 0


def test_without_a_terminal_it_names_what_says_the_same_in_lines(capfd) -> None:
    assert "'ripieno tell status' says the same in lines" in refused(capfd, 2, "dashboard")


def test_help_is_there_without_a_terminal(tmp_path: Path) -> None:
    result = run(tmp_path, "dashboard", "--help")
    assert (result.returncode, result.stderr) == (0, "")
    assert result.stdout.startswith("usage: ripieno dashboard ")


def test_what_draws_is_loaded_only_to_draw(tmp_path: Path) -> None:
    program = (
        "import sys; from ripieno.cli.entry import main; main(['dashboard']);"
        "print('textual' in sys.modules)"
    )
    result = subprocess.run(
        [sys.executable, "-c", program], env=environment(tmp_path), capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    assert result.stdout == "False\n"


def test_play_opens_it_plays_and_ends_with_it(folder: Path) -> None:
    with Tmux(folder, command="play -s waltz -m 3/4") as screen:
        screen.wait_for("Waltz", "1-7 Chord")
        screen.press("1")
        screen.wait_for("bar.beat 1.")
        screen.press("q")
        screen.wait_for("ended with 0")
    [journal] = (folder / "ripieno" / "sessions").glob("*.jsonl")
    assert json.loads(journal.read_text().splitlines()[-1])["kind"] == "end"


def test_play_that_is_told_to_end_takes_the_screen_with_it(folder: Path) -> None:
    with Tmux(folder, command="play") as screen:
        screen.wait_for("1-7 Chord")
        pid = screen.call("list-panes", "-F", "#{pane_pid}").strip()
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        os.kill(int(children[0]), signal.SIGTERM)
        screen.wait_for("ended with 0")


def test_the_demo_shows_itself_and_writes_what_it_played(folder: Path) -> None:
    with serving(folder), Tmux(folder, command="demo -t 200 -s march") as screen:
        screen.wait_for("March", "in Eb major")  # beside a daemon that runs already
        screen.wait_for("bar.beat 2.")
        screen.press("q")
        screen.wait_for("ended with 0", "wrote ripieno-demo.mid: ")
    assert mido.MidiFile(folder / "ripieno-demo.mid").length > 1
