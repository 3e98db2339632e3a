"""The real-time loop between ports in memory. Tests wait for what is sent, never for time."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from queue import SimpleQueue
from threading import Thread

import pytest

from rig import A4, C4, C5, E4, F4, G4, Rig, left_sounding, notes_in
from ripieno.engine.loop import Engine
from ripieno.errors import MachineError
from ripieno.midi.memory import MemoryIn, MemoryOut
from ripieno.perform.events import (
    Input,
    KeyDown,
    KeyUp,
    Send,
    SetKey,
    SetStyle,
    SetTempo,
    Silence,
)
from ripieno.perform.offline import Happening
from ripieno.perform.performer import Performer
from ripieno.perform.press import Press, PressKind
from ripieno.perform.presses import Bind, Pressed
from ripieno.perform.settings import Settings
from ripieno.theory.key import key_named
from ripieno.units import NS_PER_MS, NS_PER_S

PATIENCE_S = 3  # nothing waits so long unless something is broken
TRIAD = (C4, E4, G4)


class Ends:
    """A keyboard and a listener at an engine's ends, and what the engine recorded."""

    def __init__(self, performer: Performer) -> None:
        self.arrived: SimpleQueue[bytes] = SimpleQueue()
        self.recorded: list[Happening] = []
        self.pressed: SimpleQueue[Pressed] = SimpleQueue()
        self.output = MemoryOut("out", lambda data, _: self.arrived.put(data))
        self.engine = Engine(
            performer,
            self.output,
            record=lambda timed: self.recorded.append(timed.happening),
            notice=self.pressed.put,
        )
        self.keyboard = MemoryIn("in", self.engine.receive)

    def press(self, *notes: int) -> None:
        at_ns = time.monotonic_ns()
        for note in notes:
            self.keyboard.deliver(bytes((0x90, note, 80)), at_ns)

    def lift(self, *notes: int) -> None:
        for note in notes:
            self.keyboard.deliver(bytes((0x80, note, 64)), time.monotonic_ns())

    def take(self, count: int) -> list[bytes]:
        return [self.arrived.get(timeout=PATIENCE_S) for _ in range(count)]

    def take_until(self, data: bytes) -> list[bytes]:
        taken = self.take(1)
        while taken[-1] != data:
            taken += self.take(1)
        return taken

    @property
    def sent(self) -> list[bytes]:
        return [data for _, data in self.output.sent]


@contextmanager
def running(
    style: str = "smooth-chords", performer: Performer | None = None, **chosen: object
) -> Iterator[Ends]:
    ends = Ends(performer or Performer(Settings(**chosen), Rig(style).style))
    ends.engine.start()
    try:
        yield ends
    finally:
        ends.engine.close()


def pedal_values(sent: list[bytes]) -> list[int]:
    return [data[2] for data in sent if data[:2] == bytes((0xB0, 64))]


def test_a_triad_delivered_is_answered_with_its_notes_in_both_hands() -> None:
    with running() as ends:
        ends.press(*TRIAD)
        notes = ends.take(5)
    assert {data[0] for data in notes} == {0x90}
    assert {data[1] % 12 for data in notes} == {0, 4, 7}
    assert min(data[1] for data in notes) < C4 <= max(data[1] for data in notes)


def test_a_figure_goes_on_by_itself() -> None:
    with running("rippling-sixteenths", bpm=400.0) as ends:
        ends.press(*TRIAD)
        taken = ends.take(40)
    assert len([data for data in taken if data[0] == 0x90]) > 15


def test_closing_leaves_nothing_sounding_and_the_pedal_up() -> None:
    with running() as ends:
        ends.press(*TRIAD)
        ends.take_until(bytes((0xB0, 64, 127)))
        ends.engine.close()
        assert left_sounding(ends.sent) == set()
        assert pedal_values(ends.sent)[-1] == 0
        count = len(ends.sent)
        ends.engine.close()
        ends.press(*TRIAD)
        assert len(ends.sent) == count
    assert not ends.engine.is_running


def test_melody_held_at_the_end_is_released_too() -> None:
    with running(split=60, channel=2) as ends:
        ends.press(90)
        assert ends.take(1) == [bytes((0x90, 90, 80))]
    assert left_sounding(ends.sent) == set()


