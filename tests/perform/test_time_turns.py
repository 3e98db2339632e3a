"""Beginnings, ends and everything in between that changes the time, as timelines.

At 60 beats a minute a quarter is a second. `steady-quarters` strikes a chord on each beat.
"""

import itertools
from collections.abc import Callable
from fractions import Fraction

import pytest

from rig import A4, C4, C5, E4, F4, G4, Note, Rig, even, struck_at
from ripieno.perform import events as ev
from ripieno.perform.settings import Follow, Start
from ripieno.style.model import Meter
from ripieno.units import NS_PER_MS, ns_from_ms

TRIAD = (C4, E4, G4)


def quarters(**settings: object) -> Rig:
    rig = Rig("steady-quarters", **settings)
    rig.chord(0, *TRIAD, until_ms=300)
    return rig


def beats(rig: Rig, until_ms: float) -> list[float]:
    """When chords are struck, in ms."""
    return sorted(struck_at([n for n in rig.notes(until_ms) if n.channel == 0]))


def clicks(rig: Rig, until_ms: float) -> list[Note]:
    return [note for note in rig.notes(until_ms) if note.channel == 9]


# Friberg & Sundberg 1999, worked values for eight eighths at 120, q = 3, w = 0.5: the formula's
# integral, computed apart from this program.
EIGHTHS_MS = (0, 254.79, 520.27, 798.47, 1092.27, 1405.90, 1746.12, 2125.24, 2571.43)


def test_an_ending_slows_down_by_the_published_curve_into_a_last_chord() -> None:
    rig = Rig("pulsing-eighths", bpm=120)
    rig.chord(0, *TRIAD, until_ms=3000)
    rig.events.append(ev.Ending(ns_from_ms(2000), 4))
    right = [note for note in rig.notes(9000) if note.note >= C4]
    onsets = sorted({note.ms for note in right if note.ms >= 2000})
    for found, expected in zip(onsets, EIGHTHS_MS, strict=False):
        assert found - 2000 == pytest.approx(expected, abs=0.01)
    assert len(onsets) >= len(EIGHTHS_MS)
    gaps = [b - a for a, b in itertools.pairwise(onsets[:9])]
    assert gaps == sorted(gaps)


def test_the_last_chord_is_held_fades_and_gives_the_expression_back() -> None:
    rig = quarters()
    rig.events.append(ev.Controller(ns_from_ms(100), 11, 100))
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    sends = rig.sends(20000)
    values = [send.data[2] for send in sends if send.data[0] == 0xB0 and send.data[1] == 11]
    assert values[0] == 100
    assert values[1:-1] == sorted(values[1:-1], reverse=True)
    assert values[-2:] == [0, 100]
    notes = rig.notes(20000)
    last = max(note.ms for note in notes)
    assert 4000 < last < 6000
    assert {note.length_ms > 7000 for note in notes if note.ms == last} == {True}


def expressions(rig: Rig, until_ms: float) -> list[tuple[float, int]]:
    sends = rig.sends(until_ms)
    return [(s.due_ns / NS_PER_MS, s.data[2]) for s in sends if s.data[:2] == bytes((0xB0, 11))]


def died_away_ms() -> float:
    return max(note.ms + note.length_ms for note in quarters_ending().notes(20000))


def test_what_has_died_away_rings_out_before_the_expression_is_given_back() -> None:
    *_, (faint_ms, faint), (back_ms, back) = expressions(quarters_ending(), 20000)
    assert (faint_ms, faint, back) == (died_away_ms(), 0, 127)
    assert back_ms == died_away_ms() + 3000


