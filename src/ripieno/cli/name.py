"""`ripieno name`: what chord these keys are."""

import argparse
import io
import json
import re
import sys
from collections.abc import Iterable, Iterator, Sequence

from ripieno.errors import AuthorError, UsageError
from ripieno.theory.chord import Chord
from ripieno.theory.key import Key, key_named
from ripieno.theory.numerals import number, roman
from ripieno.theory.pitch import name_on_line, note_name, note_named
from ripieno.theory.recognize import Reading, recognize
from ripieno.theory.symbol import degree_name, label, symbol, tone_place

_POSITIONS = ("root position", "first inversion", "second inversion", "third inversion")
_ORDINALS = {9: "ninth", 11: "eleventh", 13: "thirteenth"}  # basses that are no inversion


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "name",
        help="what chord these keys are",
        description="Names the chord that a set of keys is, the lowest being its bass.",
    )
    parser.add_argument("notes", nargs="*", metavar="NOTE", help="as C4, Eb3 or 60 (middle C)")
    parser.add_argument("--key", metavar="KEY", help="the song's key, as G, 'Eb major' or Am")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.add_argument(
        "--batch",
        action="store_true",
        help="read one set of keys a line from standard input, write one JSON object a line",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    if args.batch == bool(args.notes):
        raise UsageError(
            "name takes either notes or --batch: 'ripieno name C4 E4 G4', or sets on standard input"
        )
    key = None if args.key is None else key_named(args.key)
    if args.batch:
        return _batch(_standard_input(), key)
    reading = recognize([note_named(text) for text in args.notes], key)
    if args.json:
        print(json.dumps(_report(reading, key)))
    else:
        print("\n".join(_text(reading, key)))
    return 0


def _batch(lines: Iterable[str], key: Key | None) -> int:
    """One object a line, at once, so that another program can ask and wait; 1 after bad lines."""
    status = 0
    for count, line in enumerate(lines, 1):
        try:
            report = _report(recognize(_notes(line), key), key)
        except AuthorError as error:
            report = {"error": f"line {count}: {error}"}
            status = 1
        print(json.dumps(report), flush=True)
    return status


def _standard_input() -> Iterable[str]:
    """Lines in which bytes that are no text are marked, and refused with their line."""
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    return sys.stdin


def _notes(line: str) -> list[int]:
    """The notes of `C4 E4 G4`, `60,64,67` or `["C4", 64]`. Raises AuthorError."""
    text = line.strip()
    words = _listed(text) if text.startswith("[") else re.split(r"[\s,]+", text)
    words = [word for word in words if word]
    if not words:
        raise AuthorError("no notes; write them with spaces or commas between, as C4 E4 G4")
    return [note_named(word) for word in words]


def _listed(text: str) -> list[str]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise AuthorError('no JSON list; write one as ["C4", 64]') from None
    return list(_words(found))


def _words(found: Sequence[object]) -> Iterator[str]:
    for item in found:
        if isinstance(item, bool) or not isinstance(item, int | str):
            raise AuthorError(f"{json.dumps(item)} is no note: write names or whole numbers")
        yield str(item) or '""'


def _report(reading: Reading, key: Key | None) -> dict[str, object]:
    chord = reading.chord
    return {
        "symbol": symbol(chord, key),
        "root": chord.root,
        "quality": chord.quality.id,
        "bass": chord.bass,
        "inversion": chord.inversion,
        "label": label(chord),
        "alternatives": [symbol(other, key) for other in reading.alternatives],
    }


def _text(reading: Reading, key: Key | None) -> list[str]:
    chord = reading.chord
    rows = {
        "keys": " ".join(note_name(n, tone_place(chord, n % 12, key)) for n in reading.keys),
        "tones": ", ".join(_tones(reading, key)),
        "position": _position(chord),
        "label": label(chord),
    }
    if key is not None:
        rows[f"in {key}"] = f"{roman(chord, key)}, as a number {number(chord, key)}"
    if reading.alternatives:
        rows["also"] = ", ".join(symbol(other, key) for other in reading.alternatives)
    return [symbol(chord, key), *(f"  {name:12} {value}" for name, value in rows.items())]


def _tones(reading: Reading, key: Key | None) -> Iterator[str]:
    """`C 1`, `E 3`: each tone and what it is in the chord, upwards from the root."""
    chord = reading.chord
    for above in sorted({(note - chord.root) % 12 for note in reading.keys}):
        pitch_class = (chord.root + above) % 12
        name = name_on_line(tone_place(chord, pitch_class, key))
        yield f"{name} {degree_name(chord, pitch_class)}"


def _position(chord: Chord) -> str:
    if chord.bass_degree is None:
        return "a bass that the chord does not have"
    if chord.bass_degree in _ORDINALS:
        return f"the {_ORDINALS[chord.bass_degree]} in the bass"
    return _POSITIONS[chord.inversion]
