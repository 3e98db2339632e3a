"""The host as a daemon has it, with an engine of its own and nothing plugged in."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest

from rig import C4, E4, G4, STYLES
from ripieno.engine.messages import Standing
from ripieno.errors import AuthorError
from ripieno.host import controls
from ripieno.host.host import Host
from ripieno.host.library import Library
from ripieno.host.sessions import Sessions
from ripieno.host.wishes import Wishes
from ripieno.perform.events import ClockTick, KeyDown, KeyUp
from ripieno.style.shipped import user_styles_folder
from ripieno.wire.command import command_from
from ripieno.wire.status import Status, status_from_data, status_to_data

PATIENCE_S = 30


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "ripieno-no-such-server")


class Running:
    def __init__(self, folder: Path, text: str) -> None:
        self.said: list[str] = []
        self.path = folder / "config.yaml"
        self.path.write_text(text)
        wishes = Wishes(self.path, {"input": "no keys", "output": "no piano"}, Library())
        self.host = Host(
            wishes,
            sounding=folder / "sounding",
            sessions=Sessions(folder / "sessions", 10**6),
            say=self.said.append,
        )

    def tell(self, *words: str) -> dict[str, object]:
        return self.host.carry_out(command_from(words))

    def until(self, ready: Callable[[Status], object]) -> Status:
        give_up = time.monotonic() + PATIENCE_S
        while not ready(status := self.host.status()):
            assert time.monotonic() < give_up, status
        return status


@contextmanager
def running(folder: Path, text: str = "tempo: 60\n") -> Iterator[Running]:
    own = Running(folder, text)
    own.host.start()
    thread = Thread(target=own.host.run)
    thread.start()
    try:
        yield own
    finally:
        own.host.tell(None)
        thread.join()
        own.host.close()


def test_its_status_says_what_is_played_and_what_is_missing(tmp_path: Path) -> None:
    with running(tmp_path, "tempo: 60\nkey: Eb\nsplit: C4\nhold: false\n") as own:
        status = own.host.status()
    assert (status.style, status.bpm, status.key, status.split) == (
        "smooth-chords",
        60,
        "Eb major",
        60,
    )
    assert (status.hold, status.engine, status.chord) == (False, "playing", None)
    assert (status.input, status.output) == ("", "")
    assert "'no keys'" in status.input_why
    assert "'no piano'" in status.output_why
    assert status_from_data(status_to_data(status)) == status


def test_a_command_takes_effect_and_shows(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.tell("tempo", "133")
        own.tell("style", "march")
        status = own.until(lambda now: now.bpm == 133)
    assert status.style_name == "March"


def test_another_tempo_is_reckoned_from_the_one_that_a_clock_has_led_to(tmp_path: Path) -> None:
    with running(tmp_path, "tempo: 210\nfollow: clock\n") as own:
        now_ns = time.monotonic_ns()
        for i in range(48):
            own.host.press(ClockTick(now_ns + i * 20_833_333))
        assert own.tell("tempo", "double")["bpm"] == pytest.approx(240, abs=0.01)
        assert own.tell("tempo", "half")["bpm"] == pytest.approx(120, abs=0.01)
        assert own.tell("tempo", "+3")["bpm"] == pytest.approx(123, abs=0.01)


def test_an_edit_of_the_file_is_taken_over_and_a_bad_one_is_not(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.tell("tempo", "133")
        own.path.write_text("tempo: 60\ntranspose: 3\n")
        assert own.until(lambda now: now.transpose == 3).bpm == 133
        own.path.write_text("tempo: fast\ntranspose: many\n")
        notices = own.until(lambda now: now.notices).notices
        own.path.write_text("tempo: 61\ntranspose: 3\n")
        status = own.until(lambda now: now.bpm == 61)
    assert "config.yaml:1:8: found 'fast'" in notices[0]
    assert "config.yaml:2:12: found 'many'" in notices[0]
    assert "\n" not in notices[0]
    assert notices[0].endswith("; what was there before is kept")
    assert notices[0] in own.said
    assert status.notices == ()


def test_a_file_that_is_taken_away_changes_nothing_and_is_missed(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.path.write_text("tempo: 71\n")
        own.until(lambda now: now.bpm == 71)
        own.path.unlink()
        status = own.until(lambda now: now.notices)
        own.path.write_text("tempo: 72\n")
        after = own.until(lambda now: now.bpm == 72)
    assert status.notices == (f"{own.path} is gone; what it said is kept",)
    assert (status.bpm, after.notices) == (71, ())


def test_another_channel_takes_a_new_engine_and_the_choices_stay(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.tell("style", "march")
        own.path.write_text("tempo: 60\nchannel: 5\n")
        status = own.until(lambda now: now.restarts == 1 and now.engine == "playing")
    assert (status.style, status.bpm) == ("march", 60)


def test_sound_that_cannot_be_had_is_missed_and_midi_plays_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RIPIENO_SOUNDFONT", "/nonexistent.sf2")
    for text in ("tempo: 60\n", "tempo: 60\nsound: true\n"):  # a bad edit; a beginning
        with running(tmp_path, text) as own:
            own.path.write_text("tempo: 60\nsound: true\n")
            status = own.until(lambda now: now.notices)
            assert status.engine == "playing"
            assert status.notices[0].startswith("no sound: no SoundFont file '/nonexistent.sf2'")
            own.path.write_text("tempo: 60\nsound: false\n")
            assert own.until(lambda now: not now.notices).engine == "playing"


def test_why_no_engine_plays_is_said(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        (tmp_path / "sounding").unlink()
        (tmp_path / "sounding").mkdir()  # the next engine cannot begin
        own.path.write_text("tempo: 60\nchannel: 5\n")
        status = own.until(lambda now: now.notices)
        (tmp_path / "sounding").rmdir()
        after = own.until(lambda now: now.engine == "playing" and not now.notices)
    assert status.engine == "lost"
    assert status.notices[0].startswith("no engine plays: ")
    assert "sounding" in status.notices[0]
    assert after.channel == 5


def test_a_style_is_played_as_it_was_edited_and_with_a_fault_as_it_was(tmp_path: Path) -> None:
    user_styles_folder().mkdir(parents=True)
    path = user_styles_folder() / "mine.yaml"
    text = (STYLES / "march.yaml").read_text()
    path.write_text(text)
    with running(tmp_path, "style: mine\n") as own:
        path.write_text(text.replace("name: March", "name: Slow march"))
        own.until(lambda now: now.style_name == "Slow march")
        path.write_text("name: [\n")
        status = own.until(lambda now: now.notices)
    assert status.style_name == "Slow march"
    assert "mine.yaml:" in status.notices[0]


def test_learning_is_told_and_ended_and_what_nothing_does_cannot_be_forgotten(
    tmp_path: Path,
) -> None:
    with running(tmp_path, "controls:\n- {press: note 36 on channel 10, do: tap}\n") as own:
        own.tell("learn", "style", "waltz")
        assert own.host.status().learning == ("style", "waltz")
        own.tell("learn")
        assert own.host.status().learning is None
        with pytest.raises(AuthorError, match="no control does 'style waltz'"):
            own.tell("forget", "style", "waltz")
        [control] = own.host.status().controls
        assert (control.press, control.do) == ("note 36 on channel 10", ("tap",))
        assert own.tell("forget", "tap") == {"forgotten": "note 36 on channel 10"}
        assert own.host.status().controls == ()
    assert "note 36" not in own.path.read_text()


def test_learning_ends_by_itself_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controls, "LONGEST_LEARNING_NS", 0)
    with running(tmp_path) as own:
        own.tell("learn", "next")
        own.until(lambda now: now.learning is None)
        assert own.said[-1] == "no control was pressed for 'next': none is learnt"


def test_an_engine_begun_anew_learns_on(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.tell("learn", "next")
        begin = own.host._begins(Standing(), None)
    assert begin.bound.learning


def test_a_signal_that_means_a_command_carries_it_out(tmp_path: Path) -> None:
    with running(tmp_path) as own:
        own.host.tell(command_from(["tempo", "77"]))
        own.until(lambda now: now.bpm == 77)
        own.host.tell(command_from(["style", "polka"]))
        status = own.until(lambda now: now.notices)
    assert status.notices[0].startswith("style polka: there is no style 'polka'")


def test_a_style_is_heard_while_nothing_plays_and_the_chosen_one_stays(tmp_path: Path) -> None:
    with running(tmp_path, "tempo: 400\nmeter: 6/8\n") as own:
        assert own.tell("hear", "march") == {"hearing": "march"}
        heard = own.until(lambda now: now.chord == "Eb" and now.sounding)
        assert (heard.hearing, heard.style, heard.meter) == ("march", "smooth-chords", "6/8")
        own.tell("figure")
        own.until(lambda now: now.chord == "Ab")
        own.tell("degree", "1")
        own.until(lambda now: now.sounding)
        with pytest.raises(AuthorError, match="something is playing"):
            own.tell("hear", "waltz")
        own.tell("stop")
        own.tell("hear", "waltz")
        own.until(lambda now: now.hearing is None and not now.sounding)


def test_a_key_ends_what_is_heard_and_its_chord_is_played_as_chosen(tmp_path: Path) -> None:
    with running(tmp_path, "tempo: 60\n") as own:
        own.tell("hear", "march")
        own.until(lambda now: now.hearing and now.sounding)
        for note in (C4, E4, G4):
            own.host.press(KeyDown(time.monotonic_ns(), note, 80))
        status = own.until(lambda now: now.hearing is None and now.chord == "C" and now.sounding)
        assert (status.style, status.keys) == ("smooth-chords", (C4, E4, G4))
        for note in (C4, E4, G4):
            own.host.press(KeyUp(time.monotonic_ns(), note))
        own.until(lambda now: not now.keys)
        own.tell("stop")
        assert own.until(lambda now: not now.sounding).keys == ()


def test_a_degree_is_played_and_its_figure_and_numeral_told(tmp_path: Path) -> None:
    with running(tmp_path, "key: G\nstyle: steady-quarters\n") as own:
        own.tell("degree", "2")
        status = own.until(lambda now: now.degree and now.sounding)
        figure = own.tell("figure")
    assert (status.chord, status.degree) == ("Am", "ii")
    assert len(status.keys) == 3
    assert (figure["chord"], figure["beat_quarters"]) == ("Am", 1.0)
    assert {step["hand"] for step in figure["steps"]} == {"left", "right"}
    assert {note % 12 for step in figure["steps"] for note in step["notes"]} == {9, 0, 4}