@pytest.mark.parametrize(("split", "struck"), [(None, TRIAD), (C5, (C5,))])
def test_a_note_struck_while_a_last_chord_rings_out_has_the_expression_back_before_it(
    split: int | None, struck: tuple[int, ...]
) -> None:
    rig, later_ms = Rig("steady-quarters", split=split), died_away_ms() + 500
    rig.chord(0, *TRIAD, until_ms=300)
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    rig.chord(later_ms, *struck, until_ms=later_ms + 300)
    sent = [s.data for s in rig.sends(20000) if s.due_ns >= ns_from_ms(later_ms)]
    back = sent.index(bytes((0xB0, 11, 127)))
    assert back < [data[0] for data in sent].index(0x90)
    assert sent.count(bytes((0xB0, 11, 127))) == 1


def test_a_chord_that_time_decides_in_the_fade_has_the_expression_back_before_it() -> None:
    rig = quarters_ending()
    rig.chord(11000, C4, G4, until_ms=11500)
    sent = [s.data for s in rig.sends(12000) if s.due_ns > ns_from_ms(11000)]
    assert sent.index(bytes((0xB0, 11, 127))) < [data[0] for data in sent].index(0x90)


def test_the_players_expression_counts_while_the_last_chord_dies_away() -> None:
    rig = quarters_ending()
    rig.events += [ev.Controller(ns_from_ms(ms), 11, v) for ms, v in ((6000, 60), (11000, 80))]
    found = expressions(rig, 20000)
    assert max(value for _, value in found) == 80
    assert found[0] == (6000, 60)
    assert max(value for ms, value in found if 6000 < ms < 11000) == 60
    halfway = next(value for ms, value in found if ms >= 11000)
    assert 0 < halfway < 80, "the part of it that is left"
    assert found[-1][1] == 80


def test_a_chord_struck_late_into_the_ending_is_the_last_one() -> None:
    rig = quarters()
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    end_ms = max(note.ms for note in quarters_ending().notes(20000))
    rig.chord(end_ms + 400, 65, 69, 72, until_ms=end_ms + 900)
    last = [note for note in rig.notes(20000) if note.ms > end_ms + 100]
    assert {note.note % 12 for note in last} == {5, 9, 0}
    assert {note.length_ms > 5000 for note in last} == {True}


def quarters_ending() -> Rig:
    rig = quarters()
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    return rig


def test_after_an_ending_the_next_chord_is_a_downbeat_at_the_tempo_of_before() -> None:
    rig = quarters_ending()
    rig.chord(16000, *TRIAD, until_ms=16300)
    assert [ms for ms in beats(rig, 18500) if ms >= 16000] == [16000, 17000, 18000]


@pytest.mark.parametrize("event", [ev.Break, lambda at_ns: ev.CountIn(at_ns, 1)])
def test_what_was_struck_before_a_break_is_not_decided_after_it(
    event: Callable[[int], ev.Input],
) -> None:
    slow, quick = Rig("smooth-chords"), Rig("smooth-chords")
    slow.press(0, 48, 52, 55)
    slow.lift(980, 48, 52)
    slow.press(1000, 53, 57, 60)  # and 55 is slow to come up
    slow.events.append(event(ns_from_ms(1050)))
    quick.press(0, 48, 52)
    quick.events.append(event(ns_from_ms(20)))
    for rig in (slow, quick):
        found = [note for note in rig.notes(10000) if note.channel == 0]
        assert not [note for note in found if note.ms > 1050 or rig is quick]
        again = rig.performer_at(1500)
        assert again.accompaniment.harmony is None
        rig.press(6000, 57)  # a key that is struck among those that are still down
        assert rig.performer_at(6500).accompaniment.harmony is not None


def test_a_break_is_silent_until_the_next_chord_which_comes_in_in_time() -> None:
    rig = quarters()
    rig.events.append(ev.Break(ns_from_ms(1500)))
    rig.chord(3400, *TRIAD, until_ms=3700)
    assert beats(rig, 6500) == [0, 1000, 4000, 5000, 6000]
    assert {note.ms + note.length_ms <= 1500 for note in rig.notes(6500) if note.ms < 3000} == {
        True
    }


