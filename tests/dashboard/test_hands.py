"""The view of the hands, mounted, fed with statuses and driven with keys."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest
from textual.app import App, ComposeResult
from textual.pilot import Pilot
from textual.widgets import ContentSwitcher, Label

from dashboard.statuses import status
from dashboard.test_steps import BROKEN, answer, step
from ripieno.dashboard.hands import HandsView
from ripieno.errors import AuthorError, MachineError, RipienoError
from ripieno.wire.status import Status

PATIENCE_S = 30
SIZES = ((80, 24), (120, 40), (200, 60), (80, 17))


@dataclass
class Daemon:
    """What is told to it, and what it answers when it is asked for the figure."""

    figure: dict[str, object] = field(default_factory=lambda: dict(BROKEN))
    error: RipienoError | None = None
    told: list[str] = field(default_factory=list)
    heard: asyncio.Queue[str] = field(default_factory=asyncio.Queue)

    async def tell(self, words: Sequence[str]) -> dict[str, object]:
        self.told.append(" ".join(words))
        self.heard.put_nowait(" ".join(words))
        if self.error is not None:
            raise self.error
        return self.figure if words[0] == "figure" else {}


class Screen(App[None]):
    def __init__(self, daemon: Daemon) -> None:
        super().__init__()
        self.daemon = daemon

    def compose(self) -> ComposeResult:
        with ContentSwitcher(initial="hands"):
            yield HandsView(self.daemon.tell, id="hands")
            yield Label("another view", id="other")


@dataclass
class Trial:
    daemon: Daemon
    pilot: Pilot[None]

    @property
    def view(self) -> HandsView:
        return self.pilot.app.query_one(HandsView)

    async def show(self, now: Status) -> None:
        self.view.show(now)
        await self.pilot.pause()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self.pilot.pause()

    def screen(self) -> list[str]:
        strips = self.pilot.app.screen._compositor.render_strips()
        return ["".join(segment.text for segment in strip).rstrip() for strip in strips]

    def text(self) -> str:
        return "\n".join(self.screen())

    def line(self, beginning: str) -> str:
        (line,) = [line for line in self.screen() if line.strip().startswith(beginning)]
        return line.strip()

    def offered(self) -> set[str]:
        return {a.binding.description for a in self.pilot.app.screen.active_bindings.values()}


class Trying:
    """`async with Trying() as trial`: a screen with the view, which has the focus."""

    def __init__(self, daemon: Daemon | None = None, size: tuple[int, int] = (80, 24)) -> None:
        self.daemon = daemon or Daemon()
        self._test = Screen(self.daemon).run_test(size=size)

    async def __aenter__(self) -> Trial:
        pilot = await self._test.__aenter__()
        pilot.app.query_one(HandsView).focus()
        await pilot.pause()
        return Trial(self.daemon, pilot)

    async def __aexit__(self, *why: object) -> None:
        await self._test.__aexit__(*why)


def playing(**changes: object) -> Status:
    """The first half of the broken chord of C sounds: C2 and the right hand's chord."""
    now = {
        "chord": "C", "key": "C major", "degree": "I", "keys": (60, 64, 67), "left": (36,),
        "right": (60, 64, 67), "sounding": (36, 60, 64, 67), "quarters": 0.0, "bar": 1, "beat": 1,
    }  # fmt: skip
    return status(**(now | changes))


# While the music goes on.


@pytest.mark.parametrize("size", SIZES)
def test_all_parts_are_on_screens_of_any_size(size: tuple[int, int]) -> None:
    async def run() -> None:
        async with Trying(size=size) as trial:
            await trial.show(playing(chord="F#m7b5/A", key="E minor", degree="iiø7"))
            text = trial.text()
            assert "F#m7b5/A" in text
            assert "You press      C4 E4 G4" in text
            assert "Ripieno plays  L left hand   R right hand   pedal ▼ down" in text
            assert "beats" in text
            assert "e stops the music" in text
            assert "▲" in text
            assert all(len(line) <= size[0] for line in trial.screen())
            assert trial.view.max_scroll_y == 0

    asyncio.run(run())


