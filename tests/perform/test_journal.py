"""Journals: written, read back, replayed; cut off, edited and spoiled."""

import json
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import A4, C4, C5, E4, F4, G4, STYLE_IDS, Rig
from ripieno import __version__
from ripieno.errors import AuthorError
from ripieno.perform import journal
from ripieno.perform.events import (
    Controller,
    Input,
    KeyDown,
    KeyUp,
    Passing,
    Resume,
    Send,
    SetHold,
    SetKey,
    SetMeter,
    SetMuted,
    SetReading,
    SetSplit,
    SetStyle,
    SetTempo,
    SetTranspose,
    Show,
    Silence,
    Stop,
)
from ripieno.perform.offline import Happening, play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import MOST_SEED, TRANSPOSE_RANGE, ReadKeys, Settings
from ripieno.perform.time_map import TimeMap
from ripieno.perform.transport import Transport
from ripieno.style.model import COMMON_TIME, Meter, Style
from ripieno.theory.chord import Chord
from ripieno.theory.hand import Side
from ripieno.theory.key import key_named
from ripieno.theory.recognize import recognize
from ripieno.units import NS_PER_MS, ns_from_ms, ns_per_quarter

SHIPPED = {style: Rig(style).style for style in STYLE_IDS}
END_NS = ns_from_ms(5000)
MS_PER_DAY = 24 * 60 * 60 * 1000


def written(
    chosen: Settings, style: Style, happenings: Iterable[Happening], end_ns: int
) -> list[str]:
    lines, key = [journal.header(chosen, style)], chosen.key
    for happening in happenings:
        line, key = journal.line(happening, key)
        lines.append(line)
    return [journal.dump(line) for line in [*lines, journal.end(end_ns)]]


def played(chosen: Settings, style: Style, events: list[Input], end_ns: int) -> list[Happening]:
    return list(play(Performer(chosen, style), events, end_ns))


def replayed(lines: list[str]) -> list[Happening]:
    session = journal.read("j", lines)
    return played(session.settings, session.style, list(session.events), session.end_ns)


def sends(happenings: list[Happening]) -> list[Send]:
    return [happening for happening in happenings if isinstance(happening, Send)]


chords = st.lists(st.integers(0, 127), min_size=1, max_size=6).map(lambda n: recognize(n).chord)


def resuming(at_ns: int, anchor_ns: int, chord: Chord) -> Resume:
    """As an instrument would that has run since `anchor_ns`."""
    transport = Transport(anchor_ns, Fraction(1, 3), ns_per_quarter(90.3, Fraction(1)), Meter(3, 4))
    return Resume(at_ns, chord, 77, replace(transport, bar_quarters=Fraction(5, 7), bar_number=9))


@st.composite
def playing(draw: st.DrawFn) -> list[Input]:
    """Every kind of event, at any nanosecond of four seconds, ascending."""
    events: list[Input] = []
    for at_ns in sorted(draw(st.lists(st.integers(0, END_NS - 1), min_size=1, max_size=30))):
        note = draw(st.sampled_from([C4, E4, F4, G4, A4, C5, 36, 90]))
        channel = draw(st.integers(0, 15))
        events.append(
            draw(
                st.sampled_from(
                    [
                        KeyDown(at_ns, note, draw(st.integers(1, 127)), channel),
                        KeyDown(at_ns, note, 70),
                        KeyUp(at_ns, note, draw(st.integers(0, 127)), channel),
                        Controller(at_ns, draw(st.integers(0, 119)), 127 - note, channel),
                        Controller(at_ns, 64, note, channel),
                        Passing(at_ns, bytes((0xE0 | channel, note, 64))),
                        Passing(at_ns, bytes((0xC0 | channel, note))),
                        SetStyle(at_ns, SHIPPED[draw(st.sampled_from(STYLE_IDS))]),
                        SetTempo(at_ns, draw(st.floats(20, 400))),
                        SetMeter(at_ns, draw(st.sampled_from([Meter(3, 4), Meter(12, 8)]))),
                        SetHold(at_ns, draw(st.booleans())),
                        SetKey(at_ns, draw(st.sampled_from([None, key_named("Eb minor")]))),
                        SetSplit(at_ns, draw(st.sampled_from([None, C4, 0, 127]))),
                        SetTranspose(at_ns, draw(st.integers(*TRANSPOSE_RANGE))),
                        SetReading(at_ns, draw(st.sampled_from(ReadKeys))),
                        SetMuted(at_ns, draw(st.sampled_from([None, *Side]))),
                        Show(at_ns, (note, note + 4), 60),
                        resuming(at_ns, draw(st.integers(-(10**12), at_ns)), draw(chords)),
                        Stop(at_ns),
                        Silence(at_ns),
                    ]
                )
            )
        )
    return events


