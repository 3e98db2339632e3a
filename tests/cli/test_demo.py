"""`ripieno demo`: a song of the program's own, played by the program's own player."""

import json
import re
import signal
import subprocess
import sys
import wave
from collections.abc import Iterator
from pathlib import Path

import mido
import pytest
import rtmidi
from calling import call, environment, messages, refused, run

from jack_server import PATIENCE_S, Recorder, port_named, press, running_server
from ripieno.cli.demo import SONG, SONG_KEY, TOUR, TOUR_BARS
from ripieno.errors import MachineError
from ripieno.midi import fluidsynth, systems
from ripieno.theory.pitch import note_named

MARK = bytes.fromhex("F2 2A 15")  # a song position, which nobody here sends
CHORD_LINE = re.compile(r"  (\S+) +keys ((?:\S+ )+) +plays (\S.*?)(?:   ([0-9.]+) ms)?")


@pytest.fixture(autouse=True)
def no_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))


def chord_lines(printed: str) -> list[tuple[str, list[int], list[int], str | None]]:
    """Symbol, keys, notes that answered, and how soon."""
    found = [CHORD_LINE.fullmatch(line) for line in printed.splitlines() if " keys " in line]
    assert all(found), printed
    return [
        (m[1], [note_named(n) for n in m[2].split()], [note_named(n) for n in m[3].split()], m[4])
        for m in found
    ]


def struck(path: Path) -> list[tuple[float, int]]:
    return [(seconds, m.note) for seconds, m in messages(path) if m.type == "note_on"]


def test_fast_writes_the_whole_tour_and_a_line_for_each_chord(capfd, tmp_path: Path) -> None:
    target = tmp_path / "demo.mid"
    result = call(capfd, "demo", "--fast", "-o", target)
    assert (result.status, result.err) == (0, "")
    lines = chord_lines(result.out)
    assert len(lines) == TOUR_BARS * len(TOUR)
    assert [keys for _, keys, _, _ in lines] == [
        list(SONG[bar % len(SONG)]) for bar in range(len(lines))
    ]
    styles = re.findall(r"^style (\S+): \S", result.out, re.MULTILINE)
    assert styles == list(TOUR)
    notes = struck(target)
    assert f"wrote {target}: {len(notes)} notes" in result.out
    assert {note for *_, plays, _ in lines for note in plays} <= {note for _, note in notes}
    # So many bars of four quarters at 84, after half a second.
    assert mido.MidiFile(target).length == pytest.approx(0.5 + 24 * 4 * 60 / 84, abs=0.01)


def test_each_chord_is_answered_with_its_own_tones_in_both_hands(capfd, tmp_path: Path) -> None:
    printed = call(capfd, "demo", "--fast", "-s", "smooth-chords", "-o", tmp_path / "d.mid").out
    lines = chord_lines(printed)
    # The triads of the song, read off a keyboard: three majors and four minors of E flat.
    assert [symbol for symbol, *_ in lines] == ["Eb", "Gm", "Ab", "Fm", "Bb", "Cm", "Fm", "Eb"]
    for _, keys, plays, _ in lines:
        assert {note % 12 for note in plays} == {key % 12 for key in keys}
        assert len(plays) >= 4


def test_the_song_stays_in_its_key() -> None:
    assert {key % 12 for chord in SONG for key in chord} <= set(SONG_KEY.scale)


def test_one_style_plays_the_song_once_at_the_tempo_asked_for(capfd, tmp_path: Path) -> None:
    target = tmp_path / "demo.mid"
    printed = call(capfd, "demo", "--fast", "-s", "waltz", "-t", "180", "-o", target).out
    assert printed.startswith("The Ferry at Six: 8 bars in 3/4 at 180\n")
    assert mido.MidiFile(target).length == pytest.approx(0.5 + 8 * 3 * 60 / 180, abs=0.01)


def test_the_journal_of_a_demo_replays_to_the_same_file(capfd, tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("a.mid", "a.jsonl", "b.mid", "b.jsonl")]
    assert call(capfd, "demo", "--fast", "-o", files[0], "--journal", files[1]).status == 0
    assert call(capfd, "replay", files[1], "-o", files[2], "--journal", files[3]).status == 0
    assert files[2].read_bytes() == files[0].read_bytes()
    assert files[3].read_bytes() == files[1].read_bytes()


