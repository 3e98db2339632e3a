"""Results and journals on disk."""

import json
import os
from pathlib import Path

import mido
import pytest

from rig import C4, E4, G4, Rig
from ripieno.cli.writing import journal_file, refuse_other_endings, write_result
from ripieno.errors import MachineError, UsageError
from ripieno.perform.events import KeyDown, KeyUp, Send
from ripieno.perform.settings import Settings
from ripieno.perform.time_map import steady
from ripieno.style.model import COMMON_TIME
from ripieno.theory.key import key_named
from ripieno.units import ns_from_ms

STYLE = Rig("waltz").style


@pytest.mark.parametrize("name", ["a.mid", "a.MID", "a.midi", "a.wav", "a.b.Wav"])
def test_the_ending_says_what_to_write(name: str) -> None:
    refuse_other_endings(Path(name))


@pytest.mark.parametrize("name", ["a", "mid", ".mid", "a.mid.txt", "a.mp3", "a.", ""])
def test_any_other_ending_is_refused(name: str) -> None:
    with pytest.raises(UsageError, match=r"give a \.mid or a \.wav file"):
        refuse_other_endings(Path(name))


def test_a_midi_file_holds_what_was_sent_and_lasts_as_long_as_said(tmp_path: Path) -> None:
    sends = [
        Send(ns_from_ms(500), bytes((0x93, 60, 70))),
        Send(ns_from_ms(900), bytes((0x83, 60, 10))),
    ]
    write_result(tmp_path / "a.mid", sends, steady(120, COMMON_TIME), ns_from_ms(2000))
    song = mido.MidiFile(tmp_path / "a.mid")
    assert song.length == pytest.approx(2, abs=0.001)
    assert [bytes(m.bin()) for m in song if not m.is_meta] == [send.data for send in sends]


def test_without_a_path_there_is_no_journal() -> None:
    with journal_file(None, Settings(), STYLE) as journal:
        assert journal is None


def test_each_line_is_in_the_file_as_soon_as_it_has_come(tmp_path: Path) -> None:
    # So that a session that is killed keeps what was played.
    path = tmp_path / "j"
    with journal_file(path, Settings(), STYLE) as journal:
        assert journal is not None
        assert len(path.read_bytes().splitlines()) == 1
        journal.add([KeyDown(5, C4, 80), KeyUp(6, C4)])
        kinds = [json.loads(line)["kind"] for line in path.read_bytes().splitlines()]
        assert kinds == ["ripieno-journal", "key", "key"]
        journal.close(7)
    assert path.read_bytes().endswith(b'"kind":"end"}\n')
    assert b"\r" not in path.read_bytes()


def test_chords_are_spelled_in_the_key_of_the_settings(tmp_path: Path) -> None:
    rig = Rig("waltz")
    rig.chord(0, C4 + 1, E4 + 1, G4 + 1, until_ms=500)
    for key, symbol in (("Ab", "Db"), ("E", "C#")):
        with journal_file(tmp_path / "j", Settings(key=key_named(key)), STYLE) as journal:
            journal.add(rig.happenings(1000))
        lines = map(json.loads, (tmp_path / "j").read_text().splitlines())
        assert [line["symbol"] for line in lines if line["kind"] == "chord"] == [symbol]


@pytest.mark.parametrize(("path", "why"), [(".", "Is a directory"), ("no/j", "No such file")])
def test_a_journal_that_cannot_be_begun_is_refused(path: str, why: str, tmp_path: Path) -> None:
    with (
        pytest.raises(MachineError, match=f"cannot write {tmp_path / path}: {why}"),
        journal_file(tmp_path / path, Settings(), STYLE),
    ):
        pytest.fail("nothing to write to")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux's full disk")
def test_a_full_disk_is_refused_by_name() -> None:
    with (
        pytest.raises(MachineError, match="cannot write /dev/full: No space left on device"),
        journal_file(Path("/dev/full"), Settings(), STYLE),
    ):
        pytest.fail("no line can be written")


def test_what_fails_while_a_journal_is_open_is_not_blamed_on_it(tmp_path: Path) -> None:
    with pytest.raises(BrokenPipeError), journal_file(tmp_path / "j", Settings(), STYLE):
        raise BrokenPipeError(os.strerror(32))
