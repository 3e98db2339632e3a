"""What the view of the hands says and draws, part by part, from what is known."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from rich.text import Text
from textual.strip import Strip

from ripieno.dashboard.keyboard import CHIP, SIGN, Down, Hold, Reach, Shape, draw, strip_of
from ripieno.dashboard.steps import Figure, Practice, beat_words, fingers_of, grid
from ripieno.errors import AuthorError
from ripieno.theory.hand import Side
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_name
from ripieno.wire.status import Status

_AIRY = 26  # rows from which the parts stand apart
_TALL, _TALLEST = 36, 48  # rows from which the keys are long, and longer
_HINT_ROWS = 2
_LEAST_STEPS = 4  # beats, a row for each hand, the cursor


@dataclass(frozen=True, slots=True)
class Scene:
    """All that the picture depends on.

    `at` is the place in the figure's cycle, None while nothing moves. `lost` says why there is
    no daemon, `refused` what it said to the last that was asked; the rest is what was last seen.
    """

    now: Status | None
    lost: str | None
    refused: str | None
    figure: Figure | None
    practice: Practice | None
    at: Fraction | None
    reach: Reach
    width: int
    height: int

    @property
    def centre(self) -> int:
        """How names are spelled."""
        if self.now is None or self.now.key is None:
            return 1
        try:
            return key_named(self.now.key).centre
        except AuthorError:  # a newer daemon may know keys that this program does not
            return 1

    @property
    def muted(self) -> Side | None:
        muted = None if self.now is None else self.now.muted
        return Side(muted) if muted in list(Side) else None


def is_airy(height: int) -> bool:
    """Whether there is room for an empty row between the parts."""
    return height >= _AIRY


def words(scene: Scene) -> dict[str, Text]:
    """The lines of words, by the names of their parts."""
    return {
        "head": _head(scene),
        "pressed-words": _pressed_words(scene),
        "played-words": _played_words(scene),
        "hint": _hint(scene),
    }


def drawings(scene: Scene) -> dict[str, tuple[Strip, ...]]:
    """The keyboards and the steps, by the names of their parts."""
    pressed, played = _shapes(scene.height)
    return {
        "pressed": draw(scene.reach, _pressed(scene), scene.width, pressed, scene.centre),
        "played": draw(scene.reach, _played(scene), scene.width, played, scene.centre),
        "steps": _steps(scene, pressed.rows + played.rows),
    }


def notes_of(now: Status | None, figure: Figure | None) -> set[int]:
    """All that has to be within the picture."""
    notes = set() if figure is None else set(figure.notes)
    return notes if now is None else notes | {*now.keys, *now.left, *now.right, *now.sounding}


def place_in(figure: Figure, now: Status) -> Fraction | None:
    """Where the music is in the figure's cycle, counted from the song's first bar."""
    if now.quarters is None or now.bar is None:
        return None
    gone = (now.bar - 1) * figure.bar_quarters + Fraction(now.quarters).limit_denominator(96)
    return gone % figure.quarters


def _shapes(height: int) -> tuple[Shape, Shape]:
    """Of the keyboard that is pressed and of the one that is played."""
    if height >= _TALLEST:
        return Shape(4, 3, named=False), Shape(6, 4)
    if height >= _TALL:
        return Shape(2, 2, named=False), Shape(4, 3)
    if height >= _AIRY:
        return Shape(2, 1, named=False), Shape(2, 2)
    return Shape(1, 1, named=False), Shape(2, 2)


def _head(scene: Scene) -> Text:
    now, figure = scene.now, scene.figure
    if now is None:
        return Text("Waiting for the daemon" if scene.lost else "")
    if scene.practice is not None:
        return _practice_head(scene, scene.practice, now)
    line = Text(now.chord or "No chord yet", "bold")
    if now.chord and now.degree:
        line.append(f"  {now.degree}{f' in {now.key}' if now.key else ''}", "not bold")
    line.append(f"   {now.bpm:g} in {now.meter}, {now.style_name}", "not bold")
    if not now.chord and figure is not None and figure.moments:
        line.append(f"   (its bar on {figure.chord} is below)", "not bold")
    return _within(line, scene.width)


def _within(line: Text, width: int) -> Text:
    line.truncate(width, overflow="ellipsis")
    return line


def _practice_head(scene: Scene, practice: Practice, now: Status) -> Text:
    line = Text("PRACTISE", "bold reverse")
    if scene.figure is None or scene.at is None:
        return line.append("  waiting for the bar", "not bold not reverse")
    count = len(scene.figure.moments)
    line.append(f"  {scene.figure.chord}", "bold not reverse")
    line.append(
        f"  step {practice.index % count + 1} of {count}, {beat_words(scene.figure, scene.at)}"
        f"   tempo {now.bpm * practice.speed / 100:.0f} ({practice.speed} %)"
        f"{'   looping' if practice.looping else ''}",
        "not bold not reverse",
    )
    return _within(line, scene.width)


def _pressed_words(scene: Scene) -> Text:
    line = Text("You press      ", "bold")
    keys = () if scene.now is None else scene.now.keys
    if not keys:
        return line.append("nothing now", "not bold")
    own, others = _sorted_out(scene, keys)
    parts = [" ".join(note_name(key, scene.centre) for key in some) for some in (own, others)]
    if own:
        parts[0] += " right"
    if others and _has_own_part(scene):
        parts[1] += f" not in the {scene.muted} hand just now"
    return _within(line.append(", ".join(filter(None, parts)), "not bold"), scene.width)


def _pressed(scene: Scene) -> tuple[Down, ...]:
    """What is right of a hand that is the player's is shown as that hand's."""
    keys = () if scene.now is None else scene.now.keys
    own, others = _sorted_out(scene, keys)
    return (*[Down(key, scene.muted) for key in own], *[Down(key) for key in others])


def _has_own_part(scene: Scene) -> bool:
    """Whether there is something of the player's own that keys can be right for."""
    return scene.muted is not None and scene.figure is not None and scene.at is not None


