"""`ripieno render`: a MIDI file of chords played offline into a MIDI file."""

import argparse
import sys
from collections.abc import Iterator
from heapq import merge
from operator import attrgetter
from pathlib import Path

from ripieno.cli.options import (
    add_journal,
    add_music,
    chosen_style,
    settings,
)
from ripieno.cli.writing import journal_file, refuse_other_endings, write_result
from ripieno.midi.file import Song, read
from ripieno.perform.events import Input, Send, SetTempo
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import BPM_RANGE, Follow, playable_bpm
from ripieno.perform.time_map import steady
from ripieno.style.model import Meter


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "render",
        help="play a MIDI file of chords into a MIDI file, faster than time",
        description="Play the chords of a MIDI file through the real performer. The figure begins "
        "with the first chord as its downbeat; tempo and meter are the file's unless told "
        "otherwise, and times in the output are those of the input. With --follow hands the tempo "
        "begins as the file's, and then goes with the chords.",
    )
    parser.add_argument("input", type=Path, metavar="IN.mid", help="the chords")
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
    style = chosen_style(args)
    song = read(args.input)
    stated = song.meter if song.states_meter else None
    meter = args.meter or stated or style.own_meter
    chosen = settings(args, style, _beats_a_minute(song.bpm, meter), meter)
    for note in (style.foreign_to(meter), _foreign_tempo(song, args.tempo, meter)):
        if note is not None:
            print(f"ripieno: {note}", file=sys.stderr)
    sends: list[Send] = []
    with journal_file(args.journal, chosen, style) as journal:
        for happening in play(
            Performer(chosen, style),
            _events(song, args.tempo, meter, chosen.follow),
            song.length_ns,
        ):
            if isinstance(happening, Send):
                sends.append(happening)
            if journal is not None:
                journal.add([happening])
        if journal is not None:
            journal.close(song.length_ns)
    write_result(args.output, sends, steady(chosen.bpm, chosen.meter), song.length_ns)
    return 0


def _events(song: Song, tempo: float | None, meter: Meter, follow: Follow) -> Iterator[Input]:
    """The file's events and, unless a tempo was asked for or others lead it, its changes."""
    changes = song.tempi[1:] if tempo is None and follow is Follow.NONE else []
    tempi = [SetTempo(at_ns, _beats_a_minute(bpm, meter)) for at_ns, bpm in changes]
    return merge(tempi, song.events, key=attrgetter("at_ns"))


def _beats_a_minute(quarters_a_minute: float, meter: Meter) -> float:
    """The meter's beats in a minute, within the tempi that there are."""
    return playable_bpm(quarters_a_minute / float(meter.beat_quarters))


def _foreign_tempo(song: Song, tempo: float | None, meter: Meter) -> str | None:
    """A sentence for a file with a tempo that is followed no further than to the limit."""
    beats = [bpm / float(meter.beat_quarters) for _, bpm in song.tempi if tempo is None]
    beyond = next((bpm for bpm in beats if not BPM_RANGE[0] <= bpm <= BPM_RANGE[1]), None)
    if beyond is None:
        return None
    least, most = BPM_RANGE
    return (
        f"the file goes at {beyond:.5g} beats a minute, the figure at {least:g} to {most:g}: "
        "give a tempo with -t, or a meter with -m that counts other beats"
    )
