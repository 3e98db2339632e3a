"""What the whole program sounds like: MIDI file in, style, FluidSynth, Fourier transform.

A player's triads are written by mido and rendered by `ripieno render` with the font that is
shipped. A program change in the player's file, which passes through, gives most of them its
sine, whose spectrum is the notes and nothing else; at 20 beats a minute there is time between
two notes to tell their pitches apart. The textures are common practice, no source.
"""

import os
import subprocess
import sys
import wave
from collections.abc import Callable, Sequence
from pathlib import Path

import mido
import pytest

from rig import A3, C4, E4, G4
from ripieno.midi.soundfont import VARIABLE, shipped_soundfont
from spectrum import FULL_SCALE, NEEDS_FLUIDSYNTH, largest_frame, level, peaks

pytestmark = NEEDS_FLUIDSYNTH

STRING, SINE = 0, 79  # the font's programs
BPM = 20
QUARTER_S = 60 / BPM
BAR_S = 4 * QUARTER_S
MAJOR, MINOR = (C4, E4, G4), (A3, C4, E4)
START_S = 0.5
TICKS = 960

# A pedal that is changed with the chord is down again 125 ms after it; what it held has to die.
SETTLED_S = 0.25
LENGTH_S = 0.7

# In decibels below the loudest: a sine's notes differ by their velocities alone, and a note a
# semitone away is the nearest thing that might be mistaken for one.
SOUNDS, SILENT = -8.0, -15.0

Levels = dict[int, float]


def ripieno(*arguments: str | Path) -> None:
    """Run the program with the font that is shipped, whatever fonts the machine has."""
    command = [sys.executable, "-m", "ripieno", *map(str, arguments)]
    environment = {**os.environ, VARIABLE: str(shipped_soundfont())}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def song(path: Path, program: int) -> Path:
    """Two triads, a bar each, the keys 10 ms apart as a person's are."""
    timed = [(0.0, mido.Message("program_change", program=program))]
    for bar, keys in enumerate((MAJOR, MINOR)):
        for place, key in enumerate(keys):
            # The second chord is pressed just before its bar, as a person would.
            at = START_S + bar * (BAR_S - 0.05) + place * 0.01
            timed.append((at, mido.Message("note_on", note=key, velocity=80)))
            timed.append((at + BAR_S - 0.5, mido.Message("note_off", note=key)))
    end = mido.MetaMessage("end_of_track")
    timed = [*sorted(timed, key=lambda one: one[0]), (START_S + 2 * BAR_S, end)]
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(BPM))])
    before = 0
    for at, message in timed:
        tick = round(at / QUARTER_S * TICKS)
        track.append(message.copy(time=tick - before))
        before = tick
    mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track]).save(path)
    return path


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, int], Path]:
    """The two triads in a style and a sound: a WAV file, made once."""
    folder = tmp_path_factory.mktemp("sound")

    def render(style: str, program: int) -> Path:
        wav = folder / f"{style}-{program}.wav"
        if not wav.exists():
            ripieno("render", song(folder / f"{program}.mid", program), "-s", style, "-o", wav)
        return wav

    return render


Rendered = Callable[[str, int], Path]


def sounding(wav: Path, quarters: float, length_s: float = LENGTH_S) -> list[int]:
    """The notes heard from shortly after a place in the music, and proof that there is no other.

    The place counts from the first chord, whose last key came 20 ms after START_S.
    """
    levels = peaks(wav, START_S + 0.02 + quarters * QUARTER_S + SETTLED_S, length_s)
    heard = sorted(note for note, value in levels.items() if value > SOUNDS)
    doubtful = {n: v for n, v in levels.items() if SILENT <= v <= SOUNDS}
    assert not doubtful, f"at quarter {quarters}: neither heard nor silent: {doubtful}"
    return heard


def classes(keys: Sequence[int], notes: Sequence[int]) -> set[int]:
    """Semitones above the triad's root, without octaves."""
    return {(note - keys[0]) % 12 for note in notes}


@pytest.mark.parametrize(("keys", "bar"), [(MAJOR, 0), (MINOR, 1)])
def test_high_second_inversion_sounds_fifth_root_and_third_over_a_bass_all_bar_long(
    rendered: Rendered, keys: tuple[int, int, int], bar: int
) -> None:
    root, third, fifth = keys
    wav = rendered("high-second-inversion", SINE)
    for quarter in (0, 1, 2.5, 3.5):
        notes = sounding(wav, 4 * bar + quarter)
        assert notes[-3:] == [fifth, root + 12, third + 12]
        assert classes(keys, notes[:-3]) == {0}
        assert max(notes[:-3]) < root


@pytest.mark.parametrize(("keys", "bar"), [(MAJOR, 0), (MINOR, 1)])
def test_triplet_broken_adds_top_bottom_middle_and_the_pedal_keeps_them(
    rendered: Rendered, keys: tuple[int, int, int], bar: int
) -> None:
    root, third, fifth = keys
    wav = rendered("triplet-broken", SINE)
    right: set[int] = set()
    for place, note in enumerate((third + 12, fifth, root + 12, third + 12)):
        right.add(note)
        notes = sounding(wav, 4 * bar + place / 3)
        assert {note for note in notes if note >= fifth} == right
        assert classes(keys, [note for note in notes if note < fifth]) == {0}


