"""`ripieno play` as a process of its own, other programs at both ends, on a JACK server."""

import json
import os
import resource
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from threading import Event

import pytest
import rtmidi
from calling import environment, messages, refused, run

from control_rig import STATUS
from jack_server import PATIENCE_S, Recorder, port_named, press, running_server
from rig import A4, C4, C5, E4, F4, G4, left_sounding
from ripieno.cli import play
from ripieno.cli.play import _status_line
from ripieno.midi import systems

# After a program has opened its port: what it sends before the server knows of the connection
# goes nowhere.
CONNECTED_MS = 300

# A song position: of all messages, one that nobody here sends.
MARK = bytes.fromhex("F2 2A 15")

# Frames. Nothing here asks how soon: a long period spares a busy machine, on which JACK drops
# what a late program sent.
LONG_PERIOD = 1024

# MIDI 1.0: pedals that hold notes, all notes off, all sound off.
SILENCE = [bytes((0xB0, number, 0)) for number in (64, 66, 69, 123, 120)]
SOUND_OFF = SILENCE[-1]


def test_a_port_that_is_not_there_is_waited_for_and_that_is_said(tmp_path: Path) -> None:
    words = ["play", "--in", "no such keyboard", "--out", "no such piano"]
    command = [sys.executable, "-m", "ripieno", *words]
    with subprocess.Popen(
        command, env=environment(tmp_path), stdout=subprocess.PIPE, text=True
    ) as program:
        said = [program.stdout.readline() for _ in range(3)]
        program.terminate()
        assert program.wait(timeout=PATIENCE_S) == 0
    assert said[0].startswith("MIDI: ")
    assert said[1].startswith("input: none (no MIDI input 'no such keyboard': ")
    assert said[2].startswith("output: none (no MIDI output 'no such piano': ")


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["-s", "polka"], 1, "there is no style 'polka'"),
        (["-t", "1"], 2, "'1' is no tempo"),
        (["--in"], 2, "argument --in: expected one argument"),
    ],
    ids=str,
)
def test_what_cannot_be_played_is_refused(
    tmp_path: Path, words: list[str], status: int, said: str
) -> None:
    result = run(tmp_path, "play", *words)
    assert (result.returncode, result.stdout) == (status, "")
    assert said in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_daemon_that_cannot_say_anything_plays_on(tmp_path: Path) -> None:
    """Its log is on a full disk, and who read what it printed has gone."""
    (tmp_path / "ripieno").mkdir()
    path = tmp_path / "ripieno" / "config.yaml"
    path.write_text("tempo: 9\n")  # which it has to complain of
    words = ["serve", "--in", "no such keyboard", "--out", "no such piano"]
    reader, writer = os.pipe()
    os.close(reader)
    with open("/dev/full", "wb", buffering=0) as full, subprocess.Popen(
        [sys.executable, "-m", "ripieno", *words], env=environment(tmp_path),
        stdout=writer, stderr=full,
    ) as program:  # fmt: skip
        os.close(writer)
        while (said := run(tmp_path, "tell", "status")).returncode:
            assert program.poll() is None, said
        path.write_text("tempo: 8\n")
        while "found 8" not in (said := run(tmp_path, "tell", "status").stdout):
            assert program.poll() is None, said
        program.terminate()
        assert program.wait(timeout=PATIENCE_S) == 0


def test_without_a_home_it_says_so(capfd, monkeypatch) -> None:
    monkeypatch.delenv("HOME")
    monkeypatch.setattr("pwd.getpwuid", {}.__getitem__)
    assert "set HOME" in refused(capfd, 3, "styles")


@pytest.fixture(scope="module")
def long_period() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("jack_server.PERIOD", LONG_PERIOD)
        yield


@pytest.fixture(scope="module")
def jack(long_period: None) -> Iterator[None]:  # noqa: ARG001 - before the server starts
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        if systems.choose().api != rtmidi.API_UNIX_JACK:
            pytest.skip("the program would not use JACK here")
        yield


class Playing:
    """The program at work, and what comes out of it."""

    def __init__(self, process: subprocess.Popen, recorder: Recorder) -> None:
        self.process = process
        self.recorder = recorder

    def type(self, text: bytes) -> None:
        self.process.stdin.buffer.write(text)
        self.process.stdin.flush()

    def end(self, by: signal.Signals = signal.SIGTERM) -> tuple[list[bytes], str, str]:
        """What was sent in all, and what was printed."""
        self.process.send_signal(by)
        assert self.process.wait(timeout=PATIENCE_S) == 0
        heard = until_marked(self.recorder)
        out = "" if self.process.stdout.closed else self.process.stdout.read()
        return heard, out, self.process.stderr.read()


