"""The driver without a clock: events in, in order of their stamps, everything out at once."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby
from operator import attrgetter

from ripieno.perform.events import (
    Controller,
    Downbeat,
    Input,
    KeyUp,
    Passing,
    Resume,
    Send,
    Stop,
    Tapped,
)
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.time_played import Change

Happening = Input | Heard | Send  # all that a session consists of, as a journal keeps it


def play(
    performer: Performer,
    events: Iterable[Input],
    end_ns: int,
    changes: list[Change] | None = None,
) -> Iterator[Happening]:
    """Everything that happens when `events` (ascending `at_ns`) are played, up to `end_ns`.

    Events of one instant are all handed in before anything due at it is performed. At the end
    the performer stops, so that nothing is left sounding. Of what comes just then, keys still
    come up and what passes through does, as a file's last resets do; nothing later is played.
    What the performer's time does is added to `changes`.
    """
    changes = [] if changes is None else changes
    kept = (event for event in events if event.at_ns < end_ns or _is_last(event, end_ns))
    for at_ns, together in groupby(kept, key=attrgetter("at_ns")):
        for event in together:
            yield from _step_by_step(performer, at_ns - 1, changes)
            yield from hand_in(performer, event)
            _note_time(performer, at_ns, changes)
        yield from _step_by_step(performer, min(at_ns, end_ns - 1), changes)
    yield from _step_by_step(performer, end_ns - 1, changes)
    yield from hand_in(performer, Stop(end_ns))
    _note_time(performer, end_ns, changes)


def _is_last(event: Input, end_ns: int) -> bool:
    """Whether an event is still taken at the end."""
    return event.at_ns == end_ns and isinstance(event, KeyUp | Controller | Passing)


def _step_by_step(performer: Performer, now_ns: int, changes: list[Change]) -> Iterator[Happening]:
    """What is due by an instant, with what the time does at each."""
    while (due_ns := performer.next_due_ns()) is not None and due_ns < now_ns:
        yield from advanced(performer, due_ns)
        _note_time(performer, due_ns, changes)
    yield from advanced(performer, now_ns)
    _note_time(performer, now_ns, changes)


def _note_time(performer: Performer, at_ns: int, changes: list[Change]) -> None:
    transport = performer.accompaniment.transport
    if transport is not (changes[-1][1] if changes else None):
        changes.append((at_ns, transport))


def hand_in(performer: Performer, event: Input) -> Iterator[Happening]:
    """The event as the performer takes it, after what was due before it, and what it sends."""
    event = stamped(event, performer.effective_ns(event.at_ns))
    yield from advanced(performer, event.at_ns - 1)
    yield event
    yield from performer.handle(event)


def stamped(event: Input, at_ns: int) -> Input:
    """The event at an instant: itself, as nearly always, if that is its own."""
    return event if event.at_ns == at_ns else replace(event, at_ns=at_ns)


def advanced(performer: Performer, now_ns: int) -> Iterator[Happening]:
    """What is due by an instant: the chords that were read, and then what was sent."""
    sends = performer.advance(now_ns)
    yield from performer.take_heard(now_ns + 1)
    yield from sends


def since(start_ns: int, happening: Happening) -> Happening:
    """The same with its times counted from the beginning of a session."""
    match happening:
        case Send():
            return replace(happening, due_ns=happening.due_ns - start_ns)
        case Heard():
            return replace(
                happening,
                at_ns=happening.at_ns - start_ns,
                strike_ns=happening.strike_ns - start_ns,
            )
        case Resume():
            transport = happening.transport
            moved = replace(transport, anchor_ns=transport.anchor_ns - start_ns)
            return replace(happening, at_ns=happening.at_ns - start_ns, transport=moved)
        case Tapped() | Downbeat():
            at_ns, beat_ns = happening.at_ns - start_ns, happening.beat_ns - start_ns
            return replace(happening, at_ns=at_ns, beat_ns=beat_ns)
        case event:
            return replace(event, at_ns=event.at_ns - start_ns)
