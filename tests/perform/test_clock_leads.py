"""A MIDI clock leads: what is played is where its ticks say. MIDI 1.0: 24 ticks a quarter."""

import itertools
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from rig import A4, C4, C5, E4, F4, G4, Rig, struck_at
from ripieno.perform import events as ev
from ripieno.perform.settings import Follow
from ripieno.perform.snapshot import snapshot
from ripieno.units import ns_from_ms

TRIAD = (C4, E4, G4)
TICK_MS = 60_000 / 120 / 24


def following(**settings: object) -> Rig:
    return Rig("steady-quarters", **({"bpm": 90, "follow": Follow.CLOCK} | settings))


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


def test_a_song_that_was_never_started_is_continued_from_its_beginning() -> None:
    """MIDI 1.0: a continue goes on from where the song stands."""
    rig = following()
    tick(rig, 0, 1000)
    last_ms = 1000 * TICK_MS
    rig.events.append(ev.ClockContinue(ns_from_ms(last_ms - 5)))
    tick(rig, last_ms, 60)
    transport = rig.performer_at(last_ms + 1).accompaniment.transport
    assert transport is not None
    assert transport.position_at(ns_from_ms(last_ms)) == pytest.approx(0, abs=0.01)


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


def test_the_tempo_of_a_clock_is_the_clocks_and_not_that_of_meeting_each_tick() -> None:
    rig = following()
    tick(rig, 0, 480, jitter=1)
    rig.chord(10, *TRIAD, until_ms=300)
    at_ms = range(4005, 9005, 250)
    played = [rig.performer_at(ms) for ms in at_ms]
    shown = [snapshot(p, ns_from_ms(ms)).bpm for p, ms in zip(played, at_ms, strict=True)]
    assert max(abs(bpm - 120) for bpm in shown) < 0.8
    rates = [p.accompaniment.ns_per_quarter for p in played]
    assert max(abs(60e9 / float(rate) - 120) for rate in rates) > 1.5, "the ticks are met"
    for ms in at_ms:
        rig.events.append(ev.SetFollow(ns_from_ms(ms), Follow.NONE))
        transport = rig.performer_at(ms + 1).accompaniment.transport
        assert transport is not None
        assert 60e9 / float(transport.ns_per_quarter) == pytest.approx(120, abs=0.8)
        rig.events.pop()


def test_half_time_of_a_clock_has_its_beats_on_the_clocks_beats() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Scale(ns_from_ms(1130), Fraction(1, 2))]
    tick(rig, 5, 300)
    rig.chord(10, *TRIAD, until_ms=300)
    assert beats(rig, 5000) == pytest.approx([10, 505, 1005, 1505, 2505, 3505, 4505], abs=2)


@pytest.mark.parametrize("factor", [Fraction(1, 2), Fraction(2)])
@pytest.mark.parametrize("off_ms", [0, 13])
@pytest.mark.parametrize("before", [ev.Nudge(ns_from_ms(700), 7), ev.Downbeat(0, 0), None])
def test_half_and_double_time_of_a_clock_begin_with_a_beat_wherever_its_ticks_are(
    factor: Fraction, off_ms: float, before: ev.Input | None
) -> None:
    rig = following()
    tick(rig, 0, 400)
    rig.chord(1000 + off_ms, *TRIAD, until_ms=1300)
    if before is not None:
        rig.events.append(replace(before, at_ns=ns_from_ms(1700)))
    plain = beats(rig, 3300)
    rig.events.append(ev.Scale(ns_from_ms(2130), factor))
    onsets = beats(rig, 6600)
    first = next(ms for ms in plain if ms > 2130)
    after = [ms for ms in onsets if ms > first + 1]
    assert onsets[: len(onsets) - len(after)] == [ms for ms in plain if ms <= first + 1]
    apart = 500 / float(factor)
    expected = [first + apart * (i + 1) for i in range(len(after))]
    assert len(after) >= 3
    assert after == pytest.approx(expected, abs=1.5)


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


def test_a_clock_that_goes_on_ticking_while_it_stands_is_continued_where_it_stopped() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 170)
    rig.events += [ev.ClockStop(ns_from_ms(1250)), ev.ClockContinue(ns_from_ms(2250))]
    transport = rig.performer_at(2256).accompaniment.transport
    assert transport is not None
    assert transport.position_at(ns_from_ms(2255)) == pytest.approx(Fraction(5, 2), abs=0.01)
    rig.events.append(ev.SongPosition(ns_from_ms(1500), 16))
    transport = rig.performer_at(2256).accompaniment.transport
    assert transport is not None
    assert transport.position_at(ns_from_ms(2255)) == pytest.approx(Fraction(4), abs=0.01)