def test_an_output_that_raises_is_counted_and_the_rest_is_still_sent() -> None:
    class Faulty:
        """Refuses every other message."""

        def __init__(self) -> None:
            self.tried: list[bytes] = []
            self.taken: SimpleQueue[bytes] = SimpleQueue()

        def send(self, data: bytes) -> None:
            self.tried.append(data)
            if len(self.tried) % 2:
                raise OSError("the cable is out")
            self.taken.put(data)

    output = Faulty()
    engine = Engine(Performer(Settings(), Rig("smooth-chords").style), output)
    engine.start()
    for note in TRIAD:
        engine.receive(bytes((0x90, note, 80)), time.monotonic_ns())
    for _ in range(2):
        output.taken.get(timeout=PATIENCE_S)
    engine.close()
    assert left_sounding(output.tried) == set(), "the note-offs were all tried"
    assert len(output.tried) >= 10
    assert engine.counts.failed == (len(output.tried) + 1) // 2
    assert engine.counts.sent == len(output.tried) // 2
    assert engine.counts.received == 3


def test_looking_shows_the_performer_as_it_is() -> None:
    with running(bpm=77.5) as ends:
        before = ends.engine.look()
        assert (before.chord, before.bpm, before.sounding) == (None, 77.5, ())
        ends.press(*TRIAD)
        notes = ends.take(5)
        now = ends.engine.look()
        assert (now.chord, now.style, now.bar_and_beat) == ("C", "smooth-chords", (1, 1))
        assert now.sounding == tuple(sorted(data[1] for data in notes))


def test_what_the_program_submits_takes_effect() -> None:
    with running(bpm=60.0) as ends:
        now_ns = time.monotonic_ns
        ends.engine.submit(SetStyle(now_ns(), Rig("triplet-broken").style))
        ends.engine.submit(SetTempo(now_ns(), 123.0))
        ends.engine.submit(SetKey(now_ns(), key_named("Gb")))
        ends.press(54, 58, 61)
        ends.take(2)
        shown = ends.engine.look()
        assert (shown.style, shown.bpm) == ("triplet-broken", 123.0)
        ends.engine.submit(Silence(now_ns()))
        taken = ends.take_until(bytes((0xB0, 120, 0)))
        assert ends.engine.look().chord is None
    assert taken[-5:] == [bytes((0xB0, number, 0)) for number in (64, 66, 69, 123, 120)]


def test_bytes_cut_anywhere_are_put_together() -> None:
    with running() as ends:
        at_ns = time.monotonic_ns()
        for byte in bytes.fromhex("90 3C 50 40 50 43 50"):  # running status: three note-ons
            ends.keyboard.deliver(bytes((byte,)), at_ns)
        assert {data[1] % 12 for data in ends.take(5)} == {0, 4, 7}


