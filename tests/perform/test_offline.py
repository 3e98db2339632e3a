"""The driver without a clock, against drivers that call whenever they like."""

from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import C4, C5, E4, F4, G4, STYLE_IDS, Rig
from ripieno.perform.events import (
    Controller,
    Input,
    KeyDown,
    KeyUp,
    Passing,
    Send,
    SetHold,
    SetStyle,
    SetTempo,
    Silence,
    Stop,
)
from ripieno.perform.offline import advanced, hand_in, play
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Settings
from ripieno.units import NS_PER_MS, ns_from_ms

END_NS = ns_from_ms(4000)
SHIPPED = {style: Rig(style).style for style in STYLE_IDS}


@st.composite
def playing(draw: st.DrawFn) -> list[Input]:
    """Chords, single keys and changes within three seconds, ascending."""
    events: list[Input] = []
    at_ns = 0
    for _ in range(draw(st.integers(1, 25))):
        at_ns += draw(st.sampled_from([0, 0, 2, 11, 60, 333])) * NS_PER_MS
        note = draw(st.sampled_from([C4, E4, F4, G4, C5, 70, 36]))
        events.append(
            draw(
                st.sampled_from(
                    [
                        KeyDown(at_ns, note, draw(st.integers(1, 127))),
                        KeyDown(at_ns, note, 90),
                        KeyUp(at_ns, note),
                        Controller(at_ns, 64, draw(st.integers(0, 127))),
                        SetStyle(at_ns, SHIPPED[draw(st.sampled_from(STYLE_IDS))]),
                        SetTempo(at_ns, draw(st.sampled_from([33.3, 180.0]))),
                        SetHold(at_ns, draw(st.booleans())),
                        Stop(at_ns),
                    ]
                )
            )
        )
    return events


def restless(
    performer: Performer, events: list[Input], calls: list[int], *, prompt: bool
) -> list[Send]:
    """A driver that also calls `advance` at `calls`, and after events only if `prompt`."""
    sends: list[Send] = []
    waiting = sorted(calls)
    for at_ns, together in groupby(events, key=lambda event: event.at_ns):
        while waiting and waiting[0] < at_ns:
            sends += performer.advance(waiting.pop(0))
        for event in together:
            sends += performer.handle(event)
        if prompt:
            sends += performer.advance(at_ns)
    for call in waiting:
        sends += performer.advance(call)
    return sends + performer.advance(END_NS - 1) + performer.handle(Stop(END_NS))