chosen_settings = st.builds(
    Settings,
    bpm=st.floats(20, 400),
    meter=st.sampled_from([Meter(4, 4), Meter(6, 8), Meter(7, 16)]),
    swing=st.fractions(1, Fraction(7, 2), max_denominator=1000),
    hold=st.booleans(),
    reading=st.sampled_from(list(ReadKeys)),
    key=st.sampled_from([None, key_named("G"), key_named("F# minor")]),
    split=st.one_of(st.none(), st.integers(0, 127)),
    transpose=st.integers(*TRANSPOSE_RANGE),
    muted=st.sampled_from([None, *Side]),
    channel=st.integers(0, 15),
    span=st.sampled_from([12, 14, 16]),
    seed=st.integers(0, MOST_SEED),
)
sessions = st.tuples(chosen_settings, st.sampled_from(list(SHIPPED.values())), playing())


@given(sessions)
@settings(max_examples=50, deadline=None)
def test_a_journal_is_read_back_as_it_was_and_replays_to_the_same_lines(session: tuple) -> None:
    chosen, style, events = session
    happenings = played(chosen, style, events, END_NS)
    lines = written(chosen, style, happenings, END_NS)
    again = journal.read("j", lines)
    assert (again.settings, again.style, again.end_ns) == (chosen, style, END_NS)
    taken = [h for h in happenings if type(h) in Input.__args__]
    assert list(again.events) == taken
    replay = replayed(lines)
    assert sends(replay) == sends(happenings)
    assert written(again.settings, again.style, replay, again.end_ns) == lines


@given(sessions, st.data())
@settings(max_examples=30, deadline=None)
def test_a_journal_cut_off_after_any_line_plays_what_is_there(
    session: tuple, data: st.DataObject
) -> None:
    chosen, style, events = session
    happenings = played(chosen, style, events, END_NS)
    lines = written(chosen, style, happenings, END_NS)
    kept = data.draw(st.integers(1, len(lines)))
    replay = replayed(lines[:kept])
    last_ns = max((ns_from_ms(json.loads(line)["ms"]) for line in lines[1:kept]), default=0)
    assert [send for send in sends(replay) if send.due_ns < last_ns] == [
        send for send in sends(happenings) if send.due_ns < last_ns
    ]
    taken = [h for h in happenings[: kept - 1] if type(h) in Input.__args__]
    assert [h for h in replay if type(h) in Input.__args__][: len(taken)] == taken


@given(st.data())
@settings(max_examples=30, deadline=None)
def test_a_loss_inside_a_journal_is_refused_and_says_which_line(data: st.DataObject) -> None:
    lines = a_session()
    place = data.draw(st.integers(0, len(lines) - 2))
    inside = data.draw(st.integers(1, len(lines[place]) - 2))
    with pytest.raises(AuthorError, match=f"^j:{place + 1}: found '.*' where a JSON object"):
        journal.read("j", [*lines[:place], lines[place][:inside], *lines[place + 1 :]])


def a_session(style: str = "waltz", **chosen: object) -> list[str]:
    rig = Rig(style, **chosen)
    rig.chord(0, C4, E4, G4, until_ms=800)
    rig.chord(1234.567891, A4, C5, E4, until_ms=1700)
    return written(rig.settings, rig.style, rig.happenings(2000), ns_from_ms(2000))


def objects(lines: list[str], kind: str) -> list[dict]:
    return [line for line in map(json.loads, lines) if line["kind"] == kind]


def test_the_header_comes_first_and_holds_settings_and_the_whole_style() -> None:
    first = json.loads(a_session(bpm=84.5, key=key_named("Eb"))[0])
    assert (first["kind"], first["version"]) == ("ripieno-journal", 1)
    assert first["settings"]["bpm"] == 84.5
    assert first["settings"]["key"] == "Eb major"
    assert first["style"]["id"] == "waltz"
    assert first["style"]["figures"]


def test_every_other_line_says_when_and_what() -> None:
    for line in map(json.loads, a_session()[1:]):
        assert isinstance(line["ms"], float)
        assert isinstance(line["kind"], str)


