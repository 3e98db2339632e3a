"""A performer, virtual time and a record of what came out: how tests play.

    rig = Rig("triplet-broken", bpm=60)
    rig.press(0, C4, E4, G4)
    rig.lift(900, C4, E4, G4)
    notes = rig.notes(until_ms=4000)        # [Note(ms, length_ms, note, velocity, channel), ...]

Times are milliseconds. At 60 beats a minute a quarter lasts 1000.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from ripieno.perform.events import Input, KeyDown, KeyUp, Send
from ripieno.perform.offline import Happening, play
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Settings
from ripieno.style.load import load_style
from ripieno.style.model import Style
from ripieno.units import NS_PER_MS, ns_from_ms

STYLES = Path(__file__).parents[1] / "presets" / "styles"
STYLE_IDS = sorted(path.stem for path in STYLES.glob("*.yaml"))

C3, E3, F3, G3, A3, B3, C4, D4, E4, F4, G4, A4, B4, C5 = (
    48, 52, 53, 55, 57, 59, 60, 62, 64, 65, 67, 69, 71, 72,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Note:
    ms: float
    length_ms: float
    note: int
    velocity: int
    channel: int = 0


class Rig:
    """Events are pressed in any order and played in the order of their times."""

    def __init__(self, style: Style | str, **settings: object) -> None:
        self.style = load_style(STYLES / f"{style}.yaml") if isinstance(style, str) else style
        self.settings = Settings(**({"bpm": 60.0} | settings))
        self.events: list[Input] = []

    def press(self, ms: float, *notes: int, velocity: int = 80, channel: int = 0) -> None:
        at_ns = ns_from_ms(ms)
        self.events += [KeyDown(at_ns, note, velocity, channel) for note in notes]

    def lift(self, ms: float, *notes: int, channel: int = 0) -> None:
        self.events += [KeyUp(ns_from_ms(ms), note, channel=channel) for note in notes]

    def chord(self, ms: float, *notes: int, until_ms: float) -> None:
        self.press(ms, *notes)
        self.lift(until_ms, *notes)

    def happenings(self, until_ms: float) -> list[Happening]:
        events = sorted(self.events, key=lambda event: event.at_ns)
        return list(play(Performer(self.settings, self.style), events, ns_from_ms(until_ms)))

    def performer_at(self, ms: float) -> Performer:
        """As it is after what was pressed by then, and what was due."""
        performer = Performer(self.settings, self.style)
        for event in sorted(self.events, key=lambda event: event.at_ns):
            if event.at_ns <= ns_from_ms(ms):
                performer.handle(event)
        performer.advance(ns_from_ms(ms))
        return performer

    def sends(self, until_ms: float) -> list[Send]:
        return [h for h in self.happenings(until_ms) if isinstance(h, Send)]

    def notes(self, until_ms: float) -> list[Note]:
        return notes_in(self.sends(until_ms))

    def heard(self, until_ms: float) -> list[Heard]:
        return [h for h in self.happenings(until_ms) if isinstance(h, Heard)]


def even(style: str | Style) -> Style:
    """The style without its touch, so that velocities are the player's."""
    style = load_style(STYLES / f"{style}.yaml") if isinstance(style, str) else style
    return replace(style, touch=replace(style.touch, left=0, right=0, top=0, unevenness=0))


def notes_in(sends: list[Send]) -> list[Note]:
    """Note-ons with their note-offs, by onset; fails unless each has exactly one."""
    notes: list[Note] = []
    sounding: dict[tuple[int, int], tuple[float, int]] = {}
    for send in sends:
        kind, channel = send.data[0] & 0xF0, send.data[0] & 0x0F
        ms = send.due_ns / NS_PER_MS
        if kind == 0x90:
            assert (channel, send.data[1]) not in sounding, f"struck while it sounds: {send}"
            sounding[channel, send.data[1]] = ms, send.data[2]
        elif kind == 0x80:
            assert (channel, send.data[1]) in sounding, f"released without sounding: {send}"
            onset, velocity = sounding.pop((channel, send.data[1]))
            notes.append(Note(onset, ms - onset, send.data[1], velocity, channel))
    assert not sounding, f"never released: {sounding}"
    return sorted(notes, key=lambda note: (note.ms, note.note))


def left_sounding(sent: list[bytes]) -> set[tuple[int, int]]:
    """The channel and note of each note-on without a note-off, which has to have a note-on."""
    sounding: set[tuple[int, int]] = set()
    for data in sent:
        key = (data[0] & 0x0F, data[1])
        if data[0] & 0xF0 == 0x90:
            sounding.add(key)
        elif data[0] & 0xF0 == 0x80:
            sounding.remove(key)
    return sounding


def at(notes: list[Note], ms: float) -> list[int]:
    """The note numbers struck within half a millisecond of an instant, ascending."""
    return sorted(note.note for note in notes if abs(note.ms - ms) < 0.5)


def struck_at(notes: list[Note]) -> dict[float, list[int]]:
    """All onsets, to the nearest millisecond, with the notes struck there."""
    onsets: dict[float, list[int]] = {}
    for note in notes:
        onsets.setdefault(round(note.ms), []).append(note.note)
    return onsets
