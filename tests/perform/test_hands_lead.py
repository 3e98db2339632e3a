"""The hands lead: what a player hears whose tempo is not the one that was chosen."""

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from rig import A4, C4, C5, E4, F4, G4, Rig, struck_at
from ripieno.perform import events as ev
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Follow
from ripieno.perform.snapshot import snapshot
from ripieno.perform.transport import Transport
from ripieno.style.model import Meter
from ripieno.units import NS_PER_MINUTE, ns_from_ms

CHORDS = ((C4, E4, G4), (F4, A4, C5))


def played(bpm: float, count: int, *, chosen: float = 92, **settings: object) -> Rig:
    """Someone who strikes each beat at a tempo, off it by some 8 ms."""
    luck = Random(3)
    rig = Rig("steady-quarters", **({"bpm": chosen, "follow": Follow.HANDS} | settings))
    for beat in range(count):
        ms = beat * 60_000 / bpm + (luck.gauss(0, 8) if beat else 0)
        rig.chord(max(0, ms), *CHORDS[beat % 2], until_ms=ms + 400)
    return rig


def transport_at(rig: Rig, ms: float) -> Transport:
    transport = rig.performer_at(ms).accompaniment.transport
    assert transport is not None
    return transport


def places_at(rig: Rig, all_ms: Iterable[float]) -> Iterator[Fraction]:
    """Where the music is at each of some instants, ascending, in one go."""
    performer = Performer(rig.settings, rig.style)
    events = iter(sorted(rig.events, key=lambda event: event.at_ns))
    event = next(events, None)
    for ms in all_ms:
        while event is not None and event.at_ns <= ns_from_ms(ms):
            performer.handle(event)
            event = next(events, None)
        performer.advance(ns_from_ms(ms))
        transport = performer.accompaniment.transport
        assert transport is not None
        yield transport.position_at(ns_from_ms(ms))


def bpm_of(transport: Transport) -> float:
    return float(NS_PER_MINUTE / (transport.ns_per_quarter * transport.meter.beat_quarters))


@pytest.mark.parametrize(("lean", "within"), [(75, 6), (100, 4)])
@pytest.mark.parametrize("bpm", [80, 86, 98, 106])
def test_the_music_is_with_a_player_who_begins_otherwise_than_chosen_after_some_beats(
    bpm: float, lean: int, within: int
) -> None:
    rig = played(bpm, 20, lean=lean)
    for beat in range(within, 20):
        ms = beat * 60_000 / bpm
        place = transport_at(rig, ms + 30).position_at(ns_from_ms(ms))
        assert place == pytest.approx(beat, abs=0.08), f"beat {beat}"


@pytest.mark.parametrize("lean", [50, 75, 100])
@pytest.mark.parametrize("bpm", [60, 70, 120, 135])
def test_who_begins_far_from_the_tempo_is_met_in_the_bar_and_not_waited_for(
    bpm: float, lean: int
) -> None:
    rig = played(bpm, 24, lean=lean)
    slowest = min(bpm_of(transport_at(rig, ms)) for ms in range(100, int(1_400_000 / bpm), 500))
    assert slowest > 0.3 * bpm


@pytest.mark.parametrize("lean", [0, 50, 75, 100])
def test_no_beat_is_left_out_and_none_is_struck_twice(lean: int) -> None:
    rig = played(84, 20, lean=lean)
    rig.chord(20 * 60_000 / 84 + 200, *CHORDS[0], until_ms=15_000)  # a push
    onsets = sorted(struck_at(rig.notes(18_000)))
    gaps = [b - a for a, b in itertools.pairwise(onsets)]
    assert min(gap for gap in gaps) > 0
    places = list(places_at(rig, range(1, 17_000, 25)))
    assert places == sorted(places)
    assert max(b - a for a, b in itertools.pairwise(places)) < Fraction(1, 8)


def test_the_music_leans_on_the_beats_that_the_player_leans_on() -> None:
    rig = Rig("steady-quarters", bpm=100, follow=Follow.HANDS, lean=100)
    starts = [0, *itertools.accumulate(LILT * 10)]
    for beat, ms in enumerate(starts[:-1]):
        rig.chord(ms + beat % 3, *CHORDS[beat % 2], until_ms=ms + 400)
    late = [place - beat for beat, place in enumerate(places_at(rig, starts))]
    assert max(abs(off) for off in late[4:8]) > 0.1
    assert max(abs(off) for off in late[-9:]) < 0.05


LILT = (540, 720, 570, 570)  # milliseconds, each bar