def test_a_chord_line_names_the_chord_its_keys_and_when_the_last_key_came() -> None:
    rig = Rig("waltz")
    for ms, key in ((100, G4), (112, C5), (131.5, E4 + 12)):
        rig.press(ms, key)
    lines = written(rig.settings, rig.style, rig.happenings(1000), ns_from_ms(1000))
    (chord,) = objects(lines, "chord")
    assert chord == {
        "ms": 131.5, "kind": "chord", "symbol": "C/G", "root": 0, "quality": "maj", "bass": 7,
        "keys": [G4, C5, E4 + 12], "strike_ms": 131.5, "amends": False,
    }  # fmt: skip


def test_two_keys_are_decided_later_than_the_last_of_them_came() -> None:
    rig = Rig("waltz")
    rig.press(100, C4)
    rig.press(110, G4)
    lines = written(rig.settings, rig.style, rig.happenings(1000), ns_from_ms(1000))
    (chord,) = objects(lines, "chord")
    assert (chord["strike_ms"], chord["keys"]) == (110, [C4, G4])
    assert chord["ms"] > 110


def test_chords_are_spelled_in_the_key_that_holds_at_the_time() -> None:
    rig = Rig("waltz", key=key_named("Ab"))
    rig.chord(0, 61, 65, 68, until_ms=500)
    rig.events.append(SetKey(ns_from_ms(900), key_named("E")))
    rig.chord(1000, 61, 65, 68, until_ms=1500)
    lines = written(rig.settings, rig.style, rig.happenings(2000), ns_from_ms(2000))
    assert [chord["symbol"] for chord in objects(lines, "chord")] == ["Db", "C#"]


def test_what_is_sent_stands_there_as_what_it_is() -> None:
    rig = Rig("smooth-chords", channel=3)
    rig.chord(0, C4, E4, G4, until_ms=500)
    rig.events.append(Passing(ns_from_ms(700), bytes.fromhex("C2 05")))
    lines = written(rig.settings, rig.style, rig.happenings(1000), ns_from_ms(1000))
    sent = sends(rig.happenings(1000))
    notes = [
        (n["ms"], (0x90 if n["down"] else 0x80) | n["channel"], n["note"], n["velocity"])
        for n in objects(lines, "note")
    ]
    assert notes == [(s.due_ns / NS_PER_MS, *s.data) for s in sent if s.data[0] in (0x93, 0x83)]
    assert [(p["ms"], p["value"], p["channel"]) for p in objects(lines, "pedal")] == [
        (s.due_ns / NS_PER_MS, s.data[2], 3) for s in sent if s.data[0] == 0xB3
    ]
    assert objects(lines, "message") == [{"ms": 700, "kind": "message", "data": "c205"}]
    assert objects(lines, "sent") == [{"ms": 700, "kind": "sent", "data": "c205"}]


def test_a_style_that_has_gone_plays_from_its_journal() -> None:
    gone = replace(SHIPPED["waltz"], id="my-own", name="Mine", pedal=SHIPPED["march"].pedal)
    chosen = Settings()
    lines = written(chosen, gone, [SetStyle(5, gone)], 10)
    session = journal.read("j", lines)
    assert session.style == gone
    assert session.events == (SetStyle(5, gone),)


