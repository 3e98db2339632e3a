"""The styles view: find, read, hear, choose, edit."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

import pytest
from listed import entry
from screen import Daemon, press, said, screen, seen, settled
from statuses import status
from textual.widgets import Input, OptionList

from ripieno.dashboard.finding import RULE
from ripieno.dashboard.styles import StylesView
from ripieno.errors import AuthorError, MachineError

ENTRIES = [
    entry("flowing-eighths"),
    entry("left-walk", hands="left", density=4.0),
    entry("waltz", meters=["3/4"], account=["Left hand: root"]),
]


def listing(*entries: dict[str, object]) -> Daemon:
    return Daemon(styles={"styles": list(entries or ENTRIES)})


def shown_ids(view: StylesView) -> list[str | None]:
    return [option.id for option in view.query_one(OptionList).options]


def run(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(test())  # type: ignore[arg-type]


def test_the_list_comes_with_the_cursor_on_what_plays() -> None:
    async def trial() -> None:
        view = StylesView(listing().tell)
        async with screen(view) as pilot:
            view.show(status(style="waltz"))
            await settled(pilot)
            assert shown_ids(view) == ["flowing-eighths", "left-walk", "waltz"]
            assert said(view, "words").startswith("Waltz\nwaltz (comes with the program)")
            assert "Left hand: root" in said(view, "words")
            assert "> Waltz (plays)" in seen(pilot)
            assert RULE in seen(pilot)

    run(trial)


def test_a_search_cuts_the_list_down_and_enter_goes_back_to_it() -> None:
    async def trial() -> None:
        view = StylesView(listing().tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "slash", *"left hand", "enter")
            assert shown_ids(view) == ["left-walk"]
            assert view.query_one(OptionList).has_focus
            assert "1 of 3 styles" in seen(pilot)

    run(trial)


def test_a_search_puts_the_cursor_on_the_best_find() -> None:
    async def trial() -> None:
        view = StylesView(listing(entry("air"), entry("march", use="No air."), entry("no")).tell)
        async with screen(view) as pilot:
            view.show(status(style="march"))
            await settled(pilot)
            await press(pilot, "slash", *"air")
            assert shown_ids(view) == ["air", "march"]
            assert said(view, "words").startswith("Air\n")

    run(trial)


def test_a_search_without_a_find_says_so() -> None:
    async def trial() -> None:
        view = StylesView(listing().tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "slash", *"zither")
            assert shown_ids(view) == []
            assert "No style has all these words" in said(view, "words")
            await press(pilot, "enter", "enter", "l", "e")

    run(trial)


def test_enter_on_the_list_chooses_and_says_so() -> None:
    async def trial() -> None:
        daemon = listing()
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "down", "enter")
            assert daemon.told[-1] == ["style", "left-walk"]
            assert said(view, "outcome") == "Plays on in Left walk."

    run(trial)


def test_the_mark_of_what_plays_moves_with_the_status() -> None:
    async def trial() -> None:
        view = StylesView(listing().tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            view.show(status(style="waltz"))
            await settled(pilot)
            assert "> Waltz (plays)" in seen(pilot)
            assert "Flowing eighths (plays)" not in seen(pilot)

    run(trial)


def test_a_style_is_heard_and_the_same_key_ends_it() -> None:
    async def trial() -> None:
        daemon = listing()
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(style="waltz"))
            await settled(pilot)
            await press(pilot, "l")
            assert daemon.told[-1] == ["hear", "waltz"]
            view.show(status(style="waltz", hearing="waltz"))
            await settled(pilot)
            assert "four chords in Waltz" in said(view, "outcome")
            assert "~ Waltz (heard)" in seen(pilot)
            await press(pilot, "l")
            assert daemon.told[-1] == ["hear", "none"]

    run(trial)


def test_a_refusal_while_something_plays_is_shown_in_the_daemons_words() -> None:
    async def trial() -> None:
        daemon = listing()
        daemon.answers["hear"] = AuthorError("a chord is playing; stop it first")
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "l")
            assert said(view, "outcome").endswith(
                "cannot be heard now: a chord is playing; stop it first"
            )

    run(trial)


def test_faults_stand_at_their_place_in_the_file(tmp_path: Path) -> None:
    async def trial() -> None:
        path = tmp_path / "mine.yaml"
        path.write_text("name: Mine\nuse: 7\n", encoding="utf-8")
        fault = f"{path}:2:6: found 7; expected a text"
        view = StylesView(listing(entry("mine", own=True, file=str(path), faults=[fault])).tell)
        async with screen(view, (120, 40)) as pilot:
            view.show(status())
            await settled(pilot)
            lines = said(view, "words").splitlines()
            assert fault in lines
            at = lines.index("2 | use: 7")
            assert lines[at][lines[at + 1].index("^")] == "7"
            assert "! Mine (has faults)" in seen(pilot)

    run(trial)


def edited(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, script: str) -> Path:
    """An editor of three words, a folder for the user's styles, and a shipped waltz."""
    editor = tmp_path / "editor.sh"
    editor.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    monkeypatch.setenv("VISUAL", f"sh '{editor}'")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    shipped = tmp_path / "waltz.yaml"
    shipped.write_text("name: Waltz\n", encoding="utf-8")
    return shipped


