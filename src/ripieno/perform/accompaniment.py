"""The accompaniment: what both hands and the foot do with the chord that is on.

Where the music is, its `time` says (see `timekeeper`); what turns it takes, hands, foot and
resolutions follow here.

It is told of strikes and changes, and performs what is due, instant by instant, into an outbox.
A chord is on from its strike; it *sounds* from the first note struck for it, which may be the
next step of the figure. Its suspension and the change of pedal count from there.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from ripieno.arrange import suspension
from ripieno.arrange.dynamics import RESOLVES_SOFTER
from ripieno.arrange.voicing import Voicing, voice
from ripieno.perform.foot import Foot
from ripieno.perform.hand_player import Bound, HandPlayer
from ripieno.perform.last_chord import Fade, lanes_of_last_chord
from ripieno.perform.ledger import PedalPost
from ripieno.perform.outbox import Outbox
from ripieno.perform.settings import Settings, Start
from ripieno.perform.swing import Swing
from ripieno.perform.timekeeper import Timekeeper, Turn
from ripieno.perform.transport import Transport
from ripieno.style.model import Lane, Meter, Pedal, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS

# A step that falls while the keys of a strike are still arriving waits for them, so long at
# most: half of all one-hand chords spread over 25 ms (Vienna 4x22, measured), and a wrong
# note that is put right after 15 ms is heard as a wrong note, a step 15 ms late is not.
PATIENCE_NS = 20 * NS_PER_MS


@dataclass(frozen=True, slots=True)
class Harmony:
    """The chord that is on. `serial` counts strikes: an amended chord keeps its number."""

    chord: Chord
    serial: int
    level: int  # the player's velocity, 1..127


# Of the steps that the time is shifted over, one no later than this is still played.
_SHIFTED_NS = 80 * NS_PER_MS

# Steps that a stalled program comes to so late are not played any more, all at one blow.
TOO_LATE_NS = 500 * NS_PER_MS


class Accompaniment:
    """Two hands and a foot. `transport` and `harmony` are None until the first strike."""

    def __init__(self, settings: Settings, style: Style, out: Outbox, pedal: PedalPost) -> None:
        self.style = style
        self.harmony: Harmony | None = None
        self.time = Timekeeper(settings)
        self.muted = settings.muted
        self.start, self.swing = settings.start, settings.swing
        self._settings = settings
        self._out = out
        self._foot = Foot(pedal, out)
        self._luck = Random(settings.seed)
        self._hands: list[HandPlayer] = []
        self._leaving: list[HandPlayer] = []  # of the style before, until the new one sounds
        self._voicing: Voicing | None = None
        self._voicing_before: Voicing | None = None  # this strike's
        self._serial = 0
        self._sounded = 0  # the serial of the last strike that has sounded
        self._heard_from_ns: int | None = None  # steps before it are not played any more
        self._changed_ns: int | None = None  # when the hands have to follow a new reading
        self._strike_is_new = False
        self._suspended: Voicing | None = None  # what sounds while the third is held off
        self._bounds: dict[Side, Bound] = {}  # as they were last asked for since a change
        self._resolves: tuple[Fraction, int] | None = None  # in quarters, in nanoseconds
        self._entry: Fraction | None = None  # what is struck before it waits for it
        self._ends: Fraction | None = None  # where the last chord is
        self._fade: Fade | None = None  # of the last chord, once it sounds
        self._expression = 127  # the player's
        self._set_hands()

    @property
    def transport(self) -> Transport | None:
        return self.time.transport

    @property
    def meter(self) -> Meter:
        return self.time.meter

    @property
    def is_ending(self) -> bool:
        """Whether the music slows down into its last chord, or that chord dies away."""
        return self._ends is not None or self._fade is not None

    @property
    def is_waiting(self) -> bool:
        """Whether what is struck waits for a downbeat."""
        return self._entry is not None

    @property
    def ns_per_quarter(self) -> Fraction:
        return self.time.ns_per_quarter

    def strike(
        self, at_ns: int, chord: Chord, level: int, *, amends: bool, strike_ns: int | None = None
    ) -> None:
        """A chord is on from now; `amends`: it corrects the reading of the strike before.

        `strike_ns` is when its last key went down.
        """
        if self._fade is not None and not amends and self._fade.is_over_for(at_ns):
            self.stop()  # what is struck into a chord that dies away begins anew
        amends = amends and self.harmony is not None
        comes_in = self.harmony is None and self._fade is None
        if not amends:
            self._serial += 1
            self._voicing_before = self._voicing
            self._strike_is_new, self._resolves = True, None
        self.harmony, self._bounds = Harmony(chord, self._serial, level), {}
        self._revoice(chord)
        if not amends or self._suspended is not None:
            self._suspend(chord)
        if self.transport is None:
            if amends:  # of what sounded when a clock stopped the time
                return
            self._begin(at_ns)
        elif comes_in and self.start is Start.DOWNBEAT and self._entry is None:
            self._entry = self._next_entry(at_ns)
        elif not amends and self._entry is None:
            self.time.struck(at_ns, at_ns if strike_ns is None else strike_ns)
        if self._entry is None:
            self._changed_ns = at_ns

    def resume(self, at_ns: int, chord: Chord, level: int, transport: Transport) -> None:
        """A chord is on and struck now, in a time that runs already."""
        self.time.go_on(at_ns, transport)
        self._leave_ending()
        self._replace_hands(transport.position_at(at_ns))
        self._entry = None
        self.strike(at_ns, chord, level, amends=False)
        self._entry, self._changed_ns = None, at_ns

    def lift(self) -> None:
        """No chord any more: hands and foot come up, the time goes on."""
        for hand in self._hands + self._leaving:
            hand.release_all(self._out)
        self._leaving = []
        self.harmony, self._changed_ns, self._resolves = None, None, None
        self._strike_is_new, self._suspended, self._bounds = False, None, {}
        self._foot.lift()

    def stop(self) -> None:
        """As `lift`, and the next strike is a downbeat again."""
        self.lift()
        self.time.stop()
        self._voicing, self._voicing_before, self._entry = None, None, None
        self._leave_ending()
        self._luck.seed(self._settings.seed)  # after a stop it plays as if just begun
        self._set_hands()

    def halt(self) -> None:
        """The time stands, and so does the music; with the time the chord goes on."""
        harmony, voicing = self.harmony, self._voicing
        self.lift()
        self._entry = None
        self._leave_ending()
        self._set_hands()
        self.harmony, self._voicing, self._changed_ns = harmony, voicing, None

    def count_in(self, at_ns: int, bars: int) -> tuple[Fraction, Fraction]:
        """From where to where bars are counted. What is on has to end, or to wait."""
        if self.is_ending or not self.time.clock_is_heard(at_ns):
            self.stop()
        self.lift()
        end = self._entry = self.time.count_in(at_ns, bars)
        self._replace_hands(self._here(at_ns))
        return end - bars * self.meter.bar_quarters, end

    def end(self, at_ns: int, beats: int) -> None:
        """Slow down into a last chord, `beats` from the next beat, or after a bar and more.

        What has not come in cannot end, and what ends already is not slowed down once more.
        """
        transport = self.transport
        if transport is None or self.harmony is None or self.is_waiting or self.is_ending:
            return
        here = transport.position_at(at_ns)
        if beats:
            self._ends = transport.next_beat(here) + beats * self.meter.beat_quarters
        else:
            self._ends = transport.next_downbeat(here + self.meter.bar_quarters)
        self._take(at_ns, self.time.end(at_ns, self._ends))

    def express(self, value: int) -> None:
        """The player's own expression, 0..127, to which a chord that has died away gives back."""
        self._expression = value

    def turn(self, at_ns: int, turn: Turn) -> None:
        """The time has taken a turn by what the player or a clock has done."""
        if self.transport is None and self._hands_meter != self.meter:
            self._set_hands()
        self._take(at_ns, turn)

    def set_style(self, at_ns: int, style: Style) -> None:
        """Another style takes over where the music is."""
        self.style = style
        if style.pedal is Pedal.NONE:
            self._foot.lift()
        self._suspended, self._resolves, self._bounds = None, None, {}
        if self.harmony is not None:
            self._revoice(self.harmony.chord)
        self._replace_hands(self._here(at_ns))

    def set_swing(self, at_ns: int, swing: Fraction | None) -> None:
        """Another swing, from the next steps on."""
        before, self.swing = self._swing(), swing
        if self._swing() != before:
            self._replace_hands(self._here(at_ns))

    def set_muted(self, muted: Side | None) -> None:
        """A hand that is silent from now on, until another one is or none."""
        self.muted, self._bounds = muted, {}
        for hand in self._hands + self._leaving:
            if hand.side is muted:
                hand.release_all(self._out)

    @property
    def pedal_is_down(self) -> bool:
        """Whether the accompaniment's own foot is on the pedal."""
        return self._foot.is_down

    def notes_of(self, side: Side) -> tuple[int, ...]:
        """What a hand holds down now, ascending."""
        hands = [hand for hand in self._hands + self._leaving if hand.side is side]
        return tuple(sorted({n for hand in hands for group in hand.groups for n in group.notes}))

    def due_ns(self, strike_due_ns: int | None) -> int | None:
        """The next instant at which something is due. May lie in the past.

        `strike_due_ns`: when the strike whose keys are arriving will be decided, None if no
        keys are.
        """
        if self._changed_ns is not None:
            return self._changed_ns  # with it, all that was due before is done
        due = [self._step_due_ns(strike_due_ns), self.time.due_ns()]
        if self.transport is not None:
            due += [self.transport.due_ns(p) for p in (self._entry, self._ends) if p is not None]
        if self._fade is not None:
            due.append(self._fade.due_ns)
        due += [hand.note_due_ns for hand in self._hands]
        due += [hand.note_due_ns for hand in self._leaving]
        if self._resolves is not None:
            due.append(self._resolves[1])
        if not self._foot_waits():
            due.append(self._foot.due_ns)
        return min([at for at in due if at is not None], default=None)

    def skip_to(self, now_ns: int) -> None:
        """It is now so late: steps that should have sounded long before go by in silence."""
        self._heard_from_ns = now_ns - TOO_LATE_NS

    def perform(self, now_ns: int, strike_due_ns: int | None) -> None:
        """Do all that is due at or before an instant."""
        self._take(now_ns, self.time.perform(now_ns))
        self._come_in_or_end(now_ns)
        for hand in self._hands + self._leaving:
            hand.end_notes(now_ns, self._out)
        too_late = self._is_too_late(now_ns)
        self._follow_chord(now_ns)
        self._resolve(now_ns)
        if too_late:
            for hand in self._hands:
                hand.skip(now_ns)
        self._play_steps(now_ns, strike_due_ns)
        if self._out.strikes:
            self._leave()
            self._begin_to_sound(now_ns)
            if self.style.pedal is Pedal.LEGATO and self._out.replaces:
                self._foot.change(now_ns)
        while (due_ns := self._foot.due_ns) is not None and due_ns <= now_ns:
            if self._foot_waits():
                break
            self._foot.move()

    def _here(self, at_ns: int) -> Fraction | None:
        return None if self.transport is None else self.transport.position_at(at_ns)

    def _take(self, at_ns: int, turn: Turn) -> None:
        """The hands and the foot follow a turn of the time."""
        transport = self.transport
        if turn is Turn.STAYS or transport is None:
            return
        if turn is Turn.RECOUNTS:
            self._replace_hands(transport.position_at(at_ns), keeps_struck=True)
        if turn is Turn.JUMPS:
            self._go_elsewhere(at_ns, transport)
        for hand in self._hands + self._leaving:
            hand.retime(transport)
            due_ns = hand.step_due_ns
            if turn is Turn.SHIFTS and due_ns is not None and due_ns < at_ns - _SHIFTED_NS:
                hand.skip(at_ns - _SHIFTED_NS)
        if self._resolves is not None:
            at_quarters, _ = self._resolves
            self._resolves = at_quarters, transport.due_ns(at_quarters)

    def _go_elsewhere(self, at_ns: int, transport: Transport) -> None:
        """What stood begins, and nothing that was ahead is so any more."""
        stood = not any(hand.step_due_ns is not None for hand in self._hands)
        self._entry = None
        self._leave_ending()
        self._replace_hands(transport.anchor_quarters)
        if stood and self.harmony is not None:
            self._changed_ns, self._strike_is_new = at_ns, True

    def _leave_ending(self) -> None:
        self._ends = None
        if self._fade is not None:
            self._out.control(self._fade.over())
            self._fade = None

    def _begin(self, at_ns: int) -> None:
        """The time begins with a strike."""
        transport = self.time.begin(at_ns)
        here = transport.position_at(at_ns)
        for hand in self._hands:
            if hand.begins_with_strike:
                hand.start(transport, here, here)
            else:
                hand.start(transport, _cycle_at(transport, hand.lane, here), here)

    def _next_entry(self, at_ns: int) -> Fraction | None:
        """The downbeat that what is struck now waits for; None just after one."""
        transport = self.transport
        assert transport is not None, "there is a time to come into"
        here = transport.position_at(at_ns)
        if transport.in_bar(here) <= self.meter.beat_quarters / 4:
            return None
        return transport.next_downbeat(here)

    def _come_in_or_end(self, now_ns: int) -> None:
        transport = self.transport
        if transport is None:
            return
        if self._entry is not None and transport.due_ns(self._entry) <= now_ns:
            self._entry = None
            if self.harmony is not None:
                self._changed_ns, self._strike_is_new = now_ns, True
        if self._ends is not None and transport.due_ns(self._ends) <= now_ns:
            self._ends = None
            self._strike_last_chord(now_ns, transport)
        fade = self._fade
        if fade is not None and fade.due_ns is not None and fade.due_ns <= now_ns:
            if self.harmony is not None:
                self._out.control(fade.perform(now_ns))
            if self.harmony is None or fade.is_done:
                self.stop()

    def _strike_last_chord(self, now_ns: int, transport: Transport) -> None:
        """Both hands strike their whole shapes and hold them, while they die away.

        If the keys are up just then, the chord that comes within a beat is the last one.
        """
        if self._voicing is None:
            self.stop()
            return
        for hand in self._hands:
            hand.leave()
        self._leaving += [hand for hand in self._hands if hand.groups]
        self._suspended, self._resolves = None, None
        self._hands = [
            HandPlayer(side, lane, self.style.touch, None, self._luck)
            for side, lane in lanes_of_last_chord(self._voicing)
        ]
        for hand in self._hands:
            hand.start(transport, transport.position_at(now_ns))
        beat_ns = int(transport.ns_per_quarter * self.meter.beat_quarters)
        self._fade = Fade(self._settings.channel, now_ns, beat_ns, self._expression)
        if self.harmony is not None:
            self._changed_ns, self._strike_is_new = now_ns, True

    def _is_too_late(self, now_ns: int) -> bool:
        """Whether what is due now is not to be heard: never a strike of the player's."""
        late = self._heard_from_ns is not None and now_ns < self._heard_from_ns
        return late and self._changed_ns is None

    def _foot_waits(self) -> bool:
        """Whether the foot must not go down yet: a hand holds a note of the chord before."""
        if not self._foot.goes_down_next:
            return False
        serial = None if self.harmony is None else self.harmony.serial
        hands = self._hands + self._leaving
        return any(group.serial != serial for hand in hands for group in hand.groups)

    def _suspend(self, chord: Chord) -> None:
        wanted, voicing = self.style.suspension, self._voicing
        self._suspended = (
            None
            if wanted is None or voicing is None
            else suspension.suspended(voicing, chord, wanted.degree, self._settings.span)
        )

    def _revoice(self, chord: Chord) -> None:
        left, right = self.style.left, self.style.right
        self._voicing = voice(left, right, chord, self._voicing_before, self._settings.span)

    def _bound(self, side: Side) -> Bound | None:
        """What the hand's tones are just now; None without a chord, and for a muted hand."""
        if side not in self._bounds:
            voicing = self._suspended or self._voicing
            silent = self._entry is not None or side is self.muted
            if self.harmony is None or voicing is None or silent:
                return None
            shape = voicing.left if side is Side.LEFT else voicing.right
            assert shape is not None, "a lane's hand has a shape: style.load sees to it"
            self._bounds[side] = Bound(self.harmony.serial, shape, self.harmony.level)
        return self._bounds[side]

    def _follow_chord(self, now_ns: int) -> None:
        """The hands learn of a new reading: late steps are put right, struck lanes start over."""
        if self._changed_ns is None or self.transport is None:
            return
        for hand in self._hands:
            bound = self._bound(hand.side)
            if not hand.begins_with_strike:
                if bound is not None:
                    hand.catch(now_ns, bound, self._out)
            elif self._strike_is_new:
                hand.release_all(self._out)
                hand.start_struck(self.transport, now_ns)
            if bound is not None:
                hand.amend(bound, self._out)
        for hand in self._leaving:
            assert self.harmony is not None, "a change of chord leaves a chord"
            tones = self.harmony.chord.pitch_classes
            hand.release_foreign(self.harmony.serial, tones, self._out)
        self._changed_ns, self._strike_is_new = None, False

    def _resolve(self, now_ns: int) -> None:
        if self._resolves is None or self._resolves[1] > now_ns:
            return
        self._resolves, self._suspended, self._bounds = None, None, {}
        for hand in self._hands:
            bound = self._bound(hand.side)
            if bound is not None:
                softer = max(1, bound.level - RESOLVES_SOFTER)
                hand.amend(replace(bound, level=softer), self._out)

    def _step_due_ns(self, strike_due_ns: int | None) -> int | None:
        """When the next step may play: when it is due, unless a strike's keys are arriving."""
        steps = [hand.step_due_ns for hand in self._hands if hand.step_due_ns is not None]
        due = min(steps, default=None)
        if due is None or strike_due_ns is None:
            return due
        return max(due, min(strike_due_ns, due + PATIENCE_NS))

    def _play_steps(self, now_ns: int, strike_due_ns: int | None) -> None:
        if self.transport is None:
            return
        due_ns = self._step_due_ns(strike_due_ns)
        ready = due_ns is not None and due_ns <= now_ns
        for hand in self._hands:
            if not (ready or hand.rolls):
                continue
            bound = self._bound(hand.side)
            if bound is not None:
                hand.roll_on(now_ns, bound, self._out)
            while ready and hand.step_due_ns is not None and hand.step_due_ns <= now_ns:
                hand.step(now_ns, bound, self._out)
                if bound is not None:
                    for leaving in self._leaving:
                        leaving.release_before(bound.serial, self._out)

    def _begin_to_sound(self, now_ns: int) -> None:
        """The first notes of a chord start its suspension and change the pedal."""
        if self.harmony is None or self.transport is None or self._sounded == self.harmony.serial:
            return
        self._sounded = self.harmony.serial
        if self._suspended is not None and self.style.suspension is not None:
            here = self.transport.position_at(now_ns)
            at_quarters = here + self.style.suspension.lasts_quarters
            self._resolves = at_quarters, self.transport.due_ns(at_quarters)
        if self.style.pedal is Pedal.LEGATO:
            self._foot.change(now_ns)

    def _leave(self) -> None:
        for hand in self._leaving:
            hand.release_all(self._out)
        self._leaving = []

    def _replace_hands(self, here: Fraction | None, *, keeps_struck: bool = False) -> None:
        """New hands come in: bar lanes at their next step, struck ones on the next beat.

        `here` is where the music is, None if the time stands. Hands whose lanes count from the
        strike go on as they are if they are to be kept. So does a last chord.
        """
        if self._fade is not None:
            self._let_go_without_shape()
            return
        before, transport = self._hands, self.transport
        self._set_hands()
        if keeps_struck:
            kept = {(hand.side, hand.lane): hand for hand in before if hand.begins_with_strike}
            self._hands = [kept.get((hand.side, hand.lane), hand) for hand in self._hands]
        gone = [hand for hand in before if hand not in self._hands]
        for hand in gone:
            hand.leave()
        self._leaving += [hand for hand in gone if hand.groups]
        if transport is None or here is None:
            return
        for hand in self._hands:
            if hand in before:
                continue
            if hand.begins_with_strike:
                hand.start(transport, transport.next_beat(here))
            else:
                origin = transport.bar_quarters
                if self._entry is None:
                    origin = _cycle_at(transport, hand.lane, here)
                hand.start(transport, origin, here)

    def _let_go_without_shape(self) -> None:
        """In a last chord, the hand that the style chosen meanwhile does not have."""
        shaped = {Side.LEFT: self.style.left, Side.RIGHT: self.style.right}
        gone = [hand for hand in self._hands if shaped[hand.side] is None]
        for hand in gone:
            hand.leave()
        self._hands = [hand for hand in self._hands if hand not in gone]
        self._leaving += [hand for hand in gone if hand.groups]

    def _set_hands(self) -> None:
        self._hands_meter = self.meter
        figure = self.style.figure_for(self.meter)
        lanes = [(Side.LEFT, figure.left), (Side.RIGHT, figure.right)]
        self._hands = [
            HandPlayer(side, lane, self.style.touch, self._swing(), self._luck, self.style.catch)
            for side, lane in lanes
            if lane is not None
        ]

    def _swing(self) -> Swing | None:
        """The unit that swings and its ratio; None where nothing does.

        That is in compound meters, and in those whose bars are no whole pairs, as 7/8.
        """
        unit, ratio = self.style.swings.value, self.swing
        if unit is None or ratio == 1 or self.meter.beat_quarters.numerator % 3 == 0:
            return None
        return (unit, ratio) if self.meter.bar_quarters % (2 * unit) == 0 else None


def _cycle_at(transport: Transport, lane: Lane, here: Fraction) -> Fraction:
    """Where a lane's cycle counts from: its downbeat, or before that whole cycles earlier."""
    ahead = transport.bar_quarters - here
    cycles = -(-ahead // lane.cycle_quarters) if ahead > 0 else 0
    return transport.bar_quarters - cycles * lane.cycle_quarters
