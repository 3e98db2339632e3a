"""The accompaniment: what both hands and the foot do with the chord that is on.

Where the music is, its `time` says (see `timekeeper`); what turns it takes, hands, foot and
resolutions follow here.

It is told of strikes and changes, and performs what is due, instant by instant, into an outbox.
A chord is on from its strike; it *sounds* from the first note struck for it, which may be the
next step of the figure. Its suspension and the change of pedal count from there.
"""

from dataclasses import replace
from fractions import Fraction
from random import Random

from ripieno.arrange.dynamics import RESOLVES_SOFTER
from ripieno.perform.both_hands import BothHands, come_in
from ripieno.perform.chord_on import ChordOn, Harmony
from ripieno.perform.foot import Foot
from ripieno.perform.hand_player import Bound
from ripieno.perform.last_chord import Ending, lanes_of_last_chord
from ripieno.perform.ledger import PedalPost
from ripieno.perform.outbox import Outbox
from ripieno.perform.settings import Settings, Start
from ripieno.perform.timekeeper import Timekeeper, Turn
from ripieno.perform.transport import Transport
from ripieno.style.model import Meter, Pedal, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS

# A step that falls while the keys of a strike are still arriving waits for them, so long at
# most: half of all one-hand chords spread over 25 ms (Vienna 4x22, measured), and a wrong
# note that is put right after 15 ms is heard as a wrong note, a step 15 ms late is not.
PATIENCE_NS = 20 * NS_PER_MS

# Of the steps that the time is shifted over, one no later than this is still played.
_SHIFTED_NS = 80 * NS_PER_MS

_STAYS = Turn.STAYS  # a member is looked up much faster here than in its class

# Steps that a stalled program comes to so late are not played any more, all at one blow.
TOO_LATE_NS = 500 * NS_PER_MS