def test_editing_a_shipped_style_that_plays_makes_a_copy_and_plays_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    async def trial() -> None:
        shipped = edited(monkeypatch, tmp_path, 'echo "use: mine" >> "$1"')
        daemon = listing(entry("waltz", file=str(shipped)))
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status(style="waltz"))
            await settled(pilot)
            await press(pilot, "e")
            await settled(pilot)
            own = tmp_path / "config" / "ripieno" / "styles" / "waltz.yaml"
            assert own.read_text(encoding="utf-8") == "name: Waltz\nuse: mine\n"
            assert shipped.read_text(encoding="utf-8") == "name: Waltz\n"
            assert pilot.app.lent == 1
            assert ["style", "waltz"] in daemon.told
            assert daemon.told.count(["styles"]) == 2
            assert str(own) in said(view, "outcome")

    run(trial)


def test_faults_that_an_edit_has_made_are_in_sight_whatever_was_searched(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    async def trial() -> None:
        shipped = edited(monkeypatch, tmp_path, "true")
        daemon = listing(entry("march"), entry("waltz", file=str(shipped), meters=["3/4"]))
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "slash", *"3/4", "enter")
            faulty = entry("waltz", name="waltz", meters=[], faults=["waltz.yaml:1:1: no name"])
            daemon.answers["styles"] = {"styles": [entry("march"), faulty]}
            await press(pilot, "e")
            await settled(pilot)
            assert shown_ids(view) == ["march", "waltz"]
            assert "waltz.yaml:1:1: no name" in said(view, "words")

    run(trial)


def test_an_editor_that_fails_is_told_on_the_screen(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    async def trial() -> None:
        shipped = edited(monkeypatch, tmp_path, "exit 5")
        view = StylesView(listing(entry("waltz", file=str(shipped))).tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "e")
            await settled(pilot)
            assert "ended with status 5" in said(view, "outcome")
            monkeypatch.setenv("VISUAL", "no-such-editor")
            await press(pilot, "e")
            await settled(pilot)
            assert "cannot be begun" in said(view, "outcome")

    run(trial)


def test_an_account_that_the_list_had_no_room_for_is_asked_for() -> None:
    def answer(words: Sequence[str]) -> dict[str, object]:
        if len(words) == 1:
            return {"styles": [entry("waltz", account=[])]}
        return {"styles": [entry("waltz", account=["Left hand: all of it"])]}

    async def trial() -> None:
        daemon = Daemon(styles=answer)
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await settled(pilot)
            assert daemon.told[-1] == ["styles", "waltz"]
            assert "Left hand: all of it" in said(view, "words")

    run(trial)


def test_a_lost_daemon_is_told_and_the_list_is_asked_for_when_it_is_back() -> None:
    async def trial() -> None:
        daemon = listing()
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            view.lost("no daemon is running")
            assert "No daemon is running." in said(view, "outcome")
            daemon.answers["style"] = MachineError("no daemon is running")
            await press(pilot, "enter")
            assert "not chosen: no daemon is running" in said(view, "outcome")
            view.show(status())
            await settled(pilot)
            assert daemon.told.count(["styles"]) == 2
            assert said(view, "outcome") == ""

    run(trial)


def test_the_cursor_stays_where_it_is_when_the_list_comes_again() -> None:
    async def trial() -> None:
        view = StylesView(listing().tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "down", "down")
            view.lost("gone")
            view.show(status())
            await settled(pilot)
            option = view.query_one(OptionList).highlighted_option
            assert option is not None
            assert option.id == "waltz"

    run(trial)


@pytest.mark.parametrize("size", [(80, 18), (120, 34), (200, 54)])
def test_nothing_of_a_long_name_or_a_refusal_is_cut(size: tuple[int, int]) -> None:
    long_name = "A style with a name that goes on for longer than any list is wide, to the very end"
    why = "something else plays at this moment and would be disturbed; stop it, then ask again"

    async def trial() -> None:
        daemon = listing(entry("long", name=long_name, density=30.0))
        daemon.answers["hear"] = AuthorError(why)
        view = StylesView(daemon.tell)
        async with screen(view, size) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "l")
            words = seen(pilot).replace("│", " ").replace("┃", " ").split()
            for word in [*long_name.split(), *why.split()]:
                assert word in words

    run(trial)


def test_letters_typed_into_the_search_do_nothing_else() -> None:
    async def trial() -> None:
        daemon = listing()
        view = StylesView(daemon.tell)
        async with screen(view) as pilot:
            view.show(status())
            await settled(pilot)
            await press(pilot, "slash", *"hello e")
            assert view.query_one(Input).value == "hello e"
            assert daemon.told == [["styles"]]

    run(trial)
