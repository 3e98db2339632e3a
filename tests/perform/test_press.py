import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.errors import AuthorError
from ripieno.perform.events import Controller, KeyDown, KeyUp, Passing, Stop
from ripieno.perform.press import MOST_NUMBER, Press, PressKind, press_named, pressed

presses = st.sampled_from(PressKind).flatmap(
    lambda kind: st.builds(
        Press, st.just(kind), st.integers(0, MOST_NUMBER[kind]), st.integers(0, 15)
    )
)


@given(presses)
def test_a_press_is_read_as_it_is_written(press: Press) -> None:
    assert press_named(str(press)) == press


def test_players_count_channels_from_one() -> None:
    assert str(Press(PressKind.CONTROLLER, 20)) == "controller 20 on channel 1"


@pytest.mark.parametrize(
    "text", ["", "controller 120 on channel 1", "note 60", "note 60 on channel 17",
             "note 60 on channel 0", "key 3 on channel 1", "program -1 on channel 1", "x" * 9999],
)  # fmt: skip
def test_what_is_no_press_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(AuthorError) as refused:
        press_named(text)
    assert "expected controller 0 to 119" in str(refused.value)
    assert len(str(refused.value).splitlines()) == 1
    assert len(str(refused.value)) < 250


def test_controllers_keys_and_program_changes_press_and_nothing_else_does() -> None:
    assert pressed(Controller(0, 20, 127, 3)) == (Press(PressKind.CONTROLLER, 20, 3), 127)
    assert pressed(KeyDown(0, 60, 99, 1)) == (Press(PressKind.NOTE, 60, 1), 99)
    assert pressed(KeyUp(0, 60, 64, 1)) == (Press(PressKind.NOTE, 60, 1), 0)
    assert pressed(Passing(0, bytes((0xC2, 7)))) == (Press(PressKind.PROGRAM, 7, 2), 127)
    assert pressed(Passing(0, bytes((0xE2, 0, 64)))) is None
    assert pressed(Stop(0)) is None
