import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.settings import TRANSPOSE_RANGE
from ripieno.perform.zones import Zone, Zones


def test_without_a_split_point_the_whole_keyboard_triggers() -> None:
    zones = Zones(None)
    assert [zones.down(note) for note in range(128)] == [(Zone.TRIGGER, n) for n in range(128)]


@pytest.mark.parametrize(
    ("note", "zone"),
    [(0, Zone.TRIGGER), (59, Zone.TRIGGER), (60, Zone.MELODY), (127, Zone.MELODY)],
)
def test_keys_below_the_split_point_trigger_and_from_it_upwards_are_melody(
    note: int, zone: Zone
) -> None:
    assert Zones(60).down(note) == (zone, note)


def test_a_release_goes_where_its_press_went_although_the_split_point_has_moved() -> None:
    zones = Zones(60)
    zones.down(55)
    zones.down(65)
    zones.split = 50
    assert zones.up(55) == (Zone.TRIGGER, 55)
    assert zones.down(55) == (Zone.MELODY, 55)
    zones.split = None
    assert zones.up(65) == (Zone.MELODY, 65)
    assert zones.down(65) == (Zone.TRIGGER, 65)


def test_a_key_pressed_again_without_release_stays_in_its_zone() -> None:
    zones = Zones(60)
    zones.down(55)
    zones.split = 50
    assert zones.down(55) == (Zone.TRIGGER, 55)
    assert zones.up(55) == (Zone.TRIGGER, 55)
    assert zones.up(55) is None


def test_the_same_note_on_another_channel_is_another_key() -> None:
    zones = Zones(60)
    zones.down(55, channel=0)
    zones.split = 50
    assert zones.down(55, channel=1) == (Zone.MELODY, 55)
    assert zones.up(55, channel=0) == (Zone.TRIGGER, 55)
    assert zones.up(55, channel=1) == (Zone.MELODY, 55)


@pytest.mark.parametrize(
    ("key", "semitones", "note"),
    [(60, 3, 63), (60, -24, 36), (126, 3, 117), (2, -5, 9), (0, -24, 0)],
)
def test_a_key_sounds_transposed_and_beyond_the_keyboard_in_the_nearest_octave_within(
    key: int, semitones: int, note: int
) -> None:
    assert Zones(transpose=semitones).down(key) == (Zone.TRIGGER, note)


def test_the_split_point_counts_keys_and_not_the_notes_they_mean() -> None:
    zones = Zones(60, transpose=5)
    assert zones.down(59) == (Zone.TRIGGER, 64)
    assert zones.down(60) == (Zone.MELODY, 65)


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
            st.tuples(st.just("transpose"), st.integers(*TRANSPOSE_RANGE)),
            st.tuples(st.sampled_from(["down", "up"]), st.integers(0, 127)),
        )
    )
)
def test_every_press_gets_its_release_in_the_same_zone_and_with_the_same_note(
    acts: list[tuple[str, int | None]],
) -> None:
    zones = Zones(60)
    pressed: dict[int, tuple[Zone, int]] = {}
    for act, value in acts:
        if act == "split":
            zones.split = value
        elif act == "transpose" and value is not None:
            zones.transpose = value
        elif value is not None and act == "down":
            meant = zones.down(value)
            assert 0 <= meant[1] <= 127
            assert pressed.setdefault(value, meant) == meant
        elif value is not None:
            assert zones.up(value) == pressed.pop(value, None)
