"""`ripieno render`: trigger files made with mido in, files read with mido out."""

import json
import wave
from itertools import pairwise
from pathlib import Path

import mido
import pytest
from calling import Chord, call, end, keys, messages, meter, onsets, refused, tempo, write_midi

from midi_files import changes_in
from rig import STYLE_IDS
from ripieno.errors import MachineError
from ripieno.midi import fluidsynth

C_MAJOR, F_MAJOR, A_MINOR = (60, 64, 67), (65, 69, 72), (57, 60, 64)

# A bass on the first and third beats and a chord on each, or in three a bass on the first; in
# six, eighths. So that what the shipped styles become does not matter here.
STYLE = """\
name: Beats
use: Counting.
suits: [learner]
hands:
  left: {tones: [root], around: C3}
  right: {tones: [root, third, fifth], around: C5}
figures:
  - meters: [3/4]
    left: {every: 1/4, steps: [bottom, hold, hold]}
    right: {every: 1/4, length: 1/2, steps: [all]}
  - meters: [4/4]
    left: {every: 1/4, steps: [bottom, hold, bottom, hold]}
    right: {every: 1/4, length: 1/2, steps: [all]}
  - meters: [6/8]
    right: {every: 1/8, length: 1/2, steps: [all]}
"""

TWO_BARS = [*keys(Chord(0, 3.5, C_MAJOR), Chord(4, 7.5, F_MAJOR)), (8, end())]


