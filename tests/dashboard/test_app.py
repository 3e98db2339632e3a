"""The app: keys to commands, statuses to the screen, and daemons that come and go."""

import asyncio
import sys
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest
from statuses import status
from test_steps import BROKEN
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static

from control_rig import PATIENCE_S, Fake, serving
from ripieno.dashboard.app import Dashboard
from ripieno.dashboard.asking import Asking
from ripieno.dashboard.keybar import KeyBar
from ripieno.dashboard.palette import Orders
from ripieno.dashboard.words import FOLLOWS
from ripieno.errors import AuthorError
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.wire.command import TABLE, AskFigure, AskStyles, Command, command_from, words_of
from ripieno.wire.status import Status

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")

Act = Callable[[Dashboard, Pilot[int], Fake], Awaitable[None]]
ASKED_BY_VIEWS = (AskFigure, AskStyles)


async def until(pilot: Pilot[int], wanted: Callable[[], object]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not wanted():
            await pilot.pause()


def health(app: Dashboard) -> str:
    return str(app.query_one("#health", Static).content).strip()


def keys_shown(app: Dashboard) -> str:
    return str(app.query_one(KeyBar).render())


def is_attached(app: Dashboard) -> bool:
    return isinstance(app._client.seen, Status)


def told(fake: Fake) -> list[Command]:
    return [command for command in fake.told if not isinstance(command, ASKED_BY_VIEWS)]


def with_daemon(
    folder: Path, act: Act, fake: Fake | None = None, size: tuple[int, int] = (80, 24)
) -> None:
    fake = Fake(now=status()) if fake is None else fake

    async def run(endpoint: Endpoint) -> None:
        app = Dashboard(endpoint)
        async with app.run_test(size=size) as pilot:
            await until(pilot, lambda: is_attached(app))
            await act(app, pilot, fake)

    with serving(folder, fake) as served:
        asyncio.run(run(served.endpoint))


KEYS = {
    **{str(number): f"degree {number}" for number in range(1, 8)},
    "0": "degree none",
    "space": "tap",
    "plus": "tempo +1",
    "equals_sign": "tempo +1",
    "minus": "tempo -1",
    "right_square_bracket": "tempo +5",
    "left_square_bracket": "tempo -5",
    "right_curly_bracket": "tempo double",
    "left_curly_bracket": "tempo half",
    "left_parenthesis": "nudge -10",
    "right_parenthesis": "nudge +10",
    "o": "downbeat",
    "c": "count",
    "b": "break",
    "r": "ending",
    "n": "next",
    "p": "previous",
    "h": "hold",
    "enter": "silence",
    "z": "silence",
}


def test_each_key_tells_the_daemon_its_command_in_the_order_they_were_pressed(
    tmp_path: Path,
) -> None:
    async def act(_: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        await pilot.press(*KEYS)
        await until(pilot, lambda: len(told(fake)) == len(KEYS))
        assert told(fake) == [command_from(words.split()) for words in KEYS.values()]

    with_daemon(tmp_path, act)


@pytest.mark.parametrize(
    ("key", "typed", "words"),
    [("k", "e minor", "key E minor"), ("m", "6/8", "meter 6/8"), ("t", "-2", "transpose -2")],
)
def test_a_key_asks_for_what_its_command_needs(
    tmp_path: Path, key: str, typed: str, words: str
) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        await pilot.press(key)
        assert app.query_one(Asking).has_class("open")
        await pilot.press(*("space" if c == " " else c for c in typed), "enter")
        await until(pilot, lambda: told(fake))
        assert told(fake) == [command_from(words.split())]
        await until(pilot, lambda: not app.query_one(Asking).has_class("open"))
        await pilot.press("h")  # the keys are controls again
        await until(pilot, lambda: len(told(fake)) == 2)

    with_daemon(tmp_path, act)


def test_what_is_asked_for_can_be_mended_or_left(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        asking = app.query_one(Asking)
        await pilot.press("k", "x", "enter")
        refused = asking.query_one("#refused", Static)
        await until(pilot, lambda: "is no key" in str(refused.content))
        assert asking.has_class("open")
        await pilot.press("backspace", "enter")
        assert not asking.has_class("open")
        await pilot.press("k", "g", "escape")
        assert not asking.has_class("open")
        assert told(fake) == []

    with_daemon(tmp_path, act)


def test_while_something_is_typed_the_key_bar_does_not_promise_what_letters_do_else(
    tmp_path: Path,
) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        assert "h Hold" in keys_shown(app)
        await pilot.press("k")
        await until(pilot, lambda: "Hold" not in keys_shown(app))
        assert "^p More" in keys_shown(app)
        await pilot.press("enter")
        await until(pilot, lambda: "h Hold" in keys_shown(app))

    with_daemon(tmp_path, act)


@pytest.mark.parametrize("width", [40, 80, 120, 200])
def test_the_key_bar_names_every_control_whatever_the_width(tmp_path: Path, width: int) -> None:
    async def act(app: Dashboard, _: Pilot[int], __: Fake) -> None:
        bar = app.query_one(KeyBar)
        lines = str(bar.render()).splitlines()
        assert len(lines) == bar.content_size.height
        assert max(len(line) for line in lines) <= bar.content_size.width
        for named in (
            "s Stage", "d Hands", "f Styles", "g Rig", "1-7 Chord", "0 Lift", "space Tap",
            "+-][}{ Tempo", "() Nudge", "o Downbeat", "c Count in", "b Break", "r Ending",
            "w Follow", "<> Lean", "np Style", "h Hold", "k Key", "m Meter", "t Transpose",
            "Enter SILENCE", "^p More", "q Quit",
        ):  # fmt: skip
            assert named in keys_shown(app)

    with_daemon(tmp_path, act, size=(width, 30))


def test_each_view_has_a_key_and_is_marked_while_it_is_open(tmp_path: Path) -> None:
    keys = {"d": "hands", "s": "stage", "f2": "hands", "f": "styles", "g": "rig", "f1": "stage"}

    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        for number, (key, name) in enumerate(keys.items(), 1):
            await pilot.press(key)
            assert app.view.id == name
            assert app.query_one(KeyBar).here == name
            await pilot.press("h")  # and the controls work in it
            await until(pilot, lambda: len(told(fake)) == number)  # noqa: B023

    with_daemon(tmp_path, act)


def test_the_newest_status_is_shown_in_the_view_that_is_open(tmp_path: Path) -> None:
    class Seen(Dashboard):
        shown: list[tuple[str | None, float]] = []  # noqa: RUF012

        def _show(self) -> None:
            super()._show()
            if isinstance(self._client.seen, Status):
                self.shown.append((self.view.id, self._client.seen.bpm))

    async def run(endpoint: Endpoint, fake: Fake) -> None:
        app = Seen(endpoint)
        async with app.run_test() as pilot:
            await until(pilot, lambda: is_attached(app))
            for step in range(50):
                fake.now = replace(fake.now, bpm=100.0 + step)
                await app.tell(["tap"])
            await until(pilot, lambda: ("stage", 149.0) in app.shown)
            await pilot.press("g")
            assert app.shown[-1] == ("rig", 149.0)

    fake = Fake(now=status())
    with serving(tmp_path, fake) as served:
        asyncio.run(run(served.endpoint, fake))


def test_a_key_goes_round_those_who_can_lead_the_time_from_whoever_does(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        for number, leader in enumerate(("clock", "hands", "none"), 1):
            await pilot.press("w")
            await until(pilot, lambda: len(told(fake)) == number)  # noqa: B023
            assert told(fake)[-1] == command_from(["follow", leader])
            await until(pilot, lambda: health(app) == FOLLOWS[leader])  # noqa: B023
            fake.now = replace(fake.now, follow=leader)
            await until(pilot, lambda: app._client.seen.follow == leader)  # noqa: B023

    with_daemon(tmp_path, act)


@pytest.mark.parametrize(
    ("key", "before", "after", "said"),
    [
        ("greater_than_sign", 50, 60, "Lean 60."),
        ("less_than_sign", 50, 40, "Lean 40."),
        ("greater_than_sign", 95, 100, "Lean 100, with each chord."),
        ("less_than_sign", 3, 0, "Lean 0, steady."),
    ],
)
def test_two_keys_say_how_closely_the_hands_are_followed(
    tmp_path: Path, key: str, before: int, after: int, said: str
) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        await pilot.press(key)
        await until(pilot, lambda: health(app) == said)
        assert told(fake) == [command_from(["lean", str(after)])]

    with_daemon(tmp_path, act, Fake(now=status(lean=before)))


def test_what_passes_by_itself_is_said_in_every_view(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        for view in ("s", "d", "f", "g"):
            await pilot.press(view)
            assert health(app) == "Counting in."

    with_daemon(tmp_path, act, Fake(now=status(counting=True, waiting=True)))


def test_a_refusal_is_shown_in_one_line(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        fake.error = AuthorError("there is no style after the last")
        await pilot.press("n")
        await until(pilot, lambda: health(app) == "! there is no style after the last")

    with_daemon(tmp_path, act)


def test_what_the_daemon_adds_to_a_thing_done_is_shown(tmp_path: Path) -> None:
    class Adds(Fake):
        def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:
            return super().carry_out(command, value) | {"note": "its first figure runs on"}

    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        await pilot.press("n")
        await until(pilot, lambda: health(app) == "Its first figure runs on.")

    with_daemon(tmp_path, act, Adds(now=status()))


def test_a_daemon_that_is_away_is_said_and_found_again_by_itself(tmp_path: Path) -> None:
    async def run() -> None:
        app = Dashboard(Endpoint(tmp_path / "run", Kind.UNIX))
        async with app.run_test() as pilot:
            await until(pilot, lambda: "start one with 'ripieno serve'" in health(app))
            await pilot.press("n")  # refused, and no more than that
            for bpm in (101.0, 102.0):
                with serving(tmp_path, Fake(now=status(bpm=bpm))):
                    await until(pilot, lambda: is_attached(app))
                    await until(pilot, lambda: not app.query_one("#views").has_class("lost"))
                await until(pilot, lambda: app.query_one("#views").has_class("lost"))
                for view in ("d", "f", "g", "s"):
                    await pilot.press(view)
                assert app.is_running

    asyncio.run(run())


def test_the_terminal_may_change_its_size_at_any_time(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        for view in ("s", "d", "f", "g"):
            await pilot.press(view)
            for size in ((20, 5), (1, 1), (200, 60), (300, 10), (80, 24)):
                await pilot.resize_terminal(*size)
                await pilot.pause()
        assert app.is_running

    with_daemon(tmp_path, act)


@pytest.mark.parametrize("key", ["q", "ctrl+c"])
def test_leaving_ends_it_with_status_0(tmp_path: Path, key: str) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        await pilot.press(key)
        await until(pilot, lambda: not app.is_running)
        assert app.return_value == 0

    with_daemon(tmp_path, act)


def test_ctrl_c_leaves_while_something_is_typed_too(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], _: Fake) -> None:
        await pilot.press("k", "g", "ctrl+c")
        await until(pilot, lambda: not app.is_running)

    with_daemon(tmp_path, act)


async def found(app: Dashboard, typed: str) -> list[str]:
    orders = Orders(app.screen)
    hits = orders.search(typed) if typed else orders.discover()
    return [str(hit.text or hit.prompt) async for hit in hits]


# One of each that is told from the palette; all others are what the views ask by themselves.
EXAMPLES = (
    "style waltz", "next", "previous", "tempo 72 over 16", "tap", "nudge -15", "downbeat", "break",
    "count 2", "ending", "follow clock", "lean 30", "start downbeat", "pickup 1", "swing 2",
    "send-clock on", "meter 3/4", "key E minor", "hold off", "split C4", "transpose -2",
    "reading from-key", "degree 5", "mute left", "hear waltz", "stop", "silence", "reload",
    "learn next", "forget next",
)  # fmt: skip
OF_VIEWS = {"styles", "figure", "show", "status", "watch"}


def test_the_palette_has_every_command_that_can_be_told_from_a_screen(tmp_path: Path) -> None:
    async def act(app: Dashboard, _: Pilot[int], __: Fake) -> None:
        texts = await found(app, "")
        missing = {row.name for row in TABLE if f"{row.name} {row.form}".strip() not in texts}
        assert missing == OF_VIEWS

    with_daemon(tmp_path, act)


def test_every_command_there_is_can_be_told_from_the_palette_or_is_a_views(tmp_path: Path) -> None:
    assert {told.split()[0] for told in EXAMPLES} | OF_VIEWS == {row.name for row in TABLE}
    assert not {told.split()[0] for told in EXAMPLES} & OF_VIEWS

    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        for number, example in enumerate(EXAMPLES):
            await pilot.press("ctrl+p")
            await until(pilot, lambda: app.screen.query("CommandInput"))
            app.screen.query_one("CommandInput", Input).value = example  # typed takes a minute
            await until(pilot, lambda words=example: f"tell: {words}" in offered(app))
            await pilot.press("enter")
            await until(pilot, lambda count=number: len(told(fake)) > count)
        assert told(fake) == [command_from(example.split()) for example in EXAMPLES]

    with_daemon(tmp_path, act)


def offered(app: Dashboard) -> str:
    lists = app.screen.query("CommandList")
    options = lists.first(OptionList).options if lists else []
    return "\n".join(str(option.prompt) for option in options)


def test_the_views_ask_the_rest(tmp_path: Path) -> None:
    class WithFigure(Fake):
        def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:
            told = super().carry_out(command, value)
            return BROKEN if isinstance(command, AskFigure) else told

    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        await pilot.press("f", "d", "e")
        asked = {"styles", "figure", "show"}
        await until(pilot, lambda: asked <= {words_of(command)[0] for command in fake.told})
        assert is_attached(app)  # by `watch`, which is a status at once and whenever it changes

    with_daemon(tmp_path, act, WithFigure(now=status()))


def test_a_command_of_the_palette_that_needs_words_asks_for_them(tmp_path: Path) -> None:
    async def act(app: Dashboard, pilot: Pilot[int], fake: Fake) -> None:
        app.ask("split", "NOTE or none")
        await pilot.press("c", "4", "enter")
        await until(pilot, lambda: told(fake))
        assert told(fake) == [command_from(["split", "C4"])]
        assert app.query_one(Asking).query_one(Input).value == "c4"

    with_daemon(tmp_path, act)
