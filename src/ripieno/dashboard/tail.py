"""The last lines of a session's journal, in plain words.

The journal's form is told in docs/journal.md. It is read while it is written, so its first line
here may be a piece of one, and so may its last.
"""

import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby, islice
from pathlib import Path

from ripieno.theory.pitch import note_name

MOST_BYTES = 64 * 1024

_MIDDLE = 64  # MIDI 1.0: a pedal is up to 63, down from 64

Line = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Told:
    """`lines` are the newest last; `channels`, from 1, are those of the keys in them."""

    lines: tuple[str, ...] = ()
    channels: tuple[int, ...] = ()


class Tail:
    """The end of a file that is read again only when it has changed."""

    def __init__(self) -> None:
        self._mark: tuple[str, int, int] | None = None
        self._lines: list[Line] = []

    def read(self, path: str) -> list[Line]:
        """What its last 64 KiB hold. Raises OSError for a file that is gone or closed to us."""
        found = os.stat(path)
        mark = path, found.st_mtime_ns, found.st_size
        if mark != self._mark:
            self._lines = lines_in(_last_bytes(Path(path)))
            self._mark = mark
        return self._lines


def lines_in(data: bytes) -> list[Line]:
    """The whole lines of a piece of a journal; what is no object of one is left out."""
    found: list[Line] = []
    for text in data.split(b"\n")[:-1]:
        try:
            line = json.loads(text)
        except (ValueError, RecursionError):
            continue  # the piece begins inside this one
        if isinstance(line, dict) and isinstance(line.get("kind"), str):
            found.append(line)
    return found


def told(lines: list[Line], most: int, centre: int) -> Told:
    """At most so many lines for people; notes are spelled around `centre` of `theory.pitch`."""
    newest = tuple(islice(_backwards(lines, centre), most))
    return Told(newest[::-1], _channels(lines))


def _last_bytes(path: Path) -> bytes:
    with path.open("rb") as file:
        file.seek(max(0, file.seek(0, os.SEEK_END) - MOST_BYTES))
        return file.read(MOST_BYTES)


def _backwards(lines: list[Line], centre: int) -> Iterator[str]:
    """Keys and notes that come together stand in one row."""
    shown = (line for line in reversed(lines) if line["kind"] != _TICK)
    for (when, verb), group in groupby(shown, _when_and_verb):
        together = list(group)
        if verb is None:
            yield from (f"{when}{_words(line)}" for line in together)
        else:
            notes = [_note(line["note"], centre) for line in reversed(together)]
            yield f"{when}{verb} {' '.join(notes)}"


def _when_and_verb(line: Line) -> tuple[str, str | None]:
    down, note = line.get("down"), line.get("note")
    known = isinstance(down, bool) and isinstance(note, int)
    return _when(line.get("ms")), _VERBS.get((line["kind"], down)) if known else None


def _when(ms: object) -> str:
    """`12.3 s  `, `2:05.3 min  `; nothing where there is no time."""
    if not isinstance(ms, int | float):
        return ""
    tenths = round(ms / 100)
    if tenths < 600:
        return f"{tenths / 10:.1f} s  "
    minutes, rest = divmod(tenths, 600)
    return f"{minutes}:{rest / 10:04.1f} min  "


def _note(number: object, centre: int) -> str:
    return note_name(number, centre) if isinstance(number, int) else "?"


def _words(line: Line) -> str:
    """A line that is neither a key nor a note; one of a kind that is new here is its kind."""
    kind = str(line["kind"])
    says = _SAYS.get(kind)
    return kind if says is None else says(line)


def _value(name: str, words: str) -> Callable[[Line], str]:
    """`words` and the value, which is `none` where the journal has null."""

    def says(line: Line) -> str:
        value = line.get(name)
        return f"{words} {'none' if value is None else value}"

    return says


def _style(line: Line) -> str:
    style = line.get("style")
    return f"style {style.get('name', '?')}" if isinstance(style, dict) else "style"


def _pedal(line: Line) -> str:
    value = line.get("value")
    return f"pedal {'down' if isinstance(value, int) and value >= _MIDDLE else 'up'}"


def _chord(line: Line) -> str:
    return f"chord {line.get('symbol', '?')}" + (", corrected" if line.get("amends") else "")


def _channels(lines: list[Line]) -> tuple[int, ...]:
    seen = {line.get("channel") for line in lines if line["kind"] == "key"}
    return tuple(sorted(channel + 1 for channel in seen if isinstance(channel, int)))


_VERBS: dict[tuple[object, object], str] = {
    ("key", True): "you press",
    ("key", False): "you lift",
    ("note", True): "sounds",
    ("note", False): "ends",
}
_TICK = "clock"  # of a clock that is followed: some fifty a second, and nothing to see
_SAYS: dict[str, Callable[[Line], str]] = {
    "ripieno-journal": lambda _: "the session begins",
    "chord": _chord,
    "pedal": _pedal,
    "control": lambda line: f"controller {line.get('number', '?')} at {line.get('value', '?')}",
    "message": _value("data", "passed on, in hexadecimal:"),
    "sent": _value("data", "sent, in hexadecimal:"),
    "stop": lambda _: "the figure ends",
    "silence": lambda _: "silence",
    "style": _style,
    "tempo": _value("bpm", "tempo"),
    "meter": _value("meter", "meter"),
    "hold": lambda line: "hold on" if line.get("hold") else "hold off",
    "tonality": _value("key", "key of the song:"),
    "split": _value("split", "split at note"),
    "transpose": _value("semitones", "transposed, in semitones:"),
    "reading": _value("reading", "keys are read"),
    "mute": _value("muted", "silent hand:"),
    "show": _value("notes", "shown notes:"),
    "resume": lambda _: "the engine began again and plays on",
    "tap": _value("bpm", "tapped, tempo"),
    "nudge": _value("later_ms", "all comes later, in ms:"),
    "ramp": lambda line: f"to tempo {line.get('bpm', '?')} over {line.get('beats', '?')} beats",
    "scale": _value("factor", "tempo times"),
    "downbeat": lambda _: "a bar begins",
    "break": lambda _: "a break until the next chord",
    "count-in": _value("bars", "counting in, bars:"),
    "ending": lambda _: "slowing down into the last chord",
    "follow": _value("follow", "the time follows"),
    "lean": _value("lean", "lean"),
    "start": _value("start", "chords come in with the"),
    "pickup": _value("beats", "pick-up, in beats:"),
    "swing": lambda line: f"swing {line.get('swing') or 'by the tempo'}",
    "send-clock": lambda line: "sending MIDI clock " + ("on" if line.get("on") else "off"),
    "clock-start": lambda _: "the clock starts",
    "clock-continue": lambda _: "the clock continues",
    "clock-stop": lambda _: "the clock stops",
    "song-position": _value("sixteenths", "the clock is at sixteenth"),
    "end": lambda _: "the session ends",
}
