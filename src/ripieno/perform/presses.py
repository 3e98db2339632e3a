"""What gives commands instead of playing, and which of the two everything that is down does.

A key that comes up goes where it went when it was struck: what is bound, or is not any more, while
the key is down changes nothing of that, or its note would never end. A controller has no such end,
so one that becomes bound while the instrument has it from the player, such as a pedal that is
down, is first handed in as it is at rest.
"""

from dataclasses import dataclass

from ripieno.perform.events import Controller, Input, KeyUp
from ripieno.perform.message import AT_REST
from ripieno.perform.press import ON, Press, PressKind, pressed

_AT_REST = dict(AT_REST)
# What has been on is off only below this, for a fader that stands at 64 and is noisy must not give
# its command again and again. Our choice; buttons and pedals send 0.
_OFF = 50


@dataclass(frozen=True, slots=True)
class Bind:
    """What gives commands instead of playing from now on.

    While `learning`, the next press of anything is one, and no other after it.
    """

    presses: frozenset[Press]
    learning: bool


NOTHING_BOUND = Bind(frozenset(), learning=False)


@dataclass(frozen=True, slots=True)
class Pressed:
    """What gives commands has moved: `value` 0..127.

    `is_new`: it went down or on just now, and was not before. `learnt`: it was the press that was
    waited for.
    """

    press: Press
    value: int
    is_new: bool
    learnt: bool
    at_ns: int


class Presses:
    """For one thread: all that a keyboard sends goes through `take`."""

    def __init__(self) -> None:
        self._bound = NOTHING_BOUND
        self._taken: set[Press] = set()  # keys that are down as commands
        self._passed: set[Press] = set()  # controllers that the instrument has not at rest
        self._values: dict[Press, int] = {}  # of controllers, as they were last
        self._on: set[Press] = set()  # of these

    def bind(self, bound: Bind, at_ns: int) -> list[Controller]:
        """Take other presses for commands; what is to be handed in before anything else."""
        new = bound.presses - self._bound.presses
        self._bound = bound
        now_at_rest = new & self._passed
        self._passed -= now_at_rest
        return [
            Controller(at_ns, press.number, _AT_REST[press.number], press.channel)
            for press in now_at_rest
        ]

    def learn(self, press: Press, at_ns: int) -> list[Controller]:
        """As `bind`, with this one besides, which was waited for."""
        return self.bind(Bind(self._bound.presses | {press}, learning=False), at_ns)

    def take(self, event: Input) -> Pressed | None:
        """What an event gives a command by; None: it is for the performer."""
        found = pressed(event)
        if found is None:
            return None
        press, value = found
        is_new = self._goes_on(press, value)
        learnt = self._bound.learning and value > 0
        if not (learnt or self._is_command(event, press)):
            self._pass(press, value)
            return None
        if press.kind is PressKind.NOTE:
            (self._taken.add if value else self._taken.discard)(press)
        return Pressed(press, value, is_new, learnt, event.at_ns)

    def forget(self) -> None:
        """Nobody knows any more how the controllers stand."""
        self._values.clear()
        self._on.clear()

    def _goes_on(self, press: Press, value: int) -> bool:
        """A controller is on from 64 (MIDI 1.0, of switches).

        The same value again is another press: there are buttons that send 127 each time and never
        0. A fader or a pedal sends what has changed (common practice, no source).
        """
        if press.kind is not PressKind.CONTROLLER:
            return value > 0
        was_on, before = press in self._on, self._values.get(press)
        self._values[press] = value
        if value >= ON:
            self._on.add(press)
        elif value < _OFF:
            self._on.discard(press)
        return value >= ON and (not was_on or value == before)

    def _is_command(self, event: Input, press: Press) -> bool:
        return press in (self._taken if isinstance(event, KeyUp) else self._bound.presses)

    def _pass(self, press: Press, value: int) -> None:
        if press.kind is PressKind.CONTROLLER:
            is_at_rest = value == _AT_REST.get(press.number, value)
            (self._passed.discard if is_at_rest else self._passed.add)(press)
