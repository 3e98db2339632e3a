"""MIDI clock for others (MIDI 1.0: F8 24 a quarter, FA, FB, FC, F2 in sixteenths)."""

import itertools

import pytest

from rig import C4, E4, G4, Rig
from ripieno.perform import events as ev
from ripieno.perform.settings import Follow
from ripieno.style.model import Meter
from ripieno.units import NS_PER_MS, ns_from_ms

TRIAD = (C4, E4, G4)
TICK, START, CONTINUE, STOP = b"\xf8", b"\xfa", b"\xfb", b"\xfc"


def clock(rig: Rig, until_ms: float) -> list[tuple[float, bytes]]:
    sends = rig.sends(until_ms)
    return [(s.due_ns / NS_PER_MS, s.data) for s in sends if s.data[0] >= 0xF0]


def ticks(rig: Rig, until_ms: float) -> list[float]:
    return [ms for ms, data in clock(rig, until_ms) if data == TICK]


def sending(**settings: object) -> Rig:
    return Rig("steady-quarters", **({"bpm": 120, "send_clock": True} | settings))


def test_nothing_goes_out_unless_it_is_asked_for() -> None:
    rig = sending(send_clock=False)
    rig.chord(0, *TRIAD, until_ms=400)
    assert clock(rig, 3000) == []


def test_the_first_strike_is_a_start_and_the_first_tick_and_there_are_24_a_quarter() -> None:
    rig = sending()
    rig.events.append(ev.SetSendClock(0, send_clock=True))
    rig.chord(1010, *TRIAD, until_ms=1400)
    after = [(ms, data) for ms, data in clock(rig, 3011) if ms >= 1010]
    assert [data for _, data in after[:2]] == [START, TICK]
    assert after[0][0] == after[1][0] == 1010
    counted = [ms for ms, data in after if data == TICK]
    assert len([ms for ms in counted if ms < 3009.9]) == 96
    assert {round(b - a, 3) for a, b in itertools.pairwise(counted)} <= {20.833, 20.834}


def test_a_start_that_was_in_doubt_brings_the_ticks_it_has_missed() -> None:
    rig = sending()
    rig.chord(1010, C4, until_ms=1400)  # a lone key waits 200 ms for another
    after = [(ms, data) for ms, data in clock(rig, 3009) if 1210 <= ms < 3009]
    assert after[0] == (1210, START)
    assert [data for _, data in after[1:]] == [TICK] * 96
    assert after[1][0] == 1210
    gaps = [b - a for (a, _), (b, _) in itertools.pairwise(after[1:])]
    assert min(gaps) == pytest.approx(500 / 24 / 2), "one by one"


def test_ticks_go_on_while_nothing_plays_at_the_tempo_that_would_be_played() -> None:
    rig = sending()
    rig.events += [ev.SetSendClock(0, send_clock=True), ev.SetTempo(ns_from_ms(1000), 60)]
    found = ticks(rig, 3000)
    assert len([ms for ms in found if ms < 1000]) == 48
    assert len([ms for ms in found if 1000 < ms < 3000]) == 47


def test_a_stop_is_said_and_the_ticks_go_on() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Stop(ns_from_ms(1010)))
    said = [(ms, data) for ms, data in clock(rig, 2000) if data != TICK]
    assert said == [(0, START), (1010, STOP)]
    assert len([ms for ms in ticks(rig, 1990) if ms > 1010]) == 47


def test_its_number_of_ticks_stays_that_of_the_song_when_the_beat_is_shifted() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Tapped(ns_from_ms(1960), ns_from_ms(1950), 120))
    found = ticks(rig, 4000)[1:]  # the first is of before the start
    assert len([ms for ms in found if ms < 3949.9]) == 24 * 8
    rig.events[-1] = ev.Tapped(ns_from_ms(2060), ns_from_ms(2050), 120)
    assert len([ms for ms in ticks(rig, 4040)[1:] if ms < 4049.9]) == 24 * 8


def test_a_ramp_is_sent_as_it_is_played() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Ramp(ns_from_ms(1000), 60, 8))
    found = ticks(rig, 12000)
    gaps = [b - a for a, b in itertools.pairwise(found)]
    ramp = gaps[49 : 49 + 8 * 24 - 2]
    assert ramp == sorted(ramp)
    assert round(gaps[260], 2) == 41.67


def test_a_jump_of_the_song_is_stopped_located_and_continued_at_a_sixteenth() -> None:
    rig = sending(follow=Follow.CLOCK)
    rig.events.append(ev.ClockStart(0))
    rig.events += [ev.ClockTick(ns_from_ms(5 + 20.8333 * i)) for i in range(60)]
    rig.events.append(ev.SongPosition(ns_from_ms(1250), 33))
    rig.events += [ev.ClockTick(ns_from_ms(1255 + 20.8333 * i)) for i in range(60)]
    said = [data for ms, data in clock(rig, 2400) if data != TICK]
    assert said == [START, STOP, bytes((0xF2, 33, 0)), CONTINUE]


