"""Learned controls: when a press gives its command."""

from ripieno.configuration.model import Control
from ripieno.host.controls import Controls
from ripieno.perform.press import Press, PressKind
from ripieno.perform.presses import Pressed
from ripieno.wire.command import Command, StepStyle, command_from
from ripieno.wire.time_commands import ChooseLean, Tap, TempoByValue

PEDAL = Press(PressKind.CONTROLLER, 67)
FADER = Press(PressKind.CONTROLLER, 7, 2)
KEY = Press(PressKind.NOTE, 36, 9)
PROGRAM = Press(PressKind.PROGRAM, 5)


def controls(**does: str) -> Controls:
    found = Controls()
    presses = {"pedal": PEDAL, "fader": FADER, "key": KEY, "program": PROGRAM}
    found.all = tuple(Control(presses[name], tuple(do.split())) for name, do in does.items())
    return found


def asked(found: Controls, press: Press, *values: int) -> list[Command | None]:
    return [found.asked(Pressed(press, value, learnt=False, at_ns=0)) for value in values]


def test_a_controller_gives_its_command_when_it_goes_on_and_once() -> None:
    """MIDI 1.0: a switch is off to 63, on from 64."""
    found = controls(pedal="next")
    values = [127, 0, 63, 64, 90, 127, 63, 0, 127]
    commands = [command is not None for command in asked(found, PEDAL, *values)]
    assert commands == [True, False, False, True, False, False, False, False, True]


def test_a_fader_that_sets_the_tempo_does_so_at_each_value() -> None:
    assert asked(controls(fader="tempo"), FADER, 0, 1, 127) == [TempoByValue()] * 3


def test_a_fader_that_sets_how_closely_hands_are_followed_does_so_at_each_value() -> None:
    assert asked(controls(fader="lean"), FADER, 127, 126, 0) == [ChooseLean(None)] * 3
    assert asked(controls(fader="lean 20"), FADER, 127, 126, 0) == [ChooseLean(20), None, None]


def test_a_key_gives_its_command_when_struck_and_a_program_change_whenever_it_comes() -> None:
    assert asked(controls(key="tap"), KEY, 99, 0, 1) == [Tap(), None, Tap()]
    assert (
        asked(controls(program="style waltz"), PROGRAM, 127, 127)
        == [command_from(["style", "waltz"])] * 2
    )


def test_what_is_pressed_next_is_learnt_and_what_it_did_before_is_forgotten() -> None:
    found = controls(pedal="next", key="tap")
    assert found.learn(Pressed(KEY, 90, learnt=True, at_ns=0)) is None
    found.learning = StepStyle(-1)
    assert found.bind.learning
    control = found.learn(Pressed(KEY, 90, learnt=True, at_ns=0))
    assert control == Control(KEY, ("previous",))
    assert not found.bind.learning
    assert found.all == (Control(PEDAL, ("next",)), control)
    assert found.bind.presses == {PEDAL, KEY}
    assert asked(found, KEY, 90) == [StepStyle(-1)]


def test_a_controller_that_is_still_down_from_being_learnt_does_not_give_its_command() -> None:
    found = Controls()
    found.learning = StepStyle(1)
    found.learn(Pressed(PEDAL, 127, learnt=True, at_ns=0))
    assert asked(found, PEDAL, 127, 0, 127) == [None, None, StepStyle(1)]


def test_a_command_is_forgotten_on_all_that_did_it() -> None:
    found = controls(pedal="next", key="tap", program="next")
    assert [control.press for control in found.forget(StepStyle(1))] == [PEDAL, PROGRAM]
    assert found.all == (Control(KEY, ("tap",)),)
    assert found.forget(StepStyle(1)) == ()