def until_marked(recorder: Recorder) -> list[bytes]:
    """All that came before a mark that is sent to the recorder itself."""
    press("recorder-", [(CONNECTED_MS, MARK)])
    heard = recorder.wait_for(1)
    while heard[-1][1] != MARK:
        heard = recorder.wait_for(len(heard) + 1)
    return [data for _, data in recorder.stop()[:-1]]


@contextmanager
def playing(
    folder: Path, *words: object, command: str = "play", **popen: object
) -> Iterator[Playing]:
    begin = [sys.executable, "-m", "ripieno", command, "--in", "virtual", "--out", "virtual"]
    streams = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    with subprocess.Popen(
        [*begin, *map(str, words)], env=environment(folder), text=True, **(streams | popen)
    ) as process:
        try:
            port_named("ripieno in")
            port_named("ripieno out")
            with Recorder("ripieno out") as recorder:
                yield Playing(process, recorder)
        finally:
            if process.poll() is None:
                process.kill()


def journals(folder: Path) -> list[Path]:
    return list((folder / "ripieno" / "sessions").glob("*.jsonl"))


def strike(*notes: int) -> None:
    press("ripieno in", [(CONNECTED_MS, bytes((0x90, note, 80))) for note in notes])


def lift(*notes: int) -> None:
    press("ripieno in", [(CONNECTED_MS, bytes((0x80, note, 64))) for note in notes])


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
@pytest.mark.parametrize("ends", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_triad_is_answered_and_a_signal_ends_all_of_it_in_order(
    tmp_path: Path, ends: signal.Signals
) -> None:
    with playing(tmp_path) as program:
        strike(C4, E4, G4)
        started = [data for _, data in program.recorder.wait_for(6)[:6]]
        heard, out, err = program.end(by=ends)
    notes = [data[1] for data in started if data[0] == 0x90]
    assert {note % 12 for note in notes} == {0, 4, 7}
    assert started[-1] == bytes((0xB0, 64, 127))
    assert left_sounding(heard) == set()
    assert heard[-5:] == SILENCE
    assert "C        C4 E4 G4\n" in out
    assert "input: ripieno in (a virtual input was asked for)" in out
    assert err == ""


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_what_is_typed_takes_effect_and_what_makes_no_sense_is_answered(tmp_path: Path) -> None:
    with playing(tmp_path) as program:
        strike(C4, E4, G4)
        program.recorder.wait_for(6)
        program.type(b"tripletbroken\n7\n\xff\nrippling-sixteenths\n400\n")
        program.recorder.wait_for(40)  # only a figure goes on by itself
        lift(C4, E4, G4)
        strike(F4, A4, C5)
        program.type(b"\n")
        while SOUND_OFF not in [data for _, data in program.recorder.wait_for(1)]:
            program.recorder.wait_for(len(program.recorder.wait_for(1)) + 1)
        heard, _, err = program.end()
    assert "there is no style 'tripletbroken'; did you mean triplet-broken" in err
    assert "'7' is no tempo: write a number from 20 to 400" in err
    assert "Traceback" not in err
    [journal] = journals(tmp_path)
    lines = [json.loads(line) for line in journal.read_text().splitlines()]
    asked = [line for line in lines if line["kind"] in ("style", "tempo", "silence")]
    assert [line["kind"] for line in asked] == ["style", "tempo", "silence", "silence"]
    assert (asked[0]["style"]["id"], asked[1]["bpm"]) == ("rippling-sixteenths", 400)
    assert [line["symbol"] for line in lines if line["kind"] == "chord"] == ["C", "F"]
    target = tmp_path / "again.mid"
    assert run(tmp_path, "replay", "-o", target).returncode == 0
    assert [bytes(message.bin()) for _, message in messages(target)] == heard


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
@pytest.mark.parametrize("how", ["at its end", "closed"])
def test_without_anybody_to_type_it_plays_on(tmp_path: Path, how: str) -> None:
    if how == "closed":
        closed = {"stdin": None, "preexec_fn": lambda: os.close(0)}
    else:
        closed = {"stdin": subprocess.DEVNULL}
    with playing(tmp_path, **closed) as program:
        strike(C4, E4, G4)
        program.recorder.wait_for(6)
        lift(C4, E4, G4)
        strike(F4, A4, C5)
        program.recorder.wait_for(12)
        heard, _, err = program.end()
    assert left_sounding(heard) == set()
    assert err == ""


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_a_reader_that_leaves_ends_it_in_order(tmp_path: Path) -> None:
    with playing(tmp_path) as program:
        program.process.stdout.close()
        strike(C4, E4, G4)
        assert program.process.wait(timeout=PATIENCE_S) == 0
        heard = until_marked(program.recorder)
        assert program.process.stderr.read() == ""
    assert left_sounding(heard) == set()
    assert heard[-5:] == SILENCE
    [journal] = journals(tmp_path)
    assert json.loads(journal.read_text().splitlines()[-1])["kind"] == "end"


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_melody_above_the_split_passes_while_chords_below_are_answered(tmp_path: Path) -> None:
    with playing(tmp_path, "--split", "C5", "--channel", "3") as program:
        melody = [(CONNECTED_MS, bytes((0x95, 90, 33))), (CONNECTED_MS, bytes((0x85, 90, 12)))]
        press("ripieno in", melody)
        passed = [data for _, data in program.recorder.wait_for(2)]
        strike(C4, E4, G4)
        program.recorder.wait_for(8)
        heard, _, _ = program.end()
    assert passed == [data for _, data in melody]
    assert {data[0] & 0x0F for data in heard[2:] if data[0] & 0xF0 == 0x90} == {2}


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_killing_the_program_leaves_nothing_sounding(tmp_path: Path) -> None:
    with playing(tmp_path, "-s", "rippling-sixteenths") as program:
        strike(C4, E4, G4)
        program.recorder.wait_for(20)
        program.process.kill()
        while SOUND_OFF not in (heard := [data for _, data in program.recorder.wait_for(1)]):
            program.recorder.wait_for(len(heard) + 1)
        heard = until_marked(program.recorder)
    assert left_sounding(heard) == set()
    assert heard[-5:] == SILENCE


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_a_journal_that_cannot_be_written_is_given_up_and_the_music_goes_on(
    tmp_path: Path,
) -> None:
    def no_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))

    words = ("-s", "rippling-sixteenths", "-t", "300")
    with playing(tmp_path, *words, preexec_fn=no_room) as program:
        strike(C4, E4, G4)
        program.recorder.wait_for(150)
        heard, _, err = program.end()
    [journal] = journals(tmp_path)
    assert 9_000 < journal.stat().st_size <= 10_000
    assert journal.read_text().endswith("}\n")
    assert left_sounding(heard) == set()
    assert err == f"ripieno: this session is not kept: {journal}: File too large\n"


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
def test_without_a_screen_it_says_when_it_is_ready_and_plays(tmp_path: Path) -> None:
    with playing(tmp_path, command="serve") as program:
        strike(C4, E4, G4)
        program.recorder.wait_for(6)
        heard, out, err = program.end()
    assert left_sounding(heard) == set()
    assert heard[-5:] == SILENCE
    assert "ready to play" in out
    assert err == ""


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "waltz, 94.5 in 3/4, bar 12, beat 2"),
        ({"follow": "hands", "lean": 80},
         "waltz, 94.5 in 3/4 (your hands lead, lean 80), bar 12, beat 2"),
        ({"follow": "clock", "clock": "missing", "ending": True},
         "waltz, 94.5 in 3/4 (MIDI clock, missing), coming to the end, bar 12, beat 2"),
        ({"counting": True, "bar": None}, "waltz, 94.5 in 3/4, counting in, press a chord"),
    ],
    ids=str,
)  # fmt: skip
def test_the_line_tells_the_tempo_who_leads_it_and_what_is_under_way(
    changes: dict[str, object], line: str
) -> None:
    assert _status_line(replace(STATUS, **changes)) == f"Em        {line}  E2 B3 E4"


def test_the_line_of_status_is_not_waited_for_by_who_looks_after_the_engine(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = Event()

    class Stuck:
        """A host whose engine does not answer."""

        def status(self) -> None:
            asked.set()
            Event().wait()

    monkeypatch.setattr(play, "_read_lines", lambda _: None)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    terminal = play._Terminal(Stuck(), SimpleQueue())
    assert asked.wait(PATIENCE_S)
    terminal.turn()
    assert capsys.readouterr().out == ""