def test_a_count_in_clicks_its_bars_and_what_is_struck_meanwhile_comes_in_after_it() -> None:
    rig = Rig("steady-quarters", meter=Meter(3, 4))
    rig.events.append(ev.CountIn(0, 2))
    rig.chord(2500, *TRIAD, until_ms=2900)
    found = clicks(rig, 9500)
    assert [round(note.ms) for note in found] == [0, 1000, 2000, 3000, 4000, 5000]
    assert [note.note for note in found] == [76, 77, 77, 76, 77, 77]
    assert beats(rig, 9500)[:4] == [6000, 7000, 8000, 9000]


def test_the_bar_after_a_count_in_is_the_first() -> None:
    rig = Rig("steady-quarters")
    rig.events.append(ev.CountIn(0, 1))
    performer = rig.performer_at(4100)
    transport = performer.accompaniment.transport
    assert transport is not None
    assert transport.bar_and_beat(transport.position_at(ns_from_ms(4100))) == (1, 1)


def test_a_chord_that_comes_in_again_waits_for_the_downbeat_if_it_is_to() -> None:
    rig = quarters(start=Start.DOWNBEAT)
    rig.events.append(ev.Break(ns_from_ms(1500)))
    rig.chord(2200, *TRIAD, until_ms=2600)
    assert beats(rig, 6500) == [0, 1000, 4000, 5000, 6000]


def test_a_chord_just_after_the_downbeat_does_not_wait_a_bar() -> None:
    rig = quarters(start=Start.DOWNBEAT)
    rig.events.append(ev.Break(ns_from_ms(1500)))
    rig.chord(4050, *TRIAD, until_ms=4500)
    assert beats(rig, 6500)[2:] == [4050, 5000, 6000]


def test_pick_up_beats_stand_before_the_first_bar() -> None:
    rig = quarters(pickup=1)
    for at_ms, place in ((0, (0, 4)), (1000, (1, 1)), (4900, (1, 4))):
        transport = rig.performer_at(at_ms + 1).accompaniment.transport
        assert transport is not None
        assert transport.bar_and_beat(transport.position_at(ns_from_ms(at_ms + 1))) == place


def test_a_ramp_reaches_its_tempo_after_its_beats_and_never_steps_back() -> None:
    rig = quarters()
    rig.events.append(ev.Ramp(ns_from_ms(1000), 120, 8))
    onsets = beats(rig, 12000)
    gaps = [b - a for a, b in itertools.pairwise(onsets[1:])]
    assert gaps[:8] == sorted(gaps[:8], reverse=True)
    assert gaps[9:12] == [500, 500, 500]


def test_double_time_begins_with_a_beat_and_half_time_undoes_it() -> None:
    rig = quarters()
    rig.events.append(ev.Scale(ns_from_ms(1300), Fraction(2)))
    rig.events.append(ev.Scale(ns_from_ms(3200), Fraction(1, 2)))
    assert beats(rig, 6400) == [0, 1000, 2000, 2500, 3000, 3500, 4500, 5500]


def test_a_tap_moves_the_beat_to_where_it_was_tapped() -> None:
    rig = quarters()
    rig.events.append(ev.Tapped(ns_from_ms(2250), ns_from_ms(2200), 75))
    assert beats(rig, 5000)[:6] == [0, 1000, 2000, 3000, 3800, 4600]


def test_a_tap_just_before_a_beat_is_that_beat_and_it_is_struck_once() -> None:
    rig = quarters()
    rig.events.append(ev.Tapped(ns_from_ms(1960), ns_from_ms(1950), 60))
    assert beats(rig, 4500) == [0, 1000, 1960, 2950, 3950]


def test_a_nudge_moves_all_that_follows() -> None:
    rig = quarters()
    rig.events.append(ev.Nudge(ns_from_ms(1500), 40))
    rig.events.append(ev.Nudge(ns_from_ms(3500), -60))
    assert beats(rig, 5500) == [0, 1000, 2040, 3040, 3980, 4980]


