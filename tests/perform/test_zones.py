import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.zones import Zone, Zones


def test_without_a_split_point_the_whole_keyboard_triggers() -> None:
    zones = Zones(None)
    assert {zones.down(note) for note in range(128)} == {Zone.TRIGGER}


@pytest.mark.parametrize(
    ("note", "zone"),
    [(0, Zone.TRIGGER), (59, Zone.TRIGGER), (60, Zone.MELODY), (127, Zone.MELODY)],
)
def test_keys_below_the_split_point_trigger_and_from_it_upwards_are_melody(
    note: int, zone: Zone
) -> None:
    assert Zones(60).down(note) is zone


def test_a_release_goes_where_its_press_went_although_the_split_point_has_moved() -> None:
    zones = Zones(60)
    zones.down(55)
    zones.down(65)
    zones.split = 50
    assert zones.up(55) is Zone.TRIGGER
    assert zones.down(55) is Zone.MELODY
    zones.split = None
    assert zones.up(65) is Zone.MELODY
    assert zones.down(65) is Zone.TRIGGER


def test_a_key_pressed_again_without_release_stays_in_its_zone() -> None:
    zones = Zones(60)
    zones.down(55)
    zones.split = 50
    assert zones.down(55) is Zone.TRIGGER
    assert zones.up(55) is Zone.TRIGGER
    assert zones.up(55) is None


def test_the_same_note_on_another_channel_is_another_key() -> None:
    zones = Zones(60)
    zones.down(55, channel=0)
    zones.split = 50
    assert zones.down(55, channel=1) is Zone.MELODY
    assert zones.up(55, channel=0) is Zone.TRIGGER
    assert zones.up(55, channel=1) is Zone.MELODY


def test_a_release_without_a_press_belongs_nowhere() -> None:
    zones = Zones(60)
    zones.down(70)
    zones.clear()
    assert zones.up(70) is None
    assert zones.up(40) is None


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("split"), st.none() | st.integers(0, 128)),
            st.tuples(st.sampled_from(["down", "up"]), st.integers(0, 127)),
        )
    )
)
def test_every_press_gets_its_release_in_the_same_zone(
    acts: list[tuple[str, int | None]],
) -> None:
    zones = Zones(60)
    pressed: dict[int, Zone] = {}
    for act, value in acts:
        if act == "split":
            zones.split = value
        elif value is not None and act == "down":
            zone = zones.down(value)
            assert pressed.setdefault(value, zone) is zone
        elif value is not None:
            assert zones.up(value) is pressed.pop(value, None)
