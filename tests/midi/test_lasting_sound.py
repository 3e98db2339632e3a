"""A synthesizer that comes later: its font, its library or a sound card."""

from pathlib import Path

import pytest

from ripieno.errors import MachineError
from ripieno.midi import lasting_sound
from ripieno.midi.lasting_sound import LastingSound
from ripieno.perform.message import note_on
from ripieno.units import NS_PER_S


class Card:
    """A machine that may have a sound card, and what sounds on it."""

    def __init__(self) -> None:
        self.is_there = False
        self.tried = 0
        self.heard: list[bytes] = []
        self.name, self.why = "FluidSynth with a.sf2", "the test's"

    def begun(self, _font: Path) -> "Card":
        self.tried += 1
        if not self.is_there:
            raise MachineError("no sound card")
        return self

    def send(self, data: bytes) -> None:
        self.heard.append(data)

    def close(self) -> None:
        self.heard.append(b"closed")


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Card:
    card = Card()
    monkeypatch.setattr(lasting_sound, "Synth", card.begun)
    monkeypatch.setattr(lasting_sound, "find_soundfont", lambda: (Path("a.sf2"), "a.sf2 is played"))
    return card


def test_sound_that_cannot_be_had_is_said_and_tried_ever_more_seldom(card: Card) -> None:
    sound = LastingSound()
    for second in range(300):
        sound.look(second * NS_PER_S)
    assert sound.state is None
    assert sound.lack == "no sound: no sound card; MIDI plays, and sound is tried again"
    assert card.tried == 8  # at 0, 4, 12, 28, 60, 124, 188 and 252 seconds
    sound.send(note_on(0, 60, 80))
    sound.close()
    assert card.heard == []


def test_sound_that_comes_is_heard_from_then_on(card: Card) -> None:
    sound = LastingSound()
    sound.look(0)
    card.is_there = True
    sound.send(note_on(0, 60, 80))
    sound.look(4 * NS_PER_S)
    sound.look(5 * NS_PER_S)
    sound.send(note_on(0, 62, 80))
    assert (sound.lack, sound.font) == ("", "sound font: a.sf2 is played")
    assert sound.state.name == "FluidSynth with a.sf2"
    assert card.tried == 2
    sound.close()
    sound.close()
    assert card.heard == [note_on(0, 62, 80), b"closed"]
