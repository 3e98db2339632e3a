"""Sessions in which everything changes the time: replayed, driven otherwise, begun at other times.

What came in, as the journal has it, gives the same bytes again; and no instant comes twice as the
next due one without end, for then the loop would never wait again.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import fields
from fractions import Fraction
from itertools import groupby
from operator import attrgetter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import C4, E4, G4, STYLE_IDS, Rig
from ripieno.perform import events as ev
from ripieno.perform import journal
from ripieno.perform.events import Input, Send
from ripieno.perform.journal_events import event_from, event_line
from ripieno.perform.offline import Happening, hand_in, play, since
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Follow, Settings, Start
from ripieno.perform.transport import Transport
from ripieno.style.model import COMMON_TIME, Meter, Style
from ripieno.theory.recognize import recognize
from ripieno.units import NS_PER_MS, ns_from_ms

SHIPPED = {style: Rig(style).style for style in STYLE_IDS}
END_NS = ns_from_ms(20_000)
MOST_AT_ONE_INSTANT = 12  # turns of the loop: keys, steps, bends and ticks have one each
METERS = [COMMON_TIME, Meter(3, 4), Meter(6, 8), Meter(7, 8)]


def changes(draw: st.DrawFn, at_ns: int) -> list[Callable[[], Input]]:
    """Each kind of event about the time."""
    return [
        lambda: ev.Tapped(at_ns, at_ns - draw(st.integers(0, 10**9)), draw(st.floats(20, 400))),
        lambda: ev.Nudge(at_ns, draw(st.floats(-250, 250))),
        lambda: ev.Ramp(at_ns, draw(st.floats(20, 400)), draw(st.integers(1, 40))),
        lambda: ev.Scale(at_ns, draw(st.sampled_from([Fraction(2), Fraction(1, 2)]))),
        lambda: ev.Downbeat(at_ns, at_ns - draw(st.integers(0, 10**8))),
        lambda: ev.Break(at_ns),
        lambda: ev.CountIn(at_ns, draw(st.integers(1, 4))),
        lambda: ev.Ending(at_ns, draw(st.integers(0, 4))),
        lambda: ev.Ending(at_ns, 1),
        lambda: ev.SetFollow(at_ns, draw(st.sampled_from(list(Follow)))),
        lambda: ev.SetLean(at_ns, draw(st.integers(0, 100))),
        lambda: ev.SetStart(at_ns, draw(st.sampled_from(list(Start)))),
        lambda: ev.SetPickup(at_ns, draw(st.integers(0, 31))),
        lambda: ev.SetSwing(at_ns, draw(st.sampled_from([None, Fraction(2), Fraction(1)]))),
        lambda: ev.SetSendClock(at_ns, draw(st.booleans())),
        lambda: ev.ClockStart(at_ns),
        lambda: ev.ClockContinue(at_ns),
        lambda: ev.ClockStop(at_ns),
        lambda: ev.SongPosition(at_ns, draw(st.sampled_from([0, 1, 16, 9999]))),
        lambda: ev.SetMeter(at_ns, draw(st.sampled_from(METERS))),
        lambda: ev.SetTempo(at_ns, draw(st.floats(20, 400))),
        lambda: ev.SetStyle(at_ns, SHIPPED[draw(st.sampled_from(STYLE_IDS))]),
        lambda: ev.SetHold(at_ns, draw(st.booleans())),
        lambda: ev.Stop(at_ns),
    ]


@st.composite
def sessions(draw: st.DrawFn) -> list[Input]:
    """Chords, all that changes the time between them, and perhaps a clock."""
    events: list[Input] = []
    at_ns = 0
    for _ in range(draw(st.integers(1, 30))):
        at_ns += draw(st.sampled_from([0, 0, 1, 40, 300, 900, 5000])) * NS_PER_MS
        if draw(st.booleans()):
            root = draw(st.integers(45, 66))
            events += [ev.KeyDown(at_ns, root + above, 80) for above in (0, 4, 7)]
            up_ns = at_ns + draw(st.sampled_from([50, 700])) * NS_PER_MS
            events += [ev.KeyUp(up_ns, root + above) for above in (0, 4, 7)]
        else:
            events.append(draw(st.sampled_from(changes(draw, at_ns)))())
    apart_ns = draw(st.integers(6 * NS_PER_MS, 125 * NS_PER_MS))
    events += [ev.ClockTick(1 + i * apart_ns) for i in range(draw(st.sampled_from([0, 0, 9, 200])))]
    return sorted(events, key=attrgetter("at_ns"))


chosen = st.builds(
    Settings,
    bpm=st.sampled_from([20.0, 97.3, 400.0]),
    meter=st.sampled_from(METERS),
    hold=st.booleans(),
    follow=st.sampled_from(list(Follow)),
    start=st.sampled_from(list(Start)),
    pickup=st.integers(0, 3),
    send_clock=st.booleans(),
)
styles = st.sampled_from(STYLE_IDS).map(SHIPPED.__getitem__)


class Watched(Performer):
    """One that fails instead of being due at the same instant for ever."""

    def __init__(self, settings: Settings, style: Style) -> None:
        super().__init__(settings, style)
        self.turns: Counter[int] = Counter()

    def _perform(self, now_ns: int) -> list[Send]:
        self.turns[now_ns] += 1
        assert self.turns[now_ns] <= MOST_AT_ONE_INSTANT, f"always due: {now_ns}"
        return super()._perform(now_ns)


def sends(happenings: list[Happening]) -> list[Send]:
    return [happening for happening in happenings if isinstance(happening, Send)]


@given(events=sessions(), chosen=chosen, style=styles)
@settings(max_examples=50, deadline=None)
def test_a_session_is_replayed_from_its_journal_to_the_same_bytes(
    events: list[Input], chosen: Settings, style: Style
) -> None:
    first = list(play(Watched(chosen, style), events, END_NS))
    lines, key = [journal.header(chosen, style)], chosen.key
    for happening in first:
        line, key = journal.line(happening, key)
        lines.append(line)
    written = [journal.dump(line) for line in [*lines, journal.end(END_NS)]]
    read = journal.read("j", written)
    again = list(play(Performer(read.settings, read.style), read.events, read.end_ns))
    assert sends(again) == sends(first)


@given(
    events=sessions(),
    chosen=chosen,
    style=styles,
    calls=st.lists(st.integers(0, END_NS - 1), max_size=30),
)
@settings(max_examples=40, deadline=None)
def test_what_is_sent_does_not_depend_on_when_the_driver_calls(
    events: list[Input], chosen: Settings, style: Style, calls: list[int]
) -> None:
    first = sends(list(play(Performer(chosen, style), events, END_NS)))
    restless, found, waiting = Performer(chosen, style), [], sorted(calls)
    for at_ns, together in groupby(events, key=attrgetter("at_ns")):
        while waiting and waiting[0] < at_ns:
            found += restless.advance(waiting.pop(0))
        for event in together:
            if event.at_ns < END_NS:
                found += sends(list(hand_in(restless, event)))
    for call in waiting:
        found += restless.advance(call)
    found += restless.advance(END_NS - 1) + restless.handle(ev.Stop(END_NS))
    assert found == first


TRANSPORT = Transport(500, Fraction(1, 3), Fraction(10**9), COMMON_TIME)
READING = recognize((C4, E4, G4))
STAMPED: list[Happening] = [
    Send(1000, b"\x90\x40\x50"),
    Heard(1000, 990, READING, amends=False),
    ev.KeyDown(1000, C4, 80),
    ev.Resume(1000, READING.chord, 80, TRANSPORT),
    ev.Tapped(1000, 900, 92.0),
    ev.Downbeat(1000, 900),
    ev.Nudge(1000, 25.0),
    ev.Ending(1000, 4),
    ev.ClockTick(1000),
]


def stamps(happening: object) -> list[int]:
    names = [field.name for field in fields(happening)]  # type: ignore[arg-type]
    inner = getattr(happening, "transport", None)
    own = [getattr(happening, name) for name in names if name.endswith("_ns")]
    return own + ([inner.anchor_ns] if inner else [])


@pytest.mark.parametrize("happening", STAMPED, ids=lambda happening: type(happening).__name__)
def test_since_counts_every_instant_from_the_beginning(happening: Happening) -> None:
    moved = since(100, happening)
    assert stamps(moved) == [at - 100 for at in stamps(happening)]
    assert type(moved) is type(happening)


def test_since_knows_every_event_that_has_a_second_instant() -> None:
    with_two = {kind for kind in Input.__args__ if sum("_ns" in f.name for f in fields(kind)) > 1}
    assert with_two <= {type(happening) for happening in STAMPED}


@given(st.data())
@settings(max_examples=50, deadline=None)
def test_every_event_about_the_time_is_read_back_as_it_was(data: st.DataObject) -> None:
    draw = data.draw
    event = draw(st.sampled_from(changes(draw, 10**9)))()
    line = event_line(event)
    found = event_from(str(line["kind"]), event.at_ns, line)
    assert found == event
