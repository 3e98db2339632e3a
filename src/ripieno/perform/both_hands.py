"""Both hands of the accompaniment: which lanes they play, and how they take over from each other.

Where the style, the meter or the swing is another, new hands come in. Those before strike nothing
more; what they hold ends in its time, or when the new ones first sound.
"""

from collections.abc import Callable, Iterable
from fractions import Fraction
from random import Random

from ripieno.perform.chord_on import Harmony
from ripieno.perform.hand_player import Bound, HandPlayer
from ripieno.perform.outbox import Outbox
from ripieno.perform.swing import Swing
from ripieno.perform.transport import Transport
from ripieno.style.model import Lane, Meter, Style
from ripieno.theory.hand import Side

Tones = Callable[[Side], Bound | None]  # what a hand has to play with just now


class BothHands:
    """`playing`: one for each lane of the style. `leaving`: those before that still hold notes."""

    def __init__(
        self, out: Outbox, luck: Random, style: Style, meter: Meter, swing: Fraction | None
    ) -> None:
        self._out = out
        self._luck = luck
        self.swing = swing  # that is asked for; None: by the tempo
        self.playing: list[HandPlayer] = []
        self.leaving: list[HandPlayer] = []
        self.choose(style, meter)

    @property
    def all(self) -> list[HandPlayer]:
        return self.playing + self.leaving if self.leaving else self.playing

    @property
    def stand(self) -> bool:
        """Whether no step of any lane is to come."""
        return not any(hand.step_due_ns is not None for hand in self.playing)

    @property
    def step_due_ns(self) -> int | None:
        """When the next place of a grid is due."""
        due_ns: int | None = None
        for hand in self.playing:
            step_ns = hand.step_due_ns
            if step_ns is not None and (due_ns is None or step_ns < due_ns):
                due_ns = step_ns
        return due_ns

    @property
    def note_dues_ns(self) -> list[int]:
        """When each hand has a note that ends, or one of a rolled chord to strike."""
        return [due_ns for hand in self.all if (due_ns := hand.note_due_ns) is not None]

    def notes_of(self, side: Side) -> tuple[int, ...]:
        """What a hand holds down, ascending."""
        hands = [hand for hand in self.all if hand.side is side]
        return tuple(sorted({n for hand in hands for group in hand.groups for n in group.notes}))

    def hold_other_than(self, serial: int | None) -> bool:
        """Whether a note sounds that was not struck for a strike."""
        return any(g.serial != serial and g.notes for hand in self.all for g in hand.groups)

    def choose(self, style: Style, meter: Meter) -> None:
        """The hands for a style, which nobody has started yet."""
        self._style, self.meter = style, meter
        figure, swing = style.figure_for(meter), _swinging(style, meter, self.swing)
        lanes = [(Side.LEFT, figure.left), (Side.RIGHT, figure.right)]
        self.playing = [
            HandPlayer(side, lane, style.touch, swing, self._luck, style.catch)
            for side, lane in lanes
            if lane is not None
        ]

    def set_swing(self, swing: Fraction | None) -> bool:
        """Whether that is another swing for these hands; then others have to take over."""
        before = _swinging(self._style, self.meter, self.swing)
        self.swing = swing
        return _swinging(self._style, self.meter, swing) != before

    def begin(self, transport: Transport, here: Fraction) -> None:
        """Lanes that count from the strike begin here, others where they are in their bar."""
        for hand in self.playing:
            if hand.begins_with_strike:
                hand.start(transport, here, here)
            else:
                hand.start(transport, _cycle_at(transport, hand.lane, here), here)

    def take_over(
        self,
        style: Style,
        meter: Meter,
        transport: Transport,
        places: tuple[Fraction, Fraction],
        *,
        keeps_struck: bool,
        wait: bool,
    ) -> None:
        """Others come in at the second of two places, and strike what those before have not.

        Not what lies before the first. Hands whose lanes count from the strike go on as they are
        if they are to be kept.
        """
        early, here = places
        unstruck = {hand.side: hand.unstruck(transport, early, here) for hand in self.playing}
        for hand in self.replace(style, meter, keeps_struck=keeps_struck):
            come_in([hand], transport, unstruck.get(hand.side, here), wait=wait)

    def replace(
        self, style: Style, meter: Meter, *, keeps_struck: bool = False
    ) -> list[HandPlayer]:
        """Others, who have to come in, take over; who counts from the strike may be kept."""
        before = self.playing
        self.choose(style, meter)
        if keeps_struck:
            kept = {(hand.side, hand.lane): hand for hand in before if hand.begins_with_strike}
            self.playing = [kept.get((hand.side, hand.lane), hand) for hand in self.playing]
        self._leave(hand for hand in before if hand not in self.playing)
        return [hand for hand in self.playing if hand not in before]

    def play_lanes(
        self, lanes: Iterable[tuple[Side, Lane]], transport: Transport, here: Fraction
    ) -> None:
        """Take over with lanes that are no style's, from here on."""
        self._leave(self.playing)
        self.playing = [
            HandPlayer(side, lane, self._style.touch, None, self._luck) for side, lane in lanes
        ]
        for hand in self.playing:
            hand.start(transport, here)

    def keep_to(self, style: Style) -> None:
        """Let the hand go that a style does not have; what the other plays goes on."""
        has = {Side.LEFT: style.left, Side.RIGHT: style.right}
        self._leave(hand for hand in self.playing if has[hand.side] is None)
        self.playing = [hand for hand in self.playing if has[hand.side] is not None]

    def retime(self, transport: Transport, *, heard_from_ns: int | None) -> None:
        """The same places are due at other instants; steps due earlier than some go by."""
        for hand in self.all:
            hand.retime(transport)
            due_ns = hand.step_due_ns
            if heard_from_ns is not None and due_ns is not None and due_ns < heard_from_ns:
                hand.skip(heard_from_ns)

    def skip(self, now_ns: int) -> int:
        """Steps that are due go by in silence: so many."""
        return sum(hand.skip(now_ns) for hand in self.playing)

    def end_notes(self, now_ns: int) -> None:
        for hand in self.all:
            hand.end_notes(now_ns, self._out)

    def follow(
        self, now_ns: int, harmony: Harmony, tones: Tones, anew: tuple[Transport, int] | None
    ) -> None:
        """Another reading: late steps are put right, and what the chord has not is released.

        Lanes that count from the strike start over, `anew`, if there has been one: when it came.
        What the others hold of the chord before goes on only where it belongs to what is struck
        then.
        """
        strikes = anew is not None and any(
            hand.begins_with_strike and tones(hand.side) for hand in self.playing
        )
        for hand in self.playing:
            bound = tones(hand.side)
            if not hand.begins_with_strike:
                if bound is not None:
                    hand.catch(now_ns, bound, self._out)
                if strikes:
                    hand.release_foreign_before(
                        harmony.serial, harmony.chord.pitch_classes, self._out
                    )
            elif anew is not None:
                hand.release_all(self._out)
                transport, struck_ns = anew
                hand.start_struck(transport, now_ns, struck_ns)
            if bound is not None:
                hand.amend(bound, self._out)
        for hand in self.leaving:
            bound = tones(hand.side)
            if bound is not None and not hand.begins_with_strike:
                hand.put_right(now_ns, bound, self._out)
            hand.release_foreign(harmony.serial, harmony.chord.pitch_classes, self._out)

    def play_steps(self, now_ns: int, tones: Tones, *, ready: bool) -> None:
        """The steps that are due, if they are `ready` to be, and what is due of rolled chords."""
        for hand in self.playing:
            if not (ready or hand.rolls):
                continue
            bound = tones(hand.side)
            if bound is not None:
                hand.roll_on(now_ns, bound, self._out)
            while ready and hand.step_due_ns is not None and hand.step_due_ns <= now_ns:
                hand.step(now_ns, bound, self._out)
                if bound is not None:
                    for leaving in self.leaving:
                        leaving.release_before(bound.serial, self._out)

    def release_all(self) -> None:
        for hand in self.all:
            hand.release_all(self._out)
        self.leaving = []

    def release(self, side: Side | None) -> None:
        """What one hand holds."""
        for hand in self.all:
            if hand.side is side:
                hand.release_all(self._out)

    def release_leaving(self, now_ns: int) -> None:
        """What is held by those who leave, if the others strike now."""
        if not any(g.struck_ns == now_ns for hand in self.playing for g in hand.groups):
            return
        for hand in self.leaving:
            hand.release_all(self._out)
        self.leaving = []

    def _leave(self, hands: Iterable[HandPlayer]) -> None:
        for hand in hands:
            hand.leave()
            if hand.groups:
                self.leaving.append(hand)


