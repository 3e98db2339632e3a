"""Whatever is played: every note-on gets one note-off, every byte is legal, the pedal ends up."""

from fractions import Fraction
from operator import attrgetter

import mido
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import STYLE_IDS, Rig, notes_in
from ripieno.perform import events as ev
from ripieno.perform.events import (
    Controller,
    KeyDown,
    KeyUp,
    SetHold,
    SetMeter,
    SetStyle,
    SetTempo,
    Silence,
    Stop,
)
from ripieno.perform.settings import MOST_SIXTEENTHS, Follow, ReadKeys, Start
from ripieno.style.model import Meter
from ripieno.units import NS_PER_MS

SHIPPED = {style: Rig(style).style for style in STYLE_IDS}
METERS = [Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(5, 4), Meter(7, 8)]


def turns(draw: st.DrawFn, at_ns: int) -> list[object]:
    """Everything that changes the time."""
    return [
        ev.Tapped(at_ns, at_ns - draw(st.integers(0, 10**9)), draw(st.floats(20, 400))),
        ev.Nudge(at_ns, draw(st.floats(-250, 250))),
        ev.Ramp(at_ns, draw(st.floats(20, 400)), draw(st.integers(1, 40))),
        ev.Scale(at_ns, draw(st.sampled_from([Fraction(2), Fraction(1, 2)]))),
        ev.Downbeat(at_ns, at_ns),
        ev.Break(at_ns),
        ev.CountIn(at_ns, draw(st.integers(1, 4))),
        ev.Ending(at_ns, draw(st.integers(0, 12))),
        ev.SetFollow(at_ns, draw(st.sampled_from(list(Follow)))),
        ev.SetLean(at_ns, draw(st.integers(0, 100))),
        ev.SetStart(at_ns, draw(st.sampled_from(list(Start)))),
        ev.SetPickup(at_ns, draw(st.integers(0, 31))),
        ev.SetSwing(at_ns, draw(st.sampled_from([None, Fraction(2), Fraction(1)]))),
        ev.SetSendClock(at_ns, draw(st.booleans())),
        ev.ClockTick(at_ns),
        ev.ClockStart(at_ns),
        ev.ClockContinue(at_ns),
        ev.ClockStop(at_ns),
        ev.SongPosition(at_ns, draw(st.integers(0, MOST_SIXTEENTHS))),
    ]


@st.composite
def timed_streams(draw: st.DrawFn) -> list[object]:
    """A clock that ticks, a player, and somebody who turns at everything."""
    events, apart_ns = draw(streams()), draw(st.integers(6, 125)) * NS_PER_MS
    ticks = draw(st.integers(0, 150))
    started = [ev.SetFollow(0, Follow.CLOCK), ev.ClockStart(0)] if draw(st.booleans()) else []
    events += [ev.ClockTick(1 + i * apart_ns) for i in range(ticks)]
    return [*started, *sorted(events, key=attrgetter("at_ns"))]


@st.composite
def streams(draw: st.DrawFn) -> list[object]:
    """Events of a player with no manners, within six seconds, bunched as keys are."""
    events: list[object] = []
    at_ns = 0
    for _ in range(draw(st.integers(1, 50))):
        at_ns += draw(st.sampled_from([0, 0, 1, 3, 10, 40, 90, 300, 700])) * NS_PER_MS
        note = draw(st.integers(30, 100))
        events.append(
            draw(
                st.sampled_from(
                    [
                        KeyDown(at_ns, note, draw(st.integers(1, 127))),
                        KeyDown(at_ns, note, 90),
                        KeyDown(at_ns, note % 36 + 48, 64),
                        KeyUp(at_ns, note % 36 + 48),
                        KeyUp(at_ns, note),
                        Controller(at_ns, 64, draw(st.integers(0, 127))),
                        SetStyle(at_ns, SHIPPED[draw(st.sampled_from(STYLE_IDS))]),
                        SetTempo(at_ns, draw(st.sampled_from([20.0, 93.7, 400.0]))),
                        SetMeter(at_ns, draw(st.sampled_from(METERS))),
                        SetHold(at_ns, draw(st.booleans())),
                        Stop(at_ns),
                        Silence(at_ns),
                        *turns(draw, at_ns),
                    ]
                )
            )
        )
    return events


@given(
    events=timed_streams(),
    style=st.sampled_from(STYLE_IDS),
    meter=st.sampled_from(METERS),
    hold=st.booleans(),
    split=st.sampled_from([None, 60]),
    reading=st.sampled_from(list(ReadKeys)),
)
@settings(max_examples=60, deadline=None)
def test_random_playing_leaves_no_note_hanging_and_no_pedal_down(
    events: list[object], style: str, meter: Meter, hold: bool, split: int | None, reading: ReadKeys
) -> None:
    rig = Rig(SHIPPED[style], bpm=140.0, meter=meter, hold=hold, split=split, reading=reading)
    rig.events = events
    sends = rig.sends(45_000)
    notes_in(sends)
    pedal = [send.data[2] for send in sends if send.data[:2] == bytes((0xB0, 64))]
    assert not pedal or pedal[-1] == 0
    for send in sends:
        # mido refuses bytes that are no MIDI message.
        assert mido.Message.from_bytes(send.data).bytes() == list(send.data)
    assert [send.due_ns for send in sends] == sorted(send.due_ns for send in sends)


@given(style=st.sampled_from(STYLE_IDS), shift_ns=st.integers(0, 10**15), keys=streams())
@settings(max_examples=30, deadline=None)
def test_a_session_is_the_same_whenever_it_begins(style: str, shift_ns: int, keys: list) -> None:
    from dataclasses import replace

    rig = Rig(SHIPPED[style], bpm=97.3)
    rig.events = [e for e in keys if not isinstance(e, SetStyle | ev.Tapped | ev.Downbeat)]
    first = rig.sends(9_000)
    rig.events = [replace(event, at_ns=event.at_ns + shift_ns) for event in rig.events]
    later = rig.sends(9_000 + shift_ns / NS_PER_MS)
    assert [(s.due_ns + shift_ns, s.data) for s in first[:-40]] == [
        (s.due_ns, s.data) for s in later[: len(first[:-40])]
    ]
