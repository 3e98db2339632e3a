"""The tempi and meters of what was played: a sequencer counts what the performer counted."""

from bisect import bisect_right
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import C4, E4, G4, Rig
from ripieno.perform import events as ev
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Follow, Settings
from ripieno.perform.time_map import TimeMap
from ripieno.perform.time_played import Change, time_played
from ripieno.perform.transport import Transport
from ripieno.style.model import COMMON_TIME, Meter
from ripieno.units import NS_PER_MS, NS_PER_S, ns_from_ms

TRIAD = (C4, E4, G4)
THREE, SIX = Meter(3, 4), Meter(6, 8)


def playing(*events: ev.Input, at_ms: float = 0, **chosen: object) -> Rig:
    """A chord is struck, at 60 quarters a minute unless told otherwise, and what follows."""
    rig = Rig("steady-quarters", **chosen)
    rig.chord(at_ms, *TRIAD, until_ms=at_ms + 300)
    rig.events += events
    return rig


def changes_of(rig: Rig, until_ms: float) -> list[Change]:
    changes: list[Change] = []
    events = sorted(rig.events, key=lambda event: event.at_ns)
    list(play(Performer(rig.settings, rig.style), events, ns_from_ms(until_ms), changes))
    return changes


def time_of(rig: Rig, until_ms: float) -> TimeMap:
    return time_played(changes_of(rig, until_ms), rig.settings)


def counts_in_another_bar(transport: Transport, at_ns: int, changes: list[Change]) -> bool:
    """A downbeat that is ahead cuts the bar short; one that is forced late has been already."""
    return transport.position_at(at_ns) < transport.bar_quarters or any(
        at_ns < later_ns
        and other is not None
        and other.bar_quarters != transport.bar_quarters
        and other.due_ns(other.bar_quarters) <= at_ns
        for later_ns, other in changes
    )


def quarters_at(time: TimeMap, at_ns: float) -> float:
    """What a sequencer has counted by an instant: each tempo for as long as it holds."""
    tempi = [*time.tempi, (float("inf"), 0)]
    return sum(
        (min(until, at_ns) - since) * bpm / (60 * NS_PER_S)
        for (since, bpm), (until, _) in pairwise(tempi)
        if since < at_ns
    )


def in_bar_at(time: TimeMap, at_ns: float) -> float:
    """How far into its bar a sequencer is; a bar begins with each meter."""
    place = bisect_right([since for since, _ in time.meters], at_ns) - 1
    since, meter = time.meters[max(0, place)]
    gone = quarters_at(time, at_ns) - quarters_at(time, since)
    return gone % float(meter.bar_quarters)


def ms(*instants: float) -> list[int]:
    return [ns_from_ms(instant) for instant in instants]


def test_one_tempo_from_the_first_instant_is_one_tempo() -> None:
    time = time_of(playing(bpm=90.0, meter=SIX), 9000)
    assert time.tempi[0] == (0, pytest.approx(135))  # dotted quarters
    assert {round(bpm, 6) for _, bpm in time.tempi} == {135}
    assert time.meters == ((0, SIX),)


@pytest.mark.parametrize(("at", "bars"), [(500, 1), (4000, 1), (5500, 1), (6500, 2), (21000, 5)])
def test_the_first_chord_begins_a_bar_after_so_many_whole_ones(at: float, bars: int) -> None:
    # A bar lasts 4 s; so many of them fill the time before, at a tempo as near as may be.
    time = time_of(playing(at_ms=at), at + 5000)
    assert quarters_at(time, ns_from_ms(at)) == pytest.approx(4 * bars)
    assert quarters_at(time, ns_from_ms(at + 3000)) == pytest.approx(4 * bars + 3)
    assert time.meters == ((0, COMMON_TIME),)


def test_a_pickup_stands_before_its_downbeat() -> None:
    time = time_of(playing(at_ms=6000, pickup=1), 9000)
    assert in_bar_at(time, ns_from_ms(6001)) == pytest.approx(3.001)
    first = time_of(playing(pickup=1), 9000)  # with no time before it: a bar of one beat
    assert first.meters == ((0, Meter(1, 4)), (NS_PER_S, COMMON_TIME))


