"""What of a keyboard gives commands, and what is for the performer."""

from ripieno.perform.events import Controller, Input, KeyDown, KeyUp, Passing
from ripieno.perform.press import Press, PressKind
from ripieno.perform.presses import Bind, Presses

KEY = Press(PressKind.NOTE, 72)
SUSTAIN, EXPRESSION, VOLUME = (Press(PressKind.CONTROLLER, number) for number in (64, 11, 7))


def bound(*presses: Press, learning: bool = False) -> Bind:
    return Bind(frozenset(presses), learning=learning)


def passed(presses: Presses, *events: Input) -> list[Input]:
    return [event for event in events if presses.take(event) is None]


def controller(press: Press, value: int) -> Controller:
    return Controller(0, press.number, value, press.channel)


def test_a_key_that_is_bound_while_it_is_down_comes_up_for_the_performer() -> None:
    presses = Presses()
    down, up = KeyDown(0, 72, 80), KeyUp(0, 72)
    assert passed(presses, down) == [down]
    assert presses.bind(bound(KEY), 1) == []
    assert passed(presses, up, down, up) == [up]


def test_a_key_that_was_struck_as_a_command_is_one_until_it_comes_up() -> None:
    presses = Presses()
    presses.bind(bound(KEY), 0)
    down, up = KeyDown(0, 72, 80), KeyUp(0, 72)
    assert passed(presses, down) == []
    presses.bind(bound(), 1)
    assert passed(presses, up, down, up) == [down, up]


def test_a_controller_that_is_bound_is_handed_in_at_rest_if_it_was_not() -> None:
    """RP-015: pedals rest at 0 and expression at 127; volume is left as it is."""
    presses = Presses()
    for press, value in ((SUSTAIN, 127), (EXPRESSION, 30), (VOLUME, 50)):
        passed(presses, controller(press, value))
    at_rest = presses.bind(bound(SUSTAIN, EXPRESSION, VOLUME), 5)
    assert set(at_rest) == {Controller(5, 64, 0), Controller(5, 11, 127)}
    assert passed(presses, controller(SUSTAIN, 0)) == []
    presses.bind(bound(), 6)
    for value in (90, 0):
        passed(presses, controller(SUSTAIN, value))
    assert presses.bind(bound(SUSTAIN), 7) == []


def test_a_pedal_that_is_learnt_while_it_goes_down_comes_up_for_the_performer() -> None:
    presses = Presses()
    passed(presses, controller(SUSTAIN, 60))
    presses.bind(bound(learning=True), 0)
    taken = presses.take(controller(SUSTAIN, 90))
    assert (taken.press, taken.value, taken.learnt) == (SUSTAIN, 90, True)
    assert presses.learn(taken.press, 3) == [Controller(3, 64, 0)]
    again = presses.take(controller(SUSTAIN, 127))
    assert not again.learnt


def new_ones(presses: Presses, press: Press, *values: int) -> list[int]:
    """Which of the values are new presses, by their places."""
    taken = [presses.take(controller(press, value)) for value in values]
    return [place for place, found in enumerate(taken) if found is not None and found.is_new]


def test_a_controller_goes_on_once_until_it_has_been_off() -> None:
    """MIDI 1.0: a switch is off to 63, on from 64."""
    presses = Presses()
    presses.bind(bound(SUSTAIN), 0)
    assert new_ones(presses, SUSTAIN, 127, 0, 63, 64, 90, 127, 49, 0, 127) == [0, 3, 8]


def test_a_button_that_never_sends_0_is_pressed_by_each_message_and_a_noisy_fader_once() -> None:
    presses = Presses()
    presses.bind(bound(SUSTAIN, VOLUME), 0)
    assert new_ones(presses, SUSTAIN, 127, 127, 127) == [0, 1, 2]
    assert new_ones(presses, VOLUME, 62, 63, 64, 63, 64, 50, 64, 63, 49, 64) == [2, 9]
    assert new_ones(presses, VOLUME, 20, 20, 20) == []


def test_how_controllers_stood_is_forgotten_with_the_keyboard() -> None:
    presses = Presses()
    presses.bind(bound(SUSTAIN), 0)
    assert new_ones(presses, SUSTAIN, 127, 126) == [0]
    presses.forget()
    assert new_ones(presses, SUSTAIN, 126, 125) == [0]


def test_a_pedal_that_is_bound_while_down_gives_no_command_on_its_way_up() -> None:
    presses = Presses()
    passed(presses, controller(SUSTAIN, 127))
    presses.bind(bound(SUSTAIN), 0)
    assert new_ones(presses, SUSTAIN, 100, 80, 0, 70) == [3]


def test_a_key_is_pressed_when_struck_and_a_program_whenever_it_comes() -> None:
    presses = Presses()
    program = Passing(0, bytes((0xC0, 5)))
    presses.bind(bound(KEY, Press(PressKind.PROGRAM, 5)), 0)
    events = (KeyDown(0, 72, 1), KeyUp(0, 72), KeyDown(0, 72, 99), program, program)
    assert [presses.take(event).is_new for event in events] == [True, False, True, True, True]


def test_what_cannot_be_pressed_is_never_a_command() -> None:
    presses = Presses()
    presses.bind(bound(learning=True), 0)
    bend = Passing(0, bytes((0xE0, 0, 64)))
    assert passed(presses, bend) == [bend]