def test_a_forced_downbeat_begins_a_bar_with_the_beat_that_is_now() -> None:
    rig = quarters()
    rig.events.append(ev.Downbeat(ns_from_ms(2020), ns_from_ms(2010)))
    transport = rig.performer_at(2030).accompaniment.transport
    assert transport is not None
    assert transport.bar_and_beat(transport.position_at(ns_from_ms(2030))) == (2, 1)
    assert beats(rig, 4500) == [0, 1000, 2000, 3010, 4010]


JUST_AFTER_MS = 0.002  # a press is always taken a little after it was made


def test_a_downbeat_that_is_pressed_just_before_its_beat_is_struck_with_the_press() -> None:
    rig = quarters()
    rig.chord(1955, F4, A4, C5, until_ms=2300)
    rig.events.append(ev.Downbeat(ns_from_ms(1960 + JUST_AFTER_MS), ns_from_ms(1960)))
    assert beats(rig, 4500) == [0, 1000, 1960, 2960, 3960]
    assert {n.note % 12 for n in rig.notes(2500) if n.ms > 1900} == {5, 9, 0}


@pytest.mark.parametrize("ms", [1960, 2040])
def test_the_bass_of_a_whole_bar_begins_with_a_downbeat_that_is_forced(ms: float) -> None:
    rig = Rig("pulsing-eighths")
    rig.chord(0, *TRIAD, until_ms=300)
    rig.events.append(ev.Downbeat(ns_from_ms(ms + JUST_AFTER_MS), ns_from_ms(ms)))
    notes = rig.notes(8000)
    assert sorted({round(n.ms) for n in notes if n.note < 50}) == [0, ms, ms + 4000]
    right = sorted({round(n.ms) for n in notes if n.note > 55})
    assert min(b - a for a, b in itertools.pairwise(right)) > 400, "no step is struck twice"


@pytest.mark.parametrize(
    "change",
    [
        ev.Downbeat(ns_from_ms(2012 + JUST_AFTER_MS), ns_from_ms(2012)),
        ev.SetStyle(ns_from_ms(2012), even("pulsing-eighths")),
    ],
)
def test_a_chord_puts_the_step_right_that_other_hands_have_just_struck(change: ev.Input) -> None:
    rig = quarters()
    rig.events.append(change)
    rig.chord(2040, F4, A4, C5, until_ms=2300)
    notes = [n for n in rig.notes(4500) if n.note > 55]
    caught = {n.note % 12 for n in notes if 2000 < n.ms < 2400 and n.ms != 2012}
    assert caught == {5, 9}
    assert {n.length_ms for n in notes if n.ms == 2000 and n.note % 12 in (4, 7)} == {40}
    assert min(n.length_ms for n in notes if n.ms == 2040) > 300


def test_another_style_strikes_the_step_that_waits_for_keys_just_then() -> None:
    rig = quarters()
    rig.press(1995, F4, A4)
    rig.events.append(ev.SetStyle(ns_from_ms(2003), Rig("pulsing-eighths").style))
    rig.press(2008, C5)
    onsets = struck_at([n for n in rig.notes(2900) if n.note > 55])
    assert [ms for ms in onsets if ms > 1900] == [2008, 2500]


def test_an_ending_that_is_asked_for_again_goes_on_as_it_was() -> None:
    again = quarters_ending()
    again.events += [ev.Ending(ns_from_ms(ms), 2) for ms in (2600, 6000)]
    assert beats(again, 30000) == beats(quarters_ending(), 30000)


def test_a_downbeat_that_is_forced_in_a_ritardando_leaves_it_as_it_was() -> None:
    rig = quarters_ending()
    rig.events.append(ev.Downbeat(ns_from_ms(2600), ns_from_ms(2590)))
    assert beats(rig, 30000) == beats(quarters_ending(), 30000)
    assert bar_at(rig, 3400) == (2, 1)


