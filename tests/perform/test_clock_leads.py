"""A MIDI clock leads: what is played is where its ticks say. MIDI 1.0: 24 ticks a quarter."""

import itertools
from fractions import Fraction
from random import Random

import pytest

from rig import A4, C4, C5, E4, F4, G4, Rig, struck_at
from ripieno.perform import events as ev
from ripieno.perform.settings import Follow
from ripieno.units import ns_from_ms

TRIAD = (C4, E4, G4)
TICK_MS = 60_000 / 120 / 24


def following(**settings: object) -> Rig:
    return Rig("steady-quarters", bpm=90, follow=Follow.CLOCK, **settings)


def tick(
    rig: Rig, from_ms: float, count: int, apart_ms: float = TICK_MS, jitter: float = 0
) -> float:
    """So many ticks; when the next one would come."""
    luck = Random(1)
    for i in range(count):
        at_ms = from_ms + i * apart_ms + luck.gauss(0, jitter)
        rig.events.append(ev.ClockTick(ns_from_ms(at_ms)))
    return from_ms + count * apart_ms


def beats(rig: Rig, until_ms: float) -> list[float]:
    return sorted(struck_at(rig.notes(until_ms)))


def test_the_first_tick_after_a_start_is_the_downbeat_and_a_held_chord_comes_in_with_it() -> None:
    rig = following()
    tick(rig, 0, 48)
    rig.chord(100, *TRIAD, until_ms=9000)
    rig.events += [ev.ClockStop(ns_from_ms(800)), ev.ClockStart(ns_from_ms(995))]
    tick(rig, 1000, 120)
    onsets = [ms for ms in beats(rig, 3400) if ms > 900]
    assert onsets == pytest.approx([1000, 1500, 2000, 2500, 3000], abs=1)


def test_a_chord_in_a_running_song_comes_in_on_the_songs_beats() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 200)
    rig.chord(700, *TRIAD, until_ms=1200)
    assert beats(rig, 2600) == pytest.approx([1005, 1505, 2005, 2505], abs=1)


def test_a_clock_without_start_gives_the_tempo_and_the_strike_the_beat() -> None:
    rig = following()
    tick(rig, 0, 240, jitter=0.5)
    rig.chord(1111, *TRIAD, until_ms=1500)
    assert beats(rig, 4200) == pytest.approx([1111 + 500 * i for i in range(7)], abs=3)


def test_a_song_position_and_continue_go_on_from_there() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0)]
    tick(rig, 5, 60)
    rig.events += [
        ev.ClockStop(ns_from_ms(1300)),
        ev.SongPosition(ns_from_ms(1400), 22),  # sixteenths: a bar, a quarter and a half
        ev.ClockContinue(ns_from_ms(1995)),
    ]
    tick(rig, 2000, 60)
    transport = rig.performer_at(2001).accompaniment.transport
    assert transport is not None
    assert transport.position_at(ns_from_ms(2000)) == pytest.approx(Fraction(22, 4), abs=0.01)
    assert transport.bar_and_beat(transport.position_at(ns_from_ms(2001))) == (2, 2)


def test_a_stop_ends_the_notes_and_the_chord_is_there_again_with_the_next_start() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 60)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.events += [ev.ClockStop(ns_from_ms(1200)), ev.ClockStart(ns_from_ms(3000))]
    tick(rig, 3010, 60)
    notes = rig.notes(4200)
    assert max(n.ms + n.length_ms for n in notes if n.ms < 2000) <= 1200
    assert [ms for ms in sorted(struck_at(notes)) if ms > 1200] == pytest.approx(
        [3010, 3510, 4010], abs=1
    )


def test_a_missing_clock_lets_the_music_go_on_and_is_joined_without_a_jump() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    end = tick(rig, 5, 100, jitter=0.5)
    tick(rig, end + 2000 + 6, 200, jitter=0.5)  # six milliseconds off, as if the cable was pulled
    rig.chord(10, *TRIAD, until_ms=300)
    onsets = beats(rig, 8000)
    gaps = [b - a for a, b in itertools.pairwise(onsets)]
    assert max(abs(gap - 500) for gap in gaps) < 12
    states = [rig.performer_at(ms).accompaniment.time for ms in (2000, 3500, 5000)]
    assert [
        time.clock_state(ns_from_ms(ms))
        for time, ms in zip(states, (2000, 3500, 5000), strict=True)
    ] == ["heard", "missing", "heard"]


def test_a_step_of_tempo_is_followed_within_a_second() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    end = tick(rig, 5, 24 * 8, jitter=1)
    tick(rig, end, 24 * 12, 60_000 / 126 / 24, jitter=1)
    rig.chord(10, *TRIAD, until_ms=300)
    onsets = [ms for ms in beats(rig, 9500) if ms > end + 1000]
    gaps = [b - a for a, b in itertools.pairwise(onsets)]
    assert gaps == pytest.approx([60_000 / 126] * len(gaps), abs=4)


def test_half_time_of_a_clock_has_its_beats_on_the_clocks_beats() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Scale(ns_from_ms(1130), Fraction(1, 2))]
    tick(rig, 5, 300)
    rig.chord(10, *TRIAD, until_ms=300)
    assert beats(rig, 5000) == pytest.approx([10, 505, 1005, 1505, 2505, 3505, 4505], abs=2)


def test_while_a_clock_is_heard_no_tempo_is_taken_from_anybody_else() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.SetTempo(ns_from_ms(600), 200)]
    rig.events.append(ev.Tapped(ns_from_ms(700), ns_from_ms(690), 150))
    tick(rig, 5, 200)
    rig.chord(10, *TRIAD, until_ms=300)
    assert beats(rig, 2200) == pytest.approx([10, 505, 1005, 1505, 2005], abs=1)


def test_a_nudge_keeps_its_distance_from_the_clock() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Nudge(ns_from_ms(700), 25)]
    tick(rig, 5, 200)
    rig.chord(10, *TRIAD, until_ms=300)
    assert beats(rig, 2600)[2:] == pytest.approx([1030, 1530, 2030, 2530], abs=1)


def test_ticks_before_the_first_chord_count_by_the_last_of_them_alone() -> None:
    """So that a journal which has those replays identically."""
    whole, last = following(), following()
    tick(whole, 0, 240, jitter=1)
    last.events = list(whole.events[:144])[-24:] + whole.events[144:]
    for rig in (whole, last):
        rig.chord(3005, *TRIAD, until_ms=3300)
        rig.chord(4000, F4, A4, C5, until_ms=4300)
    assert whole.sends(5000) == last.sends(5000)


def test_an_ending_lets_the_clock_go() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Ending(ns_from_ms(1005), 4)]
    tick(rig, 5, 600)
    rig.chord(10, *TRIAD, until_ms=300)
    gaps = [b - a for a, b in zip(beats(rig, 5000)[2:], beats(rig, 5000)[3:], strict=False)]
    assert gaps[:3] == sorted(gaps[:3])
    assert gaps[2] > 600