def test_after_a_stop_the_next_chord_begins_a_bar() -> None:
    rig = playing(ev.Stop(ns_from_ms(5500)))
    rig.chord(11000, *TRIAD, until_ms=11500)
    time = time_of(rig, 15000)
    assert quarters_at(time, ns_from_ms(5500)) == pytest.approx(5.5)
    assert quarters_at(time, ns_from_ms(11000)) == pytest.approx(12)
    assert quarters_at(time, ns_from_ms(14000)) == pytest.approx(15)


def test_a_tempo_holds_from_the_instant_of_its_change() -> None:
    time = time_of(playing(ev.SetTempo(ns_from_ms(2500), 120.0)), 6000)
    found = [quarters_at(time, instant) for instant in ms(2500, 3500, 5000)]
    assert found == pytest.approx([2.5, 4.5, 7.5])


def test_another_meter_cuts_its_bar_short_and_has_a_bar_of_that_length() -> None:
    time = time_of(playing(ev.SetMeter(ns_from_ms(5900), THREE)), 12000)
    assert time.meters == (
        (0, COMMON_TIME),
        (ns_from_ms(4000), Meter(2, 4)),
        (ns_from_ms(6000), THREE),
    )


def test_another_meter_on_a_bar_line_stands_alone() -> None:
    time = time_of(playing(ev.SetMeter(ns_from_ms(8000), THREE)), 12000)
    assert time.meters == ((0, COMMON_TIME), (ns_from_ms(8000), THREE))


def test_a_meter_chosen_while_the_time_stands_holds_with_the_next_chord() -> None:
    time = time_of(playing(ev.SetMeter(0, THREE), at_ms=4000), 12000)
    assert time.meters == ((0, COMMON_TIME), (ns_from_ms(4000), THREE))


def test_a_forced_downbeat_begins_a_bar_and_no_bar_line_of_the_old_follows() -> None:
    time = time_of(playing(ev.Downbeat(*ms(6000, 6000))), 12000)
    assert time.meters == (
        (0, COMMON_TIME),
        (ns_from_ms(4000), Meter(2, 4)),
        (ns_from_ms(6000), COMMON_TIME),
    )


def test_what_fits_no_meter_begins_where_it_begins() -> None:
    begun = Transport(0, Fraction(0), Fraction(NS_PER_S), COMMON_TIME)
    other = replace(begun, bar_quarters=Fraction(4123, 1000))
    time = time_played([(0, begun), (ns_from_ms(4200), other)], Settings(bpm=60.0))
    assert time.meters == ((0, COMMON_TIME), (ns_from_ms(4123), COMMON_TIME))


@pytest.mark.parametrize("later", [-200, 150])
def test_a_nudge_is_taken_up_before_it(later: float) -> None:
    time = time_of(playing(ev.Nudge(ns_from_ms(4000), later)), 9000)
    assert quarters_at(time, ns_from_ms(4000)) == pytest.approx(4 - later / 1000)
    assert quarters_at(time, ns_from_ms(8000)) == pytest.approx(8 - later / 1000)
    assert time.meters == ((0, COMMON_TIME),)
    assert all(30 <= bpm <= 120 for _, bpm in time.tempi)


def test_a_shift_just_after_a_change_is_taken_up_from_further_back() -> None:
    # In the 10 ms since the change no tempo would get there.
    changes = ev.SetTempo(ns_from_ms(3990), 61.0), ev.Nudge(ns_from_ms(4000), 200)
    time = time_of(playing(*changes), 9000)
    assert quarters_at(time, ns_from_ms(4000)) == pytest.approx(3.8, abs=0.01)
    assert all(30 <= bpm <= 120 for _, bpm in time.tempi)


