"""The rig view: what is plugged in, what is set, what is counted, what was done last."""

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, TypeAlias

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from ripieno.dashboard.figures import UNKNOWN, Figure, counters, lateness
from ripieno.dashboard.learning import ControlsPanel
from ripieno.dashboard.said import Said
from ripieno.dashboard.tail import Tail, Told, told
from ripieno.dashboard.words import why_lost
from ripieno.errors import AuthorError
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_name
from ripieno.wire.status import Status

Tell: TypeAlias = Callable[[Sequence[str]], Awaitable[dict[str, object]]]

_WIDE = 110  # columns, from which two stand side by side
_LOOK_S = 1.0  # between two looks at the journal
_FEWEST_LINES = 12  # of the journal; a tall screen has room for more than that and the rest
_REST_LINES = 34
_PLAIN_CENTRE = 1  # `theory.pitch`'s, where the song has no key

_LEFT = ("ports", "notices", "settings", "time", "controls")
_RIGHT = ("lateness", "counters", "journal")


class RigView(Vertical):
    """One scroll: ports, notices, settings and controls; figures, counters and the journal."""

    DEFAULT_CSS = """
    RigView { height: 1fr; padding: 0 1; }
    RigView #parts {
        height: 1fr; layout: vertical; scrollbar-size-vertical: 1; scrollbar-gutter: stable;
        padding: 0 1 0 0;
    }
    RigView #parts Vertical { height: auto; width: 1fr; }
    RigView.wide #parts { layout: horizontal; }
    RigView.wide #right { padding: 0 0 0 2; }
    RigView #parts Said { margin: 0 0 1 0; }
    RigView #outcome { text-style: bold; display: none; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("l", "learn", "Learn a control"),
        Binding("x", "forget", "Forget one"),
    ]

    def __init__(self, tell: Tell, *, id: str | None = None) -> None:  # noqa: A002 - a widget's
        super().__init__(id=id)
        self._panel = ControlsPanel(tell, self._say, self._focus_parts)
        self._now: Status | None = None
        self._tail, self._told = Tail(), Told()

    def compose(self) -> ComposeResult:
        yield self._panel
        yield Said("", id="outcome")
        with VerticalScroll(id="parts", can_focus=True):
            with Vertical(id="left"):
                yield from (Said("", id=name) for name in _LEFT)
            with Vertical(id="right"):
                yield from (Said("", id=name) for name in _RIGHT)

    def on_mount(self) -> None:
        self.set_interval(_LOOK_S, self._look_at_journal)
        if self._now is None:
            self._part("ports").say("The daemon has not said anything yet.")

    def on_show(self) -> None:
        if not self.has_focus_within:
            self._focus_parts()
        self._look_at_journal()

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(event.size.width >= _WIDE, "wide")

    def show(self, now: Status) -> None:
        """The daemon's newest status."""
        before, self._now = self._now, now
        if before is None:
            self._say("")
        self._part("notices").display = bool(now.notices)
        for name, says in _SAYS.items():
            if before is None or says.depends(before) != says.depends(now):
                self._part(name).say(says.text(now))
        self._panel.show(now)
        if before is None or (before.journal, before.key) != (now.journal, now.key):
            self._look_at_journal()
        elif _taking(before) != _taking(now):
            self._say_settings()

    def lost(self, why: str) -> None:
        """There is no daemon; what was known stays, and is said to be old."""
        self._now = None
        self._panel.lost()
        self._say(f"{why_lost(why)} What stands below was so before.")

    def action_learn(self) -> None:
        self._begin(self._panel.learn)

    def action_forget(self) -> None:
        self._begin(self._panel.forget)

    def _begin(self, doing: Callable[[], None]) -> None:
        if self._now is None:
            self._say("No control can be learned or forgotten while there is no daemon.")
            return
        self._say("")
        doing()

    def _focus_parts(self) -> None:
        self.query_one("#parts").focus()

    def _part(self, name: str) -> Said:
        return self.query_one(f"#{name}", Said)

    def _say(self, text: str) -> None:
        outcome = self._part("outcome")
        outcome.display = bool(text)
        outcome.say(text)

    def _look_at_journal(self) -> None:
        """Only while somebody can see it."""
        if self._now is None or not self.display:
            return
        path, most = self._now.journal, max(_FEWEST_LINES, self.size.height - _REST_LINES)
        self._told, lines = Told(), ["Nothing has been written to it yet."]
        try:
            if path is None:
                lines = ["None is written now. One begins with the first key, if it is kept."]
            else:
                self._told = told(self._tail.read(path), most, centre_of(self._now.key))
                lines = list(self._told.lines) or lines
        except OSError as fault:
            lines = [f"It cannot be read: {fault.strerror}."]
        self._part("journal").say(_section("The journal", *([path] if path else []), *lines))
        self._say_settings()

    def _say_settings(self) -> None:
        if self._now is not None:
            self._part("settings").say(settings(self._now, self._told))


def ports(now: Status) -> Content:
    """The two ports and the engine; what is missing says so in capitals, not by colour."""
    return _section(
        "What is plugged in",
        *_port("Keys come from", "NO KEYBOARD", now.input, now.input_why),
        *_port("Notes go to", "NO INSTRUMENT", now.output, now.output_why),
        *_engine(now),
    )


def notices(now: Status) -> Content:
    """What is wrong."""
    return _section("What is wrong", *(f"! {notice}" for notice in now.notices))


