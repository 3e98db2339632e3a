"""What the screen says of a status, in plain words. Pure."""

import math
import re
from dataclasses import dataclass
from textwrap import wrap

from ripieno.link.async_client import Lost
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_name
from ripieno.wire.status import Status
from ripieno.wire.time_commands import MOST_LEAN
from ripieno.wire.time_in_words import about_time, under_way

NOTHING_ON = "Press a chord on your keyboard, or the keys 1 to 7 of this one."
COUNTING = "Counting in. Press a chord now: it comes in on the first beat."
NOT_PLAYING = "What you press is not heard just now; the line below says why."
CLOCK_MISSING = "No MIDI clock is heard: the tempo stays as it is."
FOLLOWS = {
    "none": "The time goes by its own tempo.",
    "clock": "The time follows a MIDI clock.",
    "hands": "The time follows your hands.",
}
VIEWS = {
    "stage": "the chord, very large, and the beat",
    "hands": "what the hands do, step by step, for learning it",
    "styles": "find a style, hear it, choose it, edit it",
    "rig": "ports, learned controls, figures and the journal",
}
ASKED = {
    "key": "such as G, E minor, or none",
    "meter": "such as 3/4",
    "transpose": "semitones, -24 to 24",
}
_BEGINS_WITH_FILE = re.compile(r"\S*[/.:]\S")
_ALL_IS_THERE = " ... (g: all of it)"
NO_KEY = "no key is chosen; k chooses one"
COMES_BACK = "This screen goes on by itself as soon as there is a daemon."


@dataclass(frozen=True, slots=True)
class Sentence:
    """`wrong`: something that the player may have to see to."""

    text: str
    wrong: bool = False

    @property
    def marked(self) -> str:
        """With a sign, for colour alone says nothing."""
        return f"! {self.text}" if self.wrong else f"  {self.text}"

    def fitted(self, width: int) -> str:
        """In two lines of so many cells at most; where that is too little it says where all is."""
        return "\n".join(
            wrap(
                self.marked,
                max(width, len(_ALL_IS_THERE) + 1),
                max_lines=2,
                placeholder=_ALL_IS_THERE,
                drop_whitespace=True,
                subsequent_indent="  ",
            )
        )


def health(seen: Status | Lost) -> Sentence:
    """Ports and health in one sentence: what is most wrong, or that all is well."""
    if isinstance(seen, Lost):
        return Sentence(f"{_sentence(seen.why)} {COMES_BACK}", wrong=True)
    if seen.engine != "playing":
        why = seen.output_why or seen.input_why or seen.engine
        return Sentence(f"Nothing sounds just now: {_ended(why)}", wrong=True)
    faults = [_sentence(notice) for notice in seen.notices[:1]]
    if len(seen.notices) > 1:
        faults.append(f"{len(seen.notices) - 1} more in the rig.")
    faults += _missing(seen)
    if seen.clock == "missing":
        faults.append(CLOCK_MISSING)
    if faults:
        return Sentence(" ".join(faults), wrong=True)
    if seen.learning is not None:
        return Sentence(f"Press the control that shall do: {' '.join(seen.learning)}")
    if seen.hearing is not None:
        return Sentence(f"You hear {seen.hearing} on a few chords. Any key of yours ends it.")
    if passing := under_way(seen):
        return Sentence(_sentence(passing))
    return Sentence(f"All is well. {seen.input} plays {seen.output}.")


def _missing(now: Status) -> list[str]:
    """The ports that are not there and why, where both have one reason in one sentence."""
    if not now.input and not now.output and now.input_why == now.output_why:
        return [f"No sound goes out, and no keys come in: {_ended(now.output_why)}"]
    sides = (
        ("No sound goes out", now.output, now.output_why),
        ("No keyboard", now.input, now.input_why),
    )
    return [f"{what}: {_ended(why)}" for what, name, why in sides if not name]


def _sentence(text: str) -> str:
    """Beginning with a capital letter, unless with the name of a file, and ending with a stop."""
    text = _ended(text)
    return text if _BEGINS_WITH_FILE.match(text) else text[0].upper() + text[1:]


