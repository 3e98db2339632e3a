"""The engine in a process of its own, with ports in memory. Tests wait for news, never for time."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rig import A4, C4, C5, E4, F4, G4, notes_in
from rig import Rig as Playing
from ripieno.engine.loop import Timed
from ripieno.engine.messages import Begin
from ripieno.engine.rig import Rig
from ripieno.engine.spawn import Spawned
from ripieno.errors import MachineError
from ripieno.host.engine_process import EngineProcess
from ripieno.midi.systems import System
from ripieno.perform.events import KeyDown, Send, SetStyle, SetTempo, Silence
from ripieno.perform.settings import Settings

PATIENCE_S = 30
IN_MEMORY = Rig(System(None, "memory", "the test's", virtual=False))
TRIAD = (C4, E4, G4)


@contextmanager
def engine(style: str = "smooth-chords", **chosen: object) -> Iterator[EngineProcess]:
    with EngineProcess(Begin(Settings(**chosen), Playing(style).style, IN_MEMORY)) as process:
        yield process


def press(process: EngineProcess, *notes: int) -> None:
    for note in notes:
        process.submit(KeyDown(time.monotonic_ns(), note, 80))


def news_until(process: EngineProcess, wanted: int) -> list[Timed]:
    """News with at least that many note-ons, which must come."""
    news: list[Timed] = []
    give_up_ns = time.monotonic_ns() + PATIENCE_S * 10**9
    while len(struck(news)) < wanted:
        assert time.monotonic_ns() < give_up_ns, f"only {news}"
        assert process.is_running
        process.ask()
        news += process.news()
    return news


def sends(news: list[Timed]) -> list[Send]:
    return [timed.happening for timed in news if isinstance(timed.happening, Send)]


def struck(news: list[Timed]) -> list[int]:
    return [send.data[1] for send in sends(news) if send.data[0] & 0xF0 == 0x90]


def look_for_ever(process: EngineProcess) -> None:
    while True:
        process.look()


def test_a_triad_is_answered_and_closing_releases_every_note() -> None:
    with engine() as process:
        press(process, *TRIAD)
        news = news_until(process, 5)
    news += process.news()
    assert {note % 12 for note in struck(news)} == {0, 4, 7}
    notes_in(sends(news))  # fails unless each note has its note-off
    assert all(timed.done_ns >= timed.happening.due_ns for timed in news if sends([timed]))
    assert not process.is_running


def test_looking_shows_the_performer_in_the_other_process() -> None:
    with engine(bpm=77.5) as process:
        assert (process.look().chord, process.look().bpm) == (None, 77.5)
        press(process, F4, A4, C5)
        news_until(process, 5)
        assert process.look().chord == "F"


def test_a_style_and_a_tempo_told_to_it_take_effect() -> None:
    with engine() as process:
        process.submit(SetStyle(time.monotonic_ns(), Playing("waltz").style))
        process.submit(SetTempo(time.monotonic_ns(), 123.0))
        shown = process.look()
    assert (shown.style, shown.bpm) == ("waltz", 123.0)


def test_it_says_what_it_plays_on_and_what_the_system_granted() -> None:
    with engine() as process:
        said = process.said
    assert [words.partition(":")[0] for words in said] == [
        "input", "output", "real-time scheduling", "locked memory",
    ]  # fmt: skip


def test_a_port_that_is_not_there_is_waited_for_and_that_is_said() -> None:
    rig = Rig(IN_MEMORY.system, input="no such keyboard")
    with EngineProcess(Begin(Settings(), Playing("waltz").style, rig)) as process:
        said = process.said[0]
        press(process, *TRIAD)
        news_until(process, 1)
    assert said.startswith("input: none (no MIDI input 'no such keyboard': ")


def test_an_engine_that_is_killed_is_known_to_be_gone_and_what_is_told_it_is_lost_quietly() -> None:
    with engine() as process:
        os.kill(process.pid, signal.SIGKILL)
        with pytest.raises(MachineError, match="the engine does not answer"):
            look_for_ever(process)
        press(process, *TRIAD)
        process.submit(Silence(time.monotonic_ns()))
        assert not process.is_running


def test_what_lies_in_the_folder_that_one_is_in_is_not_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pickle.py").write_text("open('was_run', 'w'); raise SystemExit(9)")
    monkeypatch.chdir(tmp_path)
    with engine() as process:
        assert process.look().style == "smooth-chords"
    assert not Path("was_run").exists()


FAULTY = """
import sys
from ripieno.engine import process
from ripieno.perform.performer import Performer
class Faulty(Performer):
    def handle(self, event):
        raise RuntimeError("a fault of the program's own")
process.Performer = Faulty
sys.exit(process.main())
"""


def test_an_engine_that_ends_by_a_fault_says_so_by_its_status() -> None:
    begun = Spawned()
    begun.close()
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    begun.process = subprocess.Popen([sys.executable, "-c", FAULTY], **pipes)
    begin = Begin(Settings(), Playing("waltz").style, IN_MEMORY)
    with EngineProcess(begin, begun) as process:
        press(process, *TRIAD)
        said = begun.process.stderr.read().decode()
    assert process.exit_status == 1
    assert "RuntimeError: a fault of the program's own" in said


HELD_UP_BY_PORTS = """
import sys, time
from ripieno.engine import process
process.Plugs.turn = lambda plugs: time.sleep(3600)
sys.exit(process.main())
"""


def test_what_it_plays_is_told_while_ports_are_being_opened() -> None:
    begun = Spawned()
    begun.close()
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    begun.process = subprocess.Popen([sys.executable, "-c", HELD_UP_BY_PORTS], **pipes)
    process = EngineProcess(Begin(Settings(), Playing("waltz").style, IN_MEMORY), begun)
    try:
        press(process, *TRIAD)
        news_until(process, 1)
        give_up = time.monotonic() + PATIENCE_S
        while process.standing.harmony is None:
            assert time.monotonic() < give_up
            time.sleep(0.01)
    finally:
        process.kill()
        process.close()


HOST_THAT_VANISHES = """
import os, time
from ripieno.host.engine_process import EngineProcess
from test_engine_process import Begin, IN_MEMORY, Playing, Settings, news_until, press, TRIAD
process = EngineProcess(Begin(Settings(), Playing("rippling-sixteenths").style, IN_MEMORY))
press(process, *TRIAD)
news_until(process, 5)
print(process.pid, flush=True)
os.kill(os.getpid(), 9)
"""


def test_when_its_host_is_killed_the_engine_ends() -> None:
    path = os.pathsep.join(sys.path)
    ended = subprocess.run(
        [sys.executable, "-c", HOST_THAT_VANISHES],
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert ended.returncode == -signal.SIGKILL
    pid = int(ended.stdout)
    give_up_ns = time.monotonic_ns() + PATIENCE_S * 10**9
    while os.path.exists(f"/proc/{pid}") and time.monotonic_ns() < give_up_ns:
        os.sched_yield()
    assert not os.path.exists(f"/proc/{pid}")
