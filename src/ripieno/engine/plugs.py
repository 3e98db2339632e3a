"""What the engine is plugged into, looked after while it plays.

Called every turn of the process's main thread, some 40 ms apart. The two sides are looked at in
turn; a port that vanishes or comes is known of within an eighth of a second, and one that has
come is opened a tenth of a second later. What that asks of MIDI, 0.1 ms a look on JACK, is all
the loop may notice.
"""

import time
from collections.abc import Sequence
from threading import Thread

from ripieno.engine.loop import Engine, Output
from ripieno.engine.messages import NEITHER, BothRemembered
from ripieno.engine.rig import Both, Rig
from ripieno.midi import ports
from ripieno.midi.ahead import PortsAhead
from ripieno.midi.lasting import LastingInput, LastingOutput, PortState
from ripieno.midi.lasting_sound import LastingSound
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System, choose
from ripieno.midi.threads import ForeignThreads, Woken
from ripieno.perform.events import Silence, Stop

_TURNS = 3  # between two looks at one side
_SEEN_AWAKE = 4  # times that clients just made are looked at, whether the server wakes them
_SETTLING_TURNS = 5  # after a port came or went, in which threads of the MIDI system still end
# A JACK server whose client was killed passes nothing on for a while: 12 to 64 ms, measured on an
# idle machine, more on a busy one.
# Nothing is played in the first of these pauses: a note struck in vain could not be ended again.
_REPEAT_AFTER_S, _REPEAT_LATER_S = (0.01, 0.015, 0.02, 0.025), (0.03, 0.05, 0.05, 0.1)
# Between two looks for a MIDI system: where none answers, and where one does that has nothing.
_NO_SYSTEM_TURNS, _SYSTEM_TURNS = 5, 24


