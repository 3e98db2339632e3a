"""Configuration files: what good ones become, and what spoiled ones say."""

import shlex
from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from ripieno.configuration.document import ConfigurationForm
from ripieno.configuration.load import (
    MAX_BYTES,
    ConfigurationError,
    configuration_from,
    load_configuration,
)
from ripieno.configuration.meaning import text_done, words_done
from ripieno.configuration.model import MIB, MOST_CONTROLS, Configuration, Control, Journals
from ripieno.errors import AuthorError
from ripieno.perform.press import press_named
from ripieno.perform.settings import Follow, ReadKeys, Start
from ripieno.style import yaml_marks
from ripieno.style.model import Meter
from ripieno.theory.key import key_named

WHOLE = """\
input: Stage keyboard
output: virtual
sound: true
style: waltz
tempo: 104.5
meter: 6/8
swing: 1.5
key: E minor
hold: false
reading: from-key
split: C4
transpose: -5
span: tenth
channel: 16
seed: 9007199254740992
follow: hands
lean: 80
start: downbeat
pickup: 1
send_clock: true
journals:
  keep: false
  most: 20
controls:
  - press: controller 20 on channel 1
    do: next
  - {press: note 21 on channel 16, do: key Em}
  - press: program 127 on channel 3
    do: style 'my waltz'
"""


def _load(folder: Path, text: str | bytes) -> Configuration:
    path = folder / "config.yaml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return load_configuration(path)


def _faults(folder: Path, text: str | bytes) -> list[str]:
    """`line:column: message` of every fault; no configuration may come of the text."""
    with pytest.raises(ConfigurationError) as refused:
        _load(folder, text)
    lines = str(refused.value).splitlines()
    assert len(lines) == len(refused.value.faults) > 0
    assert all(line.isprintable() for line in lines)
    return [line.removeprefix(f"{folder / 'config.yaml'}:") for line in lines]


def _changed(old: str, new: str) -> str:
    assert WHOLE.count(old) == 1, old
    return WHOLE.replace(old, new)


def test_a_file_becomes_the_configuration_it_describes(tmp_path: Path) -> None:
    # Notes by MIDI 1.0 with C4 = 60; a tenth is 16 semitones; channels count from 0 inside.
    assert _load(tmp_path, WHOLE) == Configuration(
        input="Stage keyboard",
        output="virtual",
        sound=True,
        style="waltz",
        tempo=104.5,
        meter=Meter(6, 8),
        swing=Fraction(3, 2),
        key=key_named("Em"),
        hold=False,
        reading=ReadKeys.FROM_KEY,
        split=60,
        transpose=-5,
        span=16,
        channel=15,
        seed=2**53,
        follow=Follow.HANDS,
        lean=80,
        start=Start.DOWNBEAT,
        pickup=1,
        send_clock=True,
        journals=Journals(keep=False, most_bytes=20 * MIB),
        controls=(
            Control(press_named("controller 20 on channel 1"), ("next",)),
            Control(press_named("note 21 on channel 16"), ("key", "E", "minor")),
            Control(press_named("program 127 on channel 3"), ("style", "my waltz")),
        ),
    )


def test_what_is_left_out_has_its_default(tmp_path: Path) -> None:
    assert _load(tmp_path, "{}") == Configuration()
    assert _load(tmp_path, "journals: {keep: true}\ncontrols:\n") == Configuration()
    assert _load(tmp_path, "seed: 3") == Configuration(seed=3)


@pytest.mark.parametrize("key", ["input", "output", "meter", "key", "split"])
def test_null_is_none_of_them(tmp_path: Path, key: str) -> None:
    assert _load(tmp_path, f"{key}: null") == Configuration()


def test_null_is_a_swing_that_goes_by_the_tempo(tmp_path: Path) -> None:
    assert _load(tmp_path, "swing: null") == Configuration(swing=None)
    assert _load(tmp_path, "swing: 2") == Configuration(swing=Fraction(2))


def test_a_byte_order_mark_and_windows_line_ends_are_read_past(tmp_path: Path) -> None:
    windows = b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode()
    assert _load(tmp_path, windows) == _load(tmp_path, WHOLE)


