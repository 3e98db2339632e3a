"""Port names. Their forms: RtMidi's on ALSA ("Keys:Keys MIDI 1 24:0") and Windows ("Keys 1")."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.errors import MachineError
from ripieno.midi.names import find, is_loopback, told_apart, without_alsa_address, without_index


@pytest.mark.parametrize(
    ("raw", "stable"),
    [
        ("Midi Through:Midi Through Port-0 14:0", "Midi Through:Midi Through Port-0"),
        ("Keys:Keys MIDI 1 24:0", "Keys:Keys MIDI 1"),
        ("Keys 61", "Keys 61"),
        ("Keys 1:2 B", "Keys 1:2 B"),
    ],
)
def test_the_alsa_address_is_no_part_of_a_name(raw: str, stable: str) -> None:
    assert without_alsa_address(raw) == stable


def test_only_the_ports_own_number_is_taken_from_a_windows_name() -> None:
    assert without_index("Keys 61 2", 2) == "Keys 61"
    assert without_index("Keys 61", 2) == "Keys 61"


@pytest.mark.parametrize(
    ("names", "unique"),
    [
        (["Keys", "Organ"], ["Keys", "Organ"]),
        (["Keys", "Keys", "Organ", "Keys"], ["Keys", "Keys #2", "Organ", "Keys #3"]),
        (["Keys", "Keys", "Keys #2"], ["Keys", "Keys #3", "Keys #2"]),
    ],
)
def test_equal_names_are_numbered_from_the_second_on(names: list[str], unique: list[str]) -> None:
    assert list(told_apart(names)) == unique


@given(st.lists(st.sampled_from(["K", "K #2", "K #2 #2", "O"])))
def test_after_numbering_no_two_names_are_equal_and_each_finds_its_port(names: list[str]) -> None:
    unique = told_apart(names)
    assert [find(unique, name, "input") for name in unique] == list(range(len(names)))


NAMES = ("Stage Piano", "Stage Piano Control", "Big stage", "ORGAN", "organ")


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        ("Stage Piano", 0),  # the whole name, though another begins with it
        ("stage piano", 0),
        ("stage piano c", 1),
        ("big", 2),
        ("control", 1),  # inside
        ("ORGAN", 3),  # the case decides where nothing else does
        ("organ", 4),
    ],
)
def test_a_port_is_found_by_its_name_its_beginning_or_any_part(wanted: str, index: int) -> None:
    assert find(NAMES, wanted, "input") == index


def test_a_beginning_goes_before_a_part() -> None:
    assert find(("Big stage", "Stage Piano"), "stage", "input") == 1


@pytest.mark.parametrize("wanted", ["stage", "Organ", "g"])
def test_what_could_be_several_ports_is_refused_and_they_are_named(wanted: str) -> None:
    with pytest.raises(MachineError) as refused:
        find(NAMES, wanted, "output")
    line = str(refused.value)
    assert line.startswith(f"MIDI output '{wanted}' could be '")
    assert line.count("'") >= 6
    assert "\n" not in line


def test_a_missing_port_is_refused_and_those_there_are_named() -> None:
    with pytest.raises(MachineError, match=r"no MIDI input 'harp': there is 'A', 'B'"):
        find(("A", "B"), "harp", "input")
    with pytest.raises(MachineError, match=r"no MIDI input 'harp': there is none at all"):
        find((), "harp", "input")


@pytest.mark.parametrize(
    ("name", "loops"),
    [
        ("Midi Through:Midi Through Port-0", True),
        ("Virtual Raw MIDI 1-0:VirMIDI 1-0", True),
        ("IAC Driver Bus 1", True),
        ("loopMIDI Port", True),
        ("Keys:Keys MIDI 1", False),
        ("system:midi_capture_1", False),
    ],
)
def test_ports_that_hand_back_what_they_get_are_known(name: str, loops: bool) -> None:
    # Common practice, no source: the names these drivers give themselves.
    assert is_loopback(name) is loops