class Plugs:
    """The ports of a rig. `said` has a sentence for the MIDI system and for the sound."""

    def __init__(
        self,
        rig: Rig,
        system: System,
        sounding: Sounding,
        ahead: PortsAhead,
        remembered: BothRemembered = NEITHER,
        *,
        hurries: bool,
    ) -> None:
        """Opens the output, before anything else: what was left sounding there ends.

        `ahead` is taken over, and may have it open already. `hurries`: an engine before this one
        was playing there until now. Where sound is the only output and cannot be had, the likeliest
        port stands in, for as long as this engine plays.
        """
        self.said: list[str] = []
        self._given = rig.system
        self.system = system
        self._engine: Engine | None = None
        self._sound = LastingSound() if rig.sound else None
        if self._sound is not None and rig.output is None:
            self._sound.look()
        self._uses_port = rig.output is not None or self._sound is None or bool(self._sound.lack)
        ahead.leave_other(system)
        if not self._uses_port:
            ahead.output.close()
        self._input = LastingInput(
            rig.input, self._receive, ahead.input, remembered[0], hurries=hurries
        )
        self._output = LastingOutput(
            rig.output, sounding, ahead.output, remembered[1], hurries=hurries
        )
        self._opened_out = self._uses_port and self._output.look(self.system)
        if hurries and self._opened_out and system.is_served:
            self._repeat_endings(_REPEAT_AFTER_S)
            Thread(target=self._repeat_endings, args=(_REPEAT_LATER_S,), daemon=True).start()
        self.to: Output = self._output
        if self._sound is not None:
            self._sound.look()
            self.said += self._said_of_sound(self._sound)
            self.to = Both(self._output, self._sound) if self._uses_port else self._sound
        self._turn = 0
        self._threads = ForeignThreads()
        self._settling = 0
        self._woken: Woken | None = None
        self.renewed = 0  # clients made anew because the server never woke them
        self._to_see = 0  # how many more times all clients must be seen awake

    def begin(self, engine: Engine) -> None:
        """Open the input."""
        self._engine = engine
        if self._opened_out and not self._input.threads:  # it has no client yet
            ports.pause(self.system)
        self._look_in()
        self._threads.renew()
        self._watch_clients()

    def turn(self) -> None:
        """Look after them, if it is time to."""
        self._turn += 1
        turns = _NO_SYSTEM_TURNS if self.system.api is None else _SYSTEM_TURNS
        if self._turn % turns == 0 and self._given is None and self._is_alone:
            self.system = choose()
        if self._sound is not None:
            self._sound.look()
        sides = {0: self._look_out, _TURNS // 2: self._look_in}
        look = sides.get(self._turn % _TURNS)
        changed = look is not None and look()
        if changed:
            self._watch_clients()
        elif self._woken is not None:
            self._renew_sleepers(self._woken)
        self._settling = _SETTLING_TURNS if changed else max(0, self._settling - 1)
        if self._settling:
            self._threads.renew()

    @property
    def server_is_gone(self) -> bool:
        """Whether the server behind the ports has died: then nothing of them may be touched."""
        return self.system.is_served and not self._settling and self._threads.lost

    @property
    def states(self) -> tuple[PortState, PortState]:
        """The input's and the output's. Where no MIDI system answers, none is open."""
        sound = None if self._uses_port or self._sound is None else self._sound.state
        return self._state(self._input.state), sound or self._state(self._output.state)

    @property
    def lack(self) -> str:
        """A sentence if there is to be sound and cannot be."""
        return "" if self._sound is None else self._sound.lack

    @property
    def remembered(self) -> BothRemembered:
        return self._input.remembered, self._output.remembered

    def _state(self, state: PortState) -> PortState:
        is_nowhere = self.system.api is None and self._given is None
        return PortState("", self.system.why) if is_nowhere and state.name else state

    @property
    def lost_inputs(self) -> int:
        return self._input.errors

    @property
    def unheard(self) -> int:
        """Messages sent while there was no output."""
        return self._output.unheard

    @property
    def ended(self) -> int:
        """Notes that others had left sounding, and that were ended."""
        return self._output.ended

    def close(self) -> None:
        """Call it when the engine has ended, so that its last messages leave."""
        self._input.close()
        self._output.close()
        if self._sound is not None:
            self._sound.close()

    def _receive(self, data: bytes, at_ns: int) -> None:
        if self._engine is not None:
            self._engine.receive(data, at_ns)

    def _repeat_endings(self, after_s: Sequence[float]) -> None:
        """An engine was killed, and what is sent to its instrument may not arrive for a while."""
        for pause_s in after_s:
            time.sleep(pause_s)
            self._output.repeat_endings()

    def _said_of_sound(self, sound: LastingSound) -> list[str]:
        state = sound.state
        if state is None:
            return []
        return [sound.font, *([f"sound: {state.name} ({state.why})"] if self._uses_port else [])]

    @property
    def _is_alone(self) -> bool:
        """Whether no MIDI system answers, or this one has nothing of what is wanted."""
        return self.system.api is None or not (self._input.state.name or self._output.state.name)

    def _watch_clients(self) -> None:
        """Both have just been made, or one of them: does the server wake them?"""
        self._to_see = _SEEN_AWAKE
        self._watch_on()

    def _watch_on(self) -> None:
        clients = self._input.threads, self._output.threads
        can_tell = self.system.is_served and all(clients)
        self._woken = Woken(clients) if can_tell and self._to_see else None

    def _renew_sleepers(self, woken: Woken) -> None:
        asleep = woken.asleep()
        if asleep is None:
            return
        sides = self._input, self._output
        for place in asleep:
            sides[place].renew(self.system)
            self.renewed += 1
            if sides[place] is self._input:  # in case that it had heard any key
                assert self._engine is not None, "plugs begin with their engine"
                self._engine.unplugged(time.monotonic_ns(), stops=False)
        if asleep:
            self._settling = _SETTLING_TURNS
            self._threads.renew()
        self._to_see -= 1
        self._watch_on()

    def _look_in(self) -> bool:
        assert self._engine is not None, "plugs begin with their engine"
        was_open = bool(self._input.state.name)
        if not self._input.look(self.system):
            return False
        if was_open:
            self._engine.unplugged(time.monotonic_ns())
        return True

    def _look_out(self) -> bool:
        """What has sounded there goes silent: by its own fall, or as it is opened again."""
        assert self._engine is not None, "plugs begin with their engine"
        was_open = bool(self._output.state.name)
        if not self._uses_port or not self._output.look(self.system):
            return False
        if was_open:
            self._engine.submit(Stop(time.monotonic_ns()))
        elif self._output.unheard:
            self._engine.submit(Silence(time.monotonic_ns()))
        return True
