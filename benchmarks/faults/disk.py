"""A disk that takes no more, and folders that are not there or are not folders.

Each of them: the daemon plays, and says what is wrong on standard error and in its status.
"""

import resource
import shutil
import time
from collections.abc import Callable

from faults.daemon import Daemon, Home
from faults.outcome import Outcome
from faults.server import running_server
from faults.stage import PATIENCE_S, Stage

_TAKES_BYTES = 24 * 1024  # some seconds of a session
_AGAIN_S = 0.2


def run(count: int, seed: int = 1) -> list[Outcome]:
    outcomes = []
    with running_server(), Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        for what, before, during, word in _FAULTS:
            faults: list[str] = []
            said = ""
            for _ in range(count):
                said = _one(stage, before, during, word, faults)
            hanging = stage.wait_until_silent(2.0)
            remarks = (*faults[:5], f"it says: {said}")
            wanted = "plays on and says so"
            outcomes.append(
                Outcome("disk", what, count, hanging, (), wanted, not faults, None, remarks)
            )
    return outcomes


def _one(
    stage: Stage,
    before: Callable[[Home], None],
    during: Callable[[Home, Daemon], None],
    word: str,
    faults: list[str],
) -> str:
    """What the daemon has to say; its faults are added to those there are."""
    with Home() as home:
        before(home)
        with Daemon(home).wait_until_ready() as daemon:
            stage.account.forget()
            if stage.play_until_heard(time.monotonic_ns()) is None:
                faults.append("it did not play at first")
            during(home, daemon)
            notice = _notice(daemon, stage, word)
            if not notice:
                faults.append(f"no notice of '{word}' in {PATIENCE_S:g} s")
            elif notice not in home.said:
                faults.append("nothing on standard error")
            if stage.play_until_heard(time.monotonic_ns()) is None:
                faults.append("it did not play on")
            daemon.tell("silence")
            stage.wait_until_silent(2.0)
            if daemon.close():
                faults.append("it did not end in order")
        if "Traceback" in home.said:
            faults.append("a traceback")
    return notice


def _notice(daemon: Daemon, stage: Stage, word: str) -> str:
    """The one with `word` in it, as soon as there is one; empty if there never is."""
    give_up = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up:
        for notice in daemon.status().notices:
            if word in notice:
                return notice
        stage.chord()
        time.sleep(_AGAIN_S)
    return ""


def _nothing(*_: object) -> None:
    pass


def _full(_: Home, daemon: Daemon) -> None:
    """As a full disk: the host's writes fail from so many bytes of a file on."""
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (_TAKES_BYTES, _TAKES_BYTES))


def _file_for_config(home: Home) -> None:
    """Root may write into a folder that is read-only; into a file nobody can."""
    home.config.parent.write_text("no folder")


def _file_for_journals(home: Home) -> None:
    home.journals.write_text("no folder")


def _without_journals(home: Home, _: Daemon) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not any(home.journals.glob("*")):
        assert time.monotonic() < give_up, "no session has been begun"
    shutil.rmtree(home.journals)


_FAULTS = (
    ("the disk takes no more", _nothing, _full, "session"),
    ("configuration folder cannot be written", _file_for_config, _nothing, "config"),
    ("journals have no folder", _file_for_journals, _nothing, "session"),
    ("the journals' folder is taken away", _nothing, _without_journals, "session"),
)
