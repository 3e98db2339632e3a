"""`ripieno name`, called as the command line calls it."""

import argparse
import io
import json
from collections.abc import Callable

import mir_eval.chord
import music21.chord
import pychord
import pytest

from ripieno.cli import name
from ripieno.errors import AuthorError, UsageError
from ripieno.theory.chord import QUALITIES, Chord, Quality
from ripieno.theory.pitch import note_name, pitch_class_named, spell
from ripieno.theory.symbol import tone_place

Run = Callable[..., tuple[int, str]]
Report = dict[str, object]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    def call(*words: str, given: bytes = b"") -> tuple[int, str]:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(given), encoding="utf-8"))
        parser = argparse.ArgumentParser()
        name.add_parser(parser.add_subparsers())
        args = parser.parse_args(["name", *words])
        status = args.run(args)
        return status, capsys.readouterr().out

    return call


def test_text_names_chord_tones_inversion_and_alternatives(run: Run) -> None:
    status, out = run("E3", "G3", "A3", "C4", "--key", "C")
    assert status == 0
    assert out.splitlines()[0] == "Am7/E"
    assert "A 1, C b3, E 5, G b7" in out
    assert "second inversion" in out
    assert "vi43" in out
    assert "C6/E" in out


def test_text_names_tones_as_the_key_spells_them(run: Run) -> None:
    _, out = run("G#3", "B3", "D4", "F4", "--key", "a minor")
    assert "G#3 B3 D4 F4" in out


@pytest.mark.parametrize(
    ("notes", "position"),
    [
        ("D3 C4 E4 G4", "a bass that the chord does not have"),
        ("D3 C4 E4 F4 G4 Bb4", "the ninth in the bass"),
        ("D4 C5 E5", "the ninth in the bass"),
        ("F3 C4 E4 G4 Bb4 D5", "the eleventh in the bass"),
    ],
)
def test_a_bass_above_the_seventh_or_foreign_is_no_inversion(
    run: Run, notes: str, position: str
) -> None:
    assert position in run(*notes.split())[1]
    assert json.loads(run(*notes.split(), "--json")[1])["inversion"] == 0


def test_json_is_one_object_with_exactly_the_published_fields(run: Run) -> None:
    status, out = run("67", "72", "76", "--json")
    assert status == 0
    assert json.loads(out) == {
        "symbol": "C/G",
        "root": 0,
        "quality": "maj",
        "bass": 7,
        "inversion": 2,
        "label": "C:maj/5",
        "alternatives": [],
    }


def test_alternatives_are_symbols(run: Run) -> None:
    assert json.loads(run("C4", "F4", "G4", "--json")[1])["alternatives"] == ["Fsus2/C"]


def test_key_spells_the_symbol(run: Run) -> None:
    assert json.loads(run("66", "70", "73", "--json")[1])["symbol"] == "F#"
    assert json.loads(run("66", "70", "73", "--key", "Db", "--json")[1])["symbol"] == "Gb"


@pytest.mark.parametrize("words", [("C4", "H4"), ("C4", "128"), ("C", "E", "G"), ("--", "-1")])
def test_what_is_no_note_is_the_authors_fault(run: Run, words: tuple[str, ...]) -> None:
    with pytest.raises(AuthorError):
        run(*words)


def test_what_is_no_key_is_the_authors_fault(run: Run) -> None:
    with pytest.raises(AuthorError, match="no key"):
        run("C4", "--key", "C dorian")


@pytest.mark.parametrize("words", [(), ("--batch", "C4")])
def test_notes_and_batch_exclude_each_other(run: Run, words: tuple[str, ...]) -> None:
    with pytest.raises(UsageError):
        run(*words)


def test_batch_takes_names_numbers_and_lists_with_any_separator(run: Run) -> None:
    lines = 'C4 E4 G4\n60,64,67\n60, 64  67\r\n["C4", 64, "67"]\n[60,64,67]'
    status, out = run("--batch", given=lines.encode())
    assert status == 0
    assert [json.loads(line)["symbol"] for line in out.splitlines()] == ["C"] * 5


BAD_LINES = [
    b"",
    b"C4 H4",
    b"60 64 128",
    b"[60, 64.5]",
    b"[true]",
    b"[[60]]",
    b"[",
    b"[" * 100_000,
    b"[]",
    b'{"keys": [60]}',
    b"\xff\xfe",
    b"9" * 5000,
    b"[" + b"9" * 5000 + b"]",
    b",",
    b'[""]',
]


@pytest.mark.parametrize("bad", BAD_LINES, ids=range(len(BAD_LINES)))
def test_bad_line_is_answered_in_its_place_and_the_rest_goes_on(run: Run, bad: bytes) -> None:
    status, out = run("--batch", given=b"C4\n" + bad + b"\nC4 E4 G4\n")
    first, second, third = map(json.loads, out.splitlines())
    assert status == 1
    assert list(second) == ["error"]
    assert second["error"].startswith("line 2: ")
    assert (first["quality"], third["symbol"]) == ("1", "C")