# Each row: a line of what came in, and what is said about it.
KEY = {"ms": 5, "kind": "key", "down": True, "note": 60, "velocity": 80, "channel": 0}
WRONG = [
    (KEY | {"note": 200}, "'note' is 200; a whole number from 0 to 127 was expected"),
    (KEY | {"note": -1}, "'note' is -1"),
    (KEY | {"note": 60.0}, "'note' is 60.0; a whole number"),
    (KEY | {"note": True}, "'note' is true; a whole number"),
    (KEY | {"note": "C4"}, "'note' is 'C4'; a whole number"),
    (KEY | {"velocity": 0}, "'velocity' is 0; a whole number from 1 to 127"),
    (KEY | {"velocity": 128}, "'velocity' is 128"),
    (KEY | {"channel": 16}, "'channel' is 16; a whole number from 0 to 15"),
    (KEY | {"down": 1}, "'down' is 1; true or false"),
    (KEY | {"ms": "5"}, "'ms' is '5'; a number"),
    (KEY | {"ms": None}, "'ms' is nothing; a number"),
    (KEY | {"ms": True}, "'ms' is true; a number"),
    (KEY | {"ms": -0.001}, "'ms' is -0.001; a number from 0"),
    (KEY | {"ms": MS_PER_DAY + 1}, "'ms' is 86400001; a number from 0"),
    (KEY | {"ms": float("nan")}, "'ms' is nan; a number"),
    (KEY | {"ms": float("inf")}, "'ms' is inf; a number"),
    (KEY | {"kind": "keys"}, "kind 'keys' is not one of break, chord, clock"),
    (KEY | {"kind": "a\nb"}, "kind 'a\\\\nb' is not one of"),
    (KEY | {"kind": None}, "'kind' is nothing; a text was expected"),
    (KEY | {"kind": ["key"]}, "'kind' is a list; a text was expected"),
    ({k: v for k, v in KEY.items() if k != "note"}, "'note' is missing"),
    ({"kind": "key"}, "'ms' is missing"),
    ({"ms": 5}, "'kind' is missing"),
    ({"ms": 5, "kind": "control", "number": 120, "value": 1, "channel": 0}, "'number' is 120"),
    ({"ms": 5, "kind": "message", "data": "zz"}, "'data' is 'zz'; a program change, bend or"),
    ({"ms": 5, "kind": "message", "data": ""}, "'data' is ''; a program change"),
    ({"ms": 5, "kind": "message", "data": "c2"}, "'data' is 'c2'; a program change"),
    ({"ms": 5, "kind": "message", "data": "903c40"}, "'data' is '903c40'; a program change"),
    ({"ms": 5, "kind": "message", "data": "b07b00"}, "'data' is 'b07b00'; a program change"),
    ({"ms": 5, "kind": "message", "data": "f0f7"}, "'data' is 'f0f7'; a program change"),
    ({"ms": 5, "kind": "message", "data": 12}, "'data' is 12; a text was expected"),
    ({"ms": 5, "kind": "tempo", "bpm": 0}, "'bpm' is 0; a number from 20 to 400"),
    ({"ms": 5, "kind": "tempo", "bpm": 1e9}, "'bpm' is 1000000000.0; a number from 20 to 400"),
    ({"ms": 5, "kind": "tempo", "bpm": -92}, "'bpm' is -92"),
    ({"ms": 5, "kind": "meter", "meter": "4"}, "'4' is no meter"),
    ({"ms": 5, "kind": "meter", "meter": "0/4"}, "'0/4' is no meter"),
    ({"ms": 5, "kind": "meter", "meter": 3}, "'meter' is 3; a text was expected"),
    ({"ms": 5, "kind": "hold", "hold": "yes"}, "'hold' is 'yes'; true or false"),
    ({"ms": 5, "kind": "tonality", "key": "H"}, "'H' is no key"),
    ({"ms": 5, "kind": "tonality", "key": 7}, "'key' is 7; a text or null"),
    ({"ms": 5, "kind": "tonality"}, "'key' is missing"),
    ({"ms": 5, "kind": "style", "style": "waltz"}, "'style' should be an object"),
    ({"ms": 5, "kind": "style", "style": {"name": "Waltz"}}, "'id' is missing"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "said"), WRONG, ids=lambda v: v if isinstance(v, str) else "")
def test_a_spoiled_line_is_refused_with_its_place_in_one_line(line: dict, said: str) -> None:
    lines = [*a_session()[:3], json.dumps(line)]
    with pytest.raises(AuthorError, match=f"^j:4: {said}") as refusal:
        journal.read("j", lines)
    assert len(str(refusal.value).splitlines()) == 1


@pytest.mark.parametrize(
    "text", ["[]", "7", "null", "{", "{'ms': 5}", "[" * 100_000, "\x1b[31m", "ä" * 99]
)
def test_what_is_no_json_object_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(AuthorError, match=r"^j:3: found .* where a JSON object") as refusal:
        journal.read("j", [*a_session()[:2], text + "\n"])
    assert str(refusal.value).isprintable()
    assert len(str(refusal.value)) < 200


def test_half_a_line_that_a_loss_of_power_left_is_left_out() -> None:
    whole, end = [*a_session()[:3], journal.dump(KEY | {"ms": 9})], '{"ms":10,"kind":"end"}\n'
    session = journal.read("j", whole)
    assert len(session.events) > 1
    for cut in range(len(end) - 1):
        assert journal.read("j", [*whole, end[:cut]]) == session
    assert journal.read("j", [*whole, "\0" * 4000]) == session
    assert journal.read("j", [*whole, end[:-1]]).end_ns == ns_from_ms(10)