@pytest.mark.parametrize(("keys", "bar"), [(MAJOR, 0), (MINOR, 1)])
@pytest.mark.parametrize(("style", "tone"), [("suspend-fourth", 5), ("suspend-second", 2)])
def test_a_suspension_sounds_without_the_third_and_then_gives_way_to_it(
    rendered: Rendered, style: str, tone: int, keys: tuple[int, int, int], bar: int
) -> None:
    wav = rendered(style, SINE)
    assert classes(keys, sounding(wav, 4 * bar)) == {0, tone, 7}
    assert classes(keys, sounding(wav, 4 * bar + 0.5)) == {0, tone, 7}
    third = keys[1] - keys[0]
    # What resolves is gone: no pedal holds a fourth or a second against the third.
    assert classes(keys, sounding(wav, 4 * bar + 1)) == {0, third, 7}
    assert classes(keys, sounding(wav, 4 * bar + 3)) == {0, third, 7}


@pytest.mark.parametrize(("keys", "bar"), [(MAJOR, 0), (MINOR, 1)])
def test_contrary_broken_sounds_the_outer_keys_first_and_then_closes_in(
    rendered: Rendered, keys: tuple[int, int, int], bar: int
) -> None:
    wav = rendered("contrary-broken", SINE)
    triad = [key - keys[0] for key in keys]
    heard: set[int] = set()
    for place, (low, high) in enumerate(zip(triad, triad[::-1], strict=True)):
        notes = set(sounding(wav, 4 * bar + place / 3))
        new = sorted(notes - heard)
        assert heard <= notes, "the pedal is down"
        assert [(note - keys[0]) % 12 for note in new] == [low, high]
        assert new[1] - new[0] - (high - low) in (12, 24, 36)
        heard = notes


@pytest.mark.parametrize(("keys", "bar"), [(MAJOR, 0), (MINOR, 1)])
def test_parallel_arpeggio_climbs_in_both_hands(
    rendered: Rendered, keys: tuple[int, int, int], bar: int
) -> None:
    wav = rendered("parallel-arpeggio", SINE)
    root, third, fifth = (key - keys[0] for key in keys)
    left = [root, third, fifth, 12]
    right = [third, fifth, 12, third + 12]
    lowest, *_, highest = sounding(wav, 4 * bar)
    assert classes(keys, [lowest]) == {root}
    assert classes(keys, [highest]) == {third}
    for place in range(4):
        low = {lowest + tone for tone in left[: place + 1]}
        high = {highest - third + tone for tone in right[: place + 1]}
        assert set(sounding(wav, 4 * bar + place / 2)) == low | high


@pytest.mark.parametrize(
    ("style", "tones"),
    [
        ("high-second-inversion", (0, 4, 7)),
        ("suspend-fourth", (0, 5, 7)),
        ("suspend-second", (0, 2, 7)),
    ],
)
def test_struck_strings_sound_the_chord_and_nothing_that_is_not_its_overtone(
    rendered: Rendered, style: str, tones: tuple[int, ...]
) -> None:
    wav = rendered(style, STRING)
    levels = peaks(wav, START_S + 0.1, 1)
    loudest = sorted(levels, key=lambda note: levels[note], reverse=True)[: len(tones)]
    assert {(note - C4) % 12 for note in loudest} <= set(tones)
    chord = [note for note in levels if (note - C4) % 12 in tones]
    assert {(n - C4) % 12 for n in chord if levels[n] > -12} == set(tones)
    # Partials 3, 5, 7 and 9 of a tone lie 7, 4, 10 and 2 semitones above one of its octaves.
    explained = {(tone + partial) % 12 for tone in tones for partial in (0, 7, 4, 10, 2)}
    strangers = {n: v for n, v in levels.items() if (n - C4) % 12 not in explained}
    assert strangers
    assert max(strangers.values()) < -25


@pytest.mark.parametrize("style", ["triplet-broken", "contrary-broken", "parallel-arpeggio"])
def test_struck_strings_begin_with_the_outer_keys_of_what_is_broken(
    rendered: Rendered, style: str
) -> None:
    wav = rendered(style, STRING)
    pure = sounding(rendered(style, SINE), 0)
    levels = peaks(wav, START_S + 0.1, LENGTH_S)
    assert all(levels[note] > -12 for note in pure)


def test_the_demo_sounds_from_its_first_bar_to_its_last_and_is_not_clipped(tmp_path: Path) -> None:
    wav = tmp_path / "demo.wav"
    ripieno("demo", "--fast", "-o", wav)
    with wave.open(str(wav)) as file:
        length_s = file.getnframes() / file.getframerate()
    assert length_s > 30
    # Three seconds are a bar and a little; the last four are the tail of the last chord.
    quietest = min(level(wav, second, 3) for second in range(int(length_s) - 6))
    assert quietest > -55  # decibels of full scale; its softest bar of held strings is at -44
    assert largest_frame(wav) < FULL_SCALE - 1
