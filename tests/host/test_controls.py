"""Learned controls: when a press gives its command."""

from ripieno.configuration.model import Control
from ripieno.host.controls import Controls
from ripieno.perform.press import Press, PressKind
from ripieno.perform.presses import Pressed
from ripieno.units import NS_PER_S
from ripieno.wire.command import Command, StepStyle
from ripieno.wire.time_commands import ChooseLean, TempoByValue

PEDAL = Press(PressKind.CONTROLLER, 67)
FADER = Press(PressKind.CONTROLLER, 7, 2)
KEY = Press(PressKind.NOTE, 36, 9)
PROGRAM = Press(PressKind.PROGRAM, 5)


def controls(**does: str) -> Controls:
    found = Controls()
    presses = {"pedal": PEDAL, "fader": FADER, "key": KEY, "program": PROGRAM}
    found.all = tuple(Control(presses[name], tuple(do.split())) for name, do in does.items())
    return found


def given(press: Press, value: int, *, is_new: bool = True, learnt: bool = False) -> Pressed:
    return Pressed(press, value, is_new, learnt, at_ns=0)


def asked(found: Controls, press: Press, *values: int) -> list[Command | None]:
    return [found.asked(given(press, value, is_new=value > 100)) for value in values]


def test_a_control_gives_its_command_when_it_is_pressed_anew() -> None:
    assert asked(controls(pedal="next"), PEDAL, 127, 90, 0, 127) == [
        *(StepStyle(1), None, None, StepStyle(1))
    ]


def test_a_fader_that_sets_the_tempo_does_so_at_each_value() -> None:
    assert asked(controls(fader="tempo"), FADER, 0, 1, 127) == [TempoByValue()] * 3


def test_a_fader_that_sets_how_closely_hands_are_followed_does_so_at_each_value() -> None:
    assert asked(controls(fader="lean"), FADER, 127, 126, 0) == [ChooseLean(None)] * 3
    assert asked(controls(fader="lean 20"), FADER, 127, 90, 0) == [ChooseLean(20), None, None]


def test_what_is_pressed_next_is_learnt_and_what_it_did_before_is_forgotten() -> None:
    found = controls(pedal="next", key="tap")
    assert found.learn(given(KEY, 90, learnt=True)) is None
    found.learning = StepStyle(-1)
    assert found.bind.learning
    control = found.learn(given(KEY, 90, learnt=True))
    assert control == Control(KEY, ("previous",))
    assert not found.bind.learning
    assert found.all == (Control(PEDAL, ("next",)), control)
    assert found.bind.presses == {PEDAL, KEY}
    assert asked(found, KEY, 120) == [StepStyle(-1)]


def test_a_command_is_forgotten_on_all_that_did_it() -> None:
    found = controls(pedal="next", key="tap", program="next")
    assert [control.press for control in found.forget(StepStyle(1))] == [PEDAL, PROGRAM]
    assert found.all == (Control(KEY, ("tap",)),)
    assert found.forget(StepStyle(1)) == ()


def test_a_control_is_waited_for_no_longer_than_half_a_minute() -> None:
    found = controls(pedal="next")
    found.wait_for(StepStyle(-1), 5 * NS_PER_S)
    assert found.give_up(35 * NS_PER_S) is None
    assert found.bind.learning
    assert found.give_up(35 * NS_PER_S + 1) == StepStyle(-1)
    assert not found.bind.learning
    assert found.give_up(99 * NS_PER_S) is None