def test_many_threads_may_deliver_at_once() -> None:
    with running("rippling-sixteenths", bpm=400.0) as ends:

        def bang(low: int) -> None:
            for turn in range(200):
                ends.press(low + turn % 12)
                ends.lift(low + turn % 12)

        threads = [Thread(target=bang, args=(low,)) for low in (36, 60, 84)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        ends.engine.look()
        received = ends.engine.counts.received
    assert received == 1200
    assert left_sounding(ends.sent) == set()


def test_what_is_recorded_is_everything_in_order_and_sent_first() -> None:
    with running() as ends:
        ends.press(*TRIAD)
        ends.take_until(bytes((0xB0, 64, 127)))
        ends.lift(*TRIAD)
    sends = [h for h in ends.recorded if isinstance(h, Send)]
    assert [send.data for send in sends] == ends.sent
    assert [send.due_ns for send in sends] == sorted(send.due_ns for send in sends)
    for (sent_ns, _), send in zip(ends.output.sent, sends, strict=True):
        assert sent_ns >= send.due_ns, "nothing leaves before it is due"
    notes_in(sends)
    downs = [h.note for h in ends.recorded if isinstance(h, KeyDown)]
    ups = [h.note for h in ends.recorded if isinstance(h, KeyUp)]
    assert downs == ups == list(TRIAD)


def test_events_put_in_the_other_way_round_than_stamped_do_not_go_back_in_time() -> None:
    with running() as ends:
        now_ns = time.monotonic_ns()
        ends.engine.submit(SetTempo(now_ns, 90.0))
        ends.engine.submit(SetTempo(now_ns - NS_PER_S, 91.0))
        ends.engine.receive(bytes((0x90, C4, 80)), now_ns - 5 * NS_PER_MS)
        ends.engine.look()
        taken = [(h.at_ns - now_ns, type(h)) for h in ends.recorded if type(h) in Input.__args__]
    assert taken[:3] == [(0, SetTempo), (0, SetTempo), (0, KeyDown)]


class Breaking(Performer):
    """Has a fault: a certain tempo ends it."""

    def handle(self, event: Input) -> list[Send]:
        assert event != SetTempo(event.at_ns, 66.6), "the fault"
        return super().handle(event)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_in_the_loop_leaves_nothing_sounding_and_the_loop_is_known_to_have_ended() -> None:
    performer = Breaking(Settings(split=72), Rig("smooth-chords").style)
    with running(performer=performer) as ends:
        ends.press(90)
        ends.press(*TRIAD)
        ends.take_until(bytes((0xB0, 64, 127)))
        ends.engine.submit(SetTempo(time.monotonic_ns(), 66.6))
        ends.take_until(bytes((0xB0, 64, 0)))
        assert left_sounding(ends.sent) == set()
        ends.engine.close()
        assert not ends.engine.is_running


def test_looking_at_an_engine_that_does_not_turn_is_refused() -> None:
    with running() as ends:
        pass
    with pytest.raises(MachineError, match="the engine does not answer"):
        ends.engine.look()


def test_a_late_wake_up_does_not_move_the_grid() -> None:
    # The first note leaves after its time by what the machine takes; the others are due on the
    # grid of the first, not of when it left.
    with running("rippling-sixteenths", bpm=300.0) as ends:
        ends.press(*TRIAD)
        ends.take(30)
    struck_ns = ends.recorded[0].at_ns
    due = {h.due_ns for h in ends.recorded if isinstance(h, Send) and h.data[0] == 0x90}
    assert {(at_ns - struck_ns) % (50 * NS_PER_MS) for at_ns in due} == {0}


def test_chords_follow_one_another() -> None:
    with running() as ends:
        ends.press(*TRIAD)
        ends.take(5)
        ends.lift(*TRIAD)
        ends.press(F4, A4, C5)
        while ends.engine.look().chord != "F":
            ends.take(1)
        assert {note % 12 for note in ends.engine.look().sounding} == {5, 9, 0}


BUTTON = Press(PressKind.CONTROLLER, 20)


def bound(*presses: Press, learning: bool = False) -> Bind:
    return Bind(frozenset(presses), learning=learning)


def test_what_is_bound_to_a_command_is_told_and_not_played() -> None:
    with running() as ends:
        ends.engine.submit(bound(BUTTON, Press(PressKind.NOTE, C5, 3)))
        given = [time.monotonic_ns() for _ in range(4)]
        sent = (b"\xb0\x14\x7f", b"\x93\x48\x50", b"\xb0\x14\x00", b"\xb0\x15\x01")
        for data, at_ns in zip(sent, given, strict=True):
            ends.keyboard.deliver(data, at_ns)
        assert ends.take(1) == [b"\xb0\x15\x01"]  # the one that is not bound passes
        told = [ends.pressed.get(timeout=PATIENCE_S) for _ in range(3)]
    assert [(p.press, p.value, p.learnt) for p in told] == [
        (BUTTON, 127, False),
        (Press(PressKind.NOTE, C5, 3), 80, False),
        (BUTTON, 0, False),
    ]
    assert [p.at_ns for p in told] == [given[0], given[1], given[2]]


def test_the_first_press_while_learning_is_learnt_and_its_release_is_no_key_either() -> None:
    with running() as ends:
        ends.engine.submit(bound(learning=True))
        for data in (b"\x80\x3c\x40", b"\x90\x3c\x50", b"\x80\x3c\x40", b"\xb0\x15\x01"):
            ends.keyboard.deliver(data, time.monotonic_ns())
        assert ends.take(1) == [b"\xb0\x15\x01"]
        told = [ends.pressed.get(timeout=PATIENCE_S) for _ in range(2)]
    key = Press(PressKind.NOTE, C4)
    assert [(p.press, p.value, p.learnt) for p in told] == [(key, 80, True), (key, 0, False)]
    assert [h for h in ends.recorded if isinstance(h, KeyDown)] == []


def test_a_key_and_a_pedal_that_are_bound_while_down_come_up_all_the_same() -> None:
    with running(split=60) as ends:
        for data in (b"\x90\x48\x50", b"\xb0\x40\x7f", b"\xb0\x07\x50"):
            ends.keyboard.deliver(data, time.monotonic_ns())
        ends.take(3)
        pedal, volume = Press(PressKind.CONTROLLER, 64), Press(PressKind.CONTROLLER, 7)
        ends.engine.submit(bound(Press(PressKind.NOTE, C5), pedal, volume))
        assert ends.take(1) == [b"\xb0\x40\x00"]  # volume has no value at rest
        ends.keyboard.deliver(b"\xb0\x40\x00", time.monotonic_ns())
        ends.lift(C5)
        assert ends.take(1) == [b"\x80\x48\x40"]
        assert ends.pressed.get(timeout=PATIENCE_S).press == pedal
        ends.press(C5)
        assert ends.pressed.get(timeout=PATIENCE_S).value == 80


def test_a_pedal_that_is_learnt_while_it_goes_down_comes_up_for_the_instrument() -> None:
    with running() as ends:
        for value in (30, 60):
            ends.keyboard.deliver(bytes((0xB0, 67, value)), time.monotonic_ns())
        assert ends.take(2)[-1] == b"\xb0\x43\x3c"
        ends.engine.submit(bound(learning=True))
        ends.keyboard.deliver(b"\xb0\x43\x5a", time.monotonic_ns())
        assert ends.take(1) == [b"\xb0\x43\x00"]
        assert ends.pressed.get(timeout=PATIENCE_S).learnt


def test_when_the_keyboard_is_unplugged_its_keys_come_up_and_the_music_stops() -> None:
    with running("rippling-sixteenths", split=72) as ends:
        ends.press(*TRIAD, 90)
        ends.take_until(bytes((0xB0, 64, 127)))
        ends.engine.unplugged(time.monotonic_ns())
        ends.take_until(bytes((0xB0, 64, 0)))
        assert left_sounding(ends.sent) == set()
        assert ends.engine.look().bar_and_beat is None
        ends.press(*TRIAD)  # as if they had never been down
        assert {data[1] % 12 for data in ends.take(5)} == {0, 4, 7}


def test_a_keyboard_that_is_opened_anew_may_come_up_without_an_end_to_the_music() -> None:
    with running("rippling-sixteenths", split=72) as ends:
        ends.press(*TRIAD, 90)
        ends.take_until(bytes((0xB0, 64, 127)))
        ends.engine.unplugged(time.monotonic_ns(), stops=False)
        ends.take_until(bytes((0x80, 90, 64)))
        shown = ends.engine.look()
        assert shown.keys == ()
        assert shown.bar_and_beat is not None


def test_a_keyboard_that_sends_active_sensing_and_falls_silent_has_let_go() -> None:
    with running("rippling-sixteenths", split=72, bpm=20.0) as ends:
        ends.press(*TRIAD, 90)
        ends.keyboard.deliver(bytes((0xB3, 66, 127)), time.monotonic_ns())
        ends.keyboard.deliver(b"\xfe", time.monotonic_ns())
        sent = ends.take_until(bytes((0xB3, 66, 0)))
        assert bytes((0x80, 90, 64)) in sent, "its key has come up"
        assert ends.engine.look().bar_and_beat is None
        received = ends.engine.counts.received
        ends.keyboard.deliver(b"\xfe", time.monotonic_ns())
        assert ends.engine.look().keys == ()
        assert ends.engine.counts.received == received == 5, "it is no event"


def test_active_sensing_in_time_keeps_a_keyboard_that_is_held_still() -> None:
    with running("smooth-chords", split=72) as ends:
        ends.press(90)
        began_ns = time.monotonic_ns()
        while time.monotonic_ns() < began_ns + 1_100 * NS_PER_MS:  # longer than silence may be
            ends.keyboard.deliver(b"\xfe", time.monotonic_ns())
            assert ends.engine.look().keys == (90,)


def test_keys_that_come_faster_than_they_can_be_taken_are_counted_and_leave_nothing_on() -> None:
    performer = Performer(Settings(split=0), Rig("smooth-chords").style)
    ends = Ends(performer)
    for number in range(70_000):  # before the loop turns
        note = number % 128
        ends.keyboard.deliver(bytes((0x80 | number % 32, note, 1)), 1)
    ends.engine.start()
    ends.press(90)
    ends.take_until(bytes((0x90, 90, 80)))
    ends.engine.close()
    assert ends.engine.counts.flooded >= 10_000
    assert left_sounding(ends.sent) == set()
