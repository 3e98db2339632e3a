"""The options that several commands share, and what they mean."""

import argparse
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from ripieno.configuration.model import (
    CHANNEL_RANGE,
    SPANS,
    Configuration,
    channel_inside,
    swing_ratio,
)
from ripieno.errors import AuthorError
from ripieno.perform.settings import (
    BPM_RANGE,
    MOST_LEAN,
    MOST_PICKUP,
    MOST_SEED,
    SWING_RANGE,
    TRANSPOSE_RANGE,
    Follow,
    ReadKeys,
    Settings,
    Start,
)
from ripieno.style.model import Meter, Style, meter_named
from ripieno.style.shipped import find_style, user_styles_folder
from ripieno.theory.key import key_named
from ripieno.theory.pitch import note_named

DEFAULT_STYLE = Configuration().style
BY_TEMPO = "by-tempo"
_PLAIN = Settings()

T = TypeVar("T")


def add_music(parser: argparse.ArgumentParser, style: str | None = None) -> None:
    """The options that say what is played. Without a default the style must be given."""
    group = parser.add_argument_group("music")
    group.add_argument(
        "-s",
        "--style",
        default=style,
        required=style is None,
        metavar="STYLE",
        help="a style's id ('ripieno styles' lists them) or a style file",
    )
    _add_time(parser)
    group.add_argument(
        "-k",
        "--key",
        type=_told(key_named),
        metavar="KEY",
        help="the song's key, such as G or 'E minor': it spells the chords",
    )
    group.add_argument(
        "--reading",
        choices=[r.value for r in ReadKeys],
        default=ReadKeys.PLAYED.value,
        help="played: the keys are the chord; from-key: one key is a degree of the song's key",
    )
    group.add_argument(
        "--split",
        type=_told(note_named),
        metavar="NOTE",
        help="the lowest key of the melody zone; below it keys are chords (default: all are)",
    )
    group.add_argument(
        "--transpose",
        type=_told(_transposition),
        default=0,
        metavar="N",
        help="all keys sound so many semitones higher, -24 to 24 (default: 0)",
    )
    group.add_argument(
        "--hold",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="whether the harmony goes on when the keys are lifted (default: it does)",
    )
    group.add_argument(
        "--span",
        choices=list(SPANS),
        default="octave",
        help="the widest a hand may reach (default: octave)",
    )
    group.add_argument(
        "--channel",
        type=_told(_channel),
        default=0,
        metavar="1-16",
        help="the accompaniment's MIDI channel (default: 1)",
    )
    group.add_argument(
        "--seed", type=_told(_seed), default=1, metavar="N",
        help="of the touch's unevenness: the same seed plays the same",
    )  # fmt: skip