@pytest.mark.parametrize(
    "change",
    [ev.Nudge(0, 0), ev.Downbeat(0, 0), ev.SetTempo(0, 100)],
)
def test_what_was_learnt_of_the_player_outlasts_whatever_is_said_meanwhile(
    change: ev.Input,
) -> None:
    rig = Rig("steady-quarters", bpm=100, follow=Follow.HANDS, lean=100)
    starts = [0, *itertools.accumulate(LILT * 14)]
    for beat, ms in enumerate(starts[:-1]):
        rig.chord(ms + beat % 3, *CHORDS[beat % 2], until_ms=ms + 400)
    at_ns = ns_from_ms(starts[40] + 20)
    said = replace(change, at_ns=at_ns)
    if isinstance(change, ev.Downbeat):
        said = ev.Downbeat(at_ns, ns_from_ms(starts[40]))
    rig.events.append(said)
    late = [place - beat for beat, place in enumerate(places_at(rig, starts))]
    assert max(abs(off) for off in late[44:]) < 0.06


@pytest.mark.parametrize("later_ms", [60, -60])
def test_a_nudge_keeps_its_distance_from_the_hands(later_ms: float) -> None:
    rig = Rig("steady-quarters", bpm=100, follow=Follow.HANDS, lean=75)
    for beat in range(32):
        rig.chord(beat * 600, *CHORDS[beat % 2], until_ms=beat * 600 + 300)
    rig.events.append(ev.Nudge(ns_from_ms(10_000), later_ms))
    places = places_at(rig, [beat * 600 + later_ms for beat in range(17, 31)])
    off = [
        abs(float(place - beat)) * 600 for beat, place in zip(range(17, 31), places, strict=True)
    ]
    assert max(off) < 3


def test_a_downbeat_beside_the_hands_holds_until_they_strike() -> None:
    rig = Rig("steady-quarters", bpm=100, follow=Follow.HANDS, lean=75)
    for beat in range(16):
        rig.chord(beat * 600, *CHORDS[beat % 2], until_ms=beat * 600 + 300)
    rig.events.append(ev.Downbeat(ns_from_ms(9700), ns_from_ms(9660)))
    late = transport_at(rig, 11_500)
    assert late.position_at(ns_from_ms(11_460)) == pytest.approx(19, abs=0.01)
    assert late.bar_and_beat(late.position_at(ns_from_ms(11_500)))[1] == 4


def test_a_rest_and_a_break_leave_the_tempo_as_it_was() -> None:
    rig = played(88, 16)
    rest_ms = 16 * 60_000 / 88
    before = bpm_of(transport_at(rig, rest_ms + 800))
    rig.events.append(ev.Break(ns_from_ms(rest_ms + 1500)))
    assert before == pytest.approx(88, rel=0.04)
    assert bpm_of(transport_at(rig, rest_ms + 9000)) == pytest.approx(before, rel=0.02)


def late_at_last(*events: ev.Input) -> Rig:
    """A steady 100, of which the 16th chord is 50 ms late, and what is done 150 ms later."""
    rig = Rig("steady-quarters", bpm=92, follow=Follow.HANDS, lean=75)
    for beat in range(16):
        ms = beat * 600 + (50 if beat == 15 else 0)
        rig.chord(ms, *CHORDS[beat % 2], until_ms=ms + 300)
    rig.events += [replace(event, at_ns=ns_from_ms(9200)) for event in events]
    return rig


def test_the_tempo_that_hands_leave_is_theirs_and_not_that_of_a_moment_of_catching_up() -> None:
    assert bpm_of(transport_at(late_at_last(), 9199)) < 97, "it makes up for the late chord"
    left = late_at_last(ev.SetFollow(0, Follow.NONE))
    assert bpm_of(transport_at(left, 9500)) == pytest.approx(99, abs=1)
    twice = late_at_last(ev.Scale(0, Fraction(2)))
    assert bpm_of(transport_at(twice, 9800)) == pytest.approx(198, abs=2)
    assert snapshot(late_at_last().performer_at(9199), ns_from_ms(9199)).bpm == pytest.approx(
        99, abs=1
    )


def test_an_ending_slows_down_from_the_tempo_of_the_hands() -> None:
    ending = late_at_last(ev.Ending(0, 8))
    assert bpm_of(transport_at(ending, 9201)) == pytest.approx(99, abs=1)


def test_the_next_song_begins_at_the_tempo_that_was_chosen() -> None:
    rig = played(84, 16)
    rig.events.append(ev.Stop(ns_from_ms(13_000)))
    rig.chord(14_000, *CHORDS[0], until_ms=14_400)
    assert bpm_of(transport_at(rig, 14_100)) == pytest.approx(92)


def test_in_a_compound_meter_the_beat_that_is_followed_is_the_dotted_quarter() -> None:
    rig = played(84, 16, meter=Meter(6, 8))
    assert bpm_of(transport_at(rig, 11_000)) == pytest.approx(84, rel=0.04)