@pytest.fixture
def paths(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path, Path]:
    """A trigger file, a result, a journal; and no user's styles."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    write_midi(tmp_path / "in.mid", TWO_BARS)
    return tmp_path / "in.mid", tmp_path / "out.mid", tmp_path / "j.jsonl"


@pytest.fixture
def beats(tmp_path: Path) -> Path:
    (tmp_path / "beats.yaml").write_text(STYLE)
    return tmp_path / "beats.yaml"


def bass_of(path: Path) -> list[float]:
    return [seconds for seconds, m in messages(path) if m.type == "note_on" and m.note < 58]


def signature(path: Path) -> tuple[int, int]:
    (found,) = [
        m for track in mido.MidiFile(path).tracks for m in track if m.type == "time_signature"
    ]
    return found.numerator, found.denominator


def rendered(capfd, source: Path, target: Path, style: str, *words: object) -> None:
    result = call(capfd, "render", source, "-s", style, "-o", target, *words)
    assert (result.status, result.out, result.err) == (0, "", "")


def test_the_first_strike_is_the_downbeat_and_the_file_plays_to_its_end(
    capfd, paths, beats
) -> None:
    source, target, _ = paths
    # Struck an eighth after the second beat, at 120: 0.75 s; the file ends at 7.2 quarters.
    write_midi(source, [*keys(Chord(1.5, 3, C_MAJOR)), (7.2, end())])
    rendered(capfd, source, target, beats)
    assert onsets(target) == [0.75, 1.25, 1.75, 2.25, 2.75, 3.25]
    bass = bass_of(target)
    assert bass == pytest.approx([0.75, 1.75, 2.75], abs=0.0003), "beats one and three"
    assert mido.MidiFile(target).length == pytest.approx(3.6, abs=0.0003)


def test_tempo_and_meter_are_the_files(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, tempo(90)), (0, meter(3, 4)), *keys(Chord(0, 2, C_MAJOR)), (9, end())]
    write_midi(source, song)
    rendered(capfd, source, target, beats)
    quarters = [round(beat * 60 / 90, 3) for beat in range(9)]
    assert onsets(target) == pytest.approx(quarters, abs=0.001)
    bass = bass_of(target)
    assert bass == pytest.approx(quarters[::3], abs=0.001)
    assert signature(target) == (3, 4)


def test_tempo_and_meter_may_be_told_otherwise(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, tempo(90)), (4, tempo(45)), (0, meter(3, 4)), *keys(Chord(0, 2, C_MAJOR))]
    write_midi(source, [*song, (6, end())])
    rendered(capfd, source, target, beats, "-t", "60", "-m", "4/4")
    assert onsets(target) == [0, 1, 2, 3, 4, 5]
    bass = bass_of(target)
    assert bass == pytest.approx([0, 2, 4], abs=0.001)
    assert signature(target) == (4, 4)
    assert mido.MidiFile(target).length == pytest.approx(4 * 60 / 90 + 2 * 60 / 45, abs=0.001)


def test_a_tempo_told_counts_the_meters_beats(capfd, paths, beats) -> None:
    source, target, _ = paths
    write_midi(source, [(0, meter(6, 8)), *keys(Chord(0, 2, C_MAJOR)), (6, end())])
    rendered(capfd, source, target, beats, "-t", "60")
    # 60 dotted quarters: an eighth is a third of a second; six at 120 quarters are 3 s.
    assert onsets(target) == pytest.approx([n / 3 for n in range(9)], abs=0.001)


def test_a_files_tempo_counts_quarters_whatever_its_meter(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, meter(6, 8)), (0, tempo(120)), (1.5, tempo(60)), *keys(Chord(0, 2, C_MAJOR))]
    write_midi(source, [*song, (3, end())])
    rendered(capfd, source, target, beats)
    assert onsets(target) == [0, 0.25, 0.5, 0.75, 1.25, 1.75]


def test_changes_of_tempo_in_the_file_are_followed(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, tempo(120)), (4, tempo(60)), (6.5, tempo(240)), *keys(Chord(0, 2, C_MAJOR))]
    write_midi(source, [*song, (9, end())])
    rendered(capfd, source, target, beats)
    # By hand: beats 0..4 half a second apart, 5 and 6 a second, 7 half of 1 and half of 0.25 s.
    assert onsets(target) == pytest.approx([0, 0.5, 1, 1.5, 2, 3, 4, 4.625, 4.875], abs=0.001)


def test_hands_that_are_followed_lead_the_tempo_and_not_the_file(capfd, paths, beats) -> None:
    source, target, _ = paths
    chords = [key for i in range(12) for key in keys(Chord(i * 1.25, i * 1.25 + 0.8, C_MAJOR))]
    write_midi(source, [(0, tempo(120)), (6, tempo(200)), *chords, (15, end())])
    rendered(capfd, source, target, beats, "--follow", "hands", "--lean", "100")
    found = onsets(target)
    beats_s = [found[0], *(b for a, b in pairwise(found) if b - a > 0.1)]
    gaps = [b - a for a, b in pairwise(beats_s)]
    # A chord each 1.25 quarters of the file: 0.625 s up to 6 quarters, from there on 0.375 s.
    assert gaps[3:5] == pytest.approx([0.625, 0.625], abs=0.03)


def test_a_long_file_ends_on_its_grid_without_a_stray_note(capfd, paths, beats) -> None:
    # 90 quarters a minute are 666,667 microseconds each in a file: not 90 to a nanosecond.
    source, target, _ = paths
    write_midi(source, [(0, tempo(90)), *keys(Chord(0, 2, C_MAJOR)), (800, end())])
    rendered(capfd, source, target, beats)
    struck = [seconds for seconds, m in messages(target) if m.type == "note_on"]
    half_a_tick = 0.666667 / 960 / 2
    assert max(struck) == pytest.approx(799 * 0.666667, abs=half_a_tick)


@pytest.mark.parametrize("quarters_a_minute", [60, 97.3, 180, 233.3])
@pytest.mark.parametrize("ticks", [96, 480, 1000])
def test_times_are_those_of_the_input_to_half_a_tick(
    capfd, paths, quarters_a_minute: float, ticks: int
) -> None:
    source, target, _ = paths
    melody = [
        Chord(place / 7, place / 7 + 0.11, (84 + place % 5,), channel=1) for place in range(60)
    ]
    song = mido.MidiFile(ticks_per_beat=ticks)
    track = mido.MidiTrack([tempo(quarters_a_minute)])
    song.tracks.append(track)
    before = 0
    for quarters, message in sorted(keys(*melody), key=lambda event: event[0]):
        track.append(message.copy(time=round(quarters * ticks) - before))
        before = round(quarters * ticks)
    track.append(mido.MetaMessage("end_of_track", time=5))
    song.save(source)
    rendered(capfd, source, target, "smooth-chords", "--split", "C4")
    result = mido.MidiFile(target)
    (us,) = [m.tempo for m in result.tracks[0] if m.type == "set_tempo"]
    half_a_tick = us / 1e6 / result.ticks_per_beat / 2
    heard, pressed = messages(target), messages(source)
    assert [str(m.copy(time=0)) for _, m in heard] == [str(m.copy(time=0)) for _, m in pressed]
    off = [abs(a - b) for (a, _), (b, _) in zip(heard, pressed, strict=True)]
    assert max(off) <= half_a_tick * 1.0001


# A file that states no meter: 4/4 if the style has a figure for it, or the style's first.
@pytest.mark.parametrize(("other", "expected"), [("4/4", (4, 4)), ("2/4", (3, 4))])
def test_without_a_time_signature_the_meter_is_the_styles(
    capfd, paths, beats, other: str, expected: tuple[int, int]
) -> None:
    source, target, _ = paths
    beats.write_text(STYLE.replace("4/4", other))
    rendered(capfd, source, target, beats)
    assert signature(target) == expected


def test_a_meter_that_the_style_does_not_know_is_said_and_played(capfd, paths, beats) -> None:
    source, target, _ = paths
    write_midi(source, [(0, meter(5, 4)), *TWO_BARS])
    result = call(capfd, "render", source, "-s", beats, "-o", target)
    assert (result.status, result.out) == (0, "")
    assert result.err == (
        "ripieno: style 'beats' has no figure for 5/4: its figure for 3/4 runs on\n"
    )
    assert signature(target) == (5, 4)
    bass = bass_of(target)
    # Quarters 0, 3 and 6, and the bass that is held takes up the new chord on quarter 4.
    assert [round(seconds * 2) for seconds in bass] == [0, 3, 4, 6]


def meters_in(path: Path) -> list[tuple[int, int, int]]:
    """Each time signature with its tick."""
    return [(tick, m.numerator, m.denominator) for tick, m in changes_in(path, "time_signature")]


def test_changes_of_meter_in_the_file_are_followed(capfd, paths, beats) -> None:
    source, target, _ = paths
    chords = keys(*(Chord(at, at + 1, C_MAJOR) for at in (0, 4, 7, 10)))
    meters = [(0, meter(4, 4)), (4, meter(3, 4)), (10, meter(6, 8))]
    write_midi(source, [*meters, (10, tempo(90)), *chords, (13, end())])
    rendered(capfd, source, target, beats)
    # By hand, in quarters: a bass on one and three, then two bars of three, then eighths alone.
    assert [seconds * 2 for seconds in bass_of(target)] == pytest.approx([0, 2, 4, 7], abs=0.001)
    quarters = [at / 2 for at in range(10)] + [5 + at / 3 for at in range(9 - 3)]
    assert onsets(target) == pytest.approx(quarters, abs=0.001)
    assert meters_in(target) == [(0, 4, 4), (4 * 960, 3, 4), (10 * 960, 6, 8)]


def test_the_meter_is_the_formats_own_until_the_files_first(capfd, paths, beats) -> None:
    source, target, _ = paths
    write_midi(source, [(4, meter(3, 4)), *keys(Chord(0, 2, C_MAJOR)), (10, end())])
    rendered(capfd, source, target, beats)
    assert [seconds * 2 for seconds in bass_of(target)] == pytest.approx([0, 2, 4, 7], abs=0.001)
    assert meters_in(target) == [(0, 4, 4), (4 * 960, 3, 4)]


def test_a_tempo_counts_the_beats_of_the_meter_it_stands_in(capfd, paths, beats) -> None:
    # A quarter at 30 a minute is a beat of 4/4, and as one of 2/2, at 15, too slow.
    source, target, _ = paths
    beats.write_text(STYLE.replace("[4/4]", "[4/4, 2/2]"))
    song = [(0, meter(2, 2)), (0, tempo(120)), (4, meter(4, 4)), (4, tempo(30))]
    write_midi(source, [*song, *keys(Chord(0, 2, C_MAJOR)), (6, end())])
    rendered(capfd, source, target, beats)
    assert onsets(target) == pytest.approx([0, 0.5, 1, 1.5, 2, 4], abs=0.001)


def test_a_tempo_beyond_the_limits_is_met_as_soon_as_the_meters_beats_allow(
    capfd, paths, beats
) -> None:
    # 30 quarters a minute are 15 halves, which are played at 20, and 30 beats of 4/4.
    source, target, _ = paths
    song = [(0, meter(2, 2)), (0, tempo(30)), (4, meter(4, 4)), *keys(Chord(0, 2, C_MAJOR))]
    write_midi(source, [*song, (7, end())])
    assert call(capfd, "render", source, "-s", beats, "-o", target).status == 0
    assert onsets(target)[-3:] == pytest.approx([8, 10, 12], abs=0.001)


def test_a_tempo_told_keeps_its_quarters_in_every_meter(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, meter(6, 8)), (3, meter(3, 4)), *keys(Chord(0, 2, C_MAJOR)), (6, end())]
    write_midi(source, song)
    rendered(capfd, source, target, beats, "-t", "80")
    # 80 dotted quarters are 120 quarters, as in the file.
    assert onsets(target) == pytest.approx([*(n / 4 for n in range(6)), 1.5, 2, 2.5], abs=0.001)
    assert [m.tempo for _, m in changes_in(target, "set_tempo")] == [500_000]
    assert meters_in(target) == [(0, 6, 8), (3 * 960, 3, 4)]


def test_a_meter_told_holds_throughout(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = [(0, meter(6, 8)), (3, meter(3, 4)), (3, tempo(60)), *keys(Chord(0, 2, C_MAJOR))]
    write_midi(source, [*song, (8, end())])
    rendered(capfd, source, target, beats, "-m", "4/4")
    assert onsets(target) == pytest.approx([0, 0.5, 1, 1.5, 2.5, 3.5, 4.5, 5.5], abs=0.001)
    assert meters_in(target) == [(0, 4, 4)]
    assert [(tick, m.tempo) for tick, m in changes_in(target, "set_tempo")] == [
        (0, 500_000), (3 * 960, 1_000_000)
    ]  # fmt: skip


def test_tempi_and_meters_of_the_output_are_those_of_the_input(capfd, paths) -> None:
    source, target, _ = paths
    song = [
        (0, tempo(10)), (1, tempo(133)), (2.5, tempo(900)), (4, tempo(90)), (9, tempo(61.7)),
        (0, meter(4, 4)), (4, meter(3, 4)), (10, meter(2, 4)),
    ]  # fmt: skip
    write_midi(source, [*song, *keys(Chord(0.4, 8, C_MAJOR)), (12, end())])
    assert call(capfd, "render", source, "-s", "steady-quarters", "-o", target).status == 0
    for kind in ("set_tempo", "time_signature"):
        expected = [(2 * tick, m.copy(time=0).bin()[2:5]) for tick, m in changes_in(source, kind)]
        found = [(tick, m.copy(time=0).bin()[2:5]) for tick, m in changes_in(target, kind)]
        assert found == expected


def test_each_meter_without_a_figure_is_said_once(capfd, paths, beats) -> None:
    source, target, _ = paths
    meters = [(0, meter(4, 4)), (4, meter(5, 4)), (9, meter(4, 4)), (13, meter(5, 4))]
    write_midi(source, [*meters, (18, meter(7, 8)), *keys(Chord(0, 2, C_MAJOR)), (25, end())])
    result = call(capfd, "render", source, "-s", beats, "-o", target)
    assert (result.status, result.out) == (0, "")
    said = [line.partition(" no figure for ")[2][:3] for line in result.err.splitlines()]
    assert said == ["5/4", "7/8"]


@pytest.mark.parametrize("odd", [(4, 1), (33, 8), (4, 32)])
def test_a_meter_that_nothing_plays_in_is_refused_unless_another_is_told(
    capfd, paths, odd: tuple[int, int]
) -> None:
    source, target, journal = paths
    write_midi(source, [(4, meter(*odd)), *TWO_BARS])
    words = ("render", source, "-s", "steady-quarters", "-o", target, "--journal", journal)
    said = refused(capfd, 1, *words)
    assert f"in.mid: meter {odd[0]}/{odd[1]}: expected 1 to 32 over 2, 4, 8 or 16" in said
    assert call(capfd, *words, "-m", "4/4").err == ""
    assert call(capfd, "replay", journal, "-o", target).err == ""


@pytest.mark.parametrize("quarters_a_minute", [10, 900])
def test_a_tempo_beyond_the_figures_is_said_and_played_at_the_limit(
    capfd, paths, beats, quarters_a_minute: int
) -> None:
    source, target, _ = paths
    write_midi(source, [(0, tempo(quarters_a_minute)), *TWO_BARS])
    result = call(capfd, "render", source, "-s", beats, "-o", target)
    assert result.status == 0
    assert result.err.startswith(f"ripieno: the file goes at {quarters_a_minute} beats a minute")
    assert result.err.count("\n") == 1
    assert call(
        capfd, "render", source, "-s", beats, "-o", target, "-t", "100"
    ).err == ""  # fmt: skip


@pytest.mark.parametrize("style", STYLE_IDS)
def test_every_shipped_style_renders_and_leaves_nothing_sounding(capfd, paths, style: str) -> None:
    source, target, _ = paths
    rendered(capfd, source, target, style)
    sounding: dict[int, bool] = {}
    pedal = 0
    for _, message in messages(target):
        if message.type == "control_change":
            assert message.control == 64
            pedal = message.value
            continue
        assert (message.type == "note_on") != sounding.get(message.note, False)
        sounding[message.note] = message.type == "note_on"
    assert len(sounding) > 2
    assert not any(sounding.values())
    assert pedal == 0
    # 8 quarters at 120 are 4 s.
    assert mido.MidiFile(target).length == pytest.approx(4, abs=0.001)
    assert messages(target)[-1][0] <= 4.001


def test_only_the_channel_asked_for_is_played_on(capfd, paths) -> None:
    source, target, _ = paths
    rendered(capfd, source, target, "waltz", "--channel", "7")
    assert {m.channel for _, m in messages(target)} == {6}


def test_the_same_seed_plays_the_same_and_another_strikes_otherwise(capfd, paths) -> None:
    source, target, _ = paths
    files = []
    for seed in (1, 1, 2):
        rendered(capfd, source, target, "waltz", "--seed", seed)
        files.append(target.read_bytes())
    assert files[0] == files[1] != files[2]


def test_the_journal_has_a_header_then_the_keys_the_chords_and_the_end(capfd, paths) -> None:
    source, target, journal = paths
    rendered(capfd, source, target, "waltz", "--journal", journal, "-k", "F")
    lines = [json.loads(line) for line in journal.read_text().splitlines()]
    assert [lines[0]["kind"], lines[-1]] == ["ripieno-journal", {"ms": 4000, "kind": "end"}]
    assert lines[0]["settings"]["key"] == "F major"
    chords = [line for line in lines if line["kind"] == "chord"]
    assert [
        (line["ms"], line["strike_ms"], line["symbol"], line["root"], line["quality"],
         line["bass"], tuple(line["keys"]))
        for line in chords
    ] == [(0, 0, "C", 0, "maj", 0, C_MAJOR), (2000, 2000, "F", 5, "maj", 5, F_MAJOR)]  # fmt: skip
    downs = [line["note"] for line in lines if line["kind"] == "key" and line["down"]]
    assert downs == [*C_MAJOR, *F_MAJOR]
    struck = [line for line in lines if line["kind"] == "note" and line["down"]]
    assert len(struck) == len([m for _, m in messages(target) if m.type == "note_on"])


def test_keys_on_several_tracks_and_releases_by_velocity_0_are_read(capfd, paths, beats) -> None:
    source, target, _ = paths
    song = mido.MidiFile(type=1, ticks_per_beat=480)
    song.tracks.append(mido.MidiTrack([tempo(120)]))
    for key in A_MINOR:
        on = mido.Message("note_on", note=key, velocity=70)
        song.tracks.append(mido.MidiTrack([on, on.copy(velocity=0, time=960)]))
    song.tracks.append(mido.MidiTrack([mido.MetaMessage("end_of_track", time=1920)]))
    song.save(source)
    rendered(capfd, source, target, beats, "--no-hold")
    assert {m.note % 12 for _, m in messages(target) if m.type == "note_on"} <= {9, 0, 4}
    assert onsets(target) == [0, 0.5], "the keys come up after a second"


def test_a_file_without_notes_renders_to_silence(capfd, paths) -> None:
    source, target, _ = paths
    write_midi(source, [(3, end())])
    rendered(capfd, source, target, "waltz")
    assert messages(target) == []
    assert mido.MidiFile(target).length == pytest.approx(1.5, abs=0.001)


def test_a_style_file_of_ones_own_renders(capfd, paths, tmp_path: Path) -> None:
    source, target, _ = paths
    own = tmp_path / "mine.yaml"
    own.write_text(STYLE)
    rendered(capfd, source, target, str(own))
    assert onsets(target)


def test_a_style_with_faults_is_refused_with_each_fault_in_its_place(capfd, paths) -> None:
    source, target, _ = paths
    own = source.with_name("mine.yaml")
    own.write_text(STYLE.replace("[learner]", "[lerner]").replace("C3", "H3"))
    result = call(capfd, "render", source, "-s", own, "-o", target)
    assert result.status == 1
    assert len(result.err.splitlines()) == 2
    assert all(line.startswith(f"ripieno: {own}:") for line in result.err.splitlines())


DRUMS = Chord(0, 0.5, (36, 42, 46), channel=9)


def test_percussion_is_left_out(capfd, paths, beats) -> None:
    # Channel 10 is percussion's (General MIDI 1); what its kit and its rests say is so, too.
    source, target, _ = paths
    rendered(capfd, source, target, beats)
    chords = target.read_bytes()
    drums = [(at / 2, m) for at in range(14) for _, m in keys(DRUMS)]
    kit = mido.Message("program_change", channel=9, program=8)
    all_off = mido.Message("control_change", channel=9, control=120)
    write_midi(source, [(0, kit), (5, all_off), *drums, *TWO_BARS])
    rendered(capfd, source, target, beats)
    assert target.read_bytes() == chords


@pytest.mark.parametrize("channel", [3, 10])
def test_one_channel_alone_may_be_read(capfd, paths, beats, channel: int) -> None:
    source, target, _ = paths
    chord = Chord(0, 3, A_MINOR, channel=channel - 1)
    others = keys(DRUMS, Chord(0, 3, (62, 66), channel=4)) if channel != 10 else []
    write_midi(source, [*others, *keys(chord), (4, end())])
    rendered(capfd, source, target, beats, "--from-channel", channel)
    assert {m.note % 12 for _, m in messages(target) if m.type == "note_on"} == {9, 0, 4}


def test_a_file_of_which_all_notes_are_left_out_says_so(capfd, paths, beats) -> None:
    source, target, _ = paths
    write_midi(source, [*keys(DRUMS), (4, end())])
    result = call(capfd, "render", source, "-s", beats, "-o", target)
    assert (result.status, messages(target)) == (0, [])
    assert result.err == (
        "ripieno: all notes are left out: they are on channel 10; --from-channel reads one\n"
    )


# What was done wrong: the words that replace the good ones, the status, what is said.
REFUSALS = {
    "unknown style": ({"-s": "waltzz"}, 1, "there is no style 'waltzz'; did you mean waltz"),
    "no such style file": ({"-s": "nowhere/mine.yaml"}, 1, "there is no such file"),
    "no such input": ({"in": "nowhere.mid"}, 1, "nowhere.mid: cannot be read: No such file"),
    "input a folder": ({"in": "."}, 1, ".: cannot be read: Is a directory"),
    "input no MIDI": ({"in": "text.mid"}, 1, "text.mid: no standard MIDI file"),
    "input cut off": ({"in": "cut.mid"}, 1, "cut.mid: damaged MIDI file"),
    "input empty": ({"in": "empty.mid"}, 1, "empty.mid: no standard MIDI file: it is empty"),
    "output a folder": ({"-o": "folder.mid"}, 3, "cannot write folder.mid: Is a directory"),
    "output in no folder": ({"-o": "no/out.mid"}, 3, "cannot write no/out.mid: No such file"),
    "wrong ending": ({"-o": "out.mp3"}, 2, "'out.mp3': the ending says what to write"),
    "no ending": ({"-o": "folder"}, 2, "'folder': the ending says what to write"),
    "journal a folder": ({"--journal": "."}, 3, "cannot write .: Is a directory"),
    "journal in no folder": ({"--journal": "no/j"}, 3, "cannot write no/j: No such file"),
    "tempo too slow": ({"-t": "19.9"}, 2, "'19.9' is no tempo: write a number from 20 to 400"),
    "tempo no number": ({"-t": "nan"}, 2, "'nan' is no tempo: write a number from 20 to 400"),
    "meter": ({"-m": "4/5"}, 2, "'4/5' is no meter: write beats over a note value"),
    "swing": ({"--swing": "4"}, 2, "'4' is no swing: write a number from 1 to 3.5"),
    "key": ({"-k": "H"}, 2, "'H' is no key"),
    "split": ({"--split": "C99"}, 2, "'C99' lies outside MIDI's notes"),
    "channel": ({"--channel": "0"}, 2, "'0' is no MIDI channel: write a whole number from 1 to 16"),
    "no clock": ({"--follow": "clock"}, 2, "--follow clock: a file holds no MIDI clock"),
    "from channel": ({"--from-channel": "17"}, 2, "'17' is no MIDI channel"),
    "seed": ({"--seed": "-1"}, 2, "'-1' is no seed"),
    "span": ({"--span": "tenths"}, 2, "invalid choice: 'tenths'"),
    "an option there is not": ({"--loud": "1"}, 2, "unrecognized arguments: --loud=1"),
}


@pytest.mark.parametrize(("words", "status", "said"), REFUSALS.values(), ids=REFUSALS)
def test_what_cannot_be_done_is_refused_in_one_line_and_writes_no_result(
    capfd, paths, monkeypatch: pytest.MonkeyPatch, words: dict, status: int, said: str
) -> None:
    source, target, _ = paths
    folder = source.parent
    monkeypatch.chdir(folder)
    (folder / "folder.mid").mkdir()
    (folder / "folder").mkdir()
    (folder / "text.mid").write_text("no song")
    (folder / "empty.mid").touch()
    (folder / "cut.mid").write_bytes(source.read_bytes()[:-9])
    given = {"in": "in.mid", "-s": "waltz", "-o": "out.mid"} | words
    source_given = given.pop("in")
    options = [f"{k}={v}" if k[:2] == "--" else f"{k}{v}" for k, v in given.items()]
    assert said in refused(capfd, status, "render", source_given, *options)
    assert not target.exists()


def test_the_output_and_a_style_must_be_given(capfd, paths) -> None:
    assert "required: -s/--style, -o/--output" in refused(capfd, 2, "render", paths[0])


def test_a_result_that_cannot_be_written_leaves_the_old_one(capfd, paths) -> None:
    source, target, _ = paths
    rendered(capfd, source, target, "waltz")
    kept = target.read_bytes()
    refused(capfd, 1, "render", source.with_name("gone.mid"), "-s", "waltz", "-o", target)
    assert target.read_bytes() == kept


@pytest.mark.sound
def test_a_name_that_ends_in_wav_gets_sound(capfd, paths) -> None:
    try:
        fluidsynth.library()
    except MachineError as error:
        pytest.skip(str(error))
    source, target, _ = paths
    rendered(capfd, source, target.with_suffix(".wav"), "waltz")
    with wave.open(str(target.with_suffix(".wav"))) as sound:
        assert sound.getnframes() / sound.getframerate() >= 4
        assert any(sound.readframes(sound.getframerate()))
