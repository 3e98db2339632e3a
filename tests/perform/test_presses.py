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


def test_what_cannot_be_pressed_is_never_a_command() -> None:
    presses = Presses()
    presses.bind(bound(learning=True), 0)
    bend = Passing(0, bytes((0xE0, 0, 64)))
    assert passed(presses, bend) == [bend]