def test_switched_on_in_a_song_it_says_where_the_song_is() -> None:
    rig = sending(send_clock=False)
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.SetSendClock(ns_from_ms(1015), send_clock=True))
    rig.events.append(ev.SetSendClock(ns_from_ms(2010), send_clock=False))
    said = [(round(ms), data) for ms, data in clock(rig, 3000) if data != TICK]
    assert said == [(1125, bytes((0xF2, 9, 0))), (1125, CONTINUE), (2010, STOP)]
    assert max(ticks(rig, 3000)) < 2010


def led(ticks: int, **settings: object) -> Rig:
    """In the song of a clock at 120 that starts with its first tick, at 5 ms."""
    rig = sending(follow=Follow.CLOCK, **settings)
    rig.events.append(ev.ClockStart(0))
    rig.events += [ev.ClockTick(ns_from_ms(5 + 20.8333 * i)) for i in range(ticks)]
    return rig


def said(rig: Rig, until_ms: float) -> list[tuple[int, bytes]]:
    """All but ticks."""
    return [(round(ms), data) for ms, data in clock(rig, until_ms) if data != TICK]


def said_before(rig: Rig, until_ms: float) -> list[tuple[int, bytes]]:
    """All but ticks, and but what the end of all says."""
    return [(ms, data) for ms, data in said(rig, until_ms) if ms < until_ms]


def test_a_stop_of_the_players_is_none_of_the_song_of_a_clock_that_leads() -> None:
    rig = led(150)
    rig.chord(100, *TRIAD, until_ms=300)
    rig.events.append(ev.Stop(ns_from_ms(1310)))
    rig.chord(1700, *TRIAD, until_ms=2000)
    rig.events.append(ev.ClockStop(ns_from_ms(2515)))
    assert said(rig, 3000) == [(5, START), (2515, STOP)]
    assert len([ms for ms in ticks(rig, 2995) if 5 <= ms < 2504]) == 5 * 24


def test_ticks_that_are_held_up_after_a_stop_of_the_players_move_no_song() -> None:
    rig = led(150)
    rig.events = [
        ev.ClockTick(ns_from_ms(1380 + (event.at_ns / 10**9)))
        if ns_from_ms(1310) < event.at_ns < ns_from_ms(1380)
        else event
        for event in rig.events
    ]
    rig.events.append(ev.Stop(ns_from_ms(1300)))
    assert said(rig, 3000) == [(5, START)]


def test_a_clock_that_stops_after_the_player_has_is_passed_on_and_so_is_one_that_is_pulled() -> (
    None
):
    stopped, pulled = led(61), led(61)
    stopped.events += [ev.Stop(ns_from_ms(1260)), ev.ClockStop(ns_from_ms(1270))]
    pulled.events += [ev.Stop(ns_from_ms(1260))]
    assert said(stopped, 2400) == [(5, START), (1270, STOP)]
    [start, (stop_ms, stop)] = said(pulled, 2400)
    assert (start, stop) == ((5, START), STOP)
    assert 1260 + 100 < stop_ms < 1255 + 200, "it counts as missing"


def test_silence_stops_the_song_for_others_whoever_leads_it() -> None:
    rig = led(150)
    rig.chord(100, *TRIAD, until_ms=300)
    rig.events.append(ev.Silence(ns_from_ms(1260)))
    assert said(rig, 1265) == [(5, START), (1260, STOP)]


def test_a_restart_within_the_first_beat_is_passed_on() -> None:
    rig = led(20)
    rig.events.append(ev.ClockStart(ns_from_ms(405)))
    rig.events += [ev.ClockTick(ns_from_ms(421.667 + 20.8333 * i)) for i in range(60)]
    assert said(rig, 1400) == [(5, START), (422, STOP), (422, START)]
    assert len([ms for ms in ticks(rig, 1395) if ms >= 421.667]) == 47


def test_a_song_that_is_said_to_be_where_it_is_already_is_not_moved() -> None:
    rig = led(100)
    rig.events += [ev.SongPosition(ns_from_ms(750), 6), ev.ClockContinue(ns_from_ms(1500))]
    late = ns_from_ms(5 + 20.8333 * 72)
    rig.events = [
        ev.ClockTick(late + 3 * NS_PER_MS) if event.at_ns == late else event for event in rig.events
    ]
    assert said(rig, 2050) == [(5, START)]