def _add_time(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("time")
    group.add_argument(
        "-t", "--tempo", type=_told(_tempo), metavar="BPM", help="beats a minute, 20 to 400"
    )
    group.add_argument(
        "-m", "--meter", type=_told(meter_named), metavar="M", help="such as 4/4, 3/4 or 6/8"
    )
    group.add_argument(
        "--swing",
        type=_told(_swing),
        default=Fraction(1),
        metavar="RATIO",
        help="long to short of the pairs that swing: 1 straight, 2 two to one, at most 3.5; or "
        "by-tempo: the faster, the straighter",
    )
    group.add_argument(
        "--follow",
        choices=[f.value for f in Follow],
        default=Follow.NONE.value,
        help="whom the time follows: none, a MIDI clock, or the hands that play the chords",
    )
    group.add_argument(
        "--lean",
        type=_told(_lean),
        default=_PLAIN.lean,
        metavar="N",
        help=f"how closely the time follows the hands, 0 steady to 100 (default: {_PLAIN.lean})",
    )
    group.add_argument(
        "--pickup",
        type=_told(_pickup),
        default=_PLAIN.pickup,
        metavar="BEATS",
        help="so many beats stand before the first downbeat (default: none)",
    )


def add_beginning(parser: argparse.ArgumentParser) -> None:
    """The options of who plays live with others."""
    group = parser.add_argument_group("with others")
    group.add_argument(
        "--start",
        choices=[s.value for s in Start],
        help="what is struck in a running time comes in at once or with the next downbeat "
        f"(default: {_PLAIN.start.value})",
    )
    group.add_argument(
        "--send-clock",
        action=argparse.BooleanOptionalAction,
        help="whether to send a MIDI clock, 24 a quarter, with start, stop and song position",
    )


def add_ports(parser: argparse.ArgumentParser, *, listens: bool) -> None:
    """The ports' options."""
    group = parser.add_argument_group("ports")
    if listens:
        group.add_argument(
            "--in",
            dest="input",
            metavar="PORT",
            help="input: a name, a part of one, or 'virtual' (default: the likeliest)",
        )
    group.add_argument(
        "--out",
        dest="output",
        metavar="PORT",
        help="output: a name, a part of one, or 'virtual' (default: the likeliest)",
    )
    group.add_argument(
        "--sound", action="store_true",
        help="play through FluidSynth on this machine; start with the volume low",
    )  # fmt: skip


def add_from_channel(parser: argparse.ArgumentParser) -> None:
    """The option that says which of a file's channels is read."""
    parser.add_argument(
        "--from-channel",
        type=_told(_channel),
        metavar="1-16",
        help="the only MIDI channel that is read (default: all but 10, which is percussion's)",
    )


def add_journal(parser: argparse.ArgumentParser) -> None:
    """The option that keeps a session."""
    parser.add_argument(
        "--journal", type=Path, metavar="FILE", help="also write all that happened, as JSON lines"
    )


def chosen_style(args: argparse.Namespace) -> Style:
    """The style that was asked for. Raises AuthorError."""
    return style_named(args.style)


def style_named(id_or_path: str) -> Style:
    """A style by its id, the user's before a shipped one, or by its file. Raises AuthorError."""
    from ripieno.style.load import load_style  # 100 ms, in which an engine can begin

    return load_style(find_style(id_or_path, user_styles_folder()))


def instead(args: argparse.Namespace) -> dict[str, object]:
    """What options say instead of a configuration, by the names of its fields."""
    given = {
        "input": args.input,
        "output": args.output,
        "sound": args.sound or None,
        "style": args.style,
        "tempo": args.tempo,
        "meter": args.meter,
        "swing": None if args.swing == BY_TEMPO else args.swing,
        "key": args.key,
        "hold": args.hold,
        "reading": None if args.reading is None else ReadKeys(args.reading),
        "split": args.split,
        "transpose": args.transpose,
        "span": None if args.span is None else SPANS[args.span],
        "channel": args.channel,
        "seed": args.seed,
        "follow": None if args.follow is None else Follow(args.follow),
        "lean": args.lean,
        "pickup": args.pickup,
        "start": None if args.start is None else Start(args.start),
        "send_clock": args.send_clock,
    }
    by_tempo = {"swing": None} if args.swing == BY_TEMPO else {}
    return {name: value for name, value in given.items() if value is not None} | by_tempo


def settings(args: argparse.Namespace, style: Style, bpm: float, meter: Meter | None) -> Settings:
    """What was asked for; where nothing was, `bpm`, and `meter` or the style's own."""
    return Settings(
        bpm=args.tempo or bpm,
        meter=args.meter or meter or style.own_meter,
        swing=None if args.swing == BY_TEMPO else args.swing,
        hold=args.hold,
        reading=ReadKeys(args.reading),
        key=args.key,
        split=args.split,
        transpose=args.transpose,
        channel=args.channel,
        span=SPANS[args.span],
        seed=args.seed,
        follow=Follow(args.follow),
        lean=args.lean,
        pickup=args.pickup,
    )


def _told(read: Callable[[str], T]) -> Callable[[str], T]:
    """A reader for argparse, which then prints the reader's own message."""

    def reads(text: str) -> T:
        try:
            return read(text)
        except (AuthorError, ValueError) as fault:
            raise argparse.ArgumentTypeError(str(fault)) from None

    return reads


def _number(text: str, least: float, most: float, what: str, *, whole: bool = False) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not least <= value <= most or (whole and value % 1):
        kind = "whole number" if whole else "number"
        raise AuthorError(f"'{text}' is no {what}: write a {kind} from {least:g} to {most:g}")
    return value


def _tempo(text: str) -> float:
    return _number(text, *BPM_RANGE, "tempo")


def _swing(text: str) -> Fraction | str:
    if text == BY_TEMPO:
        return BY_TEMPO
    return swing_ratio(_number(text, *SWING_RANGE, "swing"))


def _transposition(text: str) -> int:
    return int(_number(text, *TRANSPOSE_RANGE, "transposition", whole=True))


def _lean(text: str) -> int:
    return _whole(text, 0, MOST_LEAN, "lean")


def _pickup(text: str) -> int:
    return _whole(text, 0, MOST_PICKUP, "number of beats")


def _seed(text: str) -> int:
    return _whole(text, 0, MOST_SEED, "seed")


def _channel(text: str) -> int:
    return channel_inside(_whole(text, *CHANNEL_RANGE, "MIDI channel"))


def _whole(text: str, least: int, most: int, what: str) -> int:
    if not (text.isdecimal() and len(text) <= len(str(most)) and least <= int(text) <= most):
        raise AuthorError(f"'{text}' is no {what}: write a whole number from {least} to {most}")
    return int(text)