WRONG = [
    ("input: Stage keyboard", "input: 5", "1:8: found 5; expected text"),
    ("input: Stage keyboard", f"input: {'x' * 201}", "1:8: found 201 characters; expected 200"),
    ("output: virtual", 'output: "a\\nb"', "2:9: found 'a\\nb'; expected one line"),
    ("output: virtual", "outptu: virtual", "2:1: 'outptu' is no key in a configuration; did you"),
    ("sound: true", "sound: yes", "3:8: found 'yes'; expected true or false"),
    ("style: waltz", "style:", "4:7: found nothing; expected text"),
    ("tempo: 104.5", "tempo: 19.9", "5:8: found 19.9; expected 20 or more"),
    ("tempo: 104.5", "tempo: 400.1", "5:8: found 400.1; expected 400 or less"),
    ("tempo: 104.5", "tempo: .nan", "5:8: found nan; expected a number"),
    ("meter: 6/8", "meter: 6:8", "6:8: found '6:8'; expected a meter"),
    ("swing: 1.5", "swing: 3.6", "7:8: found 3.6; expected 3.5 or less"),
    ("key: E minor", "key: H", "8:6: found 'H'; expected a tonic and a mode"),
    ("key: E minor", "key: true", "8:6: found true; expected a tonic and a mode"),
    ("hold: false", "hold: off", "9:7: found 'off'; expected true or false"),
    ("reading: from-key", "reading: fromkey", "10:10: found 'fromkey'; expected one of played"),
    ("split: C4", "split: C10", "11:8: found 'C10'; expected a note"),
    ("split: C4", "split: 128", "11:8: found 128; expected a note"),
    ("transpose: -5", "transpose: 25", "12:12: found 25; expected 24 or less"),
    ("transpose: -5", "transpose: 1.5", "12:12: found 1.5; expected a whole number"),
    ("span: tenth", "span: 16", "13:7: found 16; expected one of octave, ninth, tenth"),
    ("channel: 16", "channel: 17", "14:10: found 17; expected 16 or less"),
    ("channel: 16", "channel: 0", "14:10: found 0; expected 1 or more"),
    ("seed: 9007199254740992", "seed: -1", "15:7: found -1; expected 0 or more"),
    ("follow: hands", "follow: foot", "16:9: found 'foot'; expected one of none, clock, hands"),
    ("follow: hands", "follow: null", "16:9: found nothing; expected one of none"),
    ("lean: 80", "lean: 101", "17:7: found 101; expected 100 or less"),
    ("lean: 80", "lean: -1", "17:7: found -1; expected 0 or more"),
    ("lean: 80", "lean: 50.5", "17:7: found 50.5; expected a whole number"),
    ("start: downbeat", "start: upbeat", "18:8: found 'upbeat'; expected one of strike, downbeat"),
    ("pickup: 1", "pickup: 32", "19:9: found 32; expected 31 or less"),
    ("pickup: 1", "pickup: 1/2", "19:9: found '1/2'; expected a whole number"),
    ("send_clock: true", "send_clock: on", "20:13: found 'on'; expected true or false"),
    ("swing: 1.5", "swing: 0.9", "7:8: found 0.9; expected 1 or more"),
    ("swing: 1.5", "swing: by-tempo", "7:8: found 'by-tempo'; expected a number"),
    ("journals:\n  keep: false\n  most: 20", "journals: 5", "21:11: found 5; expected a mapping"),
    ("keep: false", "keap: false", "22:3: 'keap' is no key here (journals); did you mean 'keep'?"),
    ("most: 20", "most: 0", "23:9: found 0; expected 1 or more"),
    ("controller 20", "controller 120", "25:12: found 'controller 120 on channel 1'; expected"),
    ("controller 20 on channel 1", "20", "25:12: found 20; expected text"),
    ("do: next", "do: nxt", "26:9: there is no command 'nxt'; did you mean next?"),
    ("do: next", "do: hold maybe", "26:9: found 'maybe' after 'hold'; expected [on or off]"),
    ("do: next", "do: status", "26:9: no control can do 'status'; expected a command such as"),
    ("do: next", "do: learn next", "26:9: no control can do 'learn next'"),
    ("do: next", "do: ''", "26:9: found ''; expected one line of printable text"),
    ("do: next", 'do: "\\e[31m\\n"', "26:9: found '\\x1b[31m\\n'; expected one line"),
    ("    do: next\n", "", "25:5: 'do' is missing here (control 1); add it, as in `do: style"),
    ("do: next", "do: next\n    on: 1", "27:5: 'on' is no key here (control 1)"),
    ("'my waltz'", "'my waltz", "29:9: found 'style 'my waltz' (No closing quotation)"),
    (
        "note 21 on channel 16",
        "controller  20 on channel 1",
        "27:13: 'controller 20 on channel 1' stands here again, first in control 1",
    ),
]


@pytest.mark.parametrize(("old", "new", "fault"), WRONG, ids=[row[1][:30] for row in WRONG])
def test_a_wrong_value_is_told_with_its_place_and_what_was_expected(
    tmp_path: Path, old: str, new: str, fault: str
) -> None:
    faults = _faults(tmp_path, _changed(old, new))
    assert len(faults) == 1, faults
    assert faults[0].startswith(fault)