@given(
    events=playing(),
    style=st.sampled_from(STYLE_IDS),
    calls=st.lists(st.integers(0, END_NS - 1), max_size=30),
    prompt=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_what_is_sent_does_not_depend_on_when_the_driver_calls(
    events: list[Input], style: str, calls: list[int], prompt: bool
) -> None:
    chosen = Settings(bpm=133.7)
    played = play(Performer(chosen, SHIPPED[style]), events, END_NS)
    sends = [happening for happening in played if isinstance(happening, Send)]
    assert restless(Performer(chosen, SHIPPED[style]), events, calls, prompt=prompt) == sends
    stamps = [send.due_ns for send in sends]
    assert stamps == sorted(stamps)


def test_keys_of_one_instant_are_heard_together_before_anything_sounds() -> None:
    rig = Rig("smooth-chords")
    rig.press(100, C4, E4, G4, 70)
    happenings = rig.happenings(500)
    heard = [h for h in happenings if isinstance(h, Heard)][-1]
    assert heard.reading.keys == (C4, E4, G4, 70)
    struck = [h for h in happenings if isinstance(h, Send) and h.data[0] == 0x90]
    assert min(happenings.index(send) for send in struck) > happenings.index(heard)


def test_at_the_end_everything_stops_and_what_comes_later_is_not_played() -> None:
    rig = Rig("steady-quarters")
    rig.press(0, C4, E4, G4)
    rig.press(2000, F4, C5)
    rig.press(2500, 40)
    happenings = rig.happenings(2000)
    assert happenings[-1].due_ns == ns_from_ms(2000)
    assert Stop(ns_from_ms(2000)) in happenings
    assert not [h for h in happenings if isinstance(h, KeyDown) and h.note in (F4, C5, 40)]
    rig.notes(2000)


def test_keys_still_come_up_and_resets_still_pass_at_the_end() -> None:
    rig = Rig("steady-quarters", split=72)
    rig.chord(0, C4, E4, G4, until_ms=2000)
    rig.press(500, 84)
    last = [
        KeyUp(ns_from_ms(2000), 84, 33),
        Passing(ns_from_ms(2000), bytes.fromhex("e0 00 40")),
        Controller(ns_from_ms(2000), 1, 0),
    ]
    rig.events += [*last, SetTempo(ns_from_ms(2000), 90.0)]
    happenings = rig.happenings(2000)
    assert [h for h in happenings if h in last] == last
    sent = [h.data.hex(" ") for h in happenings if isinstance(h, Send) and h.due_ns == 2 * 10**9]
    assert sent[:3] == ["80 54 21", "e0 00 40", "b0 01 00"]
    assert happenings[-1].due_ns == ns_from_ms(2000)
    taken = [h for h in happenings if type(h) in Input.__args__]
    assert isinstance(taken[-1], Stop)
    assert not [h for h in taken if isinstance(h, SetTempo)]
    again = list(play(Performer(rig.settings, rig.style), taken, ns_from_ms(2000)))
    assert again == happenings


def test_a_song_without_events_is_a_stop() -> None:
    assert Rig("waltz").happenings(1000) == [Stop(ns_from_ms(1000))]
    assert Rig("waltz").happenings(0) == [Stop(0)]


def test_an_event_stands_in_the_order_in_which_it_was_taken() -> None:
    performer = Performer(Settings(bpm=60.0), SHIPPED["steady-quarters"])
    for note in (C4, E4, G4):
        list(hand_in(performer, KeyDown(0, note, 80)))
    list(advanced(performer, ns_from_ms(1000)))
    late, *_ = hand_in(performer, KeyUp(ns_from_ms(990), C4))
    assert late == KeyUp(ns_from_ms(1000) + 1, C4)
    due, *rest = hand_in(performer, Silence(ns_from_ms(2500)))
    assert isinstance(due, Send)
    assert due.due_ns < ns_from_ms(2500), "what was due before the event comes before it"
    assert Silence(ns_from_ms(2500)) in rest


def test_an_event_is_stamped_with_the_instant_at_which_it_takes_effect() -> None:
    # A step waits for a strike whose keys are arriving; the third key makes it due in the past.
    # It may not come between that key and an event of the same instant.
    chosen = Settings(bpm=133.7)
    performer = Performer(chosen, SHIPPED["alberti"])
    keys = [KeyDown(0, C4, 1), KeyDown(60 * NS_PER_MS, C4, 1), KeyDown(60 * NS_PER_MS, E4, 1)]
    changes = [KeyDown(62 * NS_PER_MS, F4, 1), SetTempo(62 * NS_PER_MS, 33.3)]
    first = list(play(performer, [*keys, *changes], END_NS))
    taken = [h for h in first if type(h) in Input.__args__]
    again = list(play(Performer(chosen, SHIPPED["alberti"]), taken, END_NS))
    assert again == first
    (changed,) = [h for h in first if isinstance(h, SetTempo)]
    anchor = Performer(chosen, SHIPPED["alberti"])
    for event in taken[: taken.index(changed) + 1]:
        anchor.handle(event)
    assert anchor.accompaniment.transport is not None
    assert anchor.accompaniment.transport.anchor_ns == changed.at_ns


@pytest.mark.parametrize("style", STYLE_IDS)
def test_the_same_playing_gives_the_same_bytes_every_time(style: str) -> None:
    rig = Rig(style, bpm=97.3, seed=5)
    rig.chord(3, C4, E4, G4, until_ms=900)
    rig.chord(1111, F4, 69, C5, until_ms=1800)
    first = rig.sends(3000)
    assert rig.sends(3000) == first
    assert len(first) > 6
