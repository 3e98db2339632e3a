"""The rig view: ports, settings, controls that are learnt, figures, the journal's tail."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest
from screen import Daemon, press, said, screen, seen, settled
from statuses import status
from textual.widgets import Input, OptionList

from ripieno.dashboard.learning import LEARNABLE, ControlsPanel, Mode
from ripieno.dashboard.rig import RigView
from ripieno.errors import AuthorError
from ripieno.perform import journal
from ripieno.wire.command import TABLE, UNLEARNT
from ripieno.wire.status import ControlStatus

NEXT = ControlStatus("controller 20 on channel 1", ("next",))
FASTER = ControlStatus("note 36 on channel 10", ("tempo", "+2"))


def run(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(test())  # type: ignore[arg-type]


def mode(view: RigView) -> Mode:
    return view.query_one(ControlsPanel).mode


def parts(view: RigView) -> str:
    names = ("ports", "notices", "settings", "controls", "lateness", "counters", "journal")
    return "\n".join(said(view, name) for name in names)


def test_ports_stand_with_their_reasons() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(input="Keys 1", input_why="the first input", output="Grand 2"))
            assert "Keys come from Keys 1\n  because: the first input" in said(view, "ports")
            assert "Notes go to Grand 2" in said(view, "ports")

    run(trial)


def test_a_missing_port_stands_out_by_words() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(input="", input_why="no input is there", output="", output_why="gone"))
            assert "NO KEYBOARD\n  because: no input is there" in said(view, "ports")
            assert "NO INSTRUMENT\n  because: gone" in said(view, "ports")

    run(trial)


def test_how_keys_are_taken_is_in_words() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(split=58, key="Ab major", transpose=-1, reading="from-key"))
            words = said(view, "settings")
            assert "Keys below Bb3 are for chords; from Bb3 up they are melody." in words
            assert "One key is a degree" in words
            assert "1 semitone lower than it is pressed." in words
            view.show(status(key="Ab major", transpose=0))
            assert "there is no split" in said(view, "settings")
            assert "Keys sound as they are" in said(view, "settings")

    run(trial)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "It goes by its own tempo."),
        ({"follow": "clock", "clock": "heard"}, "It follows a MIDI clock, which is heard."),
        ({"follow": "clock", "clock": "missing"}, "It follows a MIDI clock, which is missing."),
        ({"follow": "clock"}, "It follows a MIDI clock, which is unknown."),
        ({"follow": "hands", "lean": 80}, "It follows your hands: lean 80, of 0 (steady) to 100"),
        ({}, "comes in at once."),
        ({"starting": "downbeat"}, "comes in with the next downbeat."),
        ({}, "there is no pick-up."),
        ({"pickup": 1}, "The pick-up is 1 beat: "),
        ({"pickup": 2}, "The pick-up is 2 beats: "),
        ({}, "Nothing swings."),
        ({"swing": "3/2"}, "Styles that can swing do so by 3/2 to 1."),
        ({"swing": "by-tempo"}, "by the tempo: the faster, the straighter."),
        ({}, "MIDI clock is not sent."),
        ({"send_clock": True}, "MIDI clock goes out with the notes."),
    ],
    ids=str,
)
def test_who_leads_the_time_and_how_it_begins_are_said_and_said_anew(
    changes: dict[str, object], sentence: str
) -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            other = status(follow="hands", lean=1, swing="2", pickup=9)
            starts = "downbeat" if "starting" not in changes else "strike"
            view.show(replace(other, starting=starts, send_clock="send_clock" not in changes))
            assert sentence not in said(view, "time")
            view.show(status(**changes))
            assert sentence in said(view, "time")

    run(trial)


def test_what_is_wrong_is_listed_and_takes_no_room_when_nothing_is() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(notices=("the disk is full",)))
            assert "! the disk is full" in said(view, "notices")
            view.show(status())
            assert not view.query_one("#notices").display

    run(trial)


def test_figures_that_an_absent_engine_cannot_tell_are_unknown() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(counts={}))
            assert "late messages: unknown" in said(view, "lateness")
            assert "went out: unknown" in said(view, "counters")
            assert ": 0" not in parts(view)

    run(trial)


def test_the_journals_end_and_its_channels_are_shown(tmp_path: Path) -> None:
    path = tmp_path / "now.jsonl"
    key = {"ms": 1.0, "kind": "key", "down": True, "note": 60, "velocity": 9, "channel": 4}
    chord = {"ms": 12_300.0, "kind": "chord", "symbol": "Am7", "amends": False}
    path.write_text(journal.dump(key) + journal.dump(chord), encoding="utf-8")

    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(journal=str(path)))
            assert said(view, "journal").splitlines()[1:] == [
                str(path), "0.0 s  you press C4", "12.3 s  chord Am7"
            ]  # fmt: skip
            assert "Your last keys came in on channel 5." in said(view, "settings")
            assert "goes out on channel 1." in said(view, "settings")

    run(trial)


def test_a_journal_that_vanishes_is_told_and_no_fault(tmp_path: Path) -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view):
            view.show(status(journal=str(tmp_path / "gone.jsonl")))
            assert "It cannot be read: No such file or directory." in said(view, "journal")
            view.show(status(journal=str(tmp_path)))
            assert "It cannot be read" in said(view, "journal")
            view.show(status(journal=None))
            assert "None is written now" in said(view, "journal")

    run(trial)


def test_what_can_be_learnt_is_all_that_a_control_can_do() -> None:
    assert set(LEARNABLE) == {row.name for row in TABLE} - set(UNLEARNT)


def test_a_command_is_picked_and_the_control_that_is_pressed_is_shown() -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(controls=(FASTER,)))
            await press(pilot, "l")
            names = [option.id for option in view.query_one(OptionList).options]
            assert names == [*LEARNABLE, "back"]
            for _ in range(names.index("next")):
                await pilot.press("down")
            await press(pilot, "enter")
            assert daemon.told == [["learn", "next"]]
            view.show(status(controls=(FASTER,), learning=("next",)))
            await settled(pilot)
            assert "Press the control now" in seen(pilot)
            assert "do: next." in said(view, "title")
            view.show(status(controls=(FASTER, NEXT)))
            await settled(pilot)
            assert said(view, "outcome") == "Learned: controller 20 on channel 1 does: next"
            assert mode(view) is Mode.CLOSED
            assert f"{NEXT.press} does: next" in said(view, "controls")

    run(trial)


def test_a_command_is_typed_with_what_follows_it() -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await press(pilot, "l", "enter")  # style ID, the first
            assert view.query_one(Input).value == "style "
            assert "style ID: play in this style" in said(view, "form")
            await press(pilot, *"waltz", "enter")
            assert daemon.told == [["learn", "style", "waltz"]]

    run(trial)


@pytest.mark.parametrize(
    ("typed", "why"),
    [("tempo fast", "expected"), ("sing", "no command 'sing'"), ("watch", "watch")],
)
def test_what_no_control_can_do_is_refused_before_it_is_told(typed: str, why: str) -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await press(pilot, "l", "shift+tab")
            assert view.query_one(Input).has_focus
            await press(pilot, *typed, "enter")
            assert daemon.told == []
            assert why in said(view, "form")

    run(trial)


def test_the_beginning_of_a_name_and_enter_are_enough() -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await press(pilot, "l", "shift+tab", *"sil", "enter")
            assert daemon.told == [["learn", "silence"]]

    run(trial)


def test_waiting_for_a_control_can_be_ended() -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(controls=(NEXT,), learning=("tap",)))
            await settled(pilot)
            view.query_one("#parts").focus()
            await press(pilot, "l")
            assert daemon.told == [["learn"]]
            view.show(status(controls=(NEXT,)))
            assert said(view, "outcome") == "No control was learned."
            assert mode(view) is Mode.CLOSED

    run(trial)


def test_a_control_is_forgotten_by_choosing_it() -> None:
    async def trial() -> None:
        daemon = Daemon(forget={"forgotten": "note 36 on channel 10"})
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(controls=(NEXT, FASTER)))
            await press(pilot, "x", "down", "enter")
            assert daemon.told == [["forget", "tempo", "+2"]]
            assert said(view, "outcome") == "Forgotten: note 36 on channel 10"
            assert mode(view) is Mode.CLOSED
            assert view.query_one("#parts").has_focus

    run(trial)


def test_going_back_tells_nothing_and_gives_the_arrows_back() -> None:
    async def trial() -> None:
        daemon = Daemon()
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(controls=(NEXT,)))
            for way in (["x", "down", "enter"], ["x", "x"], ["l", "escape"], ["l", "up", "enter"]):
                await press(pilot, *way)
                assert mode(view) is Mode.CLOSED
                assert view.query_one("#parts").has_focus
            assert daemon.told == []

    run(trial)


def test_with_no_control_learnt_there_is_none_to_forget() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view) as pilot:
            view.show(status(controls=()))
            await press(pilot, "x")
            assert "no learned control" in said(view, "outcome")
            assert "None yet." in said(view, "controls")

    run(trial)


def test_a_refusal_is_shown_in_the_daemons_words() -> None:
    async def trial() -> None:
        daemon = Daemon(forget=AuthorError("no control does 'next'"))
        view = RigView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(controls=(NEXT,)))
            await press(pilot, "x", "enter")
            assert said(view, "outcome") == "forget next: no control does 'next'"

    run(trial)


def test_a_lost_daemon_closes_the_panel_and_keeps_what_was_known_as_old() -> None:
    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view) as pilot:
            view.show(status(controls=(NEXT,), learning=("tap",)))
            await settled(pilot)
            view.lost("no daemon is running")
            assert mode(view) is Mode.CLOSED
            assert said(view, "outcome") == "No daemon is running. What stands below was so before."
            await press(pilot, "l")
            assert mode(view) is Mode.CLOSED
            view.show(status(controls=(NEXT,)))
            assert said(view, "outcome") == ""

    run(trial)


@pytest.mark.parametrize("size", [(80, 18), (120, 34), (200, 54)])
def test_all_of_it_can_be_reached_at_any_size(size: tuple[int, int]) -> None:
    name = "An interface with a very long name and its serial number 00012345 MIDI 1 28:0"

    async def trial() -> None:
        view = RigView(Daemon().tell)
        async with screen(view, size) as pilot:
            view.show(status(input=name, output=name, notices=("a notice at some length " * 9,)))
            await settled(pilot)
            scroll = view.query_one("#parts")
            read: set[str] = set()
            for y in range(0, scroll.max_scroll_y + 5, 5):
                scroll.scroll_to(y=y, animate=False)
                await settled(pilot)
                read |= set(seen(pilot).split())
            assert set(parts(view).split()) <= read

    run(trial)
