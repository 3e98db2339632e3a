"""What both hands do in a style, played ahead in virtual time for somebody to look at."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Resume, Send
from ripieno.perform.message import NOTE_OFF, NOTE_ON
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.transport import Transport
from ripieno.style.model import Lane
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.hand import Side
from ripieno.units import ns_per_quarter

C_MAJOR = Chord(0, QUALITIES["maj"], 0)
MOST_BARS = 4
_LEVEL = 80
_PARTS = 960  # of a quarter, to which places are rounded: they are told in floats


@dataclass(frozen=True, slots=True)
class Shown:
    """Notes of a hand that are struck together, ascending, and how long the longest lasts."""

    at_quarters: Fraction
    side: Side
    notes: tuple[int, ...]
    lasts_quarters: Fraction


def figure(chosen: Chosen, chord: Chord) -> tuple[Fraction, tuple[Shown, ...]]:
    """The length of the figure's cycle, one bar or more, and what is struck in it, in its order."""
    length = _length(chosen)
    shown = [
        step
        for side in Side
        for step in _of_hand(chosen, chord, side, length)
        if step.at_quarters < length
    ]
    return length, tuple(sorted(shown, key=lambda step: (step.at_quarters, step.side)))


def notes_a_bar(chosen: Chosen) -> float:
    """How many notes both hands strike in a bar, on a triad."""
    length, shown = figure(chosen, C_MAJOR)
    bars = length / chosen.settings.meter.bar_quarters
    return round(sum(len(step.notes) for step in shown) / float(bars), 1)


def _length(chosen: Chosen) -> Fraction:
    """Whole bars, as many as there are until both lanes come round, but no more than MOST_BARS."""
    meter = chosen.settings.meter
    lanes = chosen.style.figure_for(meter)
    cycles = [_cycle(lane) for lane in (lanes.left, lanes.right) if lane is not None]
    for bars in range(1, MOST_BARS):
        if all((bars * meter.bar_quarters / cycle).denominator == 1 for cycle in cycles):
            return bars * meter.bar_quarters
    return MOST_BARS * meter.bar_quarters if cycles else meter.bar_quarters


def _cycle(lane: Lane) -> Fraction:
    return lane.every_quarters * len(lane.steps) if lane.repeats else lane.every_quarters


def _of_hand(chosen: Chosen, chord: Chord, side: Side, length: Fraction) -> Iterator[Shown]:
    other = Side.RIGHT if side is Side.LEFT else Side.LEFT
    settings = replace(chosen.settings, muted=other, hold=True)
    rate = ns_per_quarter(settings.bpm, settings.meter.beat_quarters)
    transport = Transport(0, Fraction(0), rate, settings.meter)
    performer = Performer(settings, chosen.style)
    happenings = play(performer, [Resume(0, chord, _LEVEL, transport)], round(length * rate))
    together: dict[Fraction, list[tuple[int, Fraction]]] = {}
    sounding: dict[int, Fraction] = {}
    for send in (h for h in happenings if isinstance(h, Send)):
        at = Fraction(round(send.due_ns / rate * _PARTS), _PARTS)
        if send.data[0] & 0xF0 == NOTE_ON:
            sounding[send.data[1]] = at
        elif send.data[0] & 0xF0 == NOTE_OFF and send.data[1] in sounding:
            began = sounding.pop(send.data[1])
            together.setdefault(began, []).append((send.data[1], at - began))
    for at, notes in together.items():
        lasts = max(length_of for _, length_of in notes)
        yield Shown(at, side, tuple(sorted(note for note, _ in notes)), lasts)
