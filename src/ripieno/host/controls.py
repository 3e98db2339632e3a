"""Controls that give commands: what is pressed, what it does, and how it is learnt."""

from ripieno.configuration.model import Control
from ripieno.perform.presses import Bind, Pressed
from ripieno.units import NS_PER_S
from ripieno.wire.command import Command, command_from, words_of
from ripieno.wire.time_commands import is_by_value

# Time to reach for a control. What is pressed later is meant for the music.
LONGEST_LEARNING_NS = 30 * NS_PER_S


class Controls:
    """For one thread at a time."""

    def __init__(self) -> None:
        self.all: tuple[Control, ...] = ()
        self.learning: Command | None = None
        self._since_ns = 0  # when that began

    @property
    def bind(self) -> Bind:
        """What the engine has to know of them."""
        presses = frozenset(control.press for control in self.all)
        return Bind(presses, learning=self.learning is not None)

    def wait_for(self, do: Command, now_ns: int) -> None:
        """The next press will do this."""
        self.learning, self._since_ns = do, now_ns

    def give_up(self, now_ns: int) -> Command | None:
        """What was waited for too long, and is no more."""
        if self.learning is None or now_ns - self._since_ns <= LONGEST_LEARNING_NS:
            return None
        given_up, self.learning = self.learning, None
        return given_up

    def learn(self, pressed: Pressed) -> Control | None:
        """The control that a press makes of what was to be learnt; None if nothing was.

        What the same press did before it does no more.
        """
        if self.learning is None:
            return None
        control, self.learning = Control(pressed.press, words_of(self.learning)), None
        self.all = (*(c for c in self.all if c.press != pressed.press), control)
        return control

    def forget(self, do: Command) -> tuple[Control, ...]:
        """The controls that did it, and do no more."""
        gone = tuple(control for control in self.all if control.do == words_of(do))
        self.all = tuple(control for control in self.all if control not in gone)
        return gone

    def asked(self, pressed: Pressed) -> Command | None:
        """The command that a press gives, if it gives one.

        It does so when it is new; one that sets the tempo or the lean gives it at each value.
        """
        words = next((c.do for c in self.all if c.press == pressed.press), None)
        if words is None:
            return None
        do = command_from(words)
        return do if pressed.is_new or is_by_value(do) else None