def test_keys_hands_and_fingers_stand_on_the_keyboards() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing())
            lines = trial.screen()
            pressed = next(i for i, line in enumerate(lines) if "You press" in line)
            played = next(i for i, line in enumerate(lines) if "Ripieno plays" in line)
            assert "".join(lines[pressed + 1 : played]).count("●") == 3
            signs = "".join(c for c in lines[played + 4] if c in "LR")
            digits = "".join(c for c in lines[played + 5] if c.isdigit())
            assert (signs, digits) == ("LRRR", "5135")

    asyncio.run(run())


def test_names_follow_the_key() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing(keys=(63,), key="Eb major"))
            assert "You press      Eb4" in trial.text()
            await trial.show(playing(keys=(63,), key="E major"))
            assert "You press      D#4" in trial.text()

    asyncio.run(run())


def test_the_cursor_follows_the_music_and_the_pedal_is_told() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing())
            first = trial.line("▲"), trial.screen()
            await trial.show(playing(quarters=2.0, pedal=False))
            second = trial.screen()
            assert "pedal △ up" in trial.text()
            (before,) = [line.index("▲") for line in first[1] if "▲" in line]
            (after,) = [line.index("▲") for line in second if "▲" in line]
            (ruler,) = [line for line in second if "beats" in line]
            assert (ruler[before], ruler[after]) == ("1", "3")

    asyncio.run(run())


def test_the_bar_is_asked_for_once_a_strike_and_again_for_another_style() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing(serial=12))
            await trial.show(playing(serial=12, quarters=1.0))
            assert trial.daemon.told == ["figure"]
            await trial.show(playing(serial=13))
            assert trial.daemon.told == ["figure"] * 2
            await trial.show(playing(serial=13, style="waltz"))
            assert trial.daemon.told == ["figure"] * 3
            await trial.show(playing(serial=0, style="waltz", chord=None, degree=None))
            assert trial.daemon.told == ["figure"] * 3

    asyncio.run(run())


def test_with_nothing_played_it_says_what_to_press() -> None:
    async def run() -> None:
        async with Trying() as trial:
            nothing = playing(
                chord=None, degree=None, keys=(), left=(), right=(), sounding=(), serial=0,
                quarters=None, bar=None, beat=None,
            )  # fmt: skip
            await trial.show(nothing)
            assert "Press a chord, or a number from 1 to 7" in trial.text()
            assert "No chord yet" in trial.text()
            assert "its bar on C is below" in trial.text()

    asyncio.run(run())


def test_a_hand_that_is_muted_is_the_players_and_its_notes_are_shown_to_play() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing(muted="left", left=(), sounding=(60, 64, 67)))
            assert "L left hand, yours to play" in trial.text()
            lines = trial.screen()
            played = next(i for i, line in enumerate(lines) if "Ripieno plays" in line)
            assert "".join(c for c in lines[played + 4] if c in "LR") == "LRRR"

    asyncio.run(run())


@pytest.mark.parametrize(("muted", "then"), [(None, "left"), ("left", "right"), ("right", "none")])
def test_one_key_mutes_the_left_hand_then_the_right_then_none(muted: str | None, then: str) -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing(muted=muted))
            await trial.press("u")
            assert trial.daemon.told[-1] == f"mute {then}"

    asyncio.run(run())


def test_a_refusal_and_an_answer_that_cannot_be_read_are_said_in_the_view() -> None:
    async def run() -> None:
        async with Trying(Daemon(error=AuthorError("'mute' is not known"))) as trial:
            await trial.show(playing())
            assert "Not done: 'mute' is not known" in trial.text()
        async with Trying(Daemon(figure={"steps": 7})) as trial:
            await trial.show(playing())
            assert "the daemon's figure cannot be read" in trial.text()

    asyncio.run(run())


def test_without_a_daemon_it_says_so_and_goes_on_by_itself() -> None:
    async def run() -> None:
        async with Trying() as trial:
            trial.view.lost("no daemon")
            await trial.pilot.pause()
            assert "No daemon answers" in trial.text()
            await trial.show(playing())
            assert "No daemon answers" not in trial.text()
            assert "▲" in trial.text()

    asyncio.run(run())


# Practising.


async def practising(trial: Trial, **changes: object) -> None:
    await trial.show(playing(**changes))
    await trial.press("e")
    trial.daemon.told.clear()


def test_practising_asks_for_the_bar_stops_the_music_and_sounds_the_first_step() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing())
            trial.daemon.told.clear()
            await trial.press("e")
            assert trial.daemon.told == ["figure", "stop", "show 36 60 64 67"]
            assert "step 1 of 8, beat 1" in trial.text()

    asyncio.run(run())


