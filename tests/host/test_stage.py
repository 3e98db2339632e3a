"""Commands about the music: what becomes of each."""

from fractions import Fraction
from pathlib import Path

import pytest

from rig import STYLE_IDS, STYLES, Rig
from ripieno.errors import AuthorError
from ripieno.host.library import Library
from ripieno.host.stage import LONGEST_SHOWN_NS, Stage
from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input
from ripieno.perform.settings import Follow, ReadKeys, Settings, Start
from ripieno.style.model import Meter
from ripieno.style.shipped import user_styles_folder
from ripieno.theory.hand import Side
from ripieno.theory.key import key_named
from ripieno.units import NS_PER_S
from ripieno.wire.command import command_from


@pytest.fixture(autouse=True)
def _no_styles_of_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


class Played:
    def __init__(self, **chosen: object) -> None:
        self.events: list[Input] = []
        start = Chosen(Settings(**chosen), Rig("smooth-chords").style)
        self.stage = Stage(start, Library(), self.events.append)

    def tell(
        self,
        *words: str,
        value: int | None = None,
        at_ns: int | None = None,
        bpm: float | None = None,
    ) -> dict[str, object] | None:
        return self.stage.carry_out(command_from(words), value, at_ns, bpm)

    @property
    def settings(self) -> Settings:
        return self.stage.chosen.settings


@pytest.mark.parametrize(
    ("words", "event", "value", "result"),
    [
        (["tempo", "104.5"], ev.SetTempo, 104.5, {"bpm": 104.5}),
        (["meter", "6/8"], ev.SetMeter, Meter(6, 8), {"meter": "6/8"}),
        (["key", "E", "minor"], ev.SetKey, key_named("E minor"), {"key": "E minor"}),
        (["key", "none"], ev.SetKey, None, {"key": None}),
        (["hold", "off"], ev.SetHold, False, {"hold": False}),
        (["hold"], ev.SetHold, False, {"hold": False}),
        (["split", "C4"], ev.SetSplit, 60, {"split": 60}),
        (["split", "none"], ev.SetSplit, None, {"split": None}),
        (["transpose", "-3"], ev.SetTranspose, -3, {"transpose": -3}),
        (["reading", "from-key"], ev.SetReading, ReadKeys.FROM_KEY, {"reading": "from-key"}),
        (["follow", "clock"], ev.SetFollow, Follow.CLOCK, {"follow": "clock"}),
        (["follow", "hands"], ev.SetFollow, Follow.HANDS, {"follow": "hands"}),
        (["lean", "80"], ev.SetLean, 80, {"lean": 80}),
        (["start", "downbeat"], ev.SetStart, Start.DOWNBEAT, {"start": "downbeat"}),
        (["pickup", "3"], ev.SetPickup, 3, {"pickup": 3}),
        (["swing", "2"], ev.SetSwing, Fraction(2), {"swing": 2.0}),
        (["send-clock", "on"], ev.SetSendClock, True, {"send_clock": True}),
    ],
)  # fmt: skip
def test_a_choice_goes_to_the_engine_is_kept_and_is_the_answer(
    words: list[str], event: type, value: object, result: dict[str, object]
) -> None:
    played = Played(split=48, key=key_named("G"))
    before = played.stage.chosen
    assert played.tell(*words) == result
    [sent] = played.events
    assert type(sent) is event
    assert next(iter(result.values())) in (value, str(value))
    assert played.stage.chosen == before.after(sent) != before


def test_hold_without_a_word_is_the_other_way_each_time() -> None:
    played = Played()
    assert [played.tell("hold")["hold"] for _ in range(3)] == [False, True, False]


def test_a_tempo_is_nudged_and_stays_within_what_there_is() -> None:
    played = Played(bpm=92.0)
    assert played.tell("tempo", "-2.5") == {"bpm": 89.5}
    assert played.tell("tempo", "+400") == {"bpm": 400}
    assert played.tell("tempo", "-400") == {"bpm": 20}


def test_a_tempo_is_reckoned_from_the_one_that_is_played() -> None:
    played = Played(bpm=92.0)
    assert played.tell("tempo", "+1", bpm=80.0) == {"bpm": 81.0}
    assert played.tell("tempo", "half", bpm=120.0) == {"bpm": 60.0}
    assert Played(bpm=210.0).tell("tempo", "double", bpm=120.0) == {"bpm": 240.0}
    with pytest.raises(AuthorError, match="420 beats a minute is no tempo"):
        played.tell("tempo", "double", bpm=210.0)


def test_a_controller_sets_the_tempo_by_its_value_and_nobody_else_can() -> None:
    played = Played()
    assert played.tell("tempo", value=0) == {"bpm": 40}
    assert played.tell("tempo", value=127) == {"bpm": 167}
    with pytest.raises(AuthorError, match="is for a controller"):
        played.tell("tempo")


def test_a_swing_by_the_tempo_is_told_in_words_and_chosen_as_none() -> None:
    played = Played()
    assert played.tell("swing", "by-tempo") == {"swing": "by-tempo"}
    assert played.settings.swing is None
    assert played.tell("swing", "1.667") == {"swing": 1.667}
    assert played.settings.swing == Fraction(1667, 1000)