def _ended(text: str) -> str:
    """With a full stop at its end, to stand after a colon."""
    text = text.strip() or "no reason is known"
    return text + ("" if text[-1] in ".!?" else ".")


def tempo(bpm: float) -> str:
    """As short as it can be: `92`, `94.5`."""
    return f"{round(bpm, 1):g}"


def place(now: Status) -> str:
    """Where the song is, counted from 1."""
    if now.bar is None or now.beat is None:
        return "not begun"
    return f"{now.bar}.{now.beat}"


def style_line(now: Status) -> str:
    """The style, and whatever is not as it mostly is."""
    rest = unusual(now)
    return f"{now.style_name}   ({rest})" if rest else now.style_name


def time_line(now: Status) -> str:
    """What is under way, who leads the time, and what is not as it mostly is."""
    return " ".join(map(_sentence, about_time(now)))


def lean(now: int) -> str:
    """How closely the hands are followed, 0..100."""
    end = {0: ", steady", MOST_LEAN: ", with each chord"}.get(now, "")
    return f"Lean {now}{end}."


def if_no_chord(now: Status) -> str:
    """What stands in its place."""
    if now.engine != "playing":
        return NOT_PLAYING
    return COUNTING if now.counting else NOTHING_ON


def why_lost(why: str) -> str:
    """A sentence, also in the place of a chord when none has been seen yet."""
    return _sentence(why)


def facts(now: Status) -> tuple[tuple[str, str], ...]:
    """What holds for all chords, each with its label."""
    return (
        ("tempo", tempo(now.bpm)),
        ("meter", now.meter),
        ("key", short_key(now.key)),
        ("hold", "on" if now.hold else "off"),
        ("bar.beat", "-" if now.bar is None else place(now)),
    )


def short_key(key: str | None) -> str:
    """A key in as few letters as musicians write it: `G`, `Em`, `-` for none."""
    if key is None:
        return "-"
    tonic, _, mode = key.partition(" ")
    return f"{tonic}m" if mode == "minor" else tonic


def degree(now: Status) -> str:
    """The chord's place in the key, in words too: `ii7 in G major`."""
    if now.chord is None or now.degree is None:
        return ""
    return f"{now.degree} in {now.key}" if now.key else now.degree


def if_no_degree(now: Status) -> str:
    """What stands in its place."""
    return NO_KEY if now.chord is not None and now.key is None else ""


def unusual(now: Status) -> str:
    """What changes how the keys are taken, as far as it is not as it mostly is."""
    parts = []
    if now.transpose:
        steps = "semitone" if abs(now.transpose) == 1 else "semitones"
        way = "up" if now.transpose > 0 else "down"
        parts.append(f"{abs(now.transpose)} {steps} {way}")
    if now.split is not None:
        centre = 1 if now.key is None else key_named(now.key).centre
        parts.append(f"melody from {note_name(now.split, centre)}")
    if now.reading == "from-key":
        parts.append("one key, one chord")
    if now.muted is not None:
        parts.append(f"{now.muted} hand muted")
    return ", ".join(parts)


def beats_in(meter: str) -> int:
    """The beats of a bar: 6/8, 9/8 and 12/8 count three eighths as one. At least 1."""
    count, _, unit = meter.partition("/")
    if not (count.isdigit() and unit.isdigit() and int(count)):
        return 1
    compound = int(unit) >= 8 and int(count) % 3 == 0 and int(count) > 3
    return int(count) // 3 if compound else int(count)


def share_of_bar(now: Status) -> float | None:
    """How much of the bar has gone, 0 to under 1; None while nothing is played."""
    if now.quarters is None or now.bar_quarters <= 0:
        return None
    return min(max(now.quarters / now.bar_quarters, 0.0), math.nextafter(1.0, 0.0))


def result_note(result: dict[str, object]) -> str | None:
    """What the daemon adds to a thing done that the player should know."""
    note = result.get("note")
    return _sentence(note) if isinstance(note, str) else None
