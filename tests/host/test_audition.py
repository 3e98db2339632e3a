"""A style heard before it is chosen, and ended by a key of the player's. The engine is the test."""

import time
from queue import SimpleQueue

from rig import C4, E4, F4, G4, STYLES, left_sounding
from ripieno.host.audition import CHORDS, Audition
from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input, KeyDown, KeyUp, Stop
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.load import load_style
from ripieno.theory.hand import Side
from ripieno.theory.symbol import symbol

CHOSEN = Chosen(
    Settings(bpm=20.0, transpose=2, split=72, hold=False, muted=Side.LEFT),
    load_style(STYLES / "smooth-chords.yaml"),
)
MARCH = load_style(STYLES / "march.yaml")
PATIENCE_S = 30


class Engine:
    """Takes what it is told when the test wants it to."""

    def __init__(self) -> None:
        self.inbox: SimpleQueue[Input] = SimpleQueue()
        self.performer = Performer(CHOSEN.settings, CHOSEN.style)
        self.sent: list[bytes] = []
        self.audition = Audition(MARCH, CHOSEN, self.inbox.put)
        self.now_ns = 0

    def take(self, event: Input) -> Input:
        """As the loop does: performed first, then told."""
        self.now_ns = max(self.now_ns + 1, event.at_ns)
        self.sent += [send.data for send in self.performer.handle(event)]
        self.audition.heard(event)
        return event

    def take_all(self) -> list[Input]:
        taken = []
        while not self.inbox.empty():
            taken.append(self.take(self.inbox.get()))
        return taken

    def take_to_the_end(self) -> None:
        """To its last stop; what is pressed again waits."""
        stops = 0
        while stops < 2:
            stops += isinstance(self.take(self.inbox.get(timeout=PATIENCE_S)), Stop)

    def take_chord(self) -> None:
        """Until the first chord of the audition is struck."""
        while not isinstance(self.take(self.inbox.get(timeout=PATIENCE_S)), KeyUp):
            pass

    def press(self, *notes: int) -> None:
        for note in notes:
            self.take(KeyDown(self.now_ns + 1, note, 90))

    def lift(self, *notes: int) -> None:
        for note in notes:
            self.take(KeyUp(self.now_ns + 1, note))

    def advance(self, ms: int) -> None:
        self.now_ns += ms * 1_000_000
        self.sent += [send.data for send in self.performer.advance(self.now_ns)]

    def until_over(self) -> None:
        give_up = time.monotonic() + PATIENCE_S
        while self.audition.is_on:
            assert time.monotonic() < give_up

    @property
    def chord(self) -> str | None:
        harmony = self.performer.accompaniment.harmony
        return None if harmony is None else symbol(harmony.chord, None)


def test_a_key_ends_it_and_is_played_as_the_player_has_chosen() -> None:
    engine = Engine()
    engine.take_chord()
    engine.press(C4, E4, G4)
    engine.until_over()
    engine.take_all()
    engine.take_all()
    engine.advance(300)
    assert (engine.chord, engine.performer.accompaniment.style.id) == ("D", "smooth-chords")
    assert engine.performer.keys == (C4, E4, G4)
    engine.lift(C4, E4, G4)
    assert engine.chord is None
    engine.take(Stop(engine.now_ns + 1))
    assert left_sounding(engine.sent) == set()


def test_a_chord_that_is_only_begun_when_it_ends_is_whole_afterwards() -> None:
    engine = Engine()
    engine.take_chord()
    engine.press(C4)
    engine.until_over()
    engine.take_all()
    engine.press(E4, G4)
    engine.take_all()
    engine.advance(300)
    assert engine.chord == "D"


def test_a_key_that_is_up_again_by_then_does_not_stay_down() -> None:
    engine = Engine()
    engine.take_chord()
    engine.press(C4, E4, G4)
    engine.lift(C4)  # before its end
    engine.take_to_the_end()
    engine.lift(E4)  # after it, and before it is pressed again
    engine.take_all()
    assert engine.performer.keys == (G4,)


def test_what_was_chosen_comes_back_whole() -> None:
    engine = Engine()
    engine.take_chord()
    engine.audition.end()
    told = engine.take_all()
    performer = engine.performer
    assert performer.accompaniment.muted is Side.LEFT
    assert (performer.hold, performer.accompaniment.style.id) == (False, "smooth-chords")
    assert {type(e) for e in told} >= {ev.SetSplit, ev.SetTranspose, ev.SetReading, ev.SetMeter}
    engine.press(F4)
    assert engine.take_all() == []  # it has been over for long


def test_keys_of_its_own_do_not_end_it() -> None:
    engine = Engine()
    engine.take_chord()
    engine.take_all()
    assert engine.audition.is_on
    assert engine.chord == "Eb"
    assert CHORDS[0][0] == 51
    engine.audition.end()
