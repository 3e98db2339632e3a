"""The host: everything that is not a note.

Two threads call it. One runs `run`: it keeps the engine going, has the journal written, looks at
the files and answers the service manager. The other is the control server's. What both change is
changed under one lock, and under it nothing is waited for but a style file that is read.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import RLock

from ripieno.engine.loop import Timed
from ripieno.engine.messages import Answer, Begin, Ports, Standing
from ripieno.engine.spawn import Spawned
from ripieno.errors import AuthorError, RipienoError
from ripieno.host.audition import Audition
from ripieno.host.catalog import entries
from ripieno.host.controls import Controls
from ripieno.host.figures import C_MAJOR, figure
from ripieno.host.library import Library
from ripieno.host.notification import Notifier
from ripieno.host.record import Record
from ripieno.host.sessions import Sessions
from ripieno.host.stage import Result, Stage
from ripieno.host.telling import status_of
from ripieno.host.upkeep import KeptEngine
from ripieno.host.wishes import Wishes
from ripieno.midi.systems import System
from ripieno.perform.events import KeyDown, KeyUp, Send
from ripieno.perform.performer import Heard
from ripieno.perform.presses import Pressed
from ripieno.perform.settings import Settings
from ripieno.theory.symbol import symbol
from ripieno.units import NS_PER_S
from ripieno.wire import command as wire
from ripieno.wire.command import Command, words_of
from ripieno.wire.status import Status
from ripieno.wire.time_commands import NudgeTempo, ScaleTempo

_TURN_S = 0.05
_FILES_NS = NS_PER_S  # between two looks at the configuration and the style


@dataclass(frozen=True, slots=True)
class _Told:
    command: Command | None  # None: the end


class Host:
    """From `start` to `close`. `say` gets sentences for a log: what changed and what is wrong."""

    def __init__(
        self,
        wishes: Wishes,
        *,
        first: Spawned | None = None,
        sounding: Path | None = None,
        sessions: Sessions | None = None,
        notifier: Notifier | None = None,
        say: Callable[[str], None] = lambda _: None,
        hear: Callable[[Timed], object] = lambda _: None,
    ) -> None:
        """`hear` gets all that the engine has done, from `run`'s thread."""
        self._lock = RLock()
        self._inbox: SimpleQueue[Ports | Pressed | _Told | None] = SimpleQueue()
        self._wishes = wishes
        self._say, self._tell_news = say, hear
        self._notices: dict[str, str] = {}
        self._sounding = sounding
        self._controls = Controls()
        self._controls.all = wishes.configuration.controls
        self._notifier = notifier or Notifier()
        self._kept = KeptEngine(self._begins, self._inbox.put, first, self._notifier.alive)
        self._stage = Stage(wishes.chosen, wishes.library, self._kept.submit)
        self._stage.asked_style = wishes.configuration.style
        self._sessions = sessions
        self._record = None if sessions is None else Record(sessions, wishes.chosen)
        self._shelf = Library()  # the control server's thread's own
        self._chord = C_MAJOR  # the last that was on
        self._audition: Audition | None = None
        self._began_ns = time.monotonic_ns()
        self._looked_ns = self._fed_ns = self._began_ns
        for number, fault in enumerate(wishes.faults):
            self._note(f"beginning {number}", fault)

    def start(self) -> tuple[str, ...]:
        """Returns when it is ready to play, with what it plays on. Raises MachineError."""
        engine = self._kept.start()
        self._ports = engine.ports
        self._note("sound", engine.ports.lack or None)
        self._tell_ended()
        self._notifier.ready(self._summary())
        return (f"MIDI: {engine.ports.system.name} ({engine.ports.system.why})", *engine.said)

    def press(self, event: KeyDown | KeyUp) -> None:
        """A key of a player that the program itself has."""
        self._kept.submit(event)

    def tell(self, command: Command | None) -> None:
        """Have a command carried out, None for the end. May be called from a signal handler."""
        self._inbox.put(_Told(command))

    @property
    def chosen(self) -> Settings:
        """What the player has chosen."""
        return self._stage.chosen.settings

    def run(self, each_turn: Callable[[], None] = lambda: None) -> None:
        """Until a signal means the end. `each_turn` is called 20 times a second."""
        while True:
            each_turn()
            try:
                word = self._inbox.get(timeout=_TURN_S)
            except Empty:
                word = None
            if isinstance(word, _Told) and word.command is None:
                return
            self._hear(word)
            self._turn()

    def close(self) -> None:
        """Silence, the journal's end, and the engine's."""
        self._notifier.stopping()
        with self._lock:
            self._end_audition()
        rest = self._kept.close()
        if self._record is not None and self._sessions is not None:
            self._record.add(rest)
            self._record.end(self._stage.chosen)
            self._sessions.close()

    # Commands: from the control server's thread, or from a press in `run`'s.

    def carry_out(
        self, command: Command, value: int | None = None, at_ns: int | None = None
    ) -> Result:
        """The result of a command. Raises RipienoError.

        `value`, 0..127, is that of a controller; `at_ns` when it was asked for, if not just now.
        """
        if isinstance(command, wire.AskStyles):  # takes half a second at first, so without the lock
            return {"styles": entries(self._shelf, command.style)}
        if not isinstance(command, wire.AskFigure):
            with self._lock:
                self._end_audition()
        if isinstance(command, wire.Hear):
            return self._hear_style(command.style, self._kept.ask())
        bpm = self._bpm() if isinstance(command, NudgeTempo | ScaleTempo) else None
        with self._lock:
            result = self._stage.carry_out(command, value, at_ns, bpm)
            return self._carry_out_other(command) if result is None else result

    def _bpm(self) -> float | None:
        """The tempo that the engine plays or is to play next; None if none answers."""
        answer = self._kept.ask()
        return None if answer is None or answer.shown is None else answer.shown.coming_bpm

    def _carry_out_other(self, command: Command) -> Result:
        match command:
            case wire.Learn(do):
                self._controls.wait_for(do, time.monotonic_ns())
                self._bind()
                return {"learning": " ".join(words_of(do))}
            case wire.StopLearning():
                self._controls.learning = None
                self._bind()
                return {"learning": None}
            case wire.Forget(do):
                return self._forget(do)
            case wire.Reload():
                return self._reload()
            case wire.AskFigure():
                return self._figure()
            case _:
                return {}

    def status(self) -> Status:
        """What is played, on what, and what is wrong. Asks the engine."""
        answer = self._kept.ask()
        with self._lock:
            return status_of(
                self._stage.chosen,
                self._kept,
                answer,
                self._controls,
                self._sessions,
                hearing=self._hearing(),
                notices=self._notices.values(),
                uptime_s=(time.monotonic_ns() - self._began_ns) / NS_PER_S,
            )

    # For who looks and learns.

    def _figure(self) -> Result:
        chosen, harmony = self._stage.chosen, self._kept.harmony
        chord = self._chord if harmony is None else harmony.chord
        length, shown = figure(chosen, chord)
        return {
            "chord": symbol(chord, chosen.settings.key),
            "quarters": float(length),
            "beat_quarters": float(chosen.settings.meter.beat_quarters),
            "steps": [
                {
                    "at": float(step.at_quarters),
                    "hand": step.side.value,
                    "notes": list(step.notes),
                    "lasts": float(step.lasts_quarters),
                }
                for step in shown
            ],
        }

    def _hear_style(self, style: str | None, answer: Answer | None) -> Result:
        if style is None:
            return {"hearing": None}
        if answer is None or answer.shown is None or answer.shown.bar_and_beat is not None:
            raise AuthorError("something is playing; 'stop' ends it, and then a style can be heard")
        with self._lock:
            wanted = self._stage.library.style(style)
            self._audition = Audition(wanted, self._stage.chosen, self._kept.submit)
        return {"hearing": wanted.id}

    def _end_audition(self) -> None:
        """It still hears what was played meanwhile, until there is another."""
        if self._audition is not None:
            self._audition.end()

    # The engine.

    def _begins(self, standing: Standing, system: System | None) -> Begin:
        with self._lock:
            chosen, wishes = self._stage.chosen, self._wishes
            return Begin(
                chosen.settings,
                chosen.style,
                wishes.rig,
                system,
                self._sounding,
                standing if chosen.settings.hold else Standing(expression=standing.expression),
                self._controls.bind,
            )

    def _bind(self) -> None:
        self._kept.submit(self._controls.bind)

    def _hear(self, word: Ports | Pressed | _Told | None) -> None:
        match word:
            case Ports():
                self._say_ports(word)
            case Pressed():
                self._pressed(word)
            case _Told(command) if command is not None:
                self._try(command)
            case _:
                pass  # nothing, or an engine has ended: the turn sees to it

    def _turn(self) -> None:
        now_ns = time.monotonic_ns()
        if self._kept.turn():
            self._say(f"{self._kept.why}; another plays on")
            assert self._kept.engine is not None, "it has just begun"
            self._say_ports(self._kept.engine.ports)
            self._tell_ended()
            self._journal(self._kept.last_words())
            if self._record is not None:
                self._record.end(self._stage.chosen)
        lost = None if self._kept.engine is not None else f"no engine plays: {self._kept.why}"
        self._note("engine", lost)
        self._journal(self._kept.news())
        with self._lock:
            self._stage.turn()
            self._end_learning(now_ns)
        if (harmony := self._kept.harmony) is not None:
            self._chord = harmony.chord
        if now_ns - self._looked_ns >= _FILES_NS:
            self._looked_ns = now_ns
            self._look_at_files()
        self._feed(now_ns)

    def _feed(self, now_ns: int) -> None:
        """The service manager's watchdog, as long as an engine turns."""
        watchdog_s = self._notifier.watchdog_s
        if watchdog_s is not None and now_ns - self._fed_ns >= watchdog_s * NS_PER_S:
            self._fed_ns = now_ns
            self._notifier.alive()
            self._notifier.status(self._summary())

    def _tell_ended(self) -> None:
        if self._kept.ended:
            self._say(f"notes that had been left sounding and were ended: {self._kept.ended}")
            self._kept.ended = 0

    def _say_ports(self, ports: Ports) -> None:
        """Those that have changed."""
        before, self._ports = self._ports, ports
        sides = (("input", before.input, ports.input), ("output", before.output, ports.output))
        for side, old, new in sides:
            if old.name != new.name:
                self._say(f"{side}: {new.name or 'none'} ({new.why})")
        self._note("sound", ports.lack or None)

    def _journal(self, news: list[Timed]) -> None:
        audition = self._audition
        for timed in news:
            self._tell_news(timed)
            if audition is not None and not isinstance(timed.happening, Send | Heard):
                audition.heard(timed.happening)
        if self._record is None or self._sessions is None:
            return
        self._record.add(news)
        self._note("journal", self._sessions.fault)

    # Controls.

    def _pressed(self, pressed: Pressed) -> None:
        with self._lock:
            if pressed.learnt and (control := self._controls.learn(pressed)) is not None:
                self._bind()
                self._say(f"{control.press} does: {' '.join(control.do)}")
                self._save(lambda: self._wishes.keep(control))
                return
            do = self._controls.asked(pressed)
        if do is not None:
            self._try(do, pressed.value, pressed.at_ns)

    def _end_learning(self, now_ns: int) -> None:
        """If it lasts too long: whoever wanted it may have gone to play."""
        if (given_up := self._controls.give_up(now_ns)) is not None:
            self._bind()
            self._say(
                f"no control was pressed for '{' '.join(words_of(given_up))}': none is learnt"
            )

    def _try(self, command: Command, value: int | None = None, at_ns: int | None = None) -> None:
        """A command that nobody waits to be answered."""
        try:
            self.carry_out(command, value, at_ns)
        except RipienoError as fault:
            self._note("command", f"{' '.join(words_of(command))}: {fault}")
        else:
            self._note("command", None)

    def _forget(self, do: Command) -> Result:
        gone = self._controls.forget(do)
        if not gone:
            raise AuthorError(
                f"no control does '{' '.join(words_of(do))}'; 'tell status' lists them"
            )
        self._bind()
        self._save(lambda: self._wishes.drop(do))
        return {"forgotten": ", ".join(str(control.press) for control in gone)}

    def _save(self, write: Callable[[], None]) -> None:
        """What has been learnt holds, whether the file can be written or not."""
        try:
            write()
        except RipienoError as fault:
            self._note("controls", f"{fault}; learned controls hold until the end only")
        else:
            self._note("controls", None)

    # Files.

    def _look_at_files(self) -> None:
        with self._lock:
            if self._wishes.has_changed():
                with suppress(AuthorError):  # there is a notice
                    self._reload()
            if (loss := self._wishes.loss()) is not None:
                self._note("configuration", loss)
            self._read_style_again()

    def _reload(self) -> Result:
        """Take over the configuration as it is now, or keep the running one and say why."""
        self._notifier.reloading()
        try:
            changed = self._wishes.read_again()
        except AuthorError as fault:
            self._note("configuration", f"{fault}; what was there before is kept")
            raise
        finally:
            self._notifier.ready(self._summary())
        self._note("configuration", None)
        self._forget_faults()
        self._take_wishes(changed)
        self._read_style_again()
        return {"changed": ", ".join(sorted(changed)) or "nothing"}

    def _take_wishes(self, changed: frozenset[str]) -> None:
        if "controls" in changed:
            self._controls.all = self._wishes.configuration.controls
            self._bind()
        chosen = self._wishes.chosen_with(changed, self._stage.chosen)
        if self._stage.become(chosen) or changed & {"input", "output", "sound"}:
            self._kept.renew()
        if "journals" in changed:
            self._say("how journals are kept changes when the daemon begins again")

    def _forget_faults(self) -> None:
        """Those of the beginning: the file is good now."""
        for topic in [topic for topic in self._notices if topic.startswith("beginning")]:
            self._note(topic, None)

    def _read_style_again(self) -> None:
        """If its file has changed; with a fault in it, the style goes on as it was."""
        library, asked = self._stage.library, self._stage.asked_style
        if not library.has_changed(asked):
            return
        try:
            self._stage.play_in(library.style(asked), asked)
            self._note("style", None)
            self._say(f"style {asked} was read again")
        except AuthorError as fault:
            library.seen(asked)
            self._note("style", f"{fault}; the style as it was goes on")

    def _note(self, topic: str, sentence: str | None) -> None:
        """Something is wrong, or with None no more. A sentence for each fault stays one line."""
        sentence = None if sentence is None else "; ".join(sentence.splitlines())
        with self._lock:
            if sentence is None:
                self._notices.pop(topic, None)
            elif self._notices.get(topic) != sentence:
                self._notices[topic] = sentence
                self._say(sentence)

    # Status.

    def _summary(self) -> str:
        engine = self._kept.engine
        if engine is None:
            return f"no engine: {self._kept.why}"
        missing = [s.why for s in (engine.ports.input, engine.ports.output) if not s.name]
        playing = f"playing {self._stage.chosen.style.id}"
        return "; ".join([playing, *missing, *self._notices.values()])

    def _hearing(self) -> str | None:
        audition = self._audition
        return audition.style.id if audition is not None and audition.is_on else None