def settings(now: Status, seen: Told) -> Content:
    """How the keys are taken, and the channels."""
    return _section(
        "How the keys are taken",
        _split(now),
        _reading(now.reading),
        _transposed(now.transpose),
        f"What it plays goes out on channel {now.channel}.",
        _channels(seen.channels),
    )


def time_goes(now: Status) -> Content:
    """Who leads, how the music begins, and whether others are led."""
    return _section(
        "How the time goes",
        _leader(now),
        "What is struck in a running time comes in "
        + ("with the next downbeat." if now.starting == "downbeat" else "at once."),
        _pickup(now.pickup),
        _swing(now.swing),
        f"MIDI clock {'goes out with the notes' if now.send_clock else 'is not sent'}.",
    )


def controls(now: Status) -> Content:
    """What has been learnt."""
    lines = [f"{control.press} does: {' '.join(control.do)}" for control in now.controls]
    none = "None yet. Press l to have a button, a pedal or a key give a command."
    return _section("Learned controls", *(lines or [none]))


def centre_of(key: str | None) -> int:
    """Around which notes are spelled, for a key as the status has it."""
    try:
        return _PLAIN_CENTRE if key is None else key_named(key).centre
    except AuthorError:  # a key that a newer daemon knows
        return _PLAIN_CENTRE


def _section(title: str, *lines: str | Content) -> Content:
    return Content("\n").join([Content.styled(title, "bold underline"), *map(_content, lines)])


def _content(line: str | Content) -> Content:
    return Content(line) if isinstance(line, str) else line


def _port(has: str, lacks: str, name: str, why: str) -> list[str | Content]:
    if name:
        return [Content.assemble(f"{has} ", (name, "bold")), f"  because: {why}"]
    return [Content.styled(lacks, "bold"), f"  because: {why or 'no reason is known'}"]


def _engine(now: Status) -> list[str]:
    again = "" if not now.restarts else f", begun again {_times(now.restarts)}"
    minutes = _minutes(now)
    since = "less than a minute" if not minutes else f"{minutes // 60} h {minutes % 60} min"
    return [
        f"The engine is {now.engine}{again}; the daemon has run for {since}.",
        f"{_capital(now.scheduling) or f'Its scheduling is {UNKNOWN}'}.",
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _minutes(now: Status) -> int:
    return int(now.uptime_s // 60)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _split(now: Status) -> str:
    if now.split is None:
        return "The whole keyboard is for chords; there is no split."
    name = note_name(now.split, centre_of(now.key))
    return f"Keys below {name} are for chords; from {name} up they are melody."


def _reading(reading: str) -> str:
    if reading == "played":
        return "The keys that are down are the chord."
    if reading == "from-key":
        return "One key is a degree of the song's key, and gives its chord."
    return f"The keys are read '{reading}'."


def _leader(now: Status) -> str:
    match now.follow:
        case "clock":
            return f"It follows a MIDI clock, which is {now.clock or UNKNOWN}."
        case "hands":
            return f"It follows your hands: lean {now.lean}, of 0 (steady) to 100 (each chord)."
        case _:
            return "It goes by its own tempo."


def _pickup(beats: int) -> str:
    if not beats:
        return "What begins is a downbeat: there is no pick-up."
    return f"The pick-up is {beats} beat{'' if beats == 1 else 's'}: the bar begins after it."


def _swing(swing: str) -> str:
    if swing == "by-tempo":
        return "Styles that can swing do so by the tempo: the faster, the straighter."
    return "Nothing swings." if swing == "1" else f"Styles that can swing do so by {swing} to 1."


def _transposed(semitones: int) -> str:
    if not semitones:
        return "Keys sound as they are; nothing is transposed."
    plural = "" if abs(semitones) == 1 else "s"
    way = "higher" if semitones > 0 else "lower"
    return f"All sounds {abs(semitones)} semitone{plural} {way} than it is pressed."


def _channels(channels: Sequence[int]) -> str:
    if not channels:
        return f"On which channel your keys come in is {UNKNOWN}: the journal tells of none yet."
    return f"Your last keys came in on channel {', '.join(map(str, channels))}."


def _figures(figures: Sequence[Figure]) -> list[Content]:
    return [
        Content.assemble((f"{figure.name}: {figure.value}", "bold"), f"  {figure.means}")
        for figure in figures
    ]


def _plugged(now: Status) -> tuple[object, ...]:
    said = (now.input, now.input_why, now.output, now.output_why, now.scheduling)
    return (*said, now.engine, now.restarts, _minutes(now))


def _taking(now: Status) -> tuple[object, ...]:
    return now.split, now.reading, now.transpose


def _timing(now: Status) -> tuple[object, ...]:
    return now.follow, now.clock, now.lean, now.starting, now.pickup, now.swing, now.send_clock


@dataclass(frozen=True, slots=True)
class _Says:
    """A section's text, and what it depends on: a status comes ten times a second."""

    depends: Callable[[Status], object]
    text: Callable[[Status], Content]


_SAYS = {
    "ports": _Says(_plugged, ports),
    "time": _Says(_timing, time_goes),
    "notices": _Says(lambda now: now.notices, notices),
    "controls": _Says(lambda now: now.controls, controls),
    "lateness": _Says(
        lambda now: lateness(now.counts),
        lambda now: _section("How exact it is", *_figures(lateness(now.counts))),
    ),
    "counters": _Says(
        lambda now: now.counts,
        lambda now: _section("What was counted", *_figures(counters(now.counts))),
    ),
}