def _sorted_out(scene: Scene, keys: Sequence[int]) -> tuple[list[int], list[int]]:
    """The keys that are right for the player's own hand at this place, and the others."""
    now, figure, at, side = scene.now, scene.figure, scene.at, scene.muted
    if now is None or figure is None or at is None or side is None or not figure.moments:
        return [], list(keys)
    index = figure.moment_before(at)
    moments = [figure.moments[index]]
    if scene.practice is None or scene.practice.looping:  # it moves: who is early is right too
        moments.append(figure.moments[(index + 1) % len(figure.moments)])
    wanted = {n for m in moments for n in (*figure.struck(m)[side], *figure.held(m)[side])}
    own = [key for key in keys if key + now.transpose in wanted]
    return own, [key for key in keys if key not in own]


def _played_words(scene: Scene) -> Text:
    line = Text("Ripieno shows  " if scene.practice else "Ripieno plays  ", "bold")
    for side in Side:
        line.append(SIGN[side], CHIP[side])
        line.append(f" {side} hand", "not bold")
        line.append(", yours to play   " if side is scene.muted else "   ", "not bold")
    if scene.now is not None and scene.now.chord and not scene.practice:
        line.append("pedal ▼ down   " if scene.now.pedal else "pedal △ up     ", "not bold")
    thumb = "1 is the thumb"
    return line.append(thumb if line.cell_len + len(thumb) <= scene.width else "", "not bold")


def _played(scene: Scene) -> tuple[Down, ...]:
    if scene.practice is not None:
        return tuple(_shown(scene, list(Side)))
    if scene.now is None:
        return ()
    hands = {Side.LEFT: scene.now.left, Side.RIGHT: scene.now.right}
    theirs = {note for notes in hands.values() for note in notes}
    passing = [Down(note) for note in scene.now.sounding if note not in theirs]
    own = [] if scene.muted is None else _shown(scene, [scene.muted])
    sounding = [
        Down(note, side, finger)
        for side, notes in hands.items()
        for note, finger in _fingered(scene, side, notes)
    ]
    return (*passing, *own, *sounding)


def _fingered(scene: Scene, side: Side, notes: tuple[int, ...]) -> Iterator[tuple[int, int | None]]:
    """The figure's fingers if the notes are its own; else those of the notes alone."""
    figure, at = scene.figure, scene.at or Fraction(0)
    if figure is not None:
        known = [figure.finger(side, note, at) for note in notes]
        if None not in known:
            yield from zip(notes, known, strict=True)
            return
    alone = fingers_of(notes, side) or (None,) * len(notes)
    yield from zip(notes, alone, strict=True)


def _shown(scene: Scene, sides: list[Side]) -> Iterator[Down]:
    """What the figure has at this place: struck at the last moment, or held from before."""
    figure, at = scene.figure, scene.at
    if figure is None or at is None or not figure.moments:
        return
    moment = figure.moments[figure.moment_before(at)]
    struck, held = figure.struck(moment), figure.held(moment)
    for side in sides:
        now = Hold.YOURS if side is scene.muted else Hold.STRUCK
        for note in held[side]:
            yield Down(note, side, figure.finger(side, note, moment), Hold.HELD)
        for note in struck[side]:
            yield Down(note, side, figure.finger(side, note, moment), now)


def _steps(scene: Scene, keyboards_rows: int) -> tuple[Strip, ...]:
    if scene.figure is None or not scene.figure.moments:
        return (strip_of((c, "dim") for c in "The steps of the bar stand here once known."),)
    parts = 3 + keyboards_rows + _HINT_ROWS + 4 * is_airy(scene.height)
    room = max(scene.height - parts, _LEAST_STEPS)
    return grid(scene.figure, scene.width, room, scene.at, scene.centre)


def _hint(scene: Scene) -> Text:
    """What to do, in one or two lines."""
    if scene.lost is not None:
        return Text("No daemon answers. This view goes on by itself when one does.")
    if scene.refused is not None:
        return Text(f"Not done: {scene.refused}", "bold")
    return Text(_what_to_do(scene), "italic")


def _what_to_do(scene: Scene) -> str:
    hand = scene.muted
    if scene.practice is not None and scene.practice.looping:
        own = f"Play the {hand} hand along" if hand else "Listen and watch, then play along"
        return (
            f"{own}. ↓ slower, ↑ faster, l ends the loop, u leaves out a hand for you, "
            "e goes back to the music."
        )
    if scene.practice is not None and hand:
        return (
            f"The {hand} hand is yours: play what is underlined, then → for the next step. l plays "
            "the other round and round, u changes hands, e goes back to the music."
        )
    if scene.practice is not None:
        return (
            "→ next step, ← the one before: put the fingers where the numbers are. l plays it "
            "round and round, u leaves out a hand for you, e goes back to the music."
        )
    if scene.now is None or scene.now.chord is None:
        return "Press a chord, or a number from 1 to 7, and see what each hand does with it."
    if hand is not None:
        return f"The {hand} hand is yours: play what is underlined. u changes hands, e goes slowly."
    return "e stops the music and goes through this bar step by step; u leaves out a hand for you."
