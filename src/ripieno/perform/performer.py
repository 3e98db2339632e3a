"""The performer: keys in, accompaniment out; no I/O and no clock.

Three calls, by whoever has a clock (the real-time loop, the offline renderer, a replay, a
test): `handle` takes an event, `advance` performs what is due, `next_due_ns` says when to call
it. A driver hands in all the events it has, then advances; what a strike sets sounding is due
at once and comes from `advance`, so that keys arriving together are heard together.

The same events with the same stamps give the same messages, whenever the driver calls:
`handle` first performs everything due before its event. An event stamped before what has
already been performed is taken as coming just after it; a driver that keeps a journal stamps
its events with `effective_ns` first, so that the journal replays identically.

Neither call raises for anything a player can do.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from random import Random

from ripieno.arrange import suspension
from ripieno.arrange.dynamics import RESOLVES_SOFTER
from ripieno.arrange.pedal import change
from ripieno.arrange.voicing import HandVoicing, Voicing, voice
from ripieno.perform import events as ev
from ripieno.perform.events import Input, Send
from ripieno.perform.hand_player import Bound, HandPlayer, begins_with_strike
from ripieno.perform.ledger import Ledger, PedalPost
from ripieno.perform.message import ALL_NOTES_OFF, ALL_SOUND_OFF, SUSTAIN, control
from ripieno.perform.outbox import MELODY, Outbox
from ripieno.perform.settings import ReadKeys, Settings
from ripieno.perform.transport import Transport
from ripieno.perform.trigger import Strike, Timing, Trigger
from ripieno.perform.zones import Zone, Zones
from ripieno.style.model import Pedal, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.theory.key import Key, Mode, chord_from_key
from ripieno.theory.recognize import Reading, recognize
from ripieno.units import NS_PER_MS, ns_per_quarter

# A step that falls while the keys of a strike are still arriving waits for them, so long at
# most: half of all one-hand chords spread over 25 ms (Vienna 4x22, measured), and a wrong
# note that is put right after 15 ms is heard as a wrong note, a step 15 ms late is not.
PATIENCE_NS = 20 * NS_PER_MS


@dataclass(frozen=True, slots=True)
class Heard:
    """A chord as it was read: what a journal keeps. `amends`: it corrects the one before."""

    at_ns: int
    strike_ns: int
    reading: Reading
    amends: bool


@dataclass(frozen=True, slots=True)
class Harmony:
    """The chord that is on. `serial` counts strikes: an amended chord keeps its number."""

    chord: Chord
    serial: int
    level: int


class Performer:
    """One instrument: a keyboard's events in, one accompaniment out."""

    def __init__(self, settings: Settings, style: Style) -> None:
        self.settings = settings
        self.style = style
        self.ledger = Ledger()
        self.transport: Transport | None = None
        self.harmony: Harmony | None = None
        self._trigger = Trigger(Timing(), at_once=1 if settings.reading is ReadKeys.FROM_KEY else 3)
        self._zones = Zones(settings.split)
        self._pedals: dict[int, PedalPost] = {}
        self._out = Outbox(self.ledger, settings.channel)
        self._luck = Random(settings.seed)
        self.meter = settings.meter
        self.ns_per_quarter = ns_per_quarter(settings.bpm, settings.meter.beat_quarters)
        self._hold = settings.hold
        self._key = settings.key
        self._hands: list[HandPlayer] = []
        self._leaving: list[HandPlayer] = []
        self._set_hands()
        self._clock_ns: int | None = None  # the last instant performed
        self._event_ns: int | None = None  # when the last event was taken
        self._voicing: Voicing | None = None
        self._voicing_before: Voicing | None = None
        self._changed_ns: int | None = None
        self._strike_is_new = False
        self._suspended: int | None = None  # semitones from the third, while it is held off
        self._resolves_ns: int | None = None
        self._resolves_quarters = Fraction(0)
        self._sounded = 0  # the serial of the last strike that has sounded
        self._serial = 0
        self._pedal_plan: list[tuple[int, bool]] = []
        self._heard: list[Heard] = []
        self._handlers: dict[type, Callable[..., list[Send]]] = {
            ev.KeyDown: self._key_down,
            ev.KeyUp: self._key_up,
            ev.Controller: self._controller,
            ev.Passing: self._passing,
            ev.Stop: self._stop,
            ev.Silence: self._silence,
            ev.SetStyle: self._set_style,
            ev.SetTempo: self._set_tempo,
            ev.SetMeter: self._set_meter,
            ev.SetHold: self._set_hold,
            ev.SetKey: self._set_key,
        }

    def effective_ns(self, at_ns: int) -> int:
        """The instant at which an event stamped `at_ns` would be taken."""
        return at_ns if self._clock_ns is None else max(at_ns, self._clock_ns + 1)

    def handle(self, event: Input) -> list[Send]:
        """Take an event, after performing all that was due before it."""
        at_ns = self.effective_ns(event.at_ns)
        sends = self.advance(at_ns - 1)
        self._event_ns = at_ns
        return sends + self._handlers[type(event)](at_ns, event)

    def advance(self, now_ns: int) -> list[Send]:
        """Perform everything due at or before an instant, each thing at its own.

        What an event has made due in the past (a step that waited for it) is due with it.
        """
        sends: list[Send] = []
        while (due_ns := self.next_due_ns()) is not None and due_ns <= now_ns:
            sends += self._perform(max(due_ns, self._event_ns or due_ns))
        return sends

    def next_due_ns(self) -> int | None:
        """The next instant at which something is due; None: nothing until an event comes.

        May lie in the past, for what an event has just made due.
        """
        due = [self._trigger.due_ns(), self._changed_ns, self._resolves_ns, self._step_due_ns()]
        due += [hand.note_due_ns for hand in self._hands + self._leaving]
        if self._pedal_plan:
            due.append(self._pedal_plan[0][0])
        return min((at for at in due if at is not None), default=None)

    def take_heard(self) -> list[Heard]:
        """The chords read since the last call, oldest first."""
        heard, self._heard = self._heard, []
        return heard

    @property
    def pedal_is_down(self) -> bool:
        """Whether the accompaniment's own foot is on the pedal."""
        return self._pedal(self.settings.channel).ours

    @property
    def key(self) -> Key | None:
        """The song's key, if it has been said."""
        return self._key

    @property
    def hold(self) -> bool:
        """Whether lifting the keys leaves the harmony on."""
        return self._hold

    def notes_of(self, side: Side) -> tuple[int, ...]:
        """What a hand holds down now, ascending."""
        hands = [hand for hand in self._hands + self._leaving if hand.side is side]
        return tuple(sorted({n for hand in hands for group in hand.groups for n in group.notes}))

    # One instant.

    def _perform(self, now_ns: int) -> list[Send]:
        self._clock_ns = now_ns if self._clock_ns is None else max(now_ns, self._clock_ns)
        self._settle(now_ns)
        for hand in self._hands + self._leaving:
            hand.end_notes(now_ns, self._out)
        self._change_chord(now_ns)
        self._resolve(now_ns)
        self._play_steps(now_ns)
        self._note_what_sounds(now_ns)
        self._move_pedal(now_ns)
        return self._out.flush(now_ns)

    def _settle(self, now_ns: int) -> None:
        """Take the strikes that time alone decides."""
        while (due_ns := self._trigger.due_ns()) is not None and due_ns <= now_ns:
            self._take(self._trigger.advance(now_ns))

    def _take(self, strike: Strike | None) -> None:
        """A strike may have been decided: then it is the harmony from now on."""
        if strike is None:
            return
        if not self._trigger.down and not self._hold:
            return
        reading = self._read(strike.keys)
        self._heard.append(Heard(strike.at_ns, strike.strike_ns, reading, strike.amends))
        amends = strike.amends and self.harmony is not None
        if not amends:
            self._serial += 1
            self._voicing_before = self._voicing
            self._strike_is_new, self._resolves_ns = True, None
        self.harmony = Harmony(reading.chord, self._serial, strike.velocity)
        self._suspend(still=not amends or self._suspended is not None)
        self._revoice()
        self._changed_ns = strike.at_ns
        if self.transport is None:
            self._start(strike.at_ns)

    def _read(self, keys: tuple[int, ...]) -> Reading:
        previous = None if self.harmony is None else self.harmony.chord
        if self.settings.reading is ReadKeys.PLAYED:
            return recognize(keys, self._key, previous)
        chord = chord_from_key(keys[0], self._key or Key(0, Mode.MAJOR))
        return Reading(chord, keys, ())

    def _start(self, now_ns: int) -> None:
        self.transport = Transport(now_ns, Fraction(0), self.ns_per_quarter, self.meter)
        for hand in self._hands:
            hand.start(self.transport, Fraction(0), Fraction(0))

    def _suspend(self, *, still: bool) -> None:
        wanted = self.style.suspension if still and self.harmony is not None else None
        self._suspended = (
            None
            if wanted is None or self.harmony is None
            else suspension.shift(self.harmony.chord, wanted.degree)
        )

    def _revoice(self) -> None:
        assert self.harmony is not None, "only a chord is voiced"
        style, span = self.style, self.settings.span
        self._voicing = voice(
            style.left, style.right, self.harmony.chord, self._voicing_before, span
        )

    def _bound(self, side: Side, *, softer: int = 0) -> Bound | None:
        """What the hand's tones are just now; None without a chord."""
        if self.harmony is None or self._voicing is None:
            return None
        shape = self._voicing.left if side is Side.LEFT else self._voicing.right
        assert shape is not None, "a lane's hand has a shape: style.load sees to it"
        if self._suspended is not None:
            shape = _with_third_moved(shape, self.harmony.chord, self._suspended)
        return Bound(self.harmony.serial, shape, max(1, self.harmony.level - softer))

    def _change_chord(self, now_ns: int) -> None:
        if self._changed_ns is None or self.transport is None or self.harmony is None:
            self._changed_ns = None
            return
        for hand in self._hands:
            bound = self._bound(hand.side)
            assert bound is not None, "there is a harmony"
            if not begins_with_strike(hand):
                hand.catch(now_ns, self.transport, bound, self._out)
                hand.amend(bound, self._out)
            elif self._strike_is_new:
                hand.release_all(self._out)
                here = self.transport.position_at(now_ns)
                hand.start(self.transport, here, here)
            else:
                hand.amend(bound, self._out)
        self._changed_ns, self._strike_is_new = None, False

    def _resolve(self, now_ns: int) -> None:
        if self._resolves_ns is None or self._resolves_ns > now_ns:
            return
        self._resolves_ns, self._suspended = None, None
        for hand in self._hands:
            bound = self._bound(hand.side, softer=RESOLVES_SOFTER)
            if bound is not None:
                hand.amend(bound, self._out)

    def _play_steps(self, now_ns: int) -> None:
        if self.transport is None:
            return
        due_ns = self._step_due_ns()
        ready = due_ns is not None and due_ns <= now_ns
        for hand in self._hands:
            bound = self._bound(hand.side)
            if bound is not None:
                hand.roll_on(now_ns, bound, self._out)
            while ready and hand.step_due_ns is not None and hand.step_due_ns <= now_ns:
                hand.step(now_ns, self.transport, bound, self._out)

    def _step_due_ns(self) -> int | None:
        """When the next step may play: when it is due, unless a strike's keys are arriving."""
        due = min((h.step_due_ns for h in self._hands if h.step_due_ns is not None), default=None)
        commits_ns = self._trigger.due_ns() if self._trigger.gathering else None
        if due is None or commits_ns is None:
            return due
        return max(due, min(commits_ns, due + PATIENCE_NS))

    def _note_what_sounds(self, now_ns: int) -> None:
        """The first notes of a chord start its suspension and change the pedal."""
        if not self._out.strikes:
            return
        for hand in self._leaving:
            hand.release_all(self._out)
        self._leaving = []
        if self.harmony is None or self.transport is None or self._sounded == self.harmony.serial:
            return
        self._sounded = self.harmony.serial
        if self._suspended is not None and self.style.suspension is not None:
            here = self.transport.position_at(now_ns)
            self._resolves_quarters = here + self.style.suspension.lasts_quarters
            self._resolves_ns = self.transport.due_ns(self._resolves_quarters)
        if self.style.pedal is Pedal.LEGATO:
            plan = change(now_ns, is_down=self.pedal_is_down)
            self._pedal_plan = [(plan.down_ns, True)]
            if plan.up_ns is not None:
                self._pedal_plan.insert(0, (plan.up_ns, False))

    def _move_pedal(self, now_ns: int) -> None:
        while self._pedal_plan and self._pedal_plan[0][0] <= now_ns:
            _, down = self._pedal_plan.pop(0)
            self._out.control(self._pedal(self.settings.channel).program(down=down))

    def _pedal(self, channel: int) -> PedalPost:
        if channel not in self._pedals:
            self._pedals[channel] = PedalPost(channel)
        return self._pedals[channel]

    # Events. Each answers with what is sent at once.

    def _key_down(self, at_ns: int, event: ev.KeyDown) -> list[Send]:
        if self._zones.down(event.note, event.channel) is Zone.MELODY:
            data = self.ledger.strike(MELODY, event.channel, event.note, event.velocity)
            return [Send(at_ns, message) for message in data]
        self._settle(at_ns)
        self._take(self._trigger.key_down(at_ns, event.note, event.velocity))
        return []

    def _key_up(self, at_ns: int, event: ev.KeyUp) -> list[Send]:
        zone = self._zones.up(event.note, event.channel)
        if zone is Zone.MELODY:
            data = self.ledger.release(MELODY, event.channel, event.note, event.velocity)
            return [Send(at_ns, message) for message in data]
        if zone is None:
            return []
        self._settle(at_ns)
        self._take(self._trigger.key_up(at_ns, event.note))
        if self._hold or self._trigger.down or self._trigger.gathering:
            return []
        return self._end_harmony(at_ns)

    def _controller(self, at_ns: int, event: ev.Controller) -> list[Send]:
        if event.number == SUSTAIN:
            data = self._pedal(event.channel).player(event.value)
        else:
            data = [control(event.channel, event.number, event.value)]
        return [Send(at_ns, message) for message in data]

    def _passing(self, at_ns: int, event: ev.Passing) -> list[Send]:
        return [Send(at_ns, event.data)]

    def _end_harmony(self, at_ns: int) -> list[Send]:
        """No chord any more: the hands lift, the time goes on."""
        for hand in self._hands + self._leaving:
            hand.release_all(self._out)
        self._leaving, self._pedal_plan = [], []
        self.harmony, self._changed_ns, self._resolves_ns = None, None, None
        self._strike_is_new, self._suspended = False, None
        self._out.control(self._pedal(self.settings.channel).program(down=False))
        return self._out.flush(at_ns)

    def _stop(self, at_ns: int, _event: ev.Stop | ev.Silence) -> list[Send]:
        sends = self._end_harmony(at_ns)
        self._trigger.clear()
        self.transport, self._voicing, self._voicing_before = None, None, None
        self._set_hands()
        data = self.ledger.release_all()
        for pedal in self._pedals.values():
            data += pedal.lift()
        return sends + [Send(at_ns, message) for message in data]

    def _silence(self, at_ns: int, event: ev.Silence) -> list[Send]:
        sends = self._stop(at_ns, event)
        self._pedal(self.settings.channel)
        for channel in sorted(self._pedals):
            # The pedal first: all notes off does not end notes that a pedal holds (MIDI 1.0).
            for number in (SUSTAIN, ALL_NOTES_OFF, ALL_SOUND_OFF):
                sends.append(Send(at_ns, control(channel, number, 0)))
        return sends

    def _set_style(self, at_ns: int, event: ev.SetStyle) -> list[Send]:
        self.style = event.style
        self._replace_hands()
        self._suspended, self._resolves_ns = None, None
        if self.harmony is not None:
            self._revoice()
        if self.transport is not None:
            self._enter(self.transport, at_ns)
        return []

    def _enter(self, transport: Transport, now_ns: int) -> None:
        """New hands come in: bar lanes at their next step, others on the next beat."""
        here = transport.position_at(now_ns)
        for hand in self._hands:
            beat = transport.next_beat(here)
            if begins_with_strike(hand):
                hand.start(transport, beat, beat)
            else:
                hand.start(transport, transport.bar_quarters, here)

    def _replace_hands(self) -> None:
        for hand in self._hands:
            hand.leave()
        self._leaving += [hand for hand in self._hands if hand.groups]
        self._set_hands()

    def _set_hands(self) -> None:
        figure = self.style.figure_for(self.meter)
        unit = self.style.swings.value
        compound = self.meter.beat_quarters.numerator % 3 == 0
        swings = unit is not None and self.settings.swing != 1 and not compound
        swing = (unit, self.settings.swing) if unit is not None and swings else None
        lanes = [(Side.LEFT, figure.left), (Side.RIGHT, figure.right)]
        self._hands = [
            HandPlayer(side, lane, self.style.touch, swing, self._luck)
            for side, lane in lanes
            if lane is not None
        ]

    def _set_tempo(self, at_ns: int, event: ev.SetTempo) -> list[Send]:
        self.ns_per_quarter = ns_per_quarter(event.bpm, self.meter.beat_quarters)
        if self.transport is not None:
            self.transport = self.transport.at_tempo(at_ns, self.ns_per_quarter)
            for hand in self._hands + self._leaving:
                hand.retime(self.transport)
            if self._resolves_ns is not None:
                self._resolves_ns = self.transport.due_ns(self._resolves_quarters)
        return []

    def _set_meter(self, at_ns: int, event: ev.SetMeter) -> list[Send]:
        self.meter = event.meter
        if self.transport is not None:
            here = self.transport.position_at(at_ns)
            self.transport = self.transport.in_meter(here, event.meter)
            self._replace_hands()
            self._enter(self.transport, at_ns)
        else:
            self._set_hands()
        return []

    def _set_hold(self, at_ns: int, event: ev.SetHold) -> list[Send]:
        self._hold = event.hold
        if self._hold or self._trigger.down or self.harmony is None:
            return []
        return self._end_harmony(at_ns)

    def _set_key(self, _at_ns: int, event: ev.SetKey) -> list[Send]:
        self._key = event.key
        return []


def _with_third_moved(shape: HandVoicing, chord: Chord, semitones: int) -> HandVoicing:
    """The shape with its third, in every octave, replaced by the tone suspended before it."""
    third = chord.quality.above_root(3)
    moved = sorted(
        (note + semitones if (note - chord.root) % 12 == third else note, tone)
        for note, tone in zip(shape.notes, shape.tones, strict=True)
    )
    return HandVoicing(tuple(n for n, _ in moved), tuple(t for _, t in moved))