class Accompaniment:
    """Two hands and a foot. `transport` and `harmony` are None until the first strike."""

    def __init__(self, settings: Settings, style: Style, out: Outbox, pedal: PedalPost) -> None:
        self.style = style
        self.time = Timekeeper(settings)
        self.start = settings.start
        self._settings = settings
        self._out = out
        self._foot = Foot(pedal, out)
        self._luck = Random(settings.seed)
        self._hands = BothHands(out, self._luck, style, settings.meter, settings.swing)
        self._chord = ChordOn(settings.span, settings.muted)
        self._sounded = 0  # the serial of the last strike that has sounded, with its pedal
        self._sounded_at = Fraction(0)  # in quarters, when its first notes did
        self._heard_from_ns: int | None = None  # steps before it are not played any more
        self.skipped = 0  # places of the hands' grids that went by because of that
        self._changed_ns: int | None = None  # when the hands have to follow a new reading
        self._struck_ns: int | None = None  # when a strike came that lanes have to start with
        self._blurs = False  # the pedal still holds a tone that has resolved since
        self._resolves: tuple[Fraction, int] | None = None  # in quarters, in nanoseconds
        self._entry: Fraction | None = None  # what is struck before it waits for it
        self._ending = Ending(settings.channel)

    @property
    def transport(self) -> Transport | None:
        return self.time.transport

    @property
    def harmony(self) -> Harmony | None:
        return self._chord.harmony

    @property
    def meter(self) -> Meter:
        return self.time.meter

    @property
    def is_ending(self) -> bool:
        """Whether the music slows down into its last chord, or that chord dies away."""
        return self._ending.is_on

    @property
    def has_ended(self) -> bool:
        """Whether the last chord is there."""
        return self._ending.has_struck

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

        `strike_ns` is when its last key went down. A time that begins with it begins there, and
        what was due since then is due now.
        """
        strike_ns = at_ns if strike_ns is None else strike_ns
        if not amends and self._ending.is_over_for(at_ns):
            self._die_away(at_ns)  # what is struck into a chord that dies away begins anew
        amends = amends and self.harmony is not None
        comes_in = self.harmony is None and not self._ending.has_struck
        if not amends:
            self._struck_ns, self._resolves = strike_ns, None
        self._chord.strike(self.style, chord, level, amends=amends)
        if self.transport is None:
            if amends:  # of what sounded when a clock stopped the time
                return
            begun = self.time.begin(at_ns, strike_ns)
            self._hands.begin(begun, begun.position_at(strike_ns))
        elif comes_in and self.start is Start.DOWNBEAT and self._entry is None:
            self._entry = self._next_entry(at_ns)
        elif not amends and self._entry is None:
            self.time.struck(at_ns, strike_ns)
        if self._entry is None:
            self._changed_ns = at_ns

    def resume(self, at_ns: int, chord: Chord, level: int, transport: Transport) -> None:
        """A chord is on and struck now, in a time that runs already."""
        self.time.go_on(at_ns, transport)
        self._ending.die_away(at_ns)
        self._replace_hands(transport.position_at(at_ns))
        self._entry = None
        self.strike(at_ns, chord, level, amends=False)
        self._entry, self._changed_ns = None, at_ns

    def lift(self) -> None:
        """No chord any more: hands and foot come up, the time goes on."""
        self._let_go()
        self._chord.lift()

    def stop(self) -> None:
        """As `lift`, and the next strike is a downbeat again."""
        self._begin_anew()
        self._out.control(self._ending.leave())

    def _die_away(self, at_ns: int) -> None:
        """As `stop`, but what rings out keeps the expression that is left."""
        self._begin_anew()
        self._ending.die_away(at_ns)

    def _begin_anew(self) -> None:
        self.lift()
        self.time.stop()
        self._chord.forget()
        self._entry = None
        self._luck.seed(self._settings.seed)  # after a stop it plays as if just begun
        self._hands.choose(self.style, self.meter)

    def halt(self) -> None:
        """The time stands, and so does the music; with the time the chord goes on.

        Not a last chord: after that nothing is on.
        """
        self._let_go()
        if self._ending.has_struck:
            self._chord.lift()
        self._chord.resolve()
        self._sounded = 0
        self._entry = None
        self._out.control(self._ending.leave())
        self._hands.choose(self.style, self.meter)

    def count_in(self, at_ns: int, bars: int) -> tuple[Fraction, Fraction]:
        """From where to where bars are counted. What is on has to end, or to wait."""
        if self.is_ending or not self.time.clock_is_heard(at_ns):
            self._die_away(at_ns)
        self.lift()
        end = self._entry = self.time.count_in(at_ns, bars)
        assert self.transport is not None, "counting begins the time"
        self._replace_hands(self.transport.position_at(at_ns))
        return end - bars * self.meter.bar_quarters, end

    def count_to(self, counted: Transport) -> None:
        """The bars that are counted have become others: those of the music are these."""
        self._entry = counted.bar_quarters
        self.time.count_as(counted)

    def end(self, at_ns: int, beats: int) -> None:
        """Slow down into a last chord, `beats` from the next beat, or after a bar and more.

        What has not come in cannot end, and what ends already is not slowed down once more.
        """
        transport = self.transport
        if transport is None or self.harmony is None or self.is_waiting or self.is_ending:
            return
        here = transport.position_at(at_ns)
        if beats:
            last = transport.next_beat(here) + beats * self.meter.beat_quarters
        else:
            last = transport.next_downbeat(here + self.meter.bar_quarters)
        self._ending.at = last
        self._take(at_ns, self.time.end(at_ns, last))

    @property
    def expression(self) -> int:
        """The player's own, 0..127."""
        return self._ending.expression

    def express(self, value: int) -> list[bytes]:
        """The player's own expression, 0..127: what is left of it while a chord dies away."""
        return self._ending.express(value)

    @property
    def is_faded(self) -> bool:
        """Whether a chord that has died away still keeps the expression from the player."""
        return self._ending.back_due_ns is not None

    def give_back(self) -> list[bytes]:
        """The player's expression, for what is struck next."""
        return self._ending.give_back()

    def turn(self, at_ns: int, turn: Turn) -> None:
        """The time has taken a turn by what the player or a clock has done."""
        if self.transport is None and self._hands.meter != self.meter:
            self._hands.choose(self.style, self.meter)
        self._take(at_ns, turn)

    def set_style(self, at_ns: int, style: Style) -> None:
        """Another style takes over where the music is."""
        if style.pedal is Pedal.NONE:
            self._foot.lift()
        elif self.style.pedal is Pedal.NONE:
            self._sounded = 0
        self.style = style
        self._resolves = None
        self._chord.set_style(style)
        self._take_over(at_ns)

    def set_swing(self, at_ns: int, swing: Fraction | None) -> None:
        """Another swing, from the next steps on."""
        if self._hands.set_swing(swing):
            self._take_over(at_ns)

    def set_muted(self, muted: Side | None) -> None:
        """A hand that is silent from now on, until another one is or none."""
        self._chord.set_muted(muted)
        self._hands.release(muted)

    @property
    def muted(self) -> Side | None:
        """The hand that is silent."""
        return self._chord.muted

    @property
    def tones_of_muted(self) -> tuple[int, ...]:
        """What the muted hand would play with, ascending: see `ChordOn.of_muted`."""
        return self._chord.of_muted(self.style)

    @property
    def pedal_is_down(self) -> bool:
        """Whether the accompaniment's own foot is on the pedal."""
        return self._foot.is_down

    def notes_of(self, side: Side) -> tuple[int, ...]:
        """What a hand holds down now, ascending."""
        return self._hands.notes_of(side)

    def due_ns(self, strike_due_ns: int | None) -> int | None:
        """The next instant at which something is due. May lie in the past.

        `strike_due_ns`: when the strike whose keys are arriving will be decided, None if no
        keys are.
        """
        if self._changed_ns is not None:
            return self._changed_ns  # with it, all that was due before is done
        due = self._hands.note_dues_ns
        others = [self._step_due_ns(strike_due_ns), self.time.due_ns()]
        if self._comes_in_or_ends:
            others += self._entry_and_ending_dues_ns()
        if self._resolves is not None:
            due.append(self._resolves[1])
        if (foot_ns := self._foot.due_ns) is not None and not self._foot_waits():
            due.append(foot_ns)
        due += [at for at in others if at is not None]
        return min(due) if due else None

    def skip_to(self, now_ns: int) -> None:
        """It is now so late: steps that should have sounded long before go by in silence."""
        self._heard_from_ns = now_ns - TOO_LATE_NS

    def perform(self, now_ns: int, strike_due_ns: int | None) -> None:
        """Do all that is due at or before an instant."""
        self._take(now_ns, self.time.perform(now_ns))
        if self._comes_in_or_ends:
            self._come_in_or_end(now_ns)
        self._hands.end_notes(now_ns)
        too_late = self._is_too_late(now_ns)
        if self._changed_ns is not None:
            self._follow_chord(now_ns)
        if self._resolves is not None:
            self._resolve(now_ns, self._resolves[1])
        if too_late:
            self.skipped += self._hands.skip(now_ns)
        self._play_steps(now_ns, strike_due_ns)
        if self._out.strikes:
            self._hands.release_leaving(now_ns)
            self._begin_to_sound(now_ns)
            if (self._out.replaces or self._blurs) and self.style.pedal is Pedal.LEGATO:
                self._foot.change(now_ns)
            self._blurs = False
        while (due_ns := self._foot.due_ns) is not None and due_ns <= now_ns:
            if self._foot_waits():
                break
            self._foot.move()

    def _let_go(self) -> None:
        self._hands.release_all()
        self._changed_ns, self._resolves, self._struck_ns = None, None, None
        self._foot.lift()

    def _take(self, at_ns: int, turn: Turn) -> None:
        """The hands and the foot follow a turn of the time."""
        transport = self.time.transport
        if turn is _STAYS or transport is None:
            return
        if turn is Turn.RECOUNTS:
            self._take_over(at_ns, keeps_struck=True)
        if turn is Turn.JUMPS:
            self._go_elsewhere(at_ns, transport)
        heard_from_ns = at_ns - _SHIFTED_NS if turn is Turn.SHIFTS else None
        self._hands.retime(transport, heard_from_ns=heard_from_ns)
        if self._resolves is not None:
            self._resolves = self._resolves[0], transport.due_ns(self._resolves[0])

    def _go_elsewhere(self, at_ns: int, transport: Transport) -> None:
        """What stood begins, and nothing that was ahead is so any more; a last chord is over."""
        if self._ending.has_struck:
            self.lift()
        stood = self._hands.stand
        self._entry = None
        self._out.control(self._ending.leave())
        self._replace_hands(min(transport.anchor_quarters, self.time.song_place))
        if self._resolves is not None:
            self._resolves = transport.anchor_quarters, at_ns
        if stood and self.harmony is not None:
            self._changed_ns = self._struck_ns = at_ns

    def _next_entry(self, at_ns: int) -> Fraction | None:
        """The downbeat that what is struck now waits for; None just after one."""
        transport = self.transport
        assert transport is not None, "there is a time to come into"
        here = transport.position_at(at_ns)
        if transport.in_bar(here) <= self.meter.beat_quarters / 4:
            return None
        return transport.next_downbeat(here)

    @property
    def _comes_in_or_ends(self) -> bool:
        """Whether there is a downbeat to come in at, or an ending, or one that rings out."""
        return self._entry is not None or self._ending.is_on or self.is_faded

    def _entry_and_ending_dues_ns(self) -> list[int | None]:
        due: list[int | None] = [self._ending.fade_due_ns, self._ending.back_due_ns]
        if self.transport is not None:
            places = [p for p in (self._entry, self._ending.at) if p is not None]
            due += map(self.transport.due_ns, places)
        return due

    def _come_in_or_end(self, now_ns: int) -> None:
        transport, back_due_ns = self.transport, self._ending.back_due_ns
        if back_due_ns is not None and back_due_ns <= now_ns:
            self._out.control(self._ending.give_back())
        if transport is None:
            return
        if self._entry is not None and transport.due_ns(self._entry) <= now_ns:
            self._entry = None
            if self.harmony is not None:
                self._changed_ns = self._struck_ns = now_ns
        if self._ending.at is not None and transport.due_ns(self._ending.at) <= now_ns:
            self._strike_last_chord(now_ns, transport)
        if (due_ns := self._ending.fade_due_ns) is not None and due_ns <= now_ns:
            if self.harmony is not None:
                self._out.control(self._ending.fade(now_ns))
            if self.harmony is None or self._ending.is_done:
                self._die_away(now_ns)

    def _strike_last_chord(self, now_ns: int, transport: Transport) -> None:
        """Both hands strike their whole shapes and hold them, while they die away.

        If the keys are up just then, the chord that comes within a beat is the last one.
        """
        voicing = self._chord.voicing
        assert voicing is not None, "what slows down has been struck"
        self._chord.resolve()
        self._resolves = None
        lanes = lanes_of_last_chord(voicing)
        self._hands.play_lanes(lanes, transport, transport.position_at(now_ns))
        beat_ns = int(transport.ns_per_quarter * self.meter.beat_quarters)
        self._ending.strike(now_ns, beat_ns)
        if self.harmony is not None:
            self._changed_ns = self._struck_ns = now_ns

    def _is_too_late(self, now_ns: int) -> bool:
        """Whether what is due now is not to be heard: never a strike of the player's."""
        late = self._heard_from_ns is not None and now_ns < self._heard_from_ns
        return late and self._changed_ns is None

    def _foot_waits(self) -> bool:
        """Whether the foot must not go down yet: a hand holds a note of the chord before."""
        if not self._foot.goes_down_next:
            return False
        return self._hands.hold_other_than(None if self.harmony is None else self.harmony.serial)

    def _bound(self, side: Side) -> Bound | None:
        """What the hand's tones are just now; None without any, and before its entry."""
        return None if self._entry is not None else self._chord.bound(side)

    def _follow_chord(self, now_ns: int) -> None:
        """The hands learn of a new reading: late steps are put right, struck lanes start over."""
        if self.transport is None:
            return
        assert self.harmony is not None, "a change of chord leaves a chord"
        anew = None if self._struck_ns is None else (self.transport, self._struck_ns)
        self._hands.follow(now_ns, self.harmony, self._bound, anew)
        self._changed_ns, self._struck_ns = None, None

    def _resolve(self, now_ns: int, due_ns: int) -> None:
        if due_ns > now_ns:
            return
        self._resolves = None
        self._chord.resolve()
        self._blurs = True
        for hand in self._hands.all:
            bound = self._bound(hand.side)
            if bound is not None:
                softer = max(1, bound.level - RESOLVES_SOFTER)
                hand.amend(replace(bound, level=softer), self._out)

    def _step_due_ns(self, strike_due_ns: int | None) -> int | None:
        """When the next step may play: when it is due, unless a strike's keys are arriving."""
        due = self._hands.step_due_ns
        if due is None or strike_due_ns is None:
            return due
        return max(due, min(strike_due_ns, due + PATIENCE_NS))

    def _play_steps(self, now_ns: int, strike_due_ns: int | None) -> None:
        if self.time.transport is None:
            return
        due_ns = self._step_due_ns(strike_due_ns)
        ready = due_ns is not None and due_ns <= now_ns
        self._hands.play_steps(now_ns, self._bound, ready=ready)

    def _begin_to_sound(self, now_ns: int) -> None:
        """The first notes of a chord change the pedal, and its suspension counts from them."""
        if self.harmony is None or self.transport is None:
            return
        if self._sounded != self.harmony.serial:
            self._sounded = self.harmony.serial
            self._sounded_at = self.transport.position_at(now_ns)
            if self.style.pedal is Pedal.LEGATO:
                self._foot.change(now_ns)
        wanted = self.style.suspension
        if self._chord.is_suspended and self._resolves is None and wanted is not None:
            at_quarters = self._sounded_at + wanted.lasts_quarters
            self._resolves = at_quarters, self.transport.due_ns(at_quarters)

    def _replace_hands(self, here: Fraction) -> None:
        """New hands come in where the music is now, which is none of where it was.

        A last chord goes on as it is.
        """
        if self._ending.has_struck:
            self._hands.keep_to(self.style)
            return
        new = self._hands.replace(self.style, self.meter)
        if self.transport is not None:
            come_in(new, self.transport, here, wait=self.is_waiting)

    def _take_over(self, at_ns: int, *, keeps_struck: bool = False) -> None:
        """New hands go on with the music, and with what was to be struck just now."""
        transport = self.transport
        if transport is None or self._ending.has_struck:
            self._replace_hands(Fraction(0))
            return
        early, here = (transport.position_at(ns) for ns in (at_ns - _SHIFTED_NS, at_ns))
        self._hands.take_over(
            self.style,
            self.meter,
            transport,
            (early, here),
            keeps_struck=keeps_struck,
            wait=self.is_waiting,
        )