def test_empty_batch_says_nothing(run: Run) -> None:
    assert run("--batch") == (0, "")


def inversions(quality: Quality) -> list[list[int]]:
    """Each tone as the bass in turn, the others stacked above it, as semitones."""
    stacks = []
    for turn in range(len(quality.semitones)):
        stack: list[int] = []
        for above in quality.semitones[turn:] + quality.semitones[:turn]:
            stack.append(above if not stack else stack[-1] + (above - stack[-1] - 1) % 12 + 1)
        stacks.append(stack)
    return stacks


def read_in_batch(run: Run, sets: list[list[int]]) -> list[Report]:
    given = "\n".join(" ".join(map(str, keys)) for keys in sets)
    status, out = run("--batch", given=given.encode())
    assert status == 0
    return [json.loads(line) for line in out.splitlines()]


def test_every_quality_on_every_root_in_every_inversion_is_labelled_with_its_keys(
    run: Run,
) -> None:
    """mir_eval 0.8 reads the labels."""
    stacks = [stack for quality in QUALITIES.values() for stack in inversions(quality)]
    sets = [[48 + root + above for above in stack] for root in range(12) for stack in stacks]
    for keys, report in zip(sets, read_in_batch(run, sets), strict=True):
        root, bitmap, bass = mir_eval.chord.encode(
            str(report["label"]), reduce_extended_chords=True
        )
        named = {(root + semitones) % 12 for semitones in range(12) if bitmap[semitones]}
        assert named == {key % 12 for key in keys}, report
        assert (root, (root + bass) % 12) == (report["root"], report["bass"])
        assert report["bass"] == keys[0] % 12


def test_every_quality_in_root_position_is_read_as_itself_on_every_root(run: Run) -> None:
    qualities = list(QUALITIES.values())
    sets = [[48 + root + s for s in inversions(q)[0]] for root in range(12) for q in qualities]
    reports = read_in_batch(run, sets)
    found = [(report["root"], report["quality"], report["inversion"]) for report in reports]
    assert found == [(root, quality.id, 0) for root in range(12) for quality in qualities]


# A ninth in the bass of m6/9: C6/9 is a ninth over D, Cm6/9 over D is also Am7b5 over D, which
# is the commoner chord.
NINTH_IN_BASS = ("min69", 4)


def test_roots_agree_with_pychord_where_a_set_has_one_name(run: Run) -> None:
    """One name: no other root carries a quality of the table, nor any chord that pychord knows."""
    cases = [
        (quality, turn, stack)
        for quality in QUALITIES.values()
        for turn, stack in enumerate(inversions(quality))
        if is_the_only_reading(quality) and (quality.id, turn) != NINTH_IN_BASS
    ]
    reports = read_in_batch(run, [[60 + above for above in stack] for _, _, stack in cases])
    compared = 0
    for (quality, turn, stack), report in zip(cases, reports, strict=True):
        names = pychord.find_chords_from_notes([spell(above % 12) for above in stack])
        roots = {pitch_class_named(found.root) for found in names}
        if len(roots) == 1:
            compared += 1
            assert roots == {report["root"]}, (quality.id, turn, report)
    assert compared > 90


def is_the_only_reading(quality: Quality) -> bool:
    tones = set(quality.semitones)
    turned = [{(tone - root) % 12 for tone in tones} for root in tones - {0}]
    return not any(set(other.semitones) in turned for other in QUALITIES.values())


def test_roots_agree_with_music21_for_stacked_thirds(run: Run) -> None:
    """music21 finds roots by stacking thirds of names: triads, sevenths and ninths, spelled.

    Left out are what it has no single root for (augmented triads, diminished sevenths), and
    what is also a sixth chord over its own root (the first inversions of m7 and m7b5).
    """
    ids = ["maj", "min", "dim", "7", "maj7", "min7", "minmaj7", "hdim7", "9", "maj9", "min9", "7b9"]
    cases = [
        (QUALITIES[quality_id], stack)
        for quality_id in ids
        for turn, stack in enumerate(inversions(QUALITIES[quality_id]))
        if (quality_id, turn) not in (("min7", 1), ("hdim7", 1))
    ]
    reports = read_in_batch(run, [[60 + above for above in stack] for _, stack in cases])
    for (quality, stack), report in zip(cases, reports, strict=True):
        chord = Chord(0, quality, stack[0] % 12)
        names = [note_name(60 + above, tone_place(chord, above % 12)) for above in stack]
        theirs = music21.chord.Chord([written.replace("b", "-") for written in names])
        assert theirs.root().pitchClass == report["root"], report
