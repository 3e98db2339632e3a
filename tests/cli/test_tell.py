"""`ripieno tell`: what it prints, with which status it ends, and that it is quick to begin."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from calling import call, environment, refused

from control_rig import PATIENCE_S, STATUS, Fake, Served, serving
from ripieno.cli.entry import main
from ripieno.errors import AuthorError, MachineError
from ripieno.wire.command import (
    ChooseKey,
    Command,
    Learn,
    StepStyle,
    StopLearning,
    Transpose,
    words_of,
)
from ripieno.wire.status import ControlStatus, Status, status_to_data
from ripieno.wire.time_commands import Nudge, NudgeTempo, RampTempo, TempoByValue

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")

PRESS = "controller 64 on channel 2"


class Learning(Fake):
    """Each time that it is looked at while it learns, a control may be pressed."""

    press: str | None = PRESS
    instead: tuple[str, ...] | None = None

    def status(self) -> Status:
        seen = self.now
        if seen.learning is not None and self.instead is not None:
            self.now = replace(seen, learning=self.instead)
        elif seen.learning is not None and self.press is not None:
            learnt = ControlStatus(self.press, seen.learning)
            others = tuple(control for control in seen.controls if control.press != self.press)
            self.now = replace(seen, learning=None, controls=(*others, learnt))
        return seen


@pytest.fixture
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RIPIENO_RUNTIME", str(tmp_path / "run"))
    return tmp_path


@pytest.fixture
def served(runtime: Path) -> Iterator[Served]:
    with serving(runtime) as served:
        yield served


@pytest.mark.parametrize(
    ("words", "command"),
    [
        (["tempo", "-2"], NudgeTempo(-2.0)),
        (["tempo", "+2.5"], NudgeTempo(2.5)),
        (["transpose", "-3"], Transpose(-3)),
        (["--", "transpose", "-3"], Transpose(-3)),
        (["key", "E", "minor"], ChooseKey("E minor")),
        (["next"], StepStyle(1)),
        (["nudge", "-20"], Nudge(-20.0)),
        (["tempo", "60", "over", "8"], RampTempo(60.0, 8)),
        (["tempo"], TempoByValue()),
        (["learn"], StopLearning()),
    ],
    ids=str,
)
def test_words_reach_the_daemon_as_the_command_they_say(
    served: Served, capfd, words: list[str], command: Command
) -> None:
    assert call(capfd, "tell", *words).status == 0
    assert served.fake.told == [command]


@pytest.mark.parametrize(
    ("result", "printed"),
    [
        ({"style": "waltz"}, "style: waltz"),
        ({"bpm": 94.0, "lost_inputs": 2}, "bpm: 94, lost inputs: 2"),
        ({"bpm": 94.25}, "bpm: 94.25"),
        ({"hold": True}, "hold: on"),
        ({"split": None}, "split: none"),
        ({"told": ["key", "E", "minor"]}, "told: key E minor"),
        ({"file": "a\x1b[2J\n\udcff"}, "file: a\\x1b[2J\\n\\udcff"),
        ({}, "done"),
    ],
    ids=str,
)
def test_the_result_is_one_plain_line_or_one_object(
    runtime: Path, capfd, result: dict[str, object], printed: str
) -> None:
    class Says(Fake):
        def carry_out(self, *_: object) -> dict[str, object]:
            return result

    with serving(runtime, Says()):
        assert call(capfd, "tell", "tap").out == f"{printed}\n"
        for words in (["--json", "tap"], ["tap", "--json"]):
            assert json.loads(call(capfd, "tell", *words).out) == result


def test_the_status_is_a_readable_block(served: Served, capfd) -> None:
    assert call(capfd, "tell", "status").out.splitlines() == [
        "style      waltz (Waltz)",
        "tempo      94.5 in 3/4, swing 1",
        "time       own tempo",
        "key        E minor",
        "hold       on",
        "split      C4",
        "transpose  -3",
        "reading    played",
        "chord      Em (i)",
        "place      bar 12, beat 2",
        "sounding   E2 B3 E4, pedal down",
        "input      Keys (the only one)",
        "output     none ('Piano' is not there)",
        "system     ALSA",
        "engine     playing, once restarted, of these once by an edit (the engine was begun anew); "
        "real time; locked",
        "counts     received 7, lost inputs 0, clients refused 0, clients dropped 0, bad lines 0, "
        "control faults 0",
        "journal    /tmp/x.jsonl",
        "up         1 h 2 min 5 s",
        "control    controller 20 on channel 1: style waltz",
        "notice     the disk is full",
    ]
    assert served.fake.told == []


def test_the_status_of_a_daemon_that_has_nothing_yet(served: Served, capfd) -> None:
    served.fake.now = replace(
        STATUS, key=None, hold=False, split=None, transpose=0, chord=None, bar=None, beat=None,
        sounding=(), pedal=False, restarts=0, counts={}, learning=("tempo",), controls=(),
        journal=None, notices=(), uptime_s=59.9, input="", input_why="", degree="V",
        system="", memory="", renewals=0, last_end="",
    )  # fmt: skip
    lines = call(capfd, "tell", "status").out.splitlines()
    rows = dict(line.split(None, 1) for line in lines)
    assert "place" not in rows
    del rows["style"], rows["tempo"], rows["time"], rows["output"], rows["counts"]
    assert rows == {
        "key": "none", "hold": "off", "split": "none", "transpose": "none", "reading": "played",
        "chord": "none (V)", "sounding": "nothing", "input": "none",
        "system": "not known", "engine": "playing, never restarted; real time",
        "learning": "tempo",
        "journal": "none", "up": "0 min 59 s",
    }  # fmt: skip


def test_the_status_tells_who_leads_the_time_and_what_is_under_way(served: Served, capfd) -> None:
    served.fake.now = replace(
        STATUS, swing="by-tempo", follow="clock", clock="missing", waiting=True,
        starting="downbeat",
    )  # fmt: skip
    lines = call(capfd, "tell", "status").out.splitlines()
    assert lines[1:3] == [
        "tempo      94.5 in 3/4, swing by-tempo",
        "time       waiting for the downbeat; MIDI clock, missing; enters on downbeats",
    ]


def test_the_status_as_an_object_is_the_daemons(served: Served, capfd) -> None:
    expected = json.loads(json.dumps(status_to_data(served.fake.now)))
    assert json.loads(call(capfd, "tell", "status", "--json").out) == expected


def test_help_shows_the_commands_wherever_it_is_asked_for(runtime: Path, capfd) -> None:
    for words in (["--help"], ["tempo", "--help"], ["tempo", "-h"]):
        try:
            assert main(["tell", *words]) == 0
        except SystemExit as left:
            assert left.code == 0  # noqa: PT017 - argparse's own way out
        printed = capfd.readouterr().out
        assert printed.startswith("usage: ripieno tell ")
        assert "transpose N" in printed
        assert "  watch" not in printed
    assert list(runtime.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "tell what? such as 'ripieno tell status'"),
        (["--json"], "tell what?"),
        (["tempo", "--fast"], "tell has no option '--fast'"),
        (["watch"], "'ripieno tell status' shows it once"),
    ],
    ids=str,
)
@pytest.mark.usefixtures("served")
def test_a_wrong_way_to_call_it_is_bad_usage(capfd, words: list[str], said: str) -> None:
    assert said in refused(capfd, 2, "tell", *words)


@pytest.mark.usefixtures("served")
def test_what_is_no_command_is_found_wrong(capfd) -> None:
    assert "did you mean tempo?" in refused(capfd, 1, "tell", "tempi", "90")
    assert "there is no command '-2'" in refused(capfd, 1, "tell", "-2")


@pytest.mark.parametrize(("error", "status"), [(AuthorError, 1), (MachineError, 3)])
def test_what_the_daemon_refuses_has_its_status(
    served: Served, capfd, error: type[Exception], status: int
) -> None:
    served.fake.error = error("not now")
    assert refused(capfd, status, "tell", "tap") == "ripieno: not now\n"


@pytest.mark.usefixtures("runtime")
def test_without_a_daemon_it_says_how_to_begin_one(capfd) -> None:
    for words in (["status"], ["learn", "next"], ["tempi"]):
        said = refused(capfd, 3, "tell", *words)
        assert said == "ripieno: no daemon is running; start one with 'ripieno serve'\n"


def test_a_daemon_of_another_version_has_another_status(runtime: Path, capfd) -> None:
    class Older(Fake):
        def status(self) -> Status:
            return replace(self.now, notices=[7])

    with serving(runtime, Older()):
        said = refused(capfd, 1, "tell", "status")
    assert "'notices' of the status is a list; expected a text" in said


def test_learning_waits_for_the_press_and_says_what_was_learnt(runtime: Path, capfd) -> None:
    with serving(runtime, Learning()) as served:
        result = call(capfd, "tell", "learn", "key", "em")
        assert (result.status, result.out) == (
            0, f"press the control for 'key E minor' now\nlearnt: {PRESS}: key E minor\n",
        )  # fmt: skip
        assert served.fake.told[0] == Learn(ChooseKey("E minor"))
        result = call(capfd, "tell", "learn", "next", "--json")
        assert json.loads(result.out) == {"press": PRESS, "do": ["next"], "new": True}
        assert result.err == "press the control for 'next' now\n"


def test_learning_the_same_again_says_that_nothing_changed(runtime: Path, capfd) -> None:
    fake = Learning(now=replace(STATUS, controls=(ControlStatus(PRESS, ("next",)),)))
    with serving(runtime, fake):
        printed = call(capfd, "tell", "learn", "next").out
    assert printed.splitlines()[1] == f"as before: {PRESS}: next"


def test_learning_that_somebody_else_ends_or_replaces_is_said(runtime: Path, capfd) -> None:
    fake = Learning()
    fake.instead = ("tap",)
    with serving(runtime, fake):
        result = call(capfd, "tell", "learn", "next")
        assert (result.status, result.err) == (
            1, "ripieno: nothing was learnt: 'tap' is being learnt instead\n",
        )  # fmt: skip


def test_learning_that_is_ended_without_a_press_is_said(runtime: Path, capfd) -> None:
    class Ended(Fake):
        def status(self) -> Status:
            return replace(self.now, learning=None)

    with serving(runtime, Ended()):
        result = call(capfd, "tell", "learn", "next")
    assert result.status == 1
    assert "nothing was learnt: the waiting was ended" in result.err


@pytest.mark.usefixtures("served")
def test_what_cannot_be_learnt_is_refused_before_anything_is_told(capfd) -> None:
    assert "no control can do that" in refused(capfd, 1, "tell", "learn", "status")


class Unpressed(Learning):
    """Nobody presses anything."""

    press = None


@pytest.mark.parametrize(
    ("ending", "status"),
    [(signal.SIGINT, 130), (signal.SIGTERM, -15), (signal.SIGHUP, -1), (signal.SIGKILL, -9)],
)
def test_whatever_ends_it_ends_the_waiting_in_the_daemon_too(
    runtime: Path, tmp_path: Path, ending: int, status: int
) -> None:
    fake = Unpressed()
    command = [sys.executable, "-m", "ripieno", "tell", "learn", "next"]
    with serving(runtime, fake), subprocess.Popen(
        command, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:  # fmt: skip
        assert process.stdout.readline() == b"press the control for 'next' now\n"
        process.send_signal(ending)
        assert process.wait(PATIENCE_S) == status
        assert process.stderr.read() == b""
        assert fake.ended.wait(PATIENCE_S)
    assert fake.told == [Learn(StepStyle(1)), StopLearning()]
    assert words_of(fake.told[0]) == ("learn", "next")


@pytest.mark.usefixtures("served")
def test_telling_does_not_wait_for_what_it_does_not_need(tmp_path: Path) -> None:
    heavy = {"pydantic", "textual", "rtmidi", "mido", "asyncio", "yaml", "ripieno.style.model"}
    program = (
        "import sys; from ripieno.cli.entry import main; main(['tell', 'status']);"
        f"print(sorted({heavy!r} & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", program], env=environment(tmp_path), capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert result.stdout.splitlines()[-1] == "[]"
    assert os.environ["RIPIENO_RUNTIME"]
