"""`ripieno render`: a MIDI file of chords played offline into a MIDI file."""

import argparse
import sys
from collections.abc import Iterable, Iterator
from heapq import merge
from itertools import pairwise
from operator import attrgetter
from pathlib import Path

from ripieno.cli.options import (
    add_from_channel,
    add_journal,
    add_music,
    chosen_style,
    settings,
)
from ripieno.cli.writing import journal_file, refuse_other_endings, write_result
from ripieno.errors import AuthorError, UsageError
from ripieno.midi.file import Song, read
from ripieno.perform.count import CHANNEL as PERCUSSION
from ripieno.perform.events import Downbeat, Input, Send, SetMeter, SetTempo
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import BPM_RANGE, Follow, playable_bpm
from ripieno.perform.time_map import TimeMap, steady
from ripieno.style.model import METERS, Meter, Style, meter_named

Meters = tuple[tuple[int, Meter], ...]


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "render",
        help="play a MIDI file of chords into a MIDI file, faster than time",
        description="Play the chords of a MIDI file through the real performer. The figure begins "
        "with the first chord as its downbeat. Notes on all channels are chords, but for channel "
        "10, which General MIDI gives to percussion: it is left out. With --from-channel only that "
        "one is read, and all others are left out. Tempo and meter are the file's unless told "
        "otherwise, with all their changes, and times in the output are those of the input. A "
        "tempo told counts the beats of the first meter; quarters keep their length in the others. "
        "With --follow hands the tempo begins as the file's, and then goes with the chords; "
        "no file holds a MIDI clock to follow.",
    )
    parser.add_argument("input", type=Path, metavar="IN.mid", help="the chords")
    add_from_channel(parser)
    add_music(parser)
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        required=True,
        metavar="OUT",
        help="where it goes: a .mid file, or a .wav file, which FluidSynth makes",
    )
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Render one file. Raises AuthorError, UsageError, MachineError."""
    refuse_other_endings(args.output)
    if args.follow == Follow.CLOCK:
        raise UsageError(
            "--follow clock: a file holds no MIDI clock; leave it out to go with the file's tempo, "
            "or give --follow hands"
        )
    style = chosen_style(args)
    song = read(args.input, _read_channels(args))
    time = _time(args, song, style)
    _, meter = time.meters[0]
    chosen = settings(args, style, _beats_a_minute(song.bpm, meter), meter)
    for note in (*_notes(args, style, time), *_note_of_channels(args, song)):
        print(f"ripieno: {note}", file=sys.stderr)
    sends: list[Send] = []
    with journal_file(args.journal, chosen, style, time) as journal:
        for happening in play(Performer(chosen, style), _events(args, song, time), song.length_ns):
            if isinstance(happening, Send):
                sends.append(happening)
            if journal is not None:
                journal.add([happening])
        if journal is not None:
            journal.close(song.length_ns)
    write_result(args.output, sends, time, song.length_ns)
    return 0


def _read_channels(args: argparse.Namespace) -> set[int]:
    """Those whose notes are chords."""
    return set(range(16)) - {PERCUSSION} if args.from_channel is None else {args.from_channel}


def _note_of_channels(args: argparse.Namespace, song: Song) -> list[str]:
    """A sentence for a file whose notes are all left out."""
    if not song.channels or song.channels & _read_channels(args):
        return []
    found = ", ".join(str(channel + 1) for channel in sorted(song.channels))
    return [f"all notes are left out: they are on channel {found}; --from-channel reads one"]


def _time(args: argparse.Namespace, song: Song, style: Style) -> TimeMap:
    """The file's tempi and meters; what is told instead holds throughout."""
    meters: Meters
    if args.meter is not None:
        meters = ((0, args.meter),)
    elif song.states_meter:
        meters = _played(args.input, song.meters)
    else:
        meters = ((0, style.own_meter),)
    if args.tempo is None:
        return TimeMap(song.tempi, meters)
    return TimeMap(steady(args.tempo, meters[0][1]).tempi, meters)


def _played(path: Path, meters: Meters) -> Meters:
    """The same. Raises AuthorError for one that nothing plays in."""
    for _, meter in meters:
        try:
            meter_named(str(meter))
        except ValueError:
            expected = f"expected {METERS}; or give one that holds throughout, with -m"
            raise AuthorError(f"{path}: meter {meter}: {expected}") from None
    return meters


def _events(args: argparse.Namespace, song: Song, time: TimeMap) -> Iterator[Input]:
    """The file's events and its changes of meter and, unless it is led otherwise, of tempo."""
    meters = [
        SetMeter(at_ns, meter)
        for (_, before), (at_ns, meter) in pairwise(time.meters)
        if meter != before
    ]
    if args.tempo is not None or args.follow != Follow.NONE:
        return merge(meters, song.events, key=attrgetter("at_ns"))
    # Wherever the figure has come to by then, its bar begins with the file's.
    downbeats = [Downbeat(change.at_ns, change.at_ns) for change in meters]
    events: list[Iterable[Input]] = [meters, downbeats, _tempo_changes(time), song.events]
    return merge(*events, key=attrgetter("at_ns"))


def _tempo_changes(time: TimeMap) -> Iterator[SetTempo]:
    """Also with a meter, whose beats may bring a tempo within the limits; else quarters go on."""
    first, *later = sorted({at_ns for at_ns, _ in (*time.tempi, *time.meters)})
    played = _quarters_played(time, first)
    for at_ns in later:
        if time.bpm_at(at_ns) == played:
            continue
        before, played = played, _quarters_played(time, at_ns)
        if played != before:
            yield SetTempo(at_ns, _beats_a_minute(time.bpm_at(at_ns), time.meter_at(at_ns)))


def _quarters_played(time: TimeMap, at_ns: int) -> float:
    """Quarters in a minute from an instant on, within the tempi that there are."""
    bpm, beat = time.bpm_at(at_ns), float(time.meter_at(at_ns).beat_quarters)
    least, most = (limit * beat for limit in BPM_RANGE)
    return min(max(bpm, least), most)


def _beats_a_minute(quarters_a_minute: float, meter: Meter) -> float:
    """The meter's beats in a minute, within the tempi that there are."""
    return playable_bpm(quarters_a_minute / float(meter.beat_quarters))


def _notes(args: argparse.Namespace, style: Style, time: TimeMap) -> Iterator[str]:
    """A sentence for each meter without a figure, and one for a tempo beyond the limits."""
    for meter in dict.fromkeys(meter for _, meter in time.meters):
        if (foreign := style.foreign_to(meter)) is not None:
            yield foreign
    beats = [bpm / float(time.meter_at(at).beat_quarters) for at, bpm in time.tempi]
    beyond = next((bpm for bpm in beats if not BPM_RANGE[0] <= bpm <= BPM_RANGE[1]), None)
    if beyond is not None and args.tempo is None:
        least, most = BPM_RANGE
        yield (
            f"the file goes at {beyond:.5g} beats a minute, the figure at {least:g} to {most:g}: "
            "give a tempo with -t, or a meter with -m that counts other beats"
        )
