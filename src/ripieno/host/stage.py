"""What the player has chosen, and how commands change it: the musical half of the host."""

import time
from collections.abc import Callable
from fractions import Fraction

from ripieno.configuration.model import swing_ratio
from ripieno.errors import AuthorError
from ripieno.host.library import Library
from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input
from ripieno.perform.settings import BPM_RANGE, MOST_LEAN, Follow, ReadKeys, Start, playable_bpm
from ripieno.perform.tap import Taps
from ripieno.style.model import Style, meter_named
from ripieno.theory.hand import Side
from ripieno.theory.key import Key, Mode, key_named
from ripieno.units import NS_PER_S
from ripieno.wire import command as wire
from ripieno.wire import time_commands as time_wire
from ripieno.wire.command import Command

Result = dict[str, object]

LONGEST_SHOWN_NS = 10 * NS_PER_S  # a slow bar, of which each step is shown anew
_REPEAT_NS = NS_PER_S // 8  # terminals repeat a key some thirty times a second
_VELOCITY = 80
_LOWEST, _HIGHEST = 48, 72  # where a command presses a triad: the octave below middle C
_C_MAJOR = Key(0, Mode.MAJOR)
_MOST_VALUE = 127
_DOUBLE = Fraction(2)
_SLOWEST_BY_VALUE = 40  # beats a minute at value 0, and one more for each


