"""What a screen is shown of a performer."""

from fractions import Fraction

from rig import C3, C4, E3, E4, G3, G4, Rig
from ripieno.perform.events import (
    ClockTick,
    Ending,
    KeyDown,
    Ramp,
    Scale,
    SetMeter,
    SetStyle,
    SetTempo,
    Stop,
)
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Follow, Settings
from ripieno.perform.snapshot import snapshot
from ripieno.style.model import Meter
from ripieno.theory.key import key_named
from ripieno.units import NS_PER_S, ns_from_ms


def performer(style: str = "smooth-chords", **settings: object) -> Performer:
    return Performer(Settings(**({"bpm": 60.0} | settings)), Rig(style).style)


def press(player: Performer, at_ns: int, *notes: int) -> None:
    for note in notes:
        player.handle(KeyDown(at_ns, note, 80))
    player.advance(at_ns)


def test_before_anything_is_pressed_there_is_a_style_and_a_tempo_and_nothing_else() -> None:
    shown = snapshot(performer(bpm=92.5), 0)
    assert (shown.style, shown.bpm, shown.meter) == ("smooth-chords", 92.5, "4/4")
    assert (shown.chord, shown.bar_and_beat, shown.pedal) == (None, None, False)
    assert shown.left == shown.right == shown.sounding == ()


def test_while_a_chord_is_on_it_shows_the_chord_the_place_and_each_hand() -> None:
    player = performer(split=90)
    press(player, 0, C4, E4, G4)
    press(player, ns_from_ms(5200), 100)
    shown = snapshot(player, ns_from_ms(5300))
    assert (shown.chord, shown.bar_and_beat) == ("C", (2, 2))
    assert shown.left
    assert shown.right
    assert max(shown.left) < min(shown.right)
    assert shown.sounding == (*shown.left, *shown.right, 100)
    assert shown.pedal


def test_the_chord_is_spelled_in_the_songs_key() -> None:
    player = performer(key=key_named("Ab"))
    press(player, 0, C3 + 1, E3 + 1, G3 + 1)
    assert snapshot(player, 0).chord == "Db"
    sharp = performer(key=key_named("E"))
    press(sharp, 0, C3 + 1, E3 + 1, G3 + 1)
    assert snapshot(sharp, 0).chord == "C#"


def test_it_follows_tempo_meter_and_style() -> None:
    player = performer()
    press(player, 0, C4, E4, G4)
    player.handle(SetTempo(NS_PER_S, 87.654))
    player.handle(SetMeter(NS_PER_S, Meter(6, 8)))
    player.handle(SetStyle(NS_PER_S, Rig("rocking-six").style))
    shown = snapshot(player, NS_PER_S)
    assert (shown.meter, shown.style) == ("6/8", "rocking-six")
    assert shown.bar_and_beat == (2, 1)


def test_after_a_stop_nothing_sounds_and_there_is_no_place() -> None:
    player = performer()
    press(player, 0, C4, E4, G4)
    player.handle(Stop(NS_PER_S))
    shown = snapshot(player, NS_PER_S)
    assert (shown.chord, shown.bar_and_beat, shown.pedal) == (None, None, False)
    assert shown.sounding == shown.left == shown.right == ()


def test_it_knows_the_tempo_that_is_to_come_but_not_that_of_an_ending() -> None:
    player = performer()
    press(player, 0, C4, E4, G4)
    player.handle(Scale(NS_PER_S * 3 // 2, Fraction(2)))
    shown = snapshot(player, NS_PER_S * 3 // 2)
    assert (shown.bpm, shown.coming_bpm) == (60, 120)
    player.handle(Ramp(NS_PER_S * 5 // 2, 90.0, 8))
    shown = snapshot(player, NS_PER_S * 5 // 2)
    assert (shown.bpm, shown.coming_bpm) != (120, 120)
    assert shown.coming_bpm == 90
    player.handle(Ending(NS_PER_S * 3, 4))
    assert snapshot(player, NS_PER_S * 5).coming_bpm > 90


def test_half_time_of_a_clock_is_to_come_until_its_beat() -> None:
    player = performer(follow=Follow.CLOCK)
    for i in range(100):
        player.handle(ClockTick(i * 20_833_333))
        if i == 30:
            press(player, i * 20_833_333 + 1, C4, E4, G4)
        if i == 40:
            player.handle(Scale(i * 20_833_333 + 1, Fraction(1, 2)))
            shown = snapshot(player, i * 20_833_333 + 1)
            assert (round(shown.bpm), round(shown.coming_bpm)) == (120, 60)
    shown = snapshot(player, 100 * 20_833_333)
    assert (round(shown.bpm), round(shown.coming_bpm)) == (60, 60)