def test_what_waits_for_its_entry_has_no_ending() -> None:
    rig = Rig("steady-quarters")
    rig.events += [ev.CountIn(0, 1), ev.Ending(ns_from_ms(2000), 1)]
    rig.chord(1000, *TRIAD, until_ms=1500)
    assert beats(rig, 6500) == [4000, 5000, 6000]


@pytest.mark.parametrize(
    "change",
    [
        ev.SetStyle(ns_from_ms(7000), Rig("pulsing-eighths").style),
        ev.SetStyle(ns_from_ms(4800), Rig("bass-alone").style),
        ev.SetMeter(ns_from_ms(7000), Meter(3, 4)),
        ev.SetSwing(ns_from_ms(7000), Fraction(2)),
        ev.Downbeat(ns_from_ms(7000), ns_from_ms(7000)),
        ev.SetFollow(ns_from_ms(2500), Follow.HANDS),
    ],
)
def test_a_last_chord_dies_away_whatever_is_chosen_meanwhile(change: ev.Input) -> None:
    rig = quarters_ending()
    rig.events.append(change)
    assert beats(rig, 16000) == beats(quarters_ending(), 16000)


def test_a_last_chord_may_change_in_a_style_that_has_one_hand_less() -> None:
    rig = quarters_ending()
    rig.events.append(ev.SetStyle(ns_from_ms(4800), Rig("bass-alone").style))
    rig.chord(5000, F4, A4, C5, until_ms=5300)
    last = [note for note in rig.notes(20000) if note.ms >= 5000]
    assert last
    assert {note.note % 12 for note in last} <= {5, 9, 0}
    assert {note.note < C4 for note in last} == {True}


def test_without_hold_the_last_chord_may_come_a_little_late_and_ends_with_its_keys() -> None:
    rig = Rig("steady-quarters", hold=False)
    rig.chord(0, *TRIAD, until_ms=4500)
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    rig.chord(5000, F4, A4, C5, until_ms=9500)
    last = [note for note in rig.notes(20000) if note.ms >= 4600]
    assert {note.note % 12 for note in last} == {5, 9, 0}
    assert {round(note.ms + note.length_ms) for note in last} == {9500}
    assert len({note.note for note in last}) == len(last), "it is struck once"


def test_an_ending_that_nobody_plays_to_its_end_is_over_and_fades_nothing() -> None:
    rig = Rig("steady-quarters", hold=False)
    rig.chord(0, *TRIAD, until_ms=3000)
    rig.events.append(ev.Ending(ns_from_ms(1500), 2))
    sends = rig.sends(20000)
    assert not [send for send in sends if send.data[:2] == bytes((0xB0, 11))]
    assert not rig.performer_at(12000).accompaniment.is_ending


def test_a_stop_in_the_fade_gives_the_expression_back_at_once() -> None:
    rig = quarters_ending()
    rig.events += [ev.Controller(ns_from_ms(100), 11, 90), ev.Stop(ns_from_ms(10000))]
    values = [s.data[2] for s in rig.sends(12000) if s.data[:2] == bytes((0xB0, 11))]
    assert values[-1] == 90
    assert min(values) < 70


def test_double_time_twice_within_a_beat_is_four_times_and_half_undoes_double() -> None:
    four, same = quarters(), quarters()
    four.events += [ev.Scale(ns_from_ms(ms), Fraction(2)) for ms in (1300, 1500)]
    same.events += [ev.Scale(ns_from_ms(1300), Fraction(2))]
    same.events += [ev.Scale(ns_from_ms(1500), Fraction(1, 2))]
    assert beats(four, 3100) == [0, 1000, 2000, 2250, 2500, 2750, 3000]
    assert beats(same, 4500) == [0, 1000, 2000, 3000, 4000]


def test_a_held_chord_is_not_struck_again_by_a_downbeat_or_a_swing_that_it_has_not() -> None:
    rig = Rig("smooth-chords")
    rig.chord(0, *TRIAD, until_ms=300)
    rig.events += [
        ev.Downbeat(ns_from_ms(1030), ns_from_ms(1020)),
        ev.SetSwing(ns_from_ms(1500), Fraction(2)),
    ]
    assert beats(rig, 5000) == [0]