def test_the_start_of_a_song_that_is_nudged_earlier_is_a_start() -> None:
    rig = led(0)
    rig.events += [ev.ClockTick(ns_from_ms(5 + 20.8333 * i)) for i in range(100)]
    rig.events[0] = ev.ClockStart(ns_from_ms(1000))
    rig.events.append(ev.Nudge(ns_from_ms(500), -40))
    assert said(rig, 2000) == [(1005, START)]
    assert len([ms for ms in ticks(rig, 1986) if ms > 1004]) == 49 + 1  # 1020 ms of song and more


def evenly(found: list[float], apart_ms: float) -> bool:
    return all(abs(b - a - apart_ms) < 0.01 for a, b in itertools.pairwise(found))


def test_a_song_with_a_pick_up_starts_with_its_first_downbeat() -> None:
    rig = sending(pickup=1)
    rig.events.append(ev.SetSendClock(0, send_clock=True))
    rig.chord(1010, *TRIAD, until_ms=1400)
    assert said_before(rig, 3000) == [(1510, START)]
    found = [ms for ms in ticks(rig, 3000) if ms >= 1010]
    assert found[0] == 1010, "the tempo is there before"
    assert evenly(found, 500 / 24)


def test_a_count_in_is_no_part_of_the_song() -> None:
    rig = sending()
    rig.events.append(ev.CountIn(ns_from_ms(1000), 1))
    rig.chord(2000, *TRIAD, until_ms=2400)
    assert said_before(rig, 4000) == [(3000, START)]
    assert evenly([ms for ms in ticks(rig, 4000) if ms >= 1000], 500 / 24)


def test_a_count_in_ends_the_song_before_it() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.CountIn(ns_from_ms(3010), 1))
    assert said_before(rig, 6000) == [(0, START), (3010, STOP), (5010, START)]


def test_a_bar_that_is_counted_anew_is_no_part_of_the_song_either() -> None:
    rig = sending()
    rig.events += [ev.CountIn(ns_from_ms(1000), 1), ev.SetMeter(ns_from_ms(2000), Meter(3, 4))]
    rig.chord(2000, *TRIAD, until_ms=2400)
    assert said_before(rig, 5000) == [(3500, START)]
    rig.events.append(ev.Stop(ns_from_ms(3000)))
    assert said_before(rig, 3400) == [], "what has not started does not stop"


def test_a_tap_before_the_first_downbeat_moves_its_start() -> None:
    rig = sending()
    rig.events += [ev.CountIn(ns_from_ms(1000), 1)]
    rig.events.append(ev.Tapped(ns_from_ms(2310), ns_from_ms(2300), 120))
    rig.chord(2400, *TRIAD, until_ms=2800)
    assert said_before(rig, 4000) == [(2800, START)]
    assert evenly([ms for ms in ticks(rig, 4000) if ms > 2310], 500 / 24)


def test_after_a_forced_downbeat_what_follows_is_in_the_new_bar() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Downbeat(ns_from_ms(5010), ns_from_ms(5000)))  # the third beat of a bar
    started, stopped, (at_ms, located), continued = said_before(rig, 8000)
    assert started == (0, START)
    assert (stopped, continued) == ((5010, STOP), (at_ms, CONTINUE))
    assert 5010 <= at_ms <= 5010 + 125
    assert located[0] == 0xF2
    bar = 16  # sixteenths of 4/4
    assert (located[1] - round((at_ms - 5000) / 125)) % bar == 0


def test_a_downbeat_where_one_is_already_moves_no_song() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Downbeat(ns_from_ms(4000), ns_from_ms(4000)))
    rig.events.append(ev.SetMeter(ns_from_ms(6000), Meter(2, 4)))
    assert said_before(rig, 8000) == [(0, START)]


def test_a_song_stops_with_its_last_chord_and_not_when_that_has_died_away() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Ending(ns_from_ms(1000), 2))
    last_ms = min(note.ms for note in rig.notes(20000) if note.length_ms > 5000)
    assert said_before(rig, 20000) == [(0, START), (round(last_ms), STOP)]
    rig.chord(16000, *TRIAD, until_ms=16400)
    assert said_before(rig, 17000)[2:] == [(16000, START)]


def test_ticks_that_have_to_catch_up_come_one_by_one() -> None:
    rig = sending()
    rig.chord(0, *TRIAD, until_ms=400)
    rig.events.append(ev.Tapped(ns_from_ms(1810), ns_from_ms(1800), 120))  # 200 ms early
    found = ticks(rig, 4000)[1:]
    assert min(b - a for a, b in itertools.pairwise(found)) > 500 / 24 / 2 - 0.01
    assert len([ms for ms in found if ms < 3799.9]) == 24 * 8, "and are all there in the end"
