"""`ripieno demo`: a player of the program's own presses triads, and the real engine answers."""

import argparse
import os
import signal
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Event, Thread

from ripieno.cli.hosting import add_lines, has_screen, hosted, run_with_dashboard, signals
from ripieno.cli.live import LiveSession, is_heard, session
from ripieno.cli.options import (
    add_journal,
    add_music,
    add_ports,
    chosen_style,
    settings,
    style_named,
)
from ripieno.cli.writing import journal_file, refuse_other_endings, write_result
from ripieno.engine.loop import Timed
from ripieno.engine.rig import Rig, opened_output
from ripieno.host.host import Host
from ripieno.link.endpoint import VARIABLE as RUNTIME_VARIABLE
from ripieno.midi import systems
from ripieno.perform.events import Input, KeyDown, KeyUp, Send, SetStyle
from ripieno.perform.message import NOTE_ON, note_off, note_on
from ripieno.perform.offline import Happening, play, since
from ripieno.perform.performer import Heard, Performer
from ripieno.perform.settings import Settings
from ripieno.perform.time_map import TimeMap
from ripieno.perform.time_played import Change, time_played
from ripieno.style.model import Style
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_name
from ripieno.theory.symbol import symbol
from ripieno.units import NS_PER_MS, NS_PER_S, ns_per_quarter
from ripieno.wire.command import ChooseStyle, Stop

# "The Ferry at Six", the demo's own song: a chord a bar, in E flat, all in root position.
SONG_KEY = key_named("Eb")
SONG_BPM = 84.0
SONG = (
    (51, 55, 58),  # Eb
    (55, 58, 62),  # Gm
    (56, 60, 63),  # Ab
    (53, 56, 60),  # Fm
    (58, 62, 65),  # Bb
    (48, 51, 55),  # Cm
    (53, 56, 60),  # Fm
    (51, 55, 58),  # Eb
)
TOUR = (
    "high-second-inversion",
    "triplet-broken",
    "suspend-fourth",
    "contrary-broken",
    "parallel-arpeggio",
    "suspend-second",
)
TOUR_BARS = 4  # in each style of the tour

# The player's keys come down within this of one another, and on either side of the beat by as
# much, as a person's do: half of all one-hand chords spread over 25 ms (Vienna 4x22, measured).
_SPREAD_MS = 12
_RELEASE_BEFORE_MS = 60

_SHOW_NS = 20 * NS_PER_MS  # how often what was played is shown
_WHOLE_NS = 10 * NS_PER_MS  # the notes of one instant have all left after this


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of the demo: the keys pressed, and the style that begins with it if any does."""

    at_ns: int
    keys: tuple[int, ...]
    style: Style | None


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "demo",
        help="hear and see it play by itself",
        description="A player made of the program's own demo song presses triads; the real "
        "engine answers, and what it played is written to a file. Without a style it goes "
        "through several. Start with the volume low.",
    )
    parser.add_argument("--fast", action="store_true", help="do not wait for the music's time")
    parser.add_argument(
        "-o",
        dest="file",
        type=Path,
        default=Path("ripieno-demo.mid"),
        metavar="FILE",
        help="where it goes: a .mid or a .wav file (default: ripieno-demo.mid)",
    )
    add_journal(parser)
    add_music(parser, style="tour")
    add_ports(parser, listens=False)
    add_lines(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play the demo. Raises AuthorError, UsageError, MachineError."""
    refuse_other_endings(args.file)
    styles = _styles(args)
    args.key = args.key or SONG_KEY
    chosen = settings(args, styles[0], SONG_BPM, None)
    bars = _bars(chosen, styles)
    print(f"The Ferry at Six: {len(bars)} bars in {chosen.meter} at {chosen.bpm:g}", flush=True)
    if args.fast:
        happenings = _fast(args, chosen, bars)
    elif has_screen(args) and args.journal is None:
        happenings = _on_screen(args, chosen, bars)
    else:
        happenings = _live(args, chosen, bars)
    sends = [h for h in happenings if isinstance(h, Send)]
    time_map = _time_of(happenings, chosen, _first_style(args, bars), _end_ns(chosen, bars))
    write_result(args.file, sends, time_map, _end_ns(chosen, bars))
    print(f"wrote {args.file}: {sum(1 for s in sends if s.data[0] >> 4 == 9)} notes")
    return 0


def _styles(args: argparse.Namespace) -> list[Style]:
    if args.style != "tour":
        return [chosen_style(args)]
    return [style_named(style) for style in TOUR]


