"""`ripieno replay`: what was recorded comes out again, byte for byte."""

import json
import tempfile
import time
from pathlib import Path
from queue import SimpleQueue

import mido
import pytest
from calling import Chord, call, end, keys, messages, meter, refused, tempo, write_midi
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import A4, C4, C5, E4, F4, G4, STYLE_IDS, Rig
from ripieno.cli.entry import main
from ripieno.cli.live import session
from ripieno.cli.writing import journal_file, write_result
from ripieno.midi.memory import MemoryOut
from ripieno.perform.events import Input, KeyDown, KeyUp, Send, SetStyle, SetTempo, Silence
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.perform.time_played import Change, time_played
from ripieno.units import NS_PER_MS, ns_from_ms

PATIENCE_S = 30
SHIPPED = {style: Rig(style).style for style in STYLE_IDS}


def recorded(folder: Path, rig: Rig, until_ms: float) -> tuple[Path, Path]:
    """A rig's session, as a journal and a MIDI file."""
    journal, midi = folder / "session.jsonl", folder / "session.mid"
    changes: list[Change] = []
    events = sorted(rig.events, key=lambda event: event.at_ns)
    performer = Performer(rig.settings, rig.style)
    happenings = list(play(performer, events, ns_from_ms(until_ms), changes))
    with journal_file(journal, rig.settings, rig.style) as kept:
        kept.add(happenings)
        kept.close(ns_from_ms(until_ms))
    sends = [h for h in happenings if isinstance(h, Send)]
    write_result(midi, sends, time_played(changes, rig.settings), ns_from_ms(until_ms))
    return journal, midi


@st.composite
def playing(draw: st.DrawFn) -> list[Input]:
    events: list[Input] = []
    for at_ns in draw(st.lists(st.integers(0, 3000 * NS_PER_MS), min_size=1, max_size=30)):
        note = draw(st.sampled_from([C4, E4, F4, G4, A4, C5, 36, 80]))
        events.append(
            draw(
                st.sampled_from(
                    [
                        KeyDown(at_ns, note, draw(st.integers(1, 127))),
                        KeyDown(at_ns, note, 90),
                        KeyUp(at_ns, note),
                        SetTempo(at_ns, draw(st.floats(20, 400))),
                        SetStyle(at_ns, SHIPPED[draw(st.sampled_from(STYLE_IDS))]),
                        Silence(at_ns),
                    ]
                )
            )
        )
    return events


@given(playing(), st.sampled_from(STYLE_IDS), st.floats(20, 400), st.sampled_from([None, 70]))
@settings(max_examples=40, deadline=None)
def test_a_random_session_replays_to_the_same_journal_and_the_same_file(
    events: list[Input], style: str, bpm: float, split: int | None
) -> None:
    rig = Rig(SHIPPED[style], bpm=bpm, split=split)
    rig.events = events
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        journal, midi = recorded(folder, rig, 4000)
        again, sounds = folder / "again.jsonl", folder / "again.mid"
        assert main(["replay", str(journal), "-o", str(sounds), "--journal", str(again)]) == 0
        assert again.read_bytes() == journal.read_bytes()
        assert sounds.read_bytes() == midi.read_bytes()


@pytest.mark.parametrize("style", STYLE_IDS)
def test_what_render_wrote_replays_to_the_same_bytes(capfd, tmp_path: Path, style: str) -> None:
    song = [(0, tempo(90)), (2, meter(3, 4)), (5, tempo(133)), (6, tempo(10)), (7, tempo(133))]
    song += keys(Chord(0.5, 3.5, (60, 64, 67)))
    write_midi(tmp_path / "in.mid", [*song, *keys(Chord(4, 8, (57, 60, 64))), (9, end())])
    files = [tmp_path / name for name in ("a.mid", "a.jsonl", "b.mid", "b.jsonl")]
    assert call(
        capfd, "render", tmp_path / "in.mid", "-s", style, "-o", files[0], "--journal", files[1]
    ).status == 0  # fmt: skip
    result = call(capfd, "replay", files[1], "-o", files[2], "--journal", files[3])
    assert (result.status, result.out, result.err) == (0, "", "")
    assert files[2].read_bytes() == files[0].read_bytes()
    assert files[3].read_bytes() == files[1].read_bytes()