def test_half_a_header_is_refused() -> None:
    lines = a_session()
    with pytest.raises(AuthorError, match=r"^j:1: found .* where a JSON object"):
        journal.read("j", [lines[0][:99]])


def test_blank_lines_are_skipped_and_counted() -> None:
    lines = a_session()
    spaced = [lines[0], *(part for line in lines[1:] for part in ("\n", line)), " \r\n", ""]
    assert journal.read("j", spaced) == journal.read("j", lines)
    with pytest.raises(AuthorError, match=r"^j:3: found '7' where"):
        journal.read("j", [lines[0], "\n", "7\n"])


def test_a_line_longer_than_any_that_is_written_is_refused() -> None:
    huge = json.dumps(KEY | {"more": "x" * journal.MAX_LINE})
    with pytest.raises(AuthorError, match=r"^j:2: found"):
        journal.read("j", [a_session()[0], huge])


def test_lists_in_lists_without_end_are_refused() -> None:
    for depth in (100, 900, 990, 5000):
        nested = '{"ms":5,"kind":"style","style":{"id":"x","name":' + "[" * depth + "]" * depth
        with pytest.raises(AuthorError, match=r"^j:2: "):
            journal.read("j", [a_session()[0], nested + "}}"])


# Each row: a setting and what is said about it.
SETTINGS = [
    ("bpm", 0, "'bpm' is 0"), ("bpm", 1e9, "'bpm' is 1000000000.0"), ("bpm", "fast", "'bpm' is"),
    ("meter", "4/3", "'4/3' is no meter"), ("meter", None, "'meter' is nothing"),
    ("swing", "1/0", "'swing' is '1/0'; a ratio from 1 to 3.5"), ("swing", "4", "'swing' is '4'"),
    ("swing", "1e99999999", "'swing' is '1e99999999'"), ("swing", "1/2", "'swing' is '1/2'"),
    ("swing", 2, "'swing' is 2; a text"), ("hold", None, "'hold' is nothing"),
    ("reading", "aloud", "'reading' is 'aloud'; played or from-key was expected"),
    ("key", "X", "'X' is no key"), ("split", 128, "'split' is 128"), ("split", "C4", "'split' is"),
    ("channel", 16, "'channel' is 16"), ("span", -1, "'span' is -1"), ("seed", -1, "'seed' is -1"),
    ("seed", 0.5, "'seed' is 0.5"),
]  # fmt: skip


@pytest.mark.parametrize(("field", "value", "said"), SETTINGS, ids=str)
def test_a_spoiled_setting_is_refused_in_the_first_line(
    field: str, value: object, said: str
) -> None:
    first = json.loads(a_session()[0])
    first["settings"][field] = value
    with pytest.raises(AuthorError, match=f"^j:1: {said}"):
        journal.read("j", [json.dumps(first)])
    del first["settings"][field]
    with pytest.raises(AuthorError, match=f"^j:1: '{field}' is missing"):
        journal.read("j", [json.dumps(first)])


PLAYED = TimeMap(
    ((0, 120.0), (1_234_567_891, 89.99995)), ((0, COMMON_TIME), (500_000_000, Meter(3, 4)))
)
TIMES = [
    (7, "'file' should be an object"),
    ({"tempi": [[0, 90]]}, "'meters' is missing"),
    ({"tempi": 5, "meters": [[0, "4/4"]]}, "'tempi' should be a list of pairs"),
    ({"tempi": [[0]], "meters": [[0, "4/4"]]}, "'tempi' should be a list of pairs"),
    ({"tempi": [], "meters": [[0, "4/4"]]}, "the times of 'tempi' should begin with 0 and ascend"),
    ({"tempi": [[1, 90]], "meters": [[0, "4/4"]]}, "the times of 'tempi'"),
    ({"tempi": [[0, 90], [5, 90], [5, 80]], "meters": [[0, "4/4"]]}, "the times of 'tempi'"),
    ({"tempi": [[0, 0]], "meters": [[0, "4/4"]]}, "'tempi' is 0; a number from 3"),
    ({"tempi": [["0", 90]], "meters": [[0, "4/4"]]}, "'ms' is '0'; a number"),
    ({"tempi": [[0, 90]], "meters": [[0, "4/3"]]}, "'4/3' is no meter"),
]