def test_a_controller_sets_how_closely_hands_are_followed_and_nobody_else_can() -> None:
    played = Played()
    leans = [played.tell("lean", value=value)["lean"] for value in (0, 64, 127)]
    assert leans == [0, 50, 100]
    assert [event.lean for event in played.events] == leans
    with pytest.raises(AuthorError, match="write a number, as 50"):
        played.tell("lean")


@pytest.mark.parametrize(
    ("words", "event", "what", "result"),
    [
        (["tempo", "60", "over", "8"], ev.Ramp, {"bpm": 60.0, "beats": 8},
         {"bpm": 60.0, "beats": 8}),
        (["tempo", "half"], ev.Scale, {"factor": Fraction(1, 2)}, {"bpm": 46.0}),
        (["tempo", "double"], ev.Scale, {"factor": Fraction(2)}, {"bpm": 184.0}),
        (["nudge", "-20"], ev.Nudge, {"later_ms": -20.0}, {"later_ms": -20.0}),
        (["break"], ev.Break, {}, {"silent": True}),
        (["count", "2"], ev.CountIn, {"bars": 2}, {"bars": 2}),
        (["ending"], ev.Ending, {"beats": 0}, {"ends": True}),
        (["ending", "6"], ev.Ending, {"beats": 6}, {"ends": True}),
    ],
)  # fmt: skip
def test_what_is_done_once_goes_to_the_engine_and_what_comes_of_it_is_the_answer(
    words: list[str], event: type, what: dict[str, object], result: dict[str, object]
) -> None:
    played = Played(bpm=92.0)
    assert played.tell(*words) == result
    [sent] = played.events
    assert sent == event(sent.at_ns, **what)
    assert played.settings.bpm == result.get("bpm", 92.0)


def test_half_and_double_time_beyond_what_there_is_are_refused() -> None:
    with pytest.raises(AuthorError, match="19 beats a minute is no tempo; it can be from 20"):
        Played(bpm=38.0).tell("tempo", "half")
    with pytest.raises(AuthorError, match="402 beats a minute is no tempo"):
        Played(bpm=201.0).tell("tempo", "double")


