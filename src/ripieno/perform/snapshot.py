"""What a screen shows of a performer: copied at one instant, frozen, small."""

from dataclasses import dataclass

from ripieno.perform.performer import Performer
from ripieno.theory.hand import Side
from ripieno.theory.symbol import symbol
from ripieno.units import NS_PER_MINUTE


@dataclass(frozen=True, slots=True)
class Snapshot:
    """`chord` and `bar_and_beat` are None while nothing has been struck or all has stopped."""

    chord: str | None
    style: str
    bpm: float  # of the meter's beat
    meter: str
    bar_and_beat: tuple[int, int] | None
    left: tuple[int, ...]
    right: tuple[int, ...]
    sounding: tuple[int, ...]  # all notes, melody too, ascending
    pedal: bool


def snapshot(performer: Performer, now_ns: int) -> Snapshot:
    """The performer as it is at an instant no earlier than its last event."""
    transport, harmony = performer.transport, performer.harmony
    meter = performer.meter
    quarter = performer.ns_per_quarter
    return Snapshot(
        chord=None if harmony is None else symbol(harmony.chord, performer.key),
        style=performer.style.id,
        bpm=round(float(NS_PER_MINUTE / (quarter * meter.beat_quarters)), 3),
        meter=str(meter),
        bar_and_beat=None
        if transport is None
        else transport.bar_and_beat(transport.position_at(now_ns)),
        left=performer.notes_of(Side.LEFT),
        right=performer.notes_of(Side.RIGHT),
        sounding=tuple(sorted({note for _, note in performer.ledger.sounding})),
        pedal=performer.pedal_is_down,
    )