def test_a_downbeat_just_before_its_beat_loses_no_step() -> None:
    rig = Rig("rippling-sixteenths", follow=Follow.CLOCK)
    rig.events += [ev.ClockTick(ns_from_ms(5 + i * 1000 / 24)) for i in range(150)]
    rig.events.append(ev.ClockStart(0))
    rig.chord(100, *TRIAD, until_ms=400)
    plain = beats(rig, 5000)
    rig.events.append(ev.Downbeat(ns_from_ms(2560), ns_from_ms(2560)))
    assert beats(rig, 5000) == plain


def test_a_figure_of_two_bars_begins_with_the_first_bar_after_the_pick_up() -> None:
    """`bossa` strikes in the one of its bars where it rests in the other."""
    without, picked_up = Rig("bossa"), Rig("bossa", pickup=1)
    for rig in (without, picked_up):
        rig.chord(0, *TRIAD, until_ms=300)
    bars = [ms + 1000 for ms in beats(without, 16000) if ms > 0]
    assert [ms for ms in beats(picked_up, 17000) if ms > 1000] == bars


def counted_in(*changes: ev.Input, bars: int = 1, **settings: object) -> Rig:
    rig = Rig("steady-quarters", **settings)
    rig.events += [ev.CountIn(0, bars), *changes]
    rig.chord(500, *TRIAD, until_ms=900)
    return rig


def counted(rig: Rig, until_ms: float) -> list[tuple[float, bool]]:
    """When the clicks are, and whether each is a downbeat's."""
    return [(round(note.ms), note.note == 76) for note in clicks(rig, until_ms)]


def bar_at(rig: Rig, ms: float) -> tuple[int, int]:
    transport = rig.performer_at(ms).accompaniment.transport
    assert transport is not None
    return transport.bar_and_beat(transport.position_at(ns_from_ms(ms)))


@pytest.mark.parametrize(("ms", "downbeat"), [(4000, 4), (4060, 4), (3960, 4), (4600, 5)])
def test_another_meter_begins_with_the_nearest_beat_and_moves_none(
    ms: float, downbeat: int
) -> None:
    rig = quarters()
    rig.events.append(ev.SetMeter(ns_from_ms(ms), Meter(3, 4)))
    assert beats(rig, 8100) == [1000 * beat for beat in range(9)]
    assert bar_at(rig, 1000 * downbeat + 1) == (2 if downbeat == 4 else 3, 1)
    assert bar_at(rig, 1000 * downbeat + 2999) == (2 if downbeat == 4 else 3, 3)


def test_the_beats_of_another_meter_are_those_of_the_clock() -> None:
    rig = Rig("steady-quarters", follow=Follow.CLOCK)
    rig.events += [ev.ClockTick(ns_from_ms(5 + i * 1000 / 24)) for i in range(200)]
    rig.events += [ev.ClockStart(0), ev.SetMeter(ns_from_ms(2100), Meter(3, 4))]
    rig.chord(100, *TRIAD, until_ms=400)
    assert beats(rig, 6100) == pytest.approx([1005, 2005, 3005, 4005, 5005, 6005], abs=1)


def test_a_meter_that_is_chosen_in_a_count_in_is_counted_for_a_whole_bar() -> None:
    rig = counted_in(ev.SetMeter(ns_from_ms(1600), Meter(3, 4)))
    assert counted(rig, 6500) == [
        (0, True), (1000, False), (2000, True), (3000, False), (4000, False)
    ]  # fmt: skip
    assert beats(rig, 7500) == [5000, 6000, 7000]
    assert bar_at(rig, 5001) == (1, 1)