@pytest.mark.parametrize("seed", range(6))
def test_the_downbeat_of_a_start_is_struck_however_late_its_tick_comes(seed: int) -> None:
    luck = Random(seed)
    rig = following()
    for i in range(140):
        rig.events.append(ev.ClockTick(ns_from_ms(5 + i * TICK_MS + luck.uniform(0, 4))))
    rig.chord(100, *TRIAD, until_ms=9000)
    rig.events += [ev.ClockStop(ns_from_ms(800)), ev.ClockStart(ns_from_ms(5 + 47.5 * TICK_MS))]
    first = min(ms for ms in beats(rig, 2900) if ms > 850)
    assert first == pytest.approx(5 + 48 * TICK_MS, abs=5)


def test_a_clock_that_stops_in_a_last_chord_ends_it_and_gives_the_expression_back() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 600)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.events += [ev.Ending(ns_from_ms(600), 1), ev.ClockStop(ns_from_ms(8000))]
    sends = rig.sends(12000)
    values = [send.data[2] for send in sends if send.data[:2] == bytes((0xB0, 11))]
    assert len(values) > 2
    assert values[-1] == 127
    assert max(note.ms + note.length_ms for note in rig.notes(12000)) == 8000


@pytest.mark.parametrize("stops", [True, False])
def test_a_last_chord_does_not_come_back_with_the_clocks_next_start(stops: bool) -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 900)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.events.append(ev.Ending(ns_from_ms(600), 1))
    if stops:
        rig.events.append(ev.ClockStop(ns_from_ms(8000)))
    rig.events.append(ev.ClockStart(ns_from_ms(8500)))
    plain = [ms for ms in beats(rig, 16_000) if ms < 8000]
    assert beats(rig, 16_000) == plain
    assert max(n.ms + n.length_ms for n in rig.notes(16_000)) <= 8521
    rig.chord(12_600, *TRIAD, until_ms=12_900)
    assert [ms for ms in beats(rig, 14_000) if ms > 8000], "the next chord is played"


def test_the_pedal_goes_down_again_with_a_chord_that_a_start_brings_back() -> None:
    rig = Rig("flowing-eighths", bpm=90, follow=Follow.CLOCK)
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 400)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.events += [ev.ClockStop(ns_from_ms(2500)), ev.ClockStart(ns_from_ms(3000))]
    pedal = [(s.due_ns, s.data[2]) for s in rig.sends(6000) if s.data[:2] == bytes((0xB0, 64))]
    values = [value for at_ns, value in pedal if ns_from_ms(2500) <= at_ns < ns_from_ms(4000)]
    assert values == [0, 127]


def test_after_an_ending_the_clocks_song_has_its_beats_where_the_clock_has_them() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Ending(ns_from_ms(1005), 1)]
    tick(rig, 5, 1000)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.chord(14222, *TRIAD, until_ms=14500)
    onsets = [ms for ms in beats(rig, 16600) if ms > 14000]
    assert onsets == pytest.approx([14505, 15005, 15505, 16005, 16505], abs=2)


def test_a_chord_after_a_stop_comes_in_on_the_beats_of_a_song_that_is_still_running() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Stop(ns_from_ms(1300))]
    tick(rig, 5, 300)
    rig.chord(10, *TRIAD, until_ms=300)
    rig.chord(2222, *TRIAD, until_ms=2500)
    onsets = [ms for ms in beats(rig, 4100) if ms > 1300]
    assert onsets == pytest.approx([2505, 3005, 3505, 4005], abs=2)


def test_when_no_clock_is_heard_an_ending_does_not_slow_down_the_next_song() -> None:
    rig = following()
    rig.chord(0, *TRIAD, until_ms=300)
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    rig.chord(16000, *TRIAD, until_ms=16300)
    onsets = [ms for ms in beats(rig, 18500) if ms >= 16000]
    assert onsets == pytest.approx([16000, 16667, 17333, 18000], abs=1)


def test_a_start_while_bars_are_counted_takes_the_place_of_the_count() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 24 * 40)
    rig.events += [ev.CountIn(ns_from_ms(15000), 2), ev.ClockStart(ns_from_ms(15500))]
    rig.chord(15200, *TRIAD, until_ms=15400)
    notes = rig.notes(17200)
    onsets = sorted({note.ms for note in notes if note.channel == 0})
    assert onsets == pytest.approx([15505, 16005, 16505, 17005], abs=2)
    assert not [note for note in notes if note.channel == 9 and note.ms > 15510]