def test_what_cannot_be_written_or_played_is_refused(capfd, tmp_path: Path) -> None:
    assert "the ending says what to write" in refused(
        capfd, 2, "demo", "--fast", "-o", tmp_path / "demo.ogg"
    )
    assert "there is no style 'polka'" in refused(capfd, 1, "demo", "--fast", "-s", "polka")
    (tmp_path / "folder.mid").mkdir()
    result = call(capfd, "demo", "--fast", "-o", tmp_path / "folder.mid")
    assert result.status == 3
    assert result.err.startswith("ripieno: cannot write ")
    assert result.err.count("\n") == 1


@pytest.mark.sound
def test_a_name_that_ends_in_wav_gets_sound(capfd, tmp_path: Path) -> None:
    try:
        fluidsynth.library()
    except MachineError as error:
        pytest.skip(str(error))
    target = tmp_path / "demo.wav"
    assert call(capfd, "demo", "--fast", "-s", "waltz", "-t", "400", "-o", target).status == 0
    with wave.open(str(target)) as sound:
        assert sound.getnframes() / sound.getframerate() >= 0.5 + 8 * 3 * 60 / 400
        assert any(sound.readframes(sound.getnframes()))


def test_live_it_shows_each_chord_with_what_answered_it(tmp_path: Path) -> None:
    # Eight bars of two beats at 400 last 2.4 s.
    files = [tmp_path / name for name in ("a.mid", "a.jsonl", "b.mid")]
    words = ("-s", "smooth-chords", "-t", "400", "-m", "2/4")
    result = run(tmp_path, "demo", *words, "-o", files[0], "--journal", files[1])
    assert (result.returncode, result.stderr) == (0, "")
    lines = chord_lines(result.stdout)
    assert [keys for _, keys, _, _ in lines] == [list(chord) for chord in SONG]
    for _, keys, plays, soon in lines:
        assert {note % 12 for note in plays} == {key % 12 for key in keys}
        assert soon is not None
    replay = run(tmp_path, "replay", files[1], "-o", files[2])
    assert (replay.returncode, replay.stderr) == (0, "")
    assert [m for _, m in messages(files[0])] == [m for _, m in messages(files[2])]


def test_live_the_tour_changes_style_in_time_and_its_journal_replays(tmp_path: Path) -> None:
    # Bars of one beat at 400: 24 of them last 3.6 s.
    journal, target = tmp_path / "a.jsonl", tmp_path / "a.mid"
    result = run(tmp_path, "demo", "-t", "400", "-m", "1/4", "-o", target, "--journal", journal)
    assert (result.returncode, result.stderr) == (0, "")
    assert re.findall(r"^style (\S+): \S", result.stdout, re.MULTILINE) == list(TOUR)
    lines = [json.loads(line) for line in journal.read_text().splitlines()]
    changes = [line["ms"] for line in lines if line["kind"] == "style"]
    # Half a second of rest, then four bars of 150 ms each; the player may be late, not early.
    for place, ms in enumerate(changes):
        assert ms >= 500 + place * 600 - 24
    assert run(tmp_path, "replay", journal, "-o", tmp_path / "b.mid").returncode == 0
    assert messages(tmp_path / "b.mid") == messages(target)


@pytest.fixture(scope="module")
def jack() -> Iterator[None]:
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        if systems.choose().api != rtmidi.API_UNIX_JACK:
            pytest.skip("the program would not use JACK here")
        yield


@pytest.mark.jack
@pytest.mark.usefixtures("jack")
@pytest.mark.parametrize("ends", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_ended_by_a_signal_it_leaves_nothing_sounding(tmp_path: Path, ends: signal.Signals) -> None:
    command = [sys.executable, "-m", "ripieno", "demo", "-s", "smooth-chords", "-o",
               str(tmp_path / "demo.mid"), "--out", "virtual"]  # fmt: skip
    with subprocess.Popen(
        command, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as demo:
        port_named("ripieno out")
        with Recorder("ripieno out") as recorder:
            recorder.wait_for(5)
            demo.send_signal(ends)
            assert demo.wait(timeout=PATIENCE_S) == 130
            press("recorder-", [(300, MARK)])
            while MARK not in [data for _, data in recorder.wait_for(1)]:
                recorder.wait_for(len(recorder.wait_for(1)) + 1)
            heard = [data for _, data in recorder.stop()][:-1]
        assert b"Traceback" not in demo.stderr.read()
    down = {data[1] for data in heard if data[0] == 0x90}
    up = {data[1] for data in heard if data[0] == 0x80}
    assert down
    assert down <= up
    assert heard[-5:] == [bytes((0xB0, number, 0)) for number in (64, 66, 69, 123, 120)]
