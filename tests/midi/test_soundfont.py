"""The font that is shipped against the SoundFont specification, and which font is chosen.

Section numbers are those of the SoundFont Technical Specification, version 2.01.
"""

import struct
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from ripieno.errors import MachineError
from ripieno.midi.soundfont import VARIABLE, find_soundfont, has_piano, shipped_soundfont

FONT = shipped_soundfont()
BUILD = Path(__file__).parents[2] / "presets" / "soundfont" / "build.py"

# Section 4: the order of the chunks, with the size of a record in those that are tables.
TABLES = {
    "phdr": 38,
    "pbag": 4,
    "pmod": 10,
    "pgen": 4,
    "inst": 22,
    "ibag": 4,
    "imod": 10,
    "igen": 4,
    "shdr": 46,
}
KEY_RANGE, SAMPLE_ID = 43, 53  # section 8.1.2


def chunks(data: bytes) -> list[tuple[str, bytes]]:
    """The chunks that `data` is a row of (section 3.1)."""
    found, at = [], 0
    while at < len(data):
        kind, size = struct.unpack_from("<4sI", data, at)
        assert at + 8 + size <= len(data), f"{kind!r} reaches past the end"
        found.append((kind.decode(), data[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    return found


def lists(path: Path) -> dict[str, list[tuple[str, bytes]]]:
    ((kind, body),) = chunks(path.read_bytes())
    assert (kind, body[:4]) == ("RIFF", b"sfbk")
    inside = chunks(body[4:])
    assert [kind for kind, _ in inside] == ["LIST"] * 3
    return {data[:4].decode(): chunks(data[4:]) for _, data in inside}


def records(table: str, layout: str) -> list[tuple[bytes | int, ...]]:
    return list(struct.iter_unpack(layout, dict(lists(FONT)["pdta"])[table]))


def sample_headers() -> list[tuple[str, int, int, int, int, int, int, int]]:
    """Without the terminal record: name, start, end, loop start, loop end, rate, key, cents."""
    rows = list(struct.iter_unpack("<20s5IBbHH", dict(lists(FONT)["pdta"])["shdr"]))
    assert rows[-1][0].rstrip(b"\0") == b"EOS"  # 7.10
    return [(row[0].rstrip(b"\0").decode(), *row[1:8]) for row in rows[:-1]]


def frames() -> tuple[int, ...]:
    data = dict(lists(FONT)["sdta"])["smpl"]
    return struct.unpack(f"<{len(data) // 2}h", data)


def test_building_the_font_again_gives_the_same_bytes(tmp_path: Path) -> None:
    again = tmp_path / "again.sf2"
    subprocess.run([sys.executable, str(BUILD), str(again)], check=True)
    assert again.read_bytes() == FONT.read_bytes()


def test_the_font_is_small_enough_to_ship() -> None:
    assert FONT.stat().st_size < 2**20  # our choice


def test_the_chunks_stand_in_the_order_of_the_specification() -> None:
    found = lists(FONT)
    assert list(found) == ["INFO", "sdta", "pdta"]
    assert found["INFO"][0] == ("ifil", struct.pack("<HH", 2, 1))  # 5.1: version 2.01
    assert {"isng", "INAM"} < {kind for kind, _ in found["INFO"]}  # 5.2, 5.3: mandatory
    assert [kind for kind, _ in found["sdta"]] == ["smpl"]
    assert [kind for kind, _ in found["pdta"]] == list(TABLES)


def test_texts_end_in_a_zero_and_have_an_even_length() -> None:
    for kind, text in lists(FONT)["INFO"][1:]:
        assert text.endswith(b"\0"), kind
        assert len(text) % 2 == 0, kind


def test_the_tables_are_whole_and_point_at_each_other_in_order() -> None:
    count = {
        kind: len(data) / TABLES[kind] for kind, data in lists(FONT)["pdta"]
    }  # fractions would be cut records
    for owner, layout, field, bag, mods, gens in (
        ("phdr", "<20sHHHIII", 3, "pbag", "pmod", "pgen"),
        ("inst", "<20sH", 1, "ibag", "imod", "igen"),
    ):
        first_bags = [row[field] for row in records(owner, layout)]
        assert first_bags[0] == 0
        assert first_bags == sorted(first_bags)
        assert first_bags[-1] == count[bag] - 1  # 7.2, 7.6: the terminal record's bag
        starts = records(bag, "<HH")
        assert starts == sorted(starts)
        assert starts[-1] == (count[gens] - 1, count[mods] - 1)  # 7.3, 7.7


def test_terminal_records_close_presets_and_instruments() -> None:
    assert records("phdr", "<20sHHHIII")[-1][0].rstrip(b"\0") == b"EOP"  # 7.2
    assert records("inst", "<20sH")[-1][0].rstrip(b"\0") == b"EOI"  # 7.6
    assert records("pgen", "<HH")[-1] == (0, 0)  # 7.5
    assert records("igen", "<HH")[-1] == (0, 0)  # 7.9


def test_program_0_is_the_struck_string_and_program_79_the_sine() -> None:
    presets = [(row[0].rstrip(b"\0"), row[1], row[2]) for row in records("phdr", "<20sHHHIII")[:-1]]
    assert presets == [(b"struck string", 0, 0), (b"sine", 79, 0)]


def test_every_key_has_exactly_one_string_within_reach_of_its_sample() -> None:
    keys = {header[0]: header[6] for header in sample_headers()}
    names = list(keys)
    sounding = []
    for generators in instrument_zones()[:-1]:
        if KEY_RANGE not in generators:
            continue  # what all zones share
        assert next(iter(generators)) == KEY_RANGE  # 8.1.2: first if there
        assert list(generators)[-1] == SAMPLE_ID  # and last
        low, high = generators[KEY_RANGE] & 0xFF, generators[KEY_RANGE] >> 8
        sounding += range(low, high + 1)
        near = keys[names[generators[SAMPLE_ID]]]
        assert low <= near <= high
        # between A1 and C7 no string is stretched by more than a minor third
        assert all(abs(key - near) <= 3 for key in range(max(low, 33), min(high, 96) + 1))
    assert sounding == list(range(128))


def instrument_zones() -> list[dict[int, int]]:
    starts = [row[0] for row in records("ibag", "<HH")]
    generators = records("igen", "<HH")
    return [dict(generators[start:stop]) for start, stop in pairwise(starts)]


def test_samples_stand_46_zeros_apart_and_end_with_them() -> None:
    data, headers = frames(), sample_headers()
    after = [header[1] for header in headers[1:]] + [len(data)]
    for (name, _, end, *_), following in zip(headers, after, strict=True):
        assert following == end + 46, name  # 6.1
        assert not any(data[end:following]), name


def test_loops_lie_inside_their_samples_and_are_long_enough() -> None:
    for name, start, end, loop, loop_end, *_ in sample_headers():
        assert start + 8 <= loop, name  # 7.10, as the next two
        assert loop + 32 <= loop_end, name
        assert loop_end + 8 <= end, name


def test_loops_close_without_a_click() -> None:
    data = frames()
    for name, _, _, loop, loop_end, *_ in sample_headers():
        # 7.10: the points around the loop's two ends are to be alike
        assert data[loop : loop + 8] == data[loop_end : loop_end + 8], name
        inside = data[loop:loop_end]
        bends = [
            abs(a - 2 * b + c) for a, b, c in zip(inside, inside[1:], inside[2:], strict=False)
        ]
        seam = (*inside[-2:], *inside[:2])
        closing = [abs(a - 2 * b + c) for a, b, c in zip(seam, seam[1:], seam[2:], strict=False)]
        assert max(closing) <= max(bends), name


def test_no_sample_clips() -> None:
    assert max(map(abs, frames())) < 32767


def test_a_font_that_is_asked_for_is_taken_before_all_others(tmp_path: Path) -> None:
    other = piano(tmp_path / "other.sf2")
    path, why = find_soundfont(FONT, {VARIABLE: str(other)}, [tmp_path])
    assert path == FONT
    assert "asked for" in why


def test_the_variable_is_taken_before_the_folders(tmp_path: Path) -> None:
    piano(tmp_path / "other.sf2")
    path, why = find_soundfont(None, {VARIABLE: str(FONT)}, [tmp_path])
    assert path == FONT
    assert VARIABLE in why


@pytest.mark.parametrize("asked_for", [Path("/nowhere/x.sf2"), None])
def test_a_font_that_was_named_and_is_missing_is_an_error(asked_for: Path | None) -> None:
    with pytest.raises(MachineError, match=r"/nowhere/x\.sf2") as refused:
        find_soundfont(asked_for, {VARIABLE: "/nowhere/x.sf2"}, [])
    assert "\n" not in str(refused.value)


def test_a_piano_in_a_folder_is_taken_before_ours_and_the_default_before_others(
    tmp_path: Path,
) -> None:
    first = tmp_path / "first"
    first.mkdir()
    (first / "default.sf2").write_bytes(FONT.read_bytes())  # not a piano by its name
    (first / "broken.sf2").write_bytes(b"RIFF\x04\0\0\0sfbk")
    (first / "a.txt").write_text("no font")
    plain = piano(tmp_path / "a.sf2")
    path, why = find_soundfont(None, {}, [tmp_path / "absent", first, tmp_path])
    assert path == plain
    assert str(plain) in why
    default = piano(tmp_path / "default-GM.sf2")
    assert find_soundfont(None, {}, [first, tmp_path])[0] == default


def test_without_any_piano_our_own_font_is_taken(tmp_path: Path) -> None:
    path, why = find_soundfont(None, {}, [tmp_path])
    assert path == FONT
    assert "no font of a piano" in why


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"RIFF\0\0\0\0WAVE", b"RIFF\4\0\0\0sfbkLIST\xff\xff\xff\xffpdta"]
)
def test_what_is_no_font_is_no_piano(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "x.sf2"
    path.write_bytes(data)
    assert not has_piano(path)


def test_a_font_cut_short_anywhere_is_no_piano(tmp_path: Path) -> None:
    whole = piano(tmp_path / "whole.sf2").read_bytes()
    table = whole.index(b"phdr")
    for length in (4, 12, 100, table, table + 7, table + 8, table + 20):
        path = tmp_path / "cut.sf2"
        path.write_bytes(whole[:length])
        assert not has_piano(path), length


@pytest.mark.parametrize("name", ["FluidR3_GM.sf2", "TimGM6mb.sf2"])
def test_debians_general_midi_fonts_are_pianos(name: str) -> None:
    path = Path("/usr/share/sounds/sf2", name)
    if not path.is_file():
        pytest.skip(f"{name} is not installed")
    assert has_piano(path)


def piano(path: Path) -> Path:
    """Our own font under a name that General MIDI gives its program 1."""
    path.write_bytes(FONT.read_bytes().replace(b"struck string", b"Grand Piano\0\0"))
    return path