def test_a_count_in_takes_the_place_of_an_ending() -> None:
    rig = following()
    rig.events += [ev.ClockStart(0), ev.Ending(ns_from_ms(3000), 4)]
    tick(rig, 5, 24 * 40)
    rig.chord(300, *TRIAD, until_ms=900)
    rig.events.append(ev.CountIn(ns_from_ms(3600), 1))
    rig.chord(3900, *TRIAD, until_ms=4400)
    onsets = sorted({n.ms for n in rig.notes(7800) if n.ms > 3600 and n.channel == 0})
    assert onsets == pytest.approx([6005, 6505, 7005, 7505], abs=2)


def test_a_clock_that_goes_missing_while_the_tempo_is_planned_moves_nothing_afterwards() -> None:
    rig = following(bpm=60)
    rig.chord(0, *TRIAD, until_ms=300)
    rig.events.append(ev.Ramp(ns_from_ms(1000), 90, 4))
    plain = beats(rig, 9000)
    tick(rig, 1500, 6)
    assert beats(rig, 9000) == plain


def test_a_click_that_sounds_when_the_clock_stops_ends_in_its_time() -> None:
    rig = following()
    tick(rig, 0, 200)
    rig.events += [ev.CountIn(ns_from_ms(1000), 1), ev.ClockStop(ns_from_ms(1010))]
    (click,) = rig.notes(4000)
    assert click.length_ms == 60


def test_a_suspension_that_a_start_cuts_short_resolves_with_it() -> None:
    rig = Rig("suspend-fourth", bpm=90, follow=Follow.CLOCK)
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 700)
    rig.chord(8005, *TRIAD, until_ms=8300)
    rig.events.append(ev.ClockStart(ns_from_ms(8250)))
    notes = rig.notes(12_000)
    assert any(note.note % 12 == F4 % 12 for note in notes), "the fourth is there"
    assert max(n.ms + n.length_ms for n in notes if n.note % 12 == F4 % 12) < 8800


@pytest.mark.parametrize("earlier_ms", [5, 40, 200])
def test_the_downbeat_that_is_nudged_to_before_its_start_is_struck_with_it(
    earlier_ms: float,
) -> None:
    rig = following()
    tick(rig, 0, 48)
    rig.chord(100, *TRIAD, until_ms=9000)
    rig.events += [ev.ClockStop(ns_from_ms(800)), ev.Nudge(ns_from_ms(850), -earlier_ms)]
    rig.events.append(ev.ClockStart(ns_from_ms(995)))
    tick(rig, 1000, 120)
    onsets = [ms for ms in beats(rig, 3100) if ms > 900]
    later = [beat - earlier_ms for beat in (1500, 2000, 2500, 3000)]
    assert onsets == pytest.approx([1000, *later], abs=1)


def test_of_what_is_nudged_to_before_a_start_only_the_song_itself_is_struck() -> None:
    """Continued a sixteenth after its second beat, which is none of what comes."""
    rig = following()
    tick(rig, 0, 48)
    rig.chord(100, *TRIAD, until_ms=9000)
    rig.events += [ev.ClockStop(ns_from_ms(800)), ev.Nudge(ns_from_ms(850), -40)]
    rig.events += [ev.SongPosition(ns_from_ms(900), 5), ev.ClockContinue(ns_from_ms(995))]
    tick(rig, 1000, 120)
    onsets = [ms for ms in beats(rig, 3000) if ms > 900]
    assert onsets == pytest.approx([1000 + 375 - 40, 1835, 2335, 2835], abs=1)


def test_who_leads_is_chosen_anew_without_what_was_nudged_and_halved() -> None:
    rig = following()
    rig.events.append(ev.ClockStart(0))
    tick(rig, 5, 300)
    rig.events += [ev.Nudge(ns_from_ms(500), 100), ev.Scale(ns_from_ms(600), Fraction(1, 2))]
    rig.events += [ev.SetFollow(ns_from_ms(1000), Follow.CLOCK)]
    rig.events.append(ev.ClockStart(ns_from_ms(2000)))
    rig.chord(100, *TRIAD, until_ms=300)
    onsets = [ms for ms in beats(rig, 4100) if ms > 2000]
    assert onsets == pytest.approx([2005, 2505, 3005, 3505, 4005], abs=2)