def test_each_step_sounds_what_is_struck_there_both_ways_round_the_bar() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial)
            await trial.press("right", "full_stop", "left", "comma", "left")
            shown = ["show 43", "show 48", "show 43", "show 36 60 64 67", "show 43"]
            assert trial.daemon.told == shown
            assert "step 8 of 8, after beat 4" in trial.text()

    asyncio.run(run())


def test_the_players_hand_is_not_sounded() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial, muted="left", left=())
            await trial.press("right", "left")
            assert trial.daemon.told == ["show 60 64 67"]

    asyncio.run(run())


def test_ending_practice_silences_what_was_shown() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial)
            await trial.press("e")
            assert trial.daemon.told == ["show none"]
            assert "PRACTISE" not in trial.text()

    asyncio.run(run())


def test_another_view_ends_practice() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial)
            trial.pilot.app.query_one(ContentSwitcher).current = "other"
            await trial.pilot.pause()
            assert trial.daemon.told == ["show none"]

    asyncio.run(run())


def test_the_keys_of_practising_are_offered_while_practising_only() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await trial.show(playing())
            only = {"Back", "Step", "Slower", "Faster", "Loop", "End practice"}
            assert not only & trial.offered()
            assert {"Practise", "Mute a hand"} <= trial.offered()
            await trial.press("e")
            assert only <= trial.offered()
            assert "Practise" not in trial.offered()

    asyncio.run(run())


def test_the_tempo_of_practising_is_slowed_and_told() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial, bpm=100.0)
            await trial.press("down", "down", "down", "up")
            assert "tempo 80 (80 %)" in trial.text()
            assert trial.daemon.told == []

    asyncio.run(run())


def test_a_loop_goes_round_and_round_until_it_is_ended() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial, bpm=400.0)
            while not trial.daemon.heard.empty():
                trial.daemon.heard.get_nowait()
            await trial.press("l")
            assert "looping" in trial.text()
            async with asyncio.timeout(PATIENCE_S):
                heard = [await trial.daemon.heard.get() for _ in range(11)]
            bar = ["show 36 60 64 67", "show 43", "show 48", "show 43"]
            bar += ["show 36 60 64 67", "show 43", "show 48", "show 43"]
            assert heard == [*bar, *bar[:3]]
            await trial.press("l")
            assert trial.daemon.told[-1] == "show none"
            assert "looping" not in trial.text()

    asyncio.run(run())


def test_a_step_by_hand_ends_the_loop() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial, bpm=20.0)
            await trial.press("l", "right")
            assert trial.daemon.told == ["show 36 60 64 67", "show 43"]
            assert "looping" not in trial.text()

    asyncio.run(run())


def test_a_chord_that_is_struck_while_practising_is_the_next_to_practise() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial)
            trial.daemon.figure = answer(step(0.0, "left", [43], 4.0)) | {"chord": "G"}
            await trial.show(playing(serial=13, chord="G"))
            assert trial.daemon.told == ["figure", "stop", "show 43"]
            assert "PRACTISE  G" in trial.text()

    asyncio.run(run())


def test_the_players_own_hand_is_no_new_chord() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial, muted="left")
            await trial.show(playing(muted="left", serial=13, keys=(36, 43)))
            assert trial.daemon.told == ["stop"]
            await trial.show(playing(muted="left", serial=14, keys=(36, 45)))
            assert trial.daemon.told[1] == "figure"

    asyncio.run(run())


def test_a_daemon_that_goes_away_ends_practice() -> None:
    async def run() -> None:
        async with Trying() as trial:
            await practising(trial)
            trial.daemon.error = MachineError("gone")
            trial.view.lost("gone")
            await trial.pilot.pause()
            assert "PRACTISE" not in trial.text()
            assert trial.daemon.told == []

    asyncio.run(run())


def test_a_bar_without_steps_has_nothing_to_step_through() -> None:
    async def run() -> None:
        async with Trying(Daemon(figure=answer())) as trial:
            await practising(trial)
            await trial.press("right", "l", "down", "left")
            assert trial.daemon.told == []
            assert "The steps of the bar stand here once known" in trial.text()

    asyncio.run(run())
