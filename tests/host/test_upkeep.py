"""An engine that is killed, or hangs, is replaced by another that plays on. Mostly in memory."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue

import pytest
import rtmidi

from jack_server import running_server
from rig import C4, E4, G4, left_sounding
from rig import Rig as Playing
from ripieno.engine.loop import Timed
from ripieno.engine.messages import NEITHER, Begin, Standing
from ripieno.engine.rig import Rig
from ripieno.errors import MachineError
from ripieno.host import engine_process, upkeep
from ripieno.host.engine_process import EngineProcess, Word
from ripieno.host.upkeep import KeptEngine
from ripieno.midi.names import Remembered
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System, choose
from ripieno.perform.events import Controller, Ending, KeyDown, Resume, Send, SetTempo
from ripieno.perform.message import EXPRESSION
from ripieno.perform.settings import Settings

PATIENCE_S = 30
MEMORY = System(None, "memory", "the test's", virtual=False)


class Kept:
    def __init__(
        self, sounding: Path | None = None, output: str | None = None, on: System = MEMORY
    ) -> None:
        self.words: SimpleQueue[Word] = SimpleQueue()
        self.began: list[Begin] = []
        self.news: list[Timed] = []
        self._sounding, self._output, self._on = sounding, output, on
        self.kept = KeptEngine(self._begins, self.words.put, waits=self._wait)
        self.waits = 0
        self.waited: Callable[[], object] = lambda: None

    def _wait(self) -> None:
        self.waits += 1
        self.waited()

    def _begins(self, standing: Standing, system: System | None) -> Begin:
        style = Playing("rippling-sixteenths").style
        rig = Rig(self._on, output=self._output)
        begin = Begin(Settings(bpm=150.0), style, rig, system, self._sounding, standing)
        self.began.append(begin)
        return begin

    def until(self, ready: Callable[[], object]) -> None:
        give_up = time.monotonic() + PATIENCE_S
        while not ready():
            assert time.monotonic() < give_up
            self.kept.turn()
            self.kept.ask()
            self.news += [*self.kept.last_words(), *self.kept.news()]

    def press(self, *notes: int) -> None:
        for note in notes:
            self.kept.submit(KeyDown(time.monotonic_ns(), note, 80))

    def sent(self) -> list[bytes]:
        return [t.happening.data for t in self.news if isinstance(t.happening, Send)]

    def struck(self) -> int:
        return sum(data[0] & 0xF0 == 0x90 for data in self.sent())

    def expressions(self) -> list[int]:
        return [data[2] for data in self.sent() if data[:2] == bytes((0xB0, EXPRESSION))]


@contextmanager
def kept(**options: object) -> Iterator[Kept]:
    own = Kept(**options)
    own.kept.start()
    try:
        yield own
    finally:
        own.kept.close()


def test_a_killed_engine_is_replaced_by_one_that_goes_on_in_the_same_time() -> None:
    with kept() as own:
        own.press(C4, E4, G4)
        own.until(lambda: own.kept.engine.standing.harmony is not None and own.struck() > 4)
        before = own.kept.engine.standing
        pid = own.kept.engine.pid
        os.kill(pid, signal.SIGKILL)
        assert own.words.get(timeout=PATIENCE_S) is None
        own.news.clear()
        own.until(lambda: own.kept.restarts == 1)
        assert own.kept.engine.pid != pid
        own.until(lambda: own.struck() > 4)
        resumed = [t.happening for t in own.news if isinstance(t.happening, Resume)]
        after = own.kept.engine.standing
    assert own.kept.why == own.kept.cause == "the engine was ended by signal 9"
    assert own.kept.renewals == 0
    assert own.began[1].standing == before
    assert [resume.transport for resume in resumed] == [before.transport]
    assert after.harmony.chord == before.harmony.chord


def test_an_engine_that_is_killed_while_a_chord_dies_away_leaves_no_instrument_soft() -> None:
    with kept() as own:
        own.kept.submit(Controller(time.monotonic_ns(), EXPRESSION, 90))
        own.press(C4, E4, G4)
        own.until(lambda: own.struck() > 4 and own.kept.engine.standing.expression == 90)
        own.kept.submit(Ending(time.monotonic_ns(), 1))
        own.until(lambda: min(own.expressions(), default=90) < 90)  # after five seconds
        os.kill(own.kept.engine.pid, signal.SIGKILL)
        assert own.words.get(timeout=PATIENCE_S) is None
        own.news.clear()
        own.until(lambda: own.kept.restarts == 1 and own.expressions())
        own.until(lambda: own.kept.engine.standing.expression == 90)
    assert own.began[1].standing.expression == 90
    assert own.expressions()[0] == 90


def test_what_is_told_while_there_is_no_engine_reaches_the_next() -> None:
    with kept() as own:
        os.kill(own.kept.engine.pid, signal.SIGKILL)
        assert own.words.get(timeout=PATIENCE_S) is None
        own.kept.turn()  # the next has begun by then
        own.kept.submit(SetTempo(time.monotonic_ns(), 77.0))
        assert own.kept.ask().shown.bpm == 77.0


def test_an_engine_that_does_not_turn_is_killed_and_replaced() -> None:
    with kept() as own:
        os.kill(own.kept.engine.pid, signal.SIGSTOP)
        give_up = time.monotonic() + PATIENCE_S
        while own.kept.restarts == 0:
            assert time.monotonic() < give_up
            own.kept.turn()
        assert own.kept.ask() is not None


def test_an_engine_that_does_not_turn_is_replaced_though_who_looks_after_it_waits_for_it_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(engine_process, "_ANSWER_S", 0.6)
    with kept() as own:
        os.kill(own.kept.engine.pid, signal.SIGSTOP)
        own.until(lambda: own.kept.restarts == 1)  # and asks at each turn
        assert own.kept.ask() is not None


def test_somebody_is_told_while_an_engine_ends_and_the_next_takes_long_to_begin() -> None:
    with kept() as own:
        spare = own.kept._spare.process.pid
        os.kill(spare, signal.SIGSTOP)
        os.kill(own.kept.engine.pid, signal.SIGKILL)
        assert own.words.get(timeout=PATIENCE_S) is None
        own.waited = lambda: own.waits > 2 and os.kill(spare, signal.SIGCONT)
        own.until(lambda: own.kept.restarts == 1)
        assert own.waits > 2


def test_a_spare_that_has_died_is_no_obstacle() -> None:
    with kept() as own:
        spare = own.kept._spare
        os.kill(spare.process.pid, signal.SIGKILL)
        spare.process.wait()
        os.kill(own.kept.engine.pid, signal.SIGKILL)
        assert own.words.get(timeout=PATIENCE_S) is None
        own.until(lambda: own.kept.restarts == 1)
        assert own.kept.ask() is not None


def test_an_engine_begun_anew_says_what_it_did_last_and_plays_on() -> None:
    with kept() as own:
        own.press(C4, E4, G4)
        own.until(lambda: own.struck() > 4)
        own.kept.renew()
        assert own.words.get(timeout=PATIENCE_S) is None
        own.until(lambda: own.kept.restarts == 1)
        assert (own.kept.renewals, own.kept.cause) == (1, "the engine was begun anew")
        sent = [t.happening.data for t in own.news if isinstance(t.happening, Send)]
    assert left_sounding(sent[: sent.index(bytes((0xB0, 123, 0)))]) == set()


def test_what_an_engine_has_counted_is_added_to_what_the_next_counts() -> None:
    with kept() as own:
        assert own.kept.counts(None) == {}
        own.press(C4, E4, G4)
        own.until(lambda: own.kept._answer is not None and own.kept._answer.counts.sent > 4)
        own.kept.renew()
        before = own.kept._answer.counts.sent
        own.until(lambda: own.kept.restarts == 1)
        answer = own.kept.ask()
        assert own.kept.counts(answer)["sent"] >= before + answer.counts.sent


def test_the_next_engine_is_told_which_ports_the_last_had_in_use(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[Begin] = []

    class Noted(EngineProcess):
        def __init__(self, begin: Begin, *others: object) -> None:
            told.append(begin)
            super().__init__(begin, *others)

    monkeypatch.setattr(upkeep, "EngineProcess", Noted)
    remembered = (Remembered(("Keys",)), Remembered(("Synth",), frozenset({"Keys"})))
    with kept() as own:
        own.kept.engine.ports = replace(own.kept.engine.ports, remembered=remembered)
        own.kept.renew()
        own.until(lambda: own.kept.restarts == 1)
    assert [begin.remembered for begin in told] == [NEITHER, remembered]


def test_a_first_engine_that_cannot_begin_is_refused(tmp_path: Path) -> None:
    own = Kept(sounding=tmp_path / "no folder" / "sounding")
    with pytest.raises(MachineError, match="cannot keep what sounds"):
        own.kept.start()
    own.kept.close()


def test_the_next_engine_keeps_what_the_last_left_until_its_output_is_there(
    tmp_path: Path,
) -> None:
    left = Sounding.at(tmp_path / "sounding")
    left.before(bytes((0x90, 60, 80)))
    with kept(sounding=tmp_path / "sounding", output="a piano that is not there"):
        pass
    assert left.notes == 1


PIANO = """
import rtmidi, sys
piano = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, "piano")
piano.open_virtual_port("in")
print("plugged in", flush=True)
sys.stdin.read()
piano.delete()
"""


def connected_to_the_piano() -> int:
    listing = subprocess.run(["jack_lsp", "-c", "piano:in"], capture_output=True, text=True)
    return len(listing.stdout.splitlines()) - 1


@pytest.mark.jack
def test_the_spare_has_the_output_open_before_it_is_needed() -> None:
    with running_server():
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        with subprocess.Popen([sys.executable, "-c", PIANO], **pipes) as piano:
            assert piano.stdout.readline() == b"plugged in\n"
            with kept(output="piano", on=choose((rtmidi.API_UNIX_JACK,))) as own:
                own.until(lambda: connected_to_the_piano() == 2)
                os.kill(own.kept.engine.pid, signal.SIGKILL)
                own.until(lambda: own.kept.restarts == 1)
                assert own.kept.engine.ports.output.name == "piano:in"
                own.until(lambda: connected_to_the_piano() == 2)  # its own, and the next spare's
                piano.communicate()
                own.until(lambda: not own.kept.engine.ports.output.name)