def test_the_bars_after_the_one_that_another_meter_cuts_short_are_counted_in_it() -> None:
    first = counted_in(ev.SetMeter(ns_from_ms(2600), Meter(3, 4)), bars=2)
    second = counted_in(ev.SetMeter(ns_from_ms(5600), Meter(3, 4)), bars=2)
    assert [ms for ms, high in counted(first, 12000) if high] == [0, 3000, 6000]
    assert beats(first, 9500) == [9000]
    assert [ms for ms, high in counted(second, 12000) if high] == [0, 4000, 6000]
    assert beats(second, 9500) == [9000]


def test_a_meter_in_the_last_beat_that_is_counted_is_counted_too() -> None:
    rig = counted_in(ev.SetMeter(ns_from_ms(3250), Meter(3, 4)))
    assert counted(rig, 8000)[3:] == [(3000, False), (4000, False), (5000, False)]
    assert beats(rig, 6500) == [6000]


@pytest.mark.parametrize(
    ("at_ms", "clicks_ms", "entry_ms"),
    [
        (2000, [0, 1000, 2000, 3000, 4000, 5000], 6000),
        (2200, [0, 1000, 2000, 3200, 4200, 5200], 6200),  # the beat was a little early
        (1800, [0, 1000, 1800, 2800, 3800, 4800], 5800),
        (3200, [0, 1000, 2000, 3000, 4200, 5200, 6200], 7200),
        (3800, [0, 1000, 2000, 3000], 3800),  # that downbeat is the music's
    ],
)
def test_a_forced_downbeat_begins_the_bar_that_is_counted_anew(
    at_ms: float, clicks_ms: list[float], entry_ms: float
) -> None:
    rig = counted_in(ev.Downbeat(ns_from_ms(at_ms), ns_from_ms(at_ms)))
    assert [ms for ms, _ in counted(rig, 9000)] == clicks_ms
    assert beats(rig, entry_ms + 100) == [entry_ms]
    assert bar_at(rig, entry_ms + 1) == (1, 1)


def test_a_downbeat_before_the_first_that_was_counted_adds_no_bar() -> None:
    assert beats(counted_in(ev.Downbeat(ns_from_ms(100), ns_from_ms(-600))), 4000) == [3400]


def test_a_figure_of_two_bars_begins_after_the_count_whatever_has_cut_that_short() -> None:
    plain = Rig("bossa")
    plain.chord(0, *TRIAD, until_ms=300)
    cut = Rig("bossa")
    cut.events += [ev.CountIn(0, 1), ev.Downbeat(ns_from_ms(2000), ns_from_ms(2000))]
    cut.chord(500, *TRIAD, until_ms=900)
    assert beats(cut, 20000) == [ms + 6000 for ms in beats(plain, 14000)]


def test_while_a_clock_leads_a_downbeat_before_the_count_begins_it_and_one_in_it_does_anew() -> (
    None
):
    rig = Rig("steady-quarters", follow=Follow.CLOCK)
    rig.events.append(ev.ClockStart(0))
    rig.events += [ev.ClockTick(ns_from_ms(5 + i * 500 / 24)) for i in range(400)]
    rig.chord(3000, *TRIAD, until_ms=3200)
    rig.events.append(ev.CountIn(ns_from_ms(2600), 1))  # from 4005 on
    plain = [ms for ms, _ in counted(rig, 8000)]
    rig.events.append(ev.Downbeat(ns_from_ms(2900), ns_from_ms(2900)))
    before = counted(rig, 8000)
    rig.events[-1] = ev.Downbeat(ns_from_ms(5100), ns_from_ms(5100))
    inside = counted(rig, 8000)
    assert plain == pytest.approx([4005, 4505, 5005, 5505], abs=2)
    assert [ms for ms, _ in before] == pytest.approx([3005, 3505, 4005, 4505], abs=2)
    assert [ms for ms, _ in inside] == pytest.approx([4005, 4505, 5005, 5505, 6005, 6505], abs=2)
    assert min(beats(rig, 8000)) == pytest.approx(7005, abs=2)