def _bar_ns(chosen: Settings) -> Fraction:
    return ns_per_quarter(chosen.bpm, chosen.meter.beat_quarters) * chosen.meter.bar_quarters


def _bars(chosen: Settings, styles: list[Style]) -> list[Bar]:
    """The whole demo: the song once for one style, or so many bars of it for each of several."""
    count = len(SONG) if len(styles) == 1 else TOUR_BARS * len(styles)
    bar_ns = _bar_ns(chosen)
    return [
        Bar(
            NS_PER_S // 2 + round(bar * bar_ns),
            SONG[bar % len(SONG)],
            styles[bar // TOUR_BARS] if len(styles) > 1 and bar % TOUR_BARS == 0 else None,
        )
        for bar in range(count)
    ]


def _end_ns(chosen: Settings, bars: list[Bar]) -> int:
    return bars[-1].at_ns + round(_bar_ns(chosen))


def _events(chosen: Settings, bars: list[Bar]) -> list[Input]:
    """The player's keys, with a person's spread, ascending in time."""
    luck = Random(chosen.seed)
    events: list[Input] = []
    for bar, end_ns in zip(
        bars, [b.at_ns for b in bars[1:]] + [_end_ns(chosen, bars)], strict=True
    ):
        if bar.style is not None:
            events.append(SetStyle(bar.at_ns - 2 * _SPREAD_MS * NS_PER_MS, bar.style))
        for key in bar.keys:
            late_ns = round(luck.uniform(-_SPREAD_MS, _SPREAD_MS) * NS_PER_MS)
            events.append(KeyDown(bar.at_ns + late_ns, key, luck.randint(66, 84)))
            events.append(KeyUp(end_ns - _RELEASE_BEFORE_MS * NS_PER_MS + late_ns, key))
    return sorted(events, key=lambda event: event.at_ns)


def _fast(args: argparse.Namespace, chosen: Settings, bars: list[Bar]) -> list[Happening]:
    style, end_ns = _first_style(args, bars), _end_ns(chosen, bars)
    happenings = list(play(Performer(chosen, style), _events(chosen, bars), end_ns))
    with journal_file(args.journal, chosen, style) as journal:
        if journal is not None:
            journal.add(happenings)
            journal.close(end_ns)
    for line in _lines([Timed(0, h) for h in happenings], live=False):
        print(line)
    return happenings


def _time_of(happenings: list[Happening], chosen: Settings, style: Style, end_ns: int) -> TimeMap:
    """The tempi and meters of what was played, by playing what came in again."""
    events = [h for h in happenings if isinstance(h, Input)]
    changes: list[Change] = []
    last_ns = max([end_ns, *(event.at_ns + 1 for event in events)])
    deque(play(Performer(chosen, style), events, last_ns, changes), maxlen=0)
    return time_played(changes, chosen)


def _first_style(args: argparse.Namespace, bars: list[Bar]) -> Style:
    return bars[0].style or chosen_style(args)


def _live(args: argparse.Namespace, chosen: Settings, bars: list[Bar]) -> list[Happening]:
    _end_in_order()
    system = systems.choose()
    print(f"MIDI: {system.name} ({system.why})")
    with opened_output(Rig(system, None, args.output, args.sound)) as (output, said):
        print(*said, sep="\n", flush=True)
        if not is_heard(output):
            print("nothing sounds: 'ripieno demo --sound' plays it through FluidSynth")
        with session(output, chosen, _first_style(args, bars), args.journal) as live:
            kept = list(_press(live, _events(chosen, bars), _end_ns(chosen, bars)))
    return kept


def _on_screen(args: argparse.Namespace, chosen: Settings, bars: list[Bar]) -> list[Happening]:
    """On the dashboard, in a place of its own, so that no daemon's is disturbed."""
    style, kept = _first_style(args, bars), list[Timed]()
    with TemporaryDirectory() as folder:
        args.config, args.journals = Path(folder) / "config.yaml", Path(folder) / "sessions"
        args.style = style.id if args.style == "tour" else args.style
        args.tempo, args.input, args.start, args.send_clock = chosen.bpm, None, None, None
        os.environ[RUNTIME_VARIABLE] = str(Path(folder) / "run")
        with hosted(args, lambda _: None, kept.append) as (host, _), signals(host, hang_up=None):
            start_ns, ended = time.monotonic_ns(), Event()
            player = Thread(target=_play_on, args=(host, _events(chosen, bars), start_ns, ended))
            player.start()
            run_with_dashboard(host)
            ended.set()
            player.join()
    return [since(start_ns, timed.happening) for timed in kept]


def _play_on(host: Host, events: list[Input], start_ns: int, ended: Event) -> None:
    """The player at a host: waits for each key's time and presses it."""
    for event in events:
        if ended.wait(max(0, start_ns + event.at_ns - time.monotonic_ns()) / NS_PER_S):
            return
        now_ns = time.monotonic_ns()
        match event:
            case SetStyle(_, style):
                host.carry_out(ChooseStyle(style.id))
            case KeyDown() | KeyUp():
                host.press(replace(event, at_ns=now_ns))
    if not ended.wait(float(_bar_ns(host.chosen)) / NS_PER_S):
        host.carry_out(Stop())


def _end_in_order() -> None:
    """Being told to end is like Ctrl-C, so that nothing is left sounding.

    Ctrl-C too, which a shell that starts programs in the background makes them ignore.
    """
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)


