"""The accompaniment: what both hands and the foot do with the chord that is on.

It is told of strikes and changes, and performs what is due, instant by instant, into an outbox.
A chord is on from its strike; it *sounds* from the first note struck for it, which may be the
next step of the figure. Its suspension and the change of pedal count from there.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from ripieno.arrange import suspension
from ripieno.arrange.dynamics import RESOLVES_SOFTER
from ripieno.arrange.pedal import change
from ripieno.arrange.voicing import Voicing, voice
from ripieno.perform.hand_player import Bound, HandPlayer
from ripieno.perform.ledger import PedalPost
from ripieno.perform.outbox import Outbox
from ripieno.perform.settings import Settings
from ripieno.perform.transport import Transport
from ripieno.style.model import Meter, Pedal, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS, ns_per_quarter

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


# Steps that a stalled program comes to so late are not played any more, all at one blow.
TOO_LATE_NS = 500 * NS_PER_MS


class Accompaniment:
    """Two hands and a foot. `transport` and `harmony` are None until the first strike."""

    def __init__(self, settings: Settings, style: Style, out: Outbox, pedal: PedalPost) -> None:
        self.style = style
        self.transport: Transport | None = None
        self.harmony: Harmony | None = None
        self.meter = settings.meter
        self.ns_per_quarter = ns_per_quarter(settings.bpm, settings.meter.beat_quarters)
        self.muted = settings.muted
        self._settings = settings
        self._out = out
        self._pedal = pedal
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
        self._pedal_plan: list[tuple[int, bool]] = []
        self._set_hands()

    def strike(self, at_ns: int, chord: Chord, level: int, *, amends: bool) -> None:
        """A chord is on from now; `amends`: it corrects the reading of the strike before."""
        amends = amends and self.harmony is not None
        if not amends:
            self._serial += 1
            self._voicing_before = self._voicing
            self._strike_is_new, self._resolves = True, None
        self.harmony, self._bounds = Harmony(chord, self._serial, level), {}
        self._revoice(chord)
        if not amends or self._suspended is not None:
            self._suspend(chord)
        self._changed_ns = at_ns
        if self.transport is None:
            self.transport = Transport(at_ns, Fraction(0), self.ns_per_quarter, self.meter)
            for hand in self._hands:
                hand.start(self.transport, Fraction(0))

    def resume(self, at_ns: int, chord: Chord, level: int, transport: Transport) -> None:
        """A chord is on and struck now, in a time that runs already."""
        self.ns_per_quarter, self.meter = transport.ns_per_quarter, transport.meter
        self.transport = transport
        self._replace_hands(at_ns)
        self.strike(at_ns, chord, level, amends=False)

    def lift(self) -> None:
        """No chord any more: hands and foot come up, the time goes on."""
        for hand in self._hands + self._leaving:
            hand.release_all(self._out)
        self._leaving, self._pedal_plan = [], []
        self.harmony, self._changed_ns, self._resolves = None, None, None
        self._strike_is_new, self._suspended, self._bounds = False, None, {}
        self._out.control(self._pedal.program(down=False))

    def stop(self) -> None:
        """As `lift`, and the next strike is a downbeat again."""
        self.lift()
        self.transport, self._voicing, self._voicing_before = None, None, None
        self._luck.seed(self._settings.seed)  # after a stop it plays as if just begun
        self._set_hands()

    def set_style(self, at_ns: int, style: Style) -> None:
        """Another style takes over where the music is."""
        self.style = style
        if style.pedal is Pedal.NONE:
            self._pedal_plan = []
            self._out.control(self._pedal.program(down=False))
        self._suspended, self._resolves, self._bounds = None, None, {}
        if self.harmony is not None:
            self._revoice(self.harmony.chord)
        self._replace_hands(at_ns)

    def set_tempo(self, at_ns: int, bpm: float) -> None:
        """Another tempo of the meter's beat; what is under way is re-timed."""
        self.ns_per_quarter = ns_per_quarter(bpm, self.meter.beat_quarters)
        if self.transport is None:
            return
        self.transport = self.transport.at_tempo(at_ns, self.ns_per_quarter)
        for hand in self._hands + self._leaving:
            hand.retime(self.transport)
        if self._resolves is not None:
            at_quarters, _ = self._resolves
            self._resolves = at_quarters, self.transport.due_ns(at_quarters)

    def set_muted(self, muted: Side | None) -> None:
        """A hand that is silent from now on, until another one is or none."""
        self.muted, self._bounds = muted, {}
        for hand in self._hands + self._leaving:
            if hand.side is muted:
                hand.release_all(self._out)

    def set_meter(self, at_ns: int, meter: Meter) -> None:
        """Another meter, whose first downbeat is now. Quarters keep their length."""
        self.meter = meter
        if self.transport is not None:
            here = self.transport.position_at(at_ns)
            self.transport = self.transport.in_meter(here, meter)
        self._replace_hands(at_ns)

    @property
    def pedal_is_down(self) -> bool:
        """Whether the accompaniment's own foot is on the pedal."""
        return self._pedal.ours

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
        due = [self._step_due_ns(strike_due_ns)]
        due += [hand.note_due_ns for hand in self._hands]
        due += [hand.note_due_ns for hand in self._leaving]
        if self._resolves is not None:
            due.append(self._resolves[1])
        if self._pedal_plan and not self._foot_waits():
            due.append(self._pedal_plan[0][0])
        return min([at for at in due if at is not None], default=None)

    def skip_to(self, now_ns: int) -> None:
        """It is now so late: steps that should have sounded long before go by in silence."""
        self._heard_from_ns = now_ns - TOO_LATE_NS

    def perform(self, now_ns: int, strike_due_ns: int | None) -> None:
        """Do all that is due at or before an instant."""
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
                self._change_pedal(now_ns)
        while self._pedal_plan and self._pedal_plan[0][0] <= now_ns and not self._foot_waits():
            self._out.control(self._pedal.program(down=self._pedal_plan.pop(0)[1]))

    def _is_too_late(self, now_ns: int) -> bool:
        """Whether what is due now is not to be heard: never a strike of the player's."""
        late = self._heard_from_ns is not None and now_ns < self._heard_from_ns
        return late and self._changed_ns is None

    def _foot_waits(self) -> bool:
        """Whether the foot must not go down yet: a hand holds a note of the chord before."""
        if not self._pedal_plan[0][1]:
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
            if self.harmony is None or voicing is None or side is self.muted:
                return None
            shape = voicing.left if side is Side.LEFT else voicing.right
            assert shape is not None, "a lane's hand has a shape: style.load sees to it"
            self._bounds[side] = Bound(self.harmony.serial, shape, self.harmony.level)
        return self._bounds[side]

    def _follow_chord(self, now_ns: int) -> None:
        """The hands learn of a new reading: late steps are put right, struck lanes start over."""
        if self._changed_ns is None or self.transport is None:
            return
        starts = self._strike_is_new and any(hand.begins_with_strike for hand in self._hands)
        here = self.transport.position_at(now_ns) if starts else None
        for hand in self._hands:
            bound = self._bound(hand.side)
            if not hand.begins_with_strike:
                if bound is not None:
                    hand.catch(now_ns, bound, self._out)
            elif here is not None:
                hand.release_all(self._out)
                hand.start(self.transport, here)
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
            self._change_pedal(now_ns)

    def _change_pedal(self, now_ns: int) -> None:
        plan = change(now_ns, is_down=self._pedal.ours)
        ups = [] if plan.up_ns is None else [(plan.up_ns, False)]
        self._pedal_plan = [*ups, (plan.down_ns, True)]

    def _leave(self) -> None:
        for hand in self._leaving:
            hand.release_all(self._out)
        self._leaving = []

    def _replace_hands(self, at_ns: int) -> None:
        """New hands come in: bar lanes at their next step, struck ones on the next beat."""
        for hand in self._hands:
            hand.leave()
        self._leaving += [hand for hand in self._hands if hand.groups]
        self._set_hands()
        if self.transport is None:
            return
        here = self.transport.position_at(at_ns)
        beat = self.transport.next_beat(here)
        for hand in self._hands:
            if hand.begins_with_strike:
                hand.start(self.transport, beat)
            else:
                hand.start(self.transport, self.transport.bar_quarters, here)

    def _set_hands(self) -> None:
        figure = self.style.figure_for(self.meter)
        lanes = [(Side.LEFT, figure.left), (Side.RIGHT, figure.right)]
        self._hands = [
            HandPlayer(side, lane, self.style.touch, self._swing(), self._luck)
            for side, lane in lanes
            if lane is not None
        ]

    def _swing(self) -> tuple[Fraction, Fraction] | None:
        """The unit that swings and its ratio; None where nothing does, as in compound meters."""
        unit, ratio = self.style.swings.value, self._settings.swing
        compound = self.meter.beat_quarters.numerator % 3 == 0
        return None if unit is None or ratio == 1 or compound else (unit, ratio)
