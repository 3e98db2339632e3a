"""The stage view, by the text that it shows."""

import asyncio
from collections.abc import Callable
from itertools import pairwise

import pytest
from statuses import status
from textual.app import App, ComposeResult
from textual.widget import Widget

from ripieno.dashboard.letters import drawn, laid_out
from ripieno.dashboard.stage import StageView
from ripieno.dashboard.theme import CSS, DARK, THEMES
from ripieno.wire.status import Status

PATIENCE_S = 60
SIZES = [(80, 21), (80, 24), (120, 40), (200, 60)]


class Alone(App[None]):
    CSS = CSS

    def on_mount(self) -> None:
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = DARK

    def compose(self) -> ComposeResult:
        yield StageView()

    @property
    def stage(self) -> StageView:
        return self.query_one(StageView)

    def lines(self, widget: Widget) -> list[str]:
        """The cells of a widget as it is on the screen; filled ones are drawn as full blocks."""
        return [
            "".join(
                "█" * len(piece.text)
                if piece.style.reverse and not piece.text.strip()
                else piece.text
                for piece in widget.render_line(y)
            ).rstrip()
            for y in range(widget.size.height)
        ]

    def text(self, name: str) -> str:
        return "\n".join(self.lines(self.query_one(f"#{name}")))


def on_stage(act: Callable[[Alone], None], now: Status, size: tuple[int, int] = (80, 21)) -> None:
    async def run() -> None:
        app = Alone()
        async with asyncio.timeout(PATIENCE_S), app.run_test(size=size) as pilot:
            app.stage.show(now)
            await pilot.pause()
            act(app)

    asyncio.run(run())


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("chord", ["C", "Am7", "F#m7b5/A", "Bb13#11/E"])
def test_the_whole_chord_is_seen_as_large_as_there_is_room(
    size: tuple[int, int], chord: str
) -> None:
    def act(app: Alone) -> None:
        room = app.query_one("#chord").content_size
        layout = laid_out(chord, room.width, room.height)
        assert layout.scale >= 2 or size[0] == 80
        rows = [row.strip() for row in drawn(layout, room.width) if row.strip()]
        assert [row.strip() for row in app.text("chord").splitlines() if row.strip()] == rows

    on_stage(act, status(chord=chord), size)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_lies_outside_the_screen_or_over_another(size: tuple[int, int]) -> None:
    def act(app: Alone) -> None:
        places = [widget.region for widget in app.stage.children]
        assert sum(place.height for place in places) == size[1]
        for above, below in pairwise(places):
            assert above.bottom == below.y
            assert above.height > 0
        assert {place.width for place in places} == {size[0] - 2}

    on_stage(act, status(chord="F#m7b5/A"), size)


def test_a_small_screen_says_all_facts_in_one_line() -> None:
    def act(app: Alone) -> None:
        assert app.text("facts").split() == (
            ["tempo", "102.5", "meter", "12/8", "key", "Ebm", "hold", "off", "bar.beat", "128.4"]
        )
        assert app.text("degree").strip() == "#iv°65/V in Eb minor"
        assert app.text("style").startswith("Flowing eighths   (left hand muted)")

    now = status(
        bpm=102.5, meter="12/8", key="Eb minor", hold=False, bar=128, beat=4, muted="left",
        degree="#iv°65/V",
    )  # fmt: skip
    on_stage(act, now)


def test_a_large_screen_has_large_facts_over_their_labels() -> None:
    def act(app: Alone) -> None:
        *letters, labels = app.text("facts").rstrip().splitlines()
        assert labels.split() == ["tempo", "meter", "key", "hold", "bar.beat"]
        assert all("█" in line or "▀" in line for line in letters)

    on_stage(act, status(), (120, 40))


def test_without_a_chord_it_says_how_to_begin() -> None:
    def act(app: Alone) -> None:
        assert "Press a chord on your keyboard, or the keys 1 to 7" in app.text("chord")
        assert app.text("facts").split()[-1] == "-"

    now = status(chord=None, degree=None, bar=None, beat=None, quarters=None)
    on_stage(act, now)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_who_leads_the_time_and_what_is_under_way_stand_over_the_chord(
    size: tuple[int, int],
) -> None:
    def act(app: Alone) -> None:
        assert app.text("time") == "Waiting for the downbeat. Your hands lead, lean 80."
        line = app.query_one("#time")
        assert line.has_class("under-way")
        app.stage.show(status(follow="clock", clock="missing"))
        assert str(line.content) == "MIDI clock, missing."
        assert not line.has_class("under-way")

    on_stage(act, status(follow="hands", lean=80, waiting=True), size)


def test_a_line_on_the_time_that_is_too_long_goes_on_in_another() -> None:
    def act(app: Alone) -> None:
        first, second = app.text("time").splitlines()
        assert first.startswith("Waiting for the downbeat. MIDI clock, stopped. Pick-up")
        assert second.rstrip().endswith("Sends MIDI clock.")

    now = status(
        waiting=True, follow="clock", clock="stopped", pickup=31, starting="downbeat",
        send_clock=True,
    )  # fmt: skip
    on_stage(act, now)


def test_what_is_unusual_about_a_style_is_told_whole() -> None:
    def act(app: Alone) -> None:
        assert " ".join(app.text("style").split()).endswith("(11 semitones down, melody from C5)")

    name = "Broken chords in contrary motion, in triplets"
    on_stage(act, status(style_name=name, transpose=-11, split=72))


def test_without_an_engine_no_chord_is_asked_for() -> None:
    def act(app: Alone) -> None:
        assert "is not heard just now" in app.text("chord")

    on_stage(act, status(chord=None, engine="lost"))


def test_while_bars_are_counted_it_says_that_a_chord_may_come() -> None:
    def act(app: Alone) -> None:
        assert "Counting in. Press a chord now" in app.text("chord")

    on_stage(act, status(chord=None, degree=None, counting=True, waiting=True))


def test_when_the_daemon_is_lost_nothing_moves_and_the_chord_stays() -> None:
    def act(app: Alone) -> None:
        before = app.text("chord")
        assert "━" in app.text("beats")
        app.stage.lost("no daemon is running")
        assert app.text("chord") == before
        assert "━" not in app.text("beats")

    on_stage(act, status())


def test_when_there_never_was_a_chord_it_says_why() -> None:
    def act(app: Alone) -> None:
        app.stage.lost("no daemon is running")
        assert "No daemon is running." in app.text("chord")

    on_stage(act, status(chord=None))


def test_only_what_has_changed_is_drawn_again() -> None:
    async def run() -> None:
        app = Alone()
        async with asyncio.timeout(PATIENCE_S), app.run_test(size=(80, 21)) as pilot:
            app.stage.show(status())
            await pilot.pause()
            drawn_again: list[str | None] = []
            for widget in app.stage.children:
                widget.refresh = lambda *_, who=widget.id, **__: drawn_again.append(who)
            app.stage.show(status())
            assert drawn_again == []
            app.stage.show(status(quarters=1.6))
            assert drawn_again == ["beats"]
            app.stage.show(status(quarters=1.6, chord="D", beat=3))
            assert drawn_again == ["beats", "chord", "facts"]

    asyncio.run(run())