def test_the_first_tap_says_nothing_and_the_second_a_tempo_and_where_the_beat_is() -> None:
    played = Played()
    assert played.tell("tap", at_ns=NS_PER_S) == {"bpm": None}
    assert played.events == []
    assert played.tell("tap", at_ns=NS_PER_S * 3 // 2) == {"bpm": 120.0}
    [tapped] = played.events
    assert (tapped.beat_ns, tapped.bpm) == (NS_PER_S * 3 // 2, 120.0)
    assert played.settings.bpm == 120.0


def test_the_beat_is_where_a_pedal_went_down_and_not_where_the_host_heard_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """However long the host is busy: news of two taps may come together."""
    monkeypatch.setattr("ripieno.host.stage._now_ns", lambda: 9 * NS_PER_S)
    played = Played()
    for down_ns in (5 * NS_PER_S, 6 * NS_PER_S):
        played.tell("tap", value=127, at_ns=down_ns)
    [tapped] = played.events
    assert tapped == ev.Tapped(9 * NS_PER_S, 6 * NS_PER_S, 60.0)
    played.tell("downbeat", value=127, at_ns=7 * NS_PER_S)
    assert played.events[-1] == ev.Downbeat(9 * NS_PER_S, 7 * NS_PER_S)


def test_a_tap_or_a_downbeat_whose_instant_is_not_known_is_now(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [9 * NS_PER_S]
    monkeypatch.setattr("ripieno.host.stage._now_ns", lambda: now[0])
    played = Played()
    played.tell("tap", at_ns=NS_PER_S)
    played.tell("tap")
    assert played.events == []  # eight seconds are a pause
    now[0] += NS_PER_S // 2
    assert played.tell("tap") == {"bpm": 120.0}
    assert played.events[-1].beat_ns == now[0]
    assert played.tell("downbeat") == {"downbeat": True}
    assert played.events[-1].beat_ns == now[0]


def test_taps_faster_than_any_tempo_stay_within_what_there_is() -> None:
    played = Played()
    played.tell("tap", at_ns=0)
    assert played.tell("tap", at_ns=NS_PER_S // 100) == {"bpm": 400.0}


def test_styles_go_round_in_the_alphabet_of_their_ids() -> None:
    played = Played()
    seen = [played.tell("next")["style"] for _ in STYLE_IDS]
    start = STYLE_IDS.index("smooth-chords") + 1
    assert seen == STYLE_IDS[start:] + STYLE_IDS[:start]
    assert played.tell("previous")["style"] == STYLE_IDS[start - 2]


def test_a_style_of_the_users_with_a_fault_is_passed_over_and_refused_by_name() -> None:
    user_styles_folder().mkdir(parents=True)
    broken = user_styles_folder() / "steady-aaa.yaml"
    broken.write_text("name: 3")
    played = Played()
    assert played.tell("next")["style"] == "steady-quarters"
    with pytest.raises(AuthorError, match=r"steady-aaa\.yaml:1:"):
        played.tell("style", "steady-aaa")
    assert played.stage.chosen.style.id == "steady-quarters"


def test_a_style_without_a_figure_for_the_meter_is_played_with_a_note() -> None:
    assert "no figure for 4/4" in str(Played().tell("style", "waltz")["note"])
    assert Played(meter=Meter(3, 4)).tell("style", "waltz") == {"style": "waltz"}


def test_stop_and_silence_choose_nothing() -> None:
    played = Played()
    before = played.stage.chosen
    assert played.tell("stop") == {"stopped": True}
    assert played.tell("silence") == {"silent": True}
    assert [type(event) for event in played.events] == [ev.Stop, ev.Silence]
    assert played.stage.chosen is before


def test_what_is_not_about_the_music_is_for_somebody_else() -> None:
    assert Played().tell("reload") is None
    assert Played().tell("learn", "next") is None


def test_all_that_can_change_at_once_does_and_a_channel_takes_a_new_engine() -> None:
    played = Played()
    other = Chosen(Settings(bpm=60.0, transpose=2), Rig("waltz").style)
    assert not played.stage.become(other)
    assert {type(event) for event in played.events} == {ev.SetTempo, ev.SetTranspose, ev.SetStyle}
    assert played.stage.chosen == other
    assert played.stage.become(Chosen(Settings(channel=4), other.style))
    assert played.settings.channel == 4


def test_a_style_is_read_again_only_when_its_file_has_changed(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text((STYLES / "waltz.yaml").read_text())
    library = Library()
    first = library.style(str(path))
    assert library.style(str(path)) is first
    assert not library.has_changed(str(path))
    path.write_text(path.read_text().replace("name: Waltz", "name: Slower waltz"))
    assert library.has_changed(str(path))
    assert library.style(str(path)).name == "Slower waltz"
    path.write_text("name: [")
    assert library.has_changed(str(path))
    library.seen(str(path))
    assert not library.has_changed(str(path))
    path.unlink()
    assert not library.has_changed(str(path))


def keys(played: Played, kind: type) -> list[int]:
    return [event.note for event in played.events if type(event) is kind]


# Diatonic triads of a major key: I ii iii IV V vi vii° (any handbook of harmony).
@pytest.mark.parametrize(
    ("degree", "classes"),
    [(1, {7, 11, 2}), (2, {9, 0, 4}), (4, {0, 4, 7}), (5, {2, 6, 9}), (7, {6, 9, 0})],
)
def test_a_degree_presses_the_triad_of_the_key_and_the_next_lifts_it(
    degree: int, classes: set[int]
) -> None:
    played = Played(key=key_named("G"))
    played.tell("degree", str(degree))
    down = keys(played, ev.KeyDown)
    assert {note % 12 for note in down} == classes
    assert min(down) % 12 == key_named("G").scale[degree - 1]
    played.tell("degree", "none")
    assert keys(played, ev.KeyUp) == down


def test_a_degree_is_pressed_below_the_split_point_and_sounds_in_the_key_when_transposed() -> None:
    played = Played(split=50, transpose=2)
    played.tell("degree", "5")
    down = keys(played, ev.KeyDown)
    assert max(down) < 50
    assert {(note + 2) % 12 for note in down} == {7, 11, 2}


def test_where_one_key_is_a_chord_a_degree_is_one_key() -> None:
    played = Played(reading=ReadKeys.FROM_KEY, key=key_named("D"))
    played.tell("degree", "6")
    assert [note % 12 for note in keys(played, ev.KeyDown)] == [11]


def test_a_hand_is_muted_and_notes_are_shown() -> None:
    played = Played()
    assert played.tell("mute", "left") == {"muted": "left"}
    assert played.settings.muted is Side.LEFT
    assert played.tell("mute", "none") == {"muted": None}
    played.tell("show", "C4", "67")
    assert played.events[-1].notes == (60, 67)
    played.tell("show", "none")
    assert played.events[-1].notes == ()


def test_shown_notes_end_by_themselves_when_nobody_asks_for_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [0]
    monkeypatch.setattr("ripieno.host.stage._now_ns", lambda: now[0])
    played = Played()
    played.tell("show", "C4")
    now[0] = LONGEST_SHOWN_NS
    played.stage.turn()
    assert len(played.events) == 1
    now[0] += 1
    played.stage.turn()
    played.stage.turn()
    assert [event.notes for event in played.events] == [(60,), ()]


def test_a_held_number_key_that_repeats_is_one_press(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [10 * LONGEST_SHOWN_NS]
    monkeypatch.setattr("ripieno.host.stage._now_ns", lambda: now[0])
    played = Played()
    for _ in range(30):
        played.tell("degree", "4")
        now[0] += NS_PER_S // 30
    assert len(keys(played, ev.KeyDown)) == 3
    now[0] += NS_PER_S // 4
    played.tell("degree", "4")
    assert len(keys(played, ev.KeyDown)) == 6