def test_a_shift_that_nothing_can_take_up_begins_its_own_bars() -> None:
    time = time_of(playing(ev.Nudge(ns_from_ms(10), 200)), 9000)
    rig = playing(ev.Nudge(ns_from_ms(10), 200))
    transport = rig.performer_at(5000).accompaniment.transport
    assert transport is not None
    expected = transport.in_bar(transport.position_at(ns_from_ms(5000)))
    assert in_bar_at(time, ns_from_ms(5000)) == pytest.approx(float(expected), abs=0.001)


def test_an_ending_slows_down_to_its_last_chord() -> None:
    rig = playing(ev.Ending(ns_from_ms(4000), 4))
    time = time_of(rig, 12000)
    transport = rig.performer_at(9500).accompaniment.transport
    assert transport is not None
    assert quarters_at(time, transport.anchor_ns) == pytest.approx(8, abs=0.001)
    bpm = [bpm for at_ns, bpm in time.tempi if 4000 * NS_PER_MS <= at_ns <= transport.anchor_ns]
    assert bpm == sorted(bpm, reverse=True)
    assert bpm[0] > 55
    assert bpm[-1] == pytest.approx(30)  # half of it, as `curve` says


def test_a_steady_clock_that_is_followed_is_one_tempo() -> None:
    rig = Rig("steady-quarters", follow=Follow.CLOCK)
    rig.events += [ev.ClockTick(round(tick * NS_PER_S / 48)) for tick in range(48 * 8)]
    rig.chord(1000, *TRIAD, until_ms=1300)
    time = time_of(rig, 7900)
    assert len(time.tempi) <= 4
    assert all(bpm == pytest.approx(120, abs=0.1) for at_ns, bpm in time.tempi if at_ns >= NS_PER_S)


EVENTS = st.lists(
    st.tuples(
        st.integers(1, 2500),
        st.one_of(
            st.builds(lambda bpm: lambda at: ev.SetTempo(at, bpm), st.floats(20, 400)),
            st.builds(
                lambda meter: lambda at: ev.SetMeter(at, meter),
                st.sampled_from([COMMON_TIME, THREE, SIX, Meter(7, 8), Meter(2, 2)]),
            ),
            st.builds(
                lambda bpm, beats: lambda at: ev.Ramp(at, bpm, beats),
                st.floats(20, 400),
                st.integers(1, 8),
            ),
            st.just(lambda at: ev.Scale(at, Fraction(2))),
            st.just(lambda at: ev.Stop(at)),
            st.just(lambda at: ev.CountIn(at, 1)),
            st.just(lambda at: ev.Ending(at, 4)),
            st.just(None),  # a chord, which is decided at once
        ),
    ),
    min_size=1,
    max_size=12,
)


@given(EVENTS, st.integers(0, 3000))
@settings(max_examples=40, deadline=None)
def test_wherever_the_time_runs_a_sequencer_is_as_far_into_the_bar(drawn: list, at_ms: int) -> None:
    rig = Rig("steady-quarters", bpm=80.0)
    rig.chord(at_ms, *TRIAD, until_ms=at_ms + 100)
    after_ms = at_ms + 200
    for later_ms, event in drawn:
        after_ms += later_ms
        if event is None:
            rig.chord(after_ms, *TRIAD, until_ms=after_ms + 50)
        else:
            rig.events.append(event(ns_from_ms(after_ms)))
    until_ms = after_ms + 2000
    changes = changes_of(rig, until_ms)
    time = time_played(changes, rig.settings)
    assert [at for at, _ in time.tempi] == sorted({at for at, _ in time.tempi})
    assert [at for at, _ in time.meters] == sorted({at for at, _ in time.meters})
    assert all(bpm > 0 for _, bpm in time.tempi)
    for at in range(at_ms + 50, until_ms, 331):
        transport = rig.performer_at(at).accompaniment.transport
        if transport is None or counts_in_another_bar(transport, ns_from_ms(at), changes):
            continue
        bar = float(transport.meter.bar_quarters)
        in_bar = float(transport.in_bar(transport.position_at(ns_from_ms(at))))
        off = in_bar_at(time, ns_from_ms(at)) - in_bar
        assert abs((off + bar / 2) % bar - bar / 2) < 0.01
