"""Make the pictures of the dashboard that the pages show: `python docs/pictures.py`.

Each is the real dashboard, attached to the real control server. Behind that stands a moment of a
session, which the performer plays ahead in virtual time; so nothing here needs a MIDI system, and
the same program makes the same pictures.
"""

import asyncio
import re
import sys
import tempfile
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from ripieno.dashboard.app import Dashboard
from ripieno.dashboard.theme import DARK, LIGHT
from ripieno.errors import AuthorError
from ripieno.host.catalog import entries
from ripieno.host.control import ControlServer
from ripieno.host.figures import figure
from ripieno.host.library import Library
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import KeyDown
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.perform.snapshot import Snapshot, snapshot
from ripieno.theory.key import key_named
from ripieno.theory.numerals import roman
from ripieno.theory.recognize import recognize
from ripieno.theory.symbol import symbol
from ripieno.units import NS_PER_S
from ripieno.wire.command import AskFigure, AskStyles, Command
from ripieno.wire.status import ControlStatus, Status

FOLDER = Path(__file__).parent / "pictures"
KEY = key_named("G")
KEYS = (57, 60, 64, 67)
READING = recognize(KEYS, KEY)
MOMENT_S = 9.0  # after the first chord: in the fourth bar
SETTLED_S = 0.1


@dataclass(frozen=True, slots=True)
class Picture:
    """What is pressed before it is taken, and the size in cells."""

    name: str
    keys: tuple[str, ...]
    size: tuple[int, int]
    look: str = DARK


PICTURES = (
    Picture("stage", (), (80, 24)),
    Picture("stage-light", (), (120, 40), LIGHT),
    Picture("hands", ("d",), (100, 30)),
    Picture("styles", ("f",), (100, 30)),
    Picture("rig", ("g",), (100, 30)),
)


class Session:
    """What the control server asks: a chord played in a style, stopped at one moment."""

    def __init__(self) -> None:
        self._library = Library()
        style = self._library.style("flowing-eighths")
        self._chosen = Chosen(Settings(key=KEY, bpm=92.0), style)

    def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:
        """Only what the views ask by themselves."""
        match command:
            case AskStyles(style):
                return {"styles": entries(self._library, style)}
            case AskFigure():
                return self._figure()
        raise AuthorError(f"a picture does not move; {command} {value or ''} is not done")

    def status(self) -> Status:
        """The same at any time."""
        seen, style = self._seen(), self._chosen.style
        assert seen.bar_and_beat is not None, "a chord was struck"
        bar, beat = seen.bar_and_beat
        return Status(
            style=style.id, style_name=style.name, bpm=seen.bpm, meter=seen.meter, key=str(KEY),
            hold=True, split=None, transpose=0, channel=1, reading="played", swing="1",
            follow="none", lean=50, clock=seen.clock, starting="strike", pickup=0,
            send_clock=False, counting=seen.counting, ending=seen.ending, waiting=seen.waiting,
            chord=seen.chord,
            degree=roman(READING.chord, KEY), bar=bar, beat=beat, left=seen.left,
            right=seen.right, sounding=seen.sounding, pedal=seen.pedal, input="Stage keyboard",
            output="Upright piano", input_why="the first input that is no loopback port",
            output_why="the first output that is no loopback port", engine="playing",
            restarts=0, scheduling="real-time scheduling: granted (SCHED_FIFO 60)",
            counts={"received": 4, "sent": 61, "failed": 0, "late": 0, "latest_us": 420},
            learning=None,
            controls=(ControlStatus("controller 64 on channel 2", ("next",)),), journal=None,
            notices=(), uptime_s=MOMENT_S, keys=seen.keys,
            quarters=None if seen.place_quarters is None else float(seen.place_quarters),
            bar_quarters=float(seen.bar_quarters), muted=None, hearing=None, serial=seen.serial,
        )  # fmt: skip

    def _seen(self) -> Snapshot:
        performer = Performer(self._chosen.settings, self._chosen.style)
        for number, key in enumerate(KEYS):
            performer.handle(KeyDown(number, key, 80))
        now_ns = round(MOMENT_S * NS_PER_S)
        while (due_ns := performer.next_due_ns()) is not None and due_ns <= now_ns:
            performer.advance(due_ns)
        return snapshot(performer, now_ns)

    def _figure(self) -> dict[str, object]:
        length, shown = figure(self._chosen, READING.chord)
        return {
            "chord": symbol(READING.chord, KEY),
            "quarters": float(length),
            "beat_quarters": float(Fraction(1)),
            "steps": [
                {
                    "at": float(step.at_quarters), "hand": step.side.value,
                    "notes": list(step.notes), "lasts": float(step.lasts_quarters),
                }
                for step in shown
            ],
        }  # fmt: skip


async def taken(picture: Picture, endpoint: Endpoint) -> str:
    """The SVG of a picture, once nothing on the screen changes any more."""
    app = Dashboard(endpoint, look=picture.look)
    async with app.run_test(size=picture.size) as pilot:
        before, now = "", await settled(app)
        await pilot.press(*picture.keys)
        while before != now:
            before, now = now, await settled(app)
    return now


async def settled(app: Dashboard) -> str:
    """The screen after the daemon had time to answer."""
    for _ in range(5):
        await asyncio.sleep(SETTLED_S)
    return plain(app.export_screenshot())


def plain(svg: str) -> str:
    """Without fonts from a network; and with the spaces that a line begins with."""
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = svg.replace("font-family: Fira Code, monospace", "font-family: monospace")
    lines = svg.replace("<text ", '<text xml:space="preserve" ').splitlines()
    return "\n".join(line.rstrip() for line in lines if line.strip()) + "\n"


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        endpoint = Endpoint(Path(folder) / "run", Kind.UNIX)
        with ControlServer(endpoint, Session()):
            for picture in PICTURES:
                path = FOLDER / f"{picture.name}.svg"
                path.write_text(asyncio.run(taken(picture, endpoint)), encoding="utf-8")
                sys.stdout.write(f"{path}\n")


if __name__ == "__main__":
    main()