class Stage:
    """For one thread at a time. `submit` takes what becomes of a command to the engine."""

    def __init__(self, chosen: Chosen, library: Library, submit: Callable[[Input], None]) -> None:
        self.chosen = chosen
        self.library = library
        self.asked_style = chosen.style.id  # its id, or the file that was named
        self._submit = submit
        self._taps = Taps()
        self._given_ns = 0  # when the command that is carried out was given
        self._bpm = chosen.settings.bpm  # from which it reckons
        self._pressed: tuple[int, ...] = ()  # by a command
        self._asked: int | None = None  # the degree, and when
        self._asked_ns = 0
        self._shown_ns: int | None = None  # since when notes are shown
        self._handlers: dict[type[Command], Callable[..., Result]] = {
            wire.ChooseStyle: lambda c: self.play_in(self.library.style(c.style), c.style),
            wire.StepStyle: lambda c: self.play_in(self.library.beside(self.chosen.style.id, c.by)),
            **self._handlers_of_time(),
            wire.ChooseMeter: lambda c: self._choose(
                ev.SetMeter(_now_ns(), meter_named(c.meter)), meter=c.meter
            ),
            wire.ChooseKey: lambda c: self._choose(
                ev.SetKey(_now_ns(), None if c.key is None else key_named(c.key)), key=c.key
            ),
            wire.ChooseHold: lambda c: self._hold(c.on),
            wire.ChooseSplit: lambda c: self._choose(ev.SetSplit(_now_ns(), c.note), split=c.note),
            wire.Transpose: lambda c: self._choose(
                ev.SetTranspose(_now_ns(), c.semitones), transpose=c.semitones
            ),
            wire.ChooseReading: lambda c: self._choose(
                ev.SetReading(_now_ns(), ReadKeys(c.reading)), reading=c.reading
            ),
            wire.Mute: lambda c: self._choose(
                ev.SetMuted(_now_ns(), None if c.hand is None else Side(c.hand)), muted=c.hand
            ),
            wire.PressDegree: lambda c: self._press_degree(c.degree),
            wire.Show: lambda c: self._show(c.notes),
            wire.Stop: lambda _: self._choose(ev.Stop(_now_ns()), stopped=True),
            wire.Silence: lambda _: self._choose(ev.Silence(_now_ns()), silent=True),
        }

    def carry_out(
        self,
        command: Command,
        value: int | None = None,
        at_ns: int | None = None,
        bpm: float | None = None,
    ) -> Result | None:
        """What has come of it; None if it is no command about the music. Raises AuthorError.

        `value`, 0..127, is that of the controller that gave the command, if one did; `at_ns` the
        instant at which it was given, if that is known. `bpm` is the tempo to reckon another one
        from, None for the one that was chosen: clock and hands may have led to another.
        """
        self._given_ns = _now_ns() if at_ns is None else at_ns
        self._bpm = self.chosen.settings.bpm if bpm is None else bpm
        if isinstance(command, time_wire.TempoByValue):
            return self._at_tempo(_SLOWEST_BY_VALUE + _given("tempo", "92", value))
        if isinstance(command, time_wire.ChooseLean) and command.lean is None:
            return self._lean(round(_given("lean", "50", value) * MOST_LEAN / _MOST_VALUE))
        handler = self._handlers.get(type(command))
        return None if handler is None else handler(command)

    def play_in(self, style: Style, asked: str | None = None) -> Result:
        """Another style, from now on; `asked` is how it was asked for, if not by its id."""
        self.asked_style = asked or style.id
        result = self._choose(ev.SetStyle(_now_ns(), style), style=style.id)
        note = style.foreign_to(self.chosen.settings.meter)
        return result if note is None else result | {"note": note}

    def become(self, other: Chosen) -> bool:
        """All at once what another has chosen. Whether it takes a new engine to play it."""
        steps = self.chosen.steps_to(other, _now_ns())
        self.chosen = other
        for step in steps or ():
            self._submit(step)
        return steps is None

    def _choose(self, event: Input, **result: object) -> Result:
        self.chosen = self.chosen.after(event)
        self._submit(event)
        return result

    def _at_tempo(self, bpm: float) -> Result:
        bpm = round(playable_bpm(bpm), 3)
        return self._choose(ev.SetTempo(_now_ns(), bpm), bpm=bpm)

    def _handlers_of_time(self) -> dict[type[Command], Callable[..., Result]]:
        return {
            time_wire.ChooseTempo: lambda c: self._at_tempo(c.bpm),
            time_wire.NudgeTempo: lambda c: self._at_tempo(self._bpm + c.by),
            time_wire.RampTempo: lambda c: self._choose(
                ev.Ramp(_now_ns(), c.bpm, c.beats), bpm=c.bpm, beats=c.beats
            ),
            time_wire.ScaleTempo: lambda c: self._scale(_DOUBLE if c.double else 1 / _DOUBLE),
            time_wire.Tap: lambda _: self._tap(),
            time_wire.Nudge: lambda c: self._choose(
                ev.Nudge(_now_ns(), c.later_ms), later_ms=c.later_ms
            ),
            time_wire.ChooseLeader: lambda c: self._choose(
                ev.SetFollow(_now_ns(), Follow(c.leader)), follow=c.leader
            ),
            time_wire.ChooseLean: lambda c: self._lean(c.lean),
            time_wire.Downbeat: lambda _: self._choose(
                ev.Downbeat(_now_ns(), self._given_ns), downbeat=True
            ),
            time_wire.Break: lambda _: self._choose(ev.Break(_now_ns()), silent=True),
            time_wire.CountIn: lambda c: self._choose(ev.CountIn(_now_ns(), c.bars), bars=c.bars),
            time_wire.EndSlowly: lambda c: self._choose(
                ev.Ending(_now_ns(), c.beats or 0), ends=True
            ),
            time_wire.ChooseStart: lambda c: self._choose(
                ev.SetStart(_now_ns(), Start(c.start)), start=c.start
            ),
            time_wire.ChoosePickup: lambda c: self._choose(
                ev.SetPickup(_now_ns(), c.beats), pickup=c.beats
            ),
            time_wire.ChooseSwing: lambda c: self._choose(
                ev.SetSwing(_now_ns(), None if c.swing is None else swing_ratio(c.swing)),
                swing="by-tempo" if c.swing is None else c.swing,
            ),
            time_wire.SendClock: lambda c: self._choose(
                ev.SetSendClock(_now_ns(), c.on), send_clock=c.on
            ),
        }

    def _lean(self, lean: int) -> Result:
        return self._choose(ev.SetLean(_now_ns(), lean), lean=lean)

    def _scale(self, factor: Fraction) -> Result:
        least, most = BPM_RANGE
        bpm = round(self._bpm * float(factor), 3)
        if not least <= bpm <= most:
            raise AuthorError(
                f"{bpm:g} beats a minute is no tempo; it can be from {least:g} to {most:g}"
            )
        return self._choose(ev.Scale(_now_ns(), factor), bpm=bpm)

    def _tap(self) -> Result:
        said = self._taps.tap(self._given_ns)
        if said is None:
            return {"bpm": None}
        bpm = round(playable_bpm(said.bpm), 3)
        return self._choose(ev.Tapped(_now_ns(), said.beat_ns, bpm), bpm=bpm)

    def turn(self) -> None:
        """Notes that are shown end by themselves: who asked for them may be gone."""
        if self._shown_ns is not None and _now_ns() - self._shown_ns > LONGEST_SHOWN_NS:
            self._show(())

    def _show(self, notes: tuple[int, ...]) -> Result:
        self._shown_ns = _now_ns() if notes else None
        return self._choose(ev.Show(_now_ns(), notes), shown=len(notes))

    def _press_degree(self, degree: int | None) -> Result:
        """The keys of the triad that was pressed before come up, those of another go down.

        A computer's key that is held down repeats: what it asks again at once is the same press.
        """
        now_ns = _now_ns()
        is_repeat = self._asked == degree and now_ns - self._asked_ns < _REPEAT_NS
        self._asked, self._asked_ns = degree, now_ns
        if is_repeat and degree is not None:
            return {"degree": degree}
        pressed, self._pressed = self._pressed, ()
        for key in pressed:
            self._submit(ev.KeyUp(_now_ns(), key))
        if degree is not None:
            self._pressed = self._keys_of(degree)
            for key in self._pressed:
                self._submit(ev.KeyDown(_now_ns(), key, _VELOCITY))
        return {"degree": degree}

    def _keys_of(self, degree: int) -> tuple[int, ...]:
        """Those that sound the diatonic triad, below the split point; one if one is enough."""
        settings = self.chosen.settings
        root, quality = (settings.key or _C_MAJOR).diatonic_triad(degree)
        highest = _HIGHEST if settings.split is None else min(_HIGHEST, settings.split)
        lowest = _LOWEST + (root - settings.transpose - _LOWEST) % 12
        above = quality.semitones
        while lowest + above[-1] >= highest and lowest >= 12:
            lowest -= 12
        if settings.reading is ReadKeys.FROM_KEY:
            return (lowest,)
        return tuple(lowest + semitones for semitones in above)

    def _hold(self, on: bool | None) -> Result:
        hold = not self.chosen.settings.hold if on is None else on
        return self._choose(ev.SetHold(_now_ns(), hold), hold=hold)


def _now_ns() -> int:
    return time.monotonic_ns()


def _given(name: str, example: str, value: int | None) -> int:
    """What the controller is at that gives a command, 0..127. Raises AuthorError without one."""
    if value is None:
        raise AuthorError(
            f"{name} without a number is for a controller; write a number, as {example}"
        )
    return value
