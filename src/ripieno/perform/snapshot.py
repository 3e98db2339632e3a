"""What a screen shows of a performer: copied at one instant, frozen, small."""

from dataclasses import dataclass
from fractions import Fraction

from ripieno.perform.performer import Performer
from ripieno.theory.hand import Side
from ripieno.theory.symbol import symbol
from ripieno.units import NS_PER_MINUTE


@dataclass(frozen=True, slots=True)
class Snapshot:
    """`chord` and `bar_and_beat` are None while nothing has been struck or all has stopped."""

    chord: str | None
    style: str
    bpm: float  # of the meter's beat, by whoever leads
    coming_bpm: float  # when what is planned is done; no ending is counted
    meter: str
    bar_and_beat: tuple[int, int] | None
    left: tuple[int, ...]
    right: tuple[int, ...]
    sounding: tuple[int, ...]  # all notes, melody too, ascending
    pedal: bool
    keys: tuple[int, ...]  # that are down
    serial: int  # of the last strike, counted from 1; 0 before the first
    bar_quarters: Fraction
    place_quarters: Fraction | None  # in the bar
    clock: str  # heard, missing or stopped; '' where none is followed
    counting: bool
    ending: bool
    waiting: bool  # for a downbeat


def snapshot(performer: Performer, now_ns: int) -> Snapshot:
    """The performer as it is at an instant no earlier than its last event."""
    playing = performer.accompaniment
    transport, harmony = playing.transport, playing.harmony
    position = None if transport is None else transport.position_at(now_ns)
    time, beat = playing.time, playing.meter.beat_quarters
    return Snapshot(
        chord=None if harmony is None else symbol(harmony.chord, performer.key),
        style=playing.style.id,
        bpm=round(float(NS_PER_MINUTE / (time.quarter_at(now_ns) * beat)), 3),
        coming_bpm=round(float(NS_PER_MINUTE / (time.coming_quarter_at(now_ns) * beat)), 3),
        meter=str(playing.meter),
        bar_and_beat=None
        if transport is None or position is None
        else transport.bar_and_beat(position),
        left=playing.notes_of(Side.LEFT),
        right=playing.notes_of(Side.RIGHT),
        sounding=tuple(sorted({note for _, note in performer.ledger.sounding})),
        pedal=playing.pedal_is_down,
        keys=performer.keys,
        serial=0 if harmony is None else harmony.serial,
        bar_quarters=playing.meter.bar_quarters,
        place_quarters=None
        if transport is None or position is None
        else transport.in_bar(position),
        clock=time.clock_state(now_ns),
        counting=performer.count.is_on,
        ending=playing.is_ending,
        waiting=playing.is_waiting,
    )