def come_in(hands: list[HandPlayer], transport: Transport, here: Fraction, *, wait: bool) -> None:
    """Bar lanes at their next step, struck ones on the next beat.

    Where hands `wait` for their entry, no step of a bar lane comes before the downbeat.
    """
    for hand in hands:
        if hand.begins_with_strike:
            hand.start(transport, transport.next_beat(here))
        else:
            origin = transport.bar_quarters if wait else _cycle_at(transport, hand.lane, here)
            hand.start(transport, origin, here)


def _swinging(style: Style, meter: Meter, swing: Fraction | None) -> Swing | None:
    """The unit that swings and its ratio; None where nothing does.

    That is in compound meters, and in those whose bars are no whole pairs, as 7/8.
    """
    unit, ratio = style.swings.value, swing
    if unit is None or ratio == 1 or meter.is_compound:
        return None
    return (unit, ratio) if meter.bar_quarters % (2 * unit) == 0 else None


def _cycle_at(transport: Transport, lane: Lane, here: Fraction) -> Fraction:
    """Where a lane's cycle counts from: its downbeat, or before that whole cycles earlier."""
    downbeat = transport.bar_quarters
    if here >= downbeat:
        return downbeat
    cycle = lane.cycle_quarters
    return downbeat + (here - downbeat) // cycle * cycle
