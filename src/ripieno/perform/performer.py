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

from ripieno.perform import events as ev
from ripieno.perform.accompaniment import Accompaniment
from ripieno.perform.clock_out import ClockOut
from ripieno.perform.count import Count
from ripieno.perform.events import Input, Send
from ripieno.perform.ledger import Ledger, PedalPost
from ripieno.perform.message import EXPRESSION, NOTE_ON, SUSTAIN, control, silence
from ripieno.perform.moved import Moved
from ripieno.perform.outbox import MELODY, SHOWN, Outbox
from ripieno.perform.own_part import OwnPart, Struck, is_within_reach
from ripieno.perform.settings import ReadKeys, Settings
from ripieno.perform.time_events import TimeEvents
from ripieno.perform.trigger import Strike, Timing, Trigger
from ripieno.perform.zones import Zone, Zones
from ripieno.style.model import Style
from ripieno.theory.key import Key, Mode, chord_from_key
from ripieno.theory.recognize import Reading, recognize

_AT_ONCE = {ReadKeys.PLAYED: 3, ReadKeys.FROM_KEY: 1}  # keys that are read without waiting
_C_MAJOR = Key(0, Mode.MAJOR)  # what single keys are degrees of while no key has been said


@dataclass(frozen=True, slots=True)
class Heard:
    """A chord as it was read: what a journal keeps. `amends`: it corrects the one before."""

    at_ns: int
    strike_ns: int
    reading: Reading
    amends: bool