def test_the_time_of_a_file_that_was_played_is_kept() -> None:
    first = journal.dump(journal.header(Settings(), SHIPPED["waltz"], PLAYED))
    assert journal.read("j", [first]).time == PLAYED
    assert journal.read("j", a_session()).time is None


def test_a_time_of_very_many_changes_is_left_out_so_that_the_header_can_be_read() -> None:
    many = TimeMap(tuple((ms * 1_000_001, 123.456789012) for ms in range(20_000)), PLAYED.meters)
    first = journal.dump(journal.header(Settings(), SHIPPED["waltz"], many))
    assert journal.read("j", [first]).time is None
    most = replace(many, tempi=many.tempi[:19_998])
    first = journal.dump(journal.header(Settings(), SHIPPED["waltz"], most))
    assert journal.read("j", [first]).time == most


@pytest.mark.parametrize(("time", "said"), TIMES, ids=str)
def test_a_spoiled_time_is_refused_in_the_first_line(time: object, said: str) -> None:
    first = json.loads(a_session()[0]) | {"file": time}
    with pytest.raises(AuthorError, match=f"^j:1: {said}"):
        journal.read("j", [json.dumps(first)])


def test_every_fault_of_a_style_comes_with_its_place() -> None:
    first = json.loads(a_session()[0])
    first["style"] |= {"suits": ["nobody"], "swing": "always"}
    with pytest.raises(AuthorError) as refusal:
        journal.read("j", [json.dumps(first)])
    faults = str(refusal.value).splitlines()
    assert len(faults) == 2
    assert all(fault.startswith("j:1: style 'waltz': ") for fault in faults)


@pytest.mark.parametrize("first", ['{"version":1}', '{"kind":"key","version":1}', "{}"])
def test_another_file_is_refused(first: str) -> None:
    with pytest.raises(AuthorError, match=r"^j:1: no header of a journal; give a file that"):
        journal.read("j", [first])


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"version": 2, "program": "9.1.0"}, "version 2, written by ripieno '9.1.0'"),
        ({"version": "1"}, "version '1'"),
        ({}, "version nothing"),
    ],
)
def test_another_version_is_refused_with_what_wrote_it_and_what_is_read(
    more: dict, said: str
) -> None:
    first = json.dumps({"kind": "ripieno-journal"} | more)
    with pytest.raises(AuthorError) as refusal:
        journal.read("j", [first])
    this = f"this is ripieno {__version__}, which reads version 1"
    assert str(refusal.value) == f"j:1: a journal of {said}; {this}"


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(AuthorError, match=r"^j:1: found nothing where a JSON object"):
        journal.read("j", [])


def test_time_that_goes_back_is_refused_since_nobody_knows_which_order_was_meant() -> None:
    lines = [a_session()[0], json.dumps(KEY | {"ms": 7}), json.dumps(KEY | {"ms": 7})]
    assert len(journal.read("j", lines).events) == 2
    with pytest.raises(AuthorError, match=r"^j:4: goes back in time, from 7 ms to 6\.5 ms"):
        journal.read("j", [*lines, json.dumps(KEY | {"ms": 6.5})])


JUNK = st.sampled_from(
    [None, True, -1, 0, 1, 16, 128, 1e9, -1e300, 0.5, "", "x", "ff", "903c40", "1/0", [], {}, [[]]]
)


def places(value: object, path: tuple = ()) -> list[tuple]:
    """The path of everything inside a JSON value."""
    if not isinstance(value, dict | list):
        return []
    inside = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [p for k, v in inside for p in [(*path, k), *places(v, (*path, k))]]


@given(data=st.data(), style=st.sampled_from(STYLE_IDS))
@settings(max_examples=80, deadline=None)
def test_a_journal_with_any_one_value_spoiled_is_refused_with_its_place_or_plays(
    data: st.DataObject, style: str
) -> None:
    lines = a_session(style, split=70)
    lines.insert(1, json.dumps({"ms": 0, "kind": "tempo", "bpm": 80}))
    number = data.draw(st.integers(0, len(lines) - 1))
    spoiled = json.loads(lines[number])
    *above, last = data.draw(st.sampled_from(places(spoiled)))
    inner = spoiled
    for step in above:
        inner = inner[step]
    inner[last] = data.draw(JUNK)
    lines[number] = json.dumps(spoiled)
    try:
        replayed(lines)
    except AuthorError as refusal:
        for line in str(refusal).splitlines():
            assert line.startswith("j:")