SPOILED = {
    "empty": (b"", "1:1: the file is empty"),
    "remark only": (b"# nothing\n", "1:1: the file is empty"),
    "a list": (b"- tempo: 90\n", "1:1: found a list; expected a mapping"),
    "Latin-1": ("\ninput: Flügel\n".encode("latin-1"), "2:10: found the byte 0xFC; expected UTF-8"),
    "NUL": (b"seed: 1\ninput: b\x00c\n", "2:9: found the character U+0000"),
    "not closed": (b"controls: [\n", "2:1: found no valid YAML"),
    "alias": (b"input: &a x\noutput: *a\n", "1:8: found the anchor '&a'"),
    "tag": (b"input: !!python/name:os.system x\n", "1:8: found the tag"),
    "deep": (b"controls: " + b"[" * 500, "1:22: nested 13 deep"),
    "twice": (WHOLE.encode() + b"hold: true\n", "30:1: the key 'hold' stands here again"),
    "too large": (b"#" * (MAX_BYTES + 1), "1:1: the file has more than 64 KiB"),
    "too many": (
        b"controls: [" + b"tap," * (MOST_CONTROLS + 1) + b"]",
        "1:11: found a list of 257; expected a list of 256 or fewer",
    ),
}


@pytest.mark.parametrize("parser", ["CSafeLoader", "SafeLoader"])
@pytest.mark.parametrize("case", SPOILED)
def test_a_spoiled_file_says_where_it_is_spoiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, case: str, parser: str
) -> None:
    monkeypatch.setattr(yaml_marks, "LOADER", getattr(yaml, parser))
    text, first = SPOILED[case]
    assert any(line.startswith(first) for line in _faults(tmp_path, text))


def test_a_file_of_the_most_bytes_is_read(tmp_path: Path) -> None:
    assert _load(tmp_path, b"hold: false\n" + b"#" * (MAX_BYTES - 12)).hold is False


def test_all_faults_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = WHOLE.replace("104.5", "900").replace("do: next", "do: nxt").replace("6/8", "6/7")
    text = text.replace("note 21", "note 210").replace("span", "spam") + "seed: 2\n"
    places = [line.split(": ")[0] for line in _faults(tmp_path, text)]
    assert places == ["5:8", "6:8", "13:1", "26:9", "27:13", "30:1"]


def test_a_file_that_is_not_there_or_is_none_is_told_in_one_line(tmp_path: Path) -> None:
    for path in (tmp_path / "none.yaml", tmp_path, Path("a\0b"), Path("x" * 5000)):
        with pytest.raises(AuthorError) as refused:
            load_configuration(path)
        assert "\n" not in str(refused.value)
        assert not isinstance(refused.value, ConfigurationError)


def test_the_example_of_every_key_is_accepted_where_it_stands() -> None:
    data = {name: field.examples[0] for name, field in ConfigurationForm.model_fields.items()}
    text = yaml.safe_dump(data)
    assert configuration_from(Path("examples"), text).style == "waltz"


_PLAIN_WORDS = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)


@given(st.lists(_PLAIN_WORDS | st.sampled_from(["my waltz", "it's", 'a "b"', "\\", "a b 'c"])))
def test_a_style_of_any_name_can_be_named_in_a_command(parts: list[str]) -> None:
    name = " ".join(parts) or "x"
    assert words_done(text_done(("style", name[:100].strip()))) == ("style", name[:100].strip())
    assert shlex.split(text_done(("style", name))) == ["style", name]


_PIECES = """
    - : , [ ] { } ? ! & * | > ' " # % @ ` ~ 0 -1 1e9 .nan true null press do controls journals most
    keep next learn !!int &a *a << --- ... controller note 3/4
"""
_PUT = st.sampled_from([*_PIECES.split(), " ", "\t", "\n"]) | st.text(max_size=5)


@given(st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), _PUT), min_size=1, max_size=4))
@settings(max_examples=120, deadline=None)
def test_no_good_file_with_something_changed_in_it_raises_anything_but_its_faults(
    cuts: list[tuple[float, int, str]],
) -> None:
    text = WHOLE
    for where, length, put in cuts:
        at = int(where * len(text))
        text = text[:at] + put + text[at + length :]
    try:
        assert isinstance(configuration_from(Path("any"), text), Configuration)
    except ConfigurationError as error:
        for line in str(error).splitlines():
            row, column, _ = line.removeprefix("any:").split(":", 2)
            assert int(row) >= 1
            assert int(column) >= 1
            assert line.isprintable()