class Performer:
    """One instrument: a keyboard's events in, one accompaniment out."""

    def __init__(self, settings: Settings, style: Style) -> None:
        self.ledger = Ledger()
        self.key = settings.key
        self.hold = settings.hold
        self._channel = settings.channel
        self._reading = settings.reading
        self._trigger = Trigger(Timing(), at_once=_AT_ONCE[settings.reading])
        self._zones = Zones(settings.split, settings.transpose)
        self._own_part = OwnPart()
        self._pedals = {settings.channel: PedalPost(settings.channel)}
        self._moved = Moved()
        self._out = Outbox(self.ledger, settings.channel)
        pedal = self._pedals[settings.channel]
        self.accompaniment = Accompaniment(settings, style, self._out, pedal)
        self.count = Count(self.ledger)
        clock_out = ClockOut()
        clock_out.switch(on=settings.send_clock)
        self._time_events = TimeEvents(self.accompaniment, self.count, clock_out)
        self._clock_ns: int | None = None  # the last instant performed
        self._event_ns: int | None = None  # when the last event was taken
        self._due_ns: int | None = None  # what `next_due_ns` found, until something happens
        self._due_is_known = True
        self._heard: list[Heard] = []
        self._shown: tuple[int, ...] = ()
        self._handlers: dict[type, Callable[..., list[bytes]]] = {
            ev.KeyDown: self._key_down,
            ev.KeyUp: self._key_up,
            ev.Controller: self._controller,
            ev.Passing: self._passing,
            ev.Stop: self._stop,
            ev.Silence: self._silence,
            ev.Break: self._break,
            ev.CountIn: self._break,
            ev.SetStyle: self._set_style,
            ev.SetHold: self._set_hold,
            ev.SetKey: self._set_key,
            ev.SetSplit: self._set_split,
            ev.SetTranspose: self._set_transpose,
            ev.SetReading: self._set_reading,
            ev.SetMuted: self._set_muted,
            ev.Show: self._show,
            ev.Resume: self._resume,
        }

    def effective_ns(self, at_ns: int) -> int:
        """The instant at which an event stamped `at_ns` would be taken."""
        return at_ns if self._clock_ns is None else max(at_ns, self._clock_ns + 1)

    def handle(self, event: Input) -> list[Send]:
        """Take an event, after performing all that was due before it."""
        at_ns = self.effective_ns(event.at_ns)
        sends = self.advance(at_ns - 1)
        self._event_ns = at_ns
        self._due_is_known = False
        handler = self._handlers.get(type(event))
        if handler is None:
            self._time_events.take(at_ns, event)
        data = handler(at_ns, event) if handler else []
        fresh = self._time_events.perform(at_ns) + self._out.flush(at_ns)
        fresh += [Send(at_ns, message) for message in data]
        return sends + self._expressed(fresh)

    def advance(self, now_ns: int) -> list[Send]:
        """Perform everything due at or before an instant, each thing at its own.

        What an event has made due in the past (a step that waited for it) is due with it.
        """
        sends: list[Send] = []
        while (due_ns := self.next_due_ns()) is not None and due_ns <= now_ns:
            sends += self._perform(due_ns)
            if due_ns == now_ns:
                break  # the notes go out before anybody asks what comes next
        return sends

    def skip_to(self, now_ns: int) -> None:
        """Tell that it is now `now_ns`, for a driver on whom time does not wait.

        Call it after each wake-up, before events are handed in: steps that should have been
        struck more than half a second before will go by unheard, as after the process was
        stopped for a while. Notes still end and chords are still struck. A driver in virtual
        time never calls it, and so loses nothing however far it jumps.
        """
        self.accompaniment.skip_to(now_ns)

    def next_due_ns(self) -> int | None:
        """The next instant at which something is due; None: nothing until an event comes."""
        if not self._due_is_known:
            self._due_ns, self._due_is_known = self._work_out_due_ns(), True
        return self._due_ns

    @property
    def keys(self) -> tuple[int, ...]:
        """The keys that are down, ascending, as keys and not as the notes they mean."""
        return self._zones.keys

    @property
    def gathering(self) -> bool:
        """Whether keys have arrived that make no chord yet."""
        return self._trigger.gathering

    def take_heard(self, before_ns: int | None = None) -> list[Heard]:
        """The chords read since the last call, oldest first; only those before an instant.

        Of several readings of a strike at one instant there is only the last: no note was
        played for the others.
        """
        if not self._heard:
            return []
        taken = [h for h in self._heard if before_ns is None or h.at_ns < before_ns]
        self._heard = self._heard[len(taken) :]
        return taken

    def pedal(self, channel: int) -> PedalPost:
        """The sustain pedal of a channel."""
        if channel not in self._pedals:
            self._pedals[channel] = PedalPost(channel)
        return self._pedals[channel]

    def _perform(self, now_ns: int) -> list[Send]:
        self._clock_ns = now_ns if self._clock_ns is None else max(now_ns, self._clock_ns)
        strike_ns = self._settle(now_ns)
        self._due_is_known = False
        self.accompaniment.perform(now_ns, self._arriving_ns(strike_ns))
        return self._expressed(self._time_events.perform(now_ns) + self._out.flush(now_ns))

    def _expressed(self, sends: list[Send]) -> list[Send]:
        """With the player's expression before the first note after a chord that has died away."""
        if not self.accompaniment.is_faded:
            return sends
        struck = [send.data[0] == NOTE_ON | self._channel for send in sends]
        if True not in struck:
            return sends
        place = struck.index(True)
        back = [Send(sends[place].due_ns, data) for data in self.accompaniment.give_back()]
        return sends[:place] + back + sends[place:]

    def _work_out_due_ns(self) -> int | None:
        strike_ns = self._trigger.due_ns()
        playing_ns = self.accompaniment.due_ns(self._arriving_ns(strike_ns))
        dues = (strike_ns, playing_ns, self._time_events.due_ns())
        due_ns = min([at for at in dues if at is not None], default=None)
        if due_ns is None:
            return None
        # What is struck late may be over by then: it ends no earlier than it began.
        return max(due_ns, self._event_ns or due_ns, self._clock_ns or due_ns)

    def _arriving_ns(self, strike_ns: int | None) -> int | None:
        """When the strike whose keys are arriving will be decided; None: no keys are."""
        return strike_ns if strike_ns is not None and self._trigger.gathering else None

    def _settle(self, now_ns: int) -> int | None:
        """Take the strikes that time alone decides; when it decides the next."""
        while (due_ns := self._trigger.due_ns()) is not None and due_ns <= now_ns:
            self._take(self._trigger.advance(now_ns))
        return due_ns

    def _take(self, strike: Strike | None) -> None:
        """A strike may have been decided: then it is the harmony from now on."""
        if strike is None:
            return
        if not self._trigger.down and not self.hold:
            self.accompaniment.lift()  # decided only after the last key came up again
            return
        reading, amends = self._read(strike.keys), strike.amends
        if amends and self._heard and self._heard[-1].at_ns == strike.at_ns:
            amends = self._heard.pop().amends
        self._heard.append(Heard(strike.at_ns, strike.strike_ns, reading, amends))
        self.accompaniment.strike(
            strike.at_ns,
            reading.chord,
            strike.velocity,
            amends=strike.amends,
            strike_ns=strike.strike_ns,
        )

    def _read(self, keys: tuple[int, ...]) -> Reading:
        if self._reading is ReadKeys.FROM_KEY:
            return Reading(chord_from_key(keys[0], self.key or _C_MAJOR), keys, ())
        harmony = self.accompaniment.harmony
        return recognize(keys, self.key, None if harmony is None else harmony.chord)

    # Events. Each answers with what is sent at once, after what the hands let go.

    def _key_down(self, at_ns: int, event: ev.KeyDown) -> list[bytes]:
        is_again = self._zones.is_down(event.note, event.channel)  # a server may bring it twice
        zone, note = self._zones.down(event.note, event.channel)
        if zone is not Zone.MELODY:
            self._settle(at_ns)
            zone = zone if is_again else self._zone_beside_own_part(at_ns, event, note)
        data: list[bytes] = []
        if zone is not Zone.TRIGGER:
            self.pedal(event.channel)  # whatever silences all channels in use must know this one
            data = self.ledger.strike(MELODY, event.channel, note, event.velocity)
        if zone is not Zone.MELODY:
            self._take(self._trigger.key_down(at_ns, note, event.velocity))
        return data

    def _zone_beside_own_part(self, at_ns: int, event: ev.KeyDown, note: int) -> Zone:
        """Where a key belongs that would be a chord's if no hand were the player's own.

        Keys that have turned out to be a chord's by it are read.
        """
        if not self._has_own_part:
            return Zone.TRIGGER
        tones = self.accompaniment.tones_of_muted
        is_own = is_within_reach(note, tones)
        if is_own:
            self._zones.turn(event.note, event.channel, Zone.MELODY)
            struck = Struck(at_ns, event.note, event.channel, note, event.velocity)
            self._own_part.down(struck)
        if self._reading is ReadKeys.PLAYED:
            others = self._trigger.gathering or not is_own
            for key in self._own_part.take_chord(at_ns, tones, others=others):
                self._zones.turn(key.key, key.channel, Zone.BOTH)
                self._take(self._trigger.key_down(at_ns, key.note, key.velocity))
        return Zone.MELODY if is_own else Zone.TRIGGER

    @property
    def _has_own_part(self) -> bool:
        """Whether a hand is left to the player, in the music or in what is shown of it."""
        playing = self.accompaniment.harmony is not None or bool(self._shown)
        return playing and self.accompaniment.muted is not None

    def _key_up(self, at_ns: int, event: ev.KeyUp) -> list[bytes]:
        pressed = self._zones.up(event.note, event.channel)
        if pressed is None:
            return []
        zone, note = pressed
        data: list[bytes] = []
        if zone is not Zone.TRIGGER:
            self._own_part.up(event.note, event.channel)
        if zone is not Zone.TRIGGER and not self._zones.plays(note, event.channel):
            data = self.ledger.release(MELODY, event.channel, note, event.velocity)
        if zone is not Zone.MELODY and not self._zones.triggers(note):
            self._settle(at_ns)
            self._take(self._trigger.key_up(at_ns, note))
            self._end_unless_held()
        return data

    def _end_unless_held(self) -> None:
        if not (self.hold or self._trigger.down or self._trigger.gathering):
            self.accompaniment.lift()

    def _controller(self, _at_ns: int, event: ev.Controller) -> list[bytes]:
        if event.number == SUSTAIN:
            return self.pedal(event.channel).player(event.value)
        if event.number == EXPRESSION and event.channel == self._channel:
            return self.accompaniment.express(event.value)
        data = control(event.channel, event.number, event.value)
        self._moved.passed(data)
        return [data]

    def _passing(self, _at_ns: int, event: ev.Passing) -> list[bytes]:
        self._moved.passed(event.data)
        return [event.data]

    def _stop(self, _at_ns: int, _event: ev.Stop | ev.Silence) -> list[bytes]:
        """Whatever still sounds after the hands have let go is the player's: it ends too."""
        self.accompaniment.stop()
        self.count.stop()
        self._trigger.clear()
        self._own_part.clear()
        self._shown = ()
        data = [send.data for send in self._out.flush(0)] + self.ledger.release_all()
        for pedal in self._pedals.values():
            data += pedal.lift()
        return data + self._moved.pedals_up()

    def _silence(self, at_ns: int, event: ev.Silence) -> list[bytes]:
        data = self._stop(at_ns, event)
        self._time_events.silence()
        data += self._moved.at_rest()
        for channel in sorted(self._pedals):
            data += silence(channel)
        return data

    def _break(self, at_ns: int, event: ev.Break | ev.CountIn) -> list[bytes]:
        """What was struck before comes to nothing any more, though it were decided later."""
        self._trigger.drop()
        self._time_events.take(at_ns, event)
        return []

    def _set_style(self, at_ns: int, event: ev.SetStyle) -> list[bytes]:
        self.accompaniment.set_style(at_ns, event.style)
        return []

    def _set_hold(self, _at_ns: int, event: ev.SetHold) -> list[bytes]:
        self.hold = event.hold
        self._end_unless_held()
        return []

    def _set_key(self, _at_ns: int, event: ev.SetKey) -> list[bytes]:
        self.key = event.key
        return []

    def _set_split(self, _at_ns: int, event: ev.SetSplit) -> list[bytes]:
        self._zones.split = event.split
        return []

    def _set_transpose(self, _at_ns: int, event: ev.SetTranspose) -> list[bytes]:
        self._zones.transpose = event.semitones
        return []

    def _set_reading(self, _at_ns: int, event: ev.SetReading) -> list[bytes]:
        self._reading = event.reading
        self._trigger.enough_are(_AT_ONCE[event.reading])
        return []

    def _set_muted(self, _at_ns: int, event: ev.SetMuted) -> list[bytes]:
        self.accompaniment.set_muted(event.muted)
        return []

    def _show(self, _at_ns: int, event: ev.Show) -> list[bytes]:
        data: list[bytes] = []
        for note in self._shown:
            data += self.ledger.release(SHOWN, self._channel, note)
        self._shown = event.notes
        for note in dict.fromkeys(event.notes):
            data += self.ledger.strike(SHOWN, self._channel, note, event.velocity)
        return data

    def _resume(self, at_ns: int, event: ev.Resume) -> list[bytes]:
        self.accompaniment.resume(at_ns, event.chord, event.level, event.transport)
        return []
