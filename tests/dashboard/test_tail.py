"""The journal's last lines in plain words."""

import json
from fractions import Fraction
from pathlib import Path

import pytest

from ripieno.dashboard.tail import MOST_BYTES, Tail, lines_in, told
from ripieno.perform import events as ev
from ripieno.perform import journal
from ripieno.perform.settings import Follow, ReadKeys, Start
from ripieno.style.model import Meter
from ripieno.theory.key import key_named

C_MAJOR, A_FLAT_MAJOR = key_named("C").centre, key_named("Ab").centre


def piece(*lines: dict[str, object]) -> bytes:
    return b"".join(journal.dump(line).encode() for line in lines)


def words(*lines: dict[str, object], most: int = 20, centre: int = C_MAJOR) -> tuple[str, ...]:
    return told(lines_in(piece(*lines)), most, centre).lines


def note(ms: float, number: int, *, down: bool = True, kind: str = "note") -> dict[str, object]:
    return {"ms": ms, "kind": kind, "down": down, "note": number, "velocity": 64, "channel": 2}


def test_a_chord_stands_with_its_time() -> None:
    line = {"ms": 12_345.678, "kind": "chord", "symbol": "Am7", "amends": False}
    assert words(line) == ("12.3 s  chord Am7",)
    assert words(line | {"amends": True}) == ("12.3 s  chord Am7, corrected",)


@pytest.mark.parametrize(
    ("ms", "when"),
    [(0, "0.0 s"), (59_949, "59.9 s"), (59_951, "1:00.0 min"), (754_321, "12:34.3 min")],
)
def test_a_time_is_in_seconds_and_then_in_minutes(ms: float, when: str) -> None:
    assert words({"ms": ms, "kind": "stop"}) == (f"{when}  the figure ends",)


def test_notes_that_come_together_stand_in_one_row_in_their_order() -> None:
    lines = [note(10.0, 48), note(10.2, 64), note(10.2, 67), note(900.0, 48, down=False)]
    assert words(*lines) == ("0.0 s  sounds C3 E4 G4", "0.9 s  ends C3")


def test_keys_are_apart_from_notes() -> None:
    lines = [note(1.0, 60, kind="key"), note(1.0, 48), note(2.0, 60, kind="key", down=False)]
    assert words(*lines) == ("0.0 s  you press C4", "0.0 s  sounds C3", "0.0 s  you lift C4")


def test_notes_are_spelled_by_the_key() -> None:
    assert words(note(0.0, 63), centre=A_FLAT_MAJOR) == ("0.0 s  sounds Eb4",)


def test_only_the_newest_are_told() -> None:
    lines = [{"ms": 1000.0 * i, "kind": "tempo", "bpm": i} for i in range(5)]
    assert words(*lines, most=2) == ("3.0 s  tempo 3", "4.0 s  tempo 4")


EVENTS = (
    ev.Controller(0, 64, 127, 0), ev.Passing(0, b"\xc0\x05"), ev.Stop(0), ev.Silence(0),
    ev.SetTempo(0, 96.0), ev.SetMeter(0, Meter(3, 4)), ev.SetHold(0, hold=True),
    ev.SetKey(0, None), ev.SetKey(0, key_named("E minor")), ev.SetSplit(0, 60),
    ev.SetTranspose(0, -2), ev.SetReading(0, ReadKeys.FROM_KEY), ev.SetMuted(0, None),
    ev.Show(0, (60, 64), 80), ev.KeyDown(0, 60, 64, 0), ev.KeyUp(0, 60, 0, 0),
    ev.Tapped(0, 0, 96.0), ev.Nudge(0, -10.0), ev.Ramp(0, 60.0, 8), ev.Scale(0, Fraction(1, 2)),
    ev.Downbeat(0, 0), ev.Break(0), ev.CountIn(0, 2), ev.Ending(0, 0),
    ev.SetFollow(0, Follow.NONE), ev.SetLean(0, 80), ev.SetStart(0, Start.DOWNBEAT),
    ev.SetPickup(0, 1), ev.SetSwing(0, None), ev.SetSwing(0, Fraction(2)),
    ev.SetSendClock(0, send_clock=True), ev.ClockStart(0), ev.ClockContinue(0), ev.ClockStop(0),
    ev.SongPosition(0, 16),
)  # fmt: skip


@pytest.mark.parametrize("event", EVENTS, ids=lambda event: type(event).__name__)
def test_all_that_a_journal_keeps_has_words_of_its_own(event: object) -> None:
    line, _ = journal.line(event, None)  # type: ignore[arg-type]
    (text,) = words(line)
    said = text.removeprefix("0.0 s  ")
    assert said not in ("", line["kind"]) or said == "silence"
    assert "None" not in said
    assert "{" not in said


def test_the_ticks_of_a_clock_are_left_out_and_do_not_part_what_comes_together() -> None:
    tick = {"ms": 10.1, "kind": "clock"}
    lines = [tick, note(10.0, 48), tick, note(10.2, 64), tick]
    assert words(*lines, most=1) == ("0.0 s  sounds C3 E4",)


def test_a_line_of_another_kind_or_form_is_no_harm() -> None:
    odd = [
        {"ms": None, "kind": "sneeze"},
        {"ms": 5.0, "kind": "note", "down": True, "note": "C"},
        {"ms": 5.0, "kind": "style", "style": 7},
        {"ms": 5.0, "kind": "chord"},
    ]
    assert words(*odd) == ("sneeze", "0.0 s  note", "0.0 s  style", "0.0 s  chord ?")


def test_pieces_of_lines_at_both_ends_are_left_out() -> None:
    whole = {"ms": 0.0, "kind": "silence"}
    cut = piece({"ms": 0.0, "kind": "stop"})[9:] + piece(whole) + b'{"ms":1,"kind":"st'
    assert lines_in(cut) == [whole]


def test_channels_are_those_that_were_seen_counted_from_1() -> None:
    lines = lines_in(piece(note(0.0, 60, kind="key") | {"channel": 0}, note(0.0, 48)))
    seen = told(lines, 9, C_MAJOR)
    assert seen.channels == (1,)
    assert told([], 9, C_MAJOR).channels == ()


def test_of_a_long_file_only_its_end_is_read(tmp_path: Path) -> None:
    path = tmp_path / "long.jsonl"
    path.write_bytes(piece(*({"ms": float(i), "kind": "stop"} for i in range(20_000))))
    lines = Tail().read(str(path))
    assert lines[-1]["ms"] == 19_999.0
    assert sum(len(json.dumps(line)) for line in lines) < MOST_BYTES * Fraction(6, 5)


def test_a_file_that_grows_is_read_again_and_one_that_vanishes_says_so(tmp_path: Path) -> None:
    path, tail = tmp_path / "now.jsonl", Tail()
    path.write_bytes(piece({"ms": 0.0, "kind": "stop"}))
    assert len(tail.read(str(path))) == 1
    with path.open("ab") as file:
        file.write(piece({"ms": 1.0, "kind": "stop"}))
    assert len(tail.read(str(path))) == 2
    path.unlink()
    with pytest.raises(OSError, match="now"):
        tail.read(str(path))