def _press(live: LiveSession, events: list[Input], end_ns: int) -> Iterator[Happening]:
    """The player: waits for each key's time and presses it, as bytes into the engine."""
    unshown: list[Timed] = []
    for event in events:
        yield from _wait_until(live.start_ns + event.at_ns, live, unshown)
        now_ns = time.monotonic_ns()
        match event:
            case KeyDown():
                live.engine.receive(note_on(event.channel, event.note, event.velocity), now_ns)
            case KeyUp():
                live.engine.receive(note_off(event.channel, event.note, event.velocity), now_ns)
            case other:
                live.engine.submit(replace(other, at_ns=now_ns))
    yield from _wait_until(live.start_ns + end_ns, live, unshown)
    live.close()
    yield from _news(live, unshown)
    _show(unshown)


def _wait_until(at_ns: int, live: LiveSession, unshown: list[Timed]) -> Iterator[Happening]:
    """What happens meanwhile, shown as it does; what cannot be shown yet stays in `unshown`."""
    while (left_ns := at_ns - time.monotonic_ns()) > 0:
        time.sleep(min(left_ns, _SHOW_NS) / NS_PER_S)
        yield from _news(live, unshown)
        ready = _answered(unshown, time.monotonic_ns() - _WHOLE_NS)
        _show(unshown[:ready])
        del unshown[:ready]


def _news(live: LiveSession, unshown: list[Timed]) -> list[Happening]:
    news = live.news()
    unshown += news
    return [since(live.start_ns, timed.happening) for timed in news]


def _show(news: list[Timed]) -> None:
    for line in _lines(news, live=True):
        print(line, flush=True)


def _answered(news: list[Timed], by_ns: int) -> int:
    """How many of `news` come before the first chord that no note had answered by an instant."""
    answered = len(news)
    for index in reversed(range(len(news))):
        if _strikes(news[index]) and news[index].done_ns <= by_ns:
            break
        if isinstance(news[index].happening, Heard):
            answered = index
    return answered


def _strikes(timed: Timed) -> bool:
    return isinstance(timed.happening, Send) and timed.happening.data[0] & 0xF0 == NOTE_ON


def _lines(news: list[Timed], *, live: bool) -> Iterator[str]:
    """A line for each style and each chord, with what answered it and how soon."""
    for index, timed in enumerate(news):
        if isinstance(timed.happening, SetStyle):
            yield f"style {timed.happening.style.id}: {timed.happening.style.use}"
        if isinstance(timed.happening, Heard):
            yield _chord_line(timed.happening, news[index:], live=live)


def _chord_line(heard: Heard, after: list[Timed], *, live: bool) -> str:
    keys = " ".join(note_name(key, SONG_KEY.centre) for key in heard.reading.keys)
    struck = [timed for timed in after if _strikes(timed)]
    first = [timed for timed in struck if timed.happening.due_ns == struck[0].happening.due_ns]  # type: ignore[union-attr]
    notes = sorted(timed.happening.data[1] for timed in first)  # type: ignore[union-attr]
    answer = " ".join(note_name(note, SONG_KEY.centre) for note in notes)
    soon = f"   {(first[0].done_ns - heard.strike_ns) / NS_PER_MS:.2f} ms" if live and first else ""
    return f"  {symbol(heard.reading.chord, SONG_KEY):6} keys {keys:12}  plays {answer}{soon}"