def live(folder: Path) -> tuple[Path, list[tuple[int, bytes]]]:
    """Some seconds' worth of a live session at high speed: its journal and what was sent."""
    arrived: SimpleQueue[bytes] = SimpleQueue()
    output = MemoryOut("out", lambda data, _: arrived.put(data))
    journal = folder / "live.jsonl"
    chosen = Settings(bpm=400.0, split=72)
    now_ns = time.monotonic_ns
    with session(output, chosen, SHIPPED["rippling-sixteenths"], journal) as playing:
        for notes in ((C4, E4, G4), (F4, A4, 60), (G4, 71, 62)):
            for note in notes:
                playing.engine.receive(bytes((0x90, note, 80)), now_ns())
            playing.engine.receive(bytes((0x90, 90, 33)), now_ns())
            for _ in range(12):
                arrived.get(timeout=PATIENCE_S)
            playing.news()
            for note in (*notes, 90):
                playing.engine.receive(bytes((0x80, note, 64)), now_ns())
        playing.engine.submit(SetStyle(now_ns(), SHIPPED["triplet-broken"]))
        playing.engine.submit(SetTempo(now_ns(), 333.3))
        for _ in range(20):
            arrived.get(timeout=PATIENCE_S)
    return journal, list(output.sent)


def test_a_live_session_replays_to_what_was_sent(capfd, tmp_path: Path) -> None:
    journal, sent = live(tmp_path)
    target, again = tmp_path / "again.mid", tmp_path / "again.jsonl"
    assert call(capfd, "replay", journal, "-o", target, "--journal", again).status == 0
    assert [bytes(m.bin()) for _, m in messages(target)] == [data for _, data in sent]
    # The replay stops at the end of what was silenced already: one line more, and no sound.
    lines = again.read_text().splitlines()
    assert json.loads(lines[-2])["kind"] == "stop"
    assert [*lines[:-2], lines[-1]] == journal.read_text().splitlines()


def test_a_replay_lasts_as_long_as_the_session(capfd, tmp_path: Path) -> None:
    rig = Rig("waltz")
    rig.chord(0, C4, E4, G4, until_ms=500)
    journal, _ = recorded(tmp_path, rig, 3456)
    target = tmp_path / "again.mid"
    assert call(capfd, "replay", journal, "-o", target).status == 0
    assert mido.MidiFile(target).length == pytest.approx(3.456, abs=0.001)


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_a_journal_cut_off_anywhere_plays_if_it_has_its_header(data: st.DataObject) -> None:
    rig = Rig("suspend-fourth")
    rig.chord(0, C4, E4, G4, until_ms=900)
    rig.chord(1000, F4, A4, C5, until_ms=1900)
    with tempfile.TemporaryDirectory() as name:
        journal, _ = recorded(Path(name), rig, 2000)
        text = journal.read_bytes()
        cut = data.draw(st.integers(0, len(text)))
        journal.write_bytes(text[:cut])
        target = Path(name) / "again.mid"
        status = main(["replay", str(journal), "-o", str(target)])
        has_header = cut >= text.index(b"\n")
        assert status == (0 if has_header else 1)
        assert target.exists() == has_header


# What is wrong with the file, and what is said, at which line.
SPOILED = {
    "empty": (b"", ":1: found nothing"),
    "no JSON": (b"MThd\x00\x00", ":1: found 'MThd\\\\x00\\\\x00'"),
    "no text": (b"\xff\xfe", ": no text: a journal is JSON lines in UTF-8"),
    "no header": (b'{"ms":0,"kind":"stop"}\n', ":1: no header of a journal; give"),
    "one huge line": (b"x" * (3 << 20), ":1: found 'xxx"),
    "nested": (b"[" * 500_000, ":1: found '[[["),
}


@pytest.mark.parametrize(("data", "said"), SPOILED.values(), ids=SPOILED)
def test_a_spoiled_journal_is_refused_in_one_line(
    capfd, tmp_path: Path, data: bytes, said: str
) -> None:
    journal = tmp_path / "j"
    journal.write_bytes(data)
    said = said.replace("\\\\", "\\")
    refusal = refused(capfd, 1, "replay", journal, "-o", tmp_path / "out.mid")
    assert f"{journal}{said}" in refusal
    assert len(refusal) < 300 + len(str(journal))


def test_no_such_journal_and_a_folder_are_refused(capfd, tmp_path: Path) -> None:
    target = tmp_path / "out.mid"
    assert "gone: cannot be read: No such file" in refused(
        capfd, 1, "replay", tmp_path / "gone", "-o", target
    )
    assert "cannot be read: Is a directory" in refused(capfd, 1, "replay", tmp_path, "-o", target)
    assert "the ending says" in refused(capfd, 2, "replay", tmp_path, "-o", tmp_path / "out")
