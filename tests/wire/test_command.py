"""The grammar of commands: each way to write one, each way to get it wrong, and its inverse."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.errors import AuthorError
from ripieno.perform import settings as begun
from ripieno.perform.settings import BPM_RANGE, TRANSPOSE_RANGE, Follow, ReadKeys, Start
from ripieno.style.model import meter_named
from ripieno.theory.key import Key, Mode
from ripieno.wire import command as told
from ripieno.wire import time_commands as time_told
from ripieno.wire.command import (
    TABLE,
    AskFigure,
    AskStatus,
    AskStyles,
    ChooseHold,
    ChooseKey,
    ChooseMeter,
    ChooseReading,
    ChooseSplit,
    ChooseStyle,
    Command,
    Forget,
    Hear,
    Learn,
    Mute,
    PressDegree,
    Reload,
    Show,
    Silence,
    StepStyle,
    Stop,
    StopLearning,
    Transpose,
    Watch,
    command_from,
    words_of,
)
from ripieno.wire.time_commands import (
    Break,
    ChooseLeader,
    ChooseLean,
    ChoosePickup,
    ChooseStart,
    ChooseSwing,
    ChooseTempo,
    CountIn,
    Downbeat,
    EndSlowly,
    Nudge,
    NudgeTempo,
    RampTempo,
    ScaleTempo,
    SendClock,
    Tap,
    TempoByValue,
    is_by_value,
)

PAGE = Path(__file__).parents[2] / "docs" / "control.md"

WRITTEN = {
    "style waltz": ChooseStyle("waltz"),
    "next": StepStyle(1),
    "previous": StepStyle(-1),
    "tempo 94.5": ChooseTempo(94.5),
    "tempo 20": ChooseTempo(20.0),
    "tempo +5": NudgeTempo(5.0),
    "tempo -2.5": NudgeTempo(-2.5),
    "tempo": TempoByValue(),
    "tempo 72.5 over 8": RampTempo(72.5, 8),
    "tempo half": ScaleTempo(double=False),
    "tempo double": ScaleTempo(double=True),
    "tap": Tap(),
    "nudge +12.5": Nudge(12.5),
    "nudge -250": Nudge(-250.0),
    "follow none": ChooseLeader("none"),
    "follow clock": ChooseLeader("clock"),
    "follow hands": ChooseLeader("hands"),
    "lean": ChooseLean(None),
    "lean 0": ChooseLean(0),
    "lean 100": ChooseLean(100),
    "downbeat": Downbeat(),
    "break": Break(),
    "count": CountIn(1),
    "count 4": CountIn(4),
    "ending": EndSlowly(None),
    "ending 64": EndSlowly(64),
    "start strike": ChooseStart("strike"),
    "start downbeat": ChooseStart("downbeat"),
    "pickup 0": ChoosePickup(0),
    "pickup 31": ChoosePickup(31),
    "swing 1": ChooseSwing(1.0),
    "swing 3.5": ChooseSwing(3.5),
    "swing by-tempo": ChooseSwing(None),
    "send-clock on": SendClock(on=True),
    "send-clock off": SendClock(on=False),
    "meter 3/4": ChooseMeter("3/4"),
    "key E minor": ChooseKey("E minor"),
    "key em": ChooseKey("E minor"),
    "key Db": ChooseKey("Db major"),
    "key none": ChooseKey(None),
    "hold on": ChooseHold(True),
    "hold off": ChooseHold(False),
    "hold": ChooseHold(None),
    "split C4": ChooseSplit(60),
    "split 0": ChooseSplit(0),
    "split none": ChooseSplit(None),
    "transpose -3": Transpose(-3),
    "transpose +24": Transpose(24),
    "reading from-key": ChooseReading("from-key"),
    "degree 7": PressDegree(7),
    "degree none": PressDegree(None),
    "mute left": Mute("left"),
    "mute none": Mute(None),
    "show C4 67": Show((60, 67)),
    "show none": Show(()),
    "hear waltz": Hear("waltz"),
    "hear none": Hear(None),
    "figure": AskFigure(),
    "styles": AskStyles(None),
    "styles waltz": AskStyles("waltz"),
    "stop": Stop(),
    "silence": Silence(),
    "reload": Reload(),
    "learn tempo": Learn(TempoByValue()),
    "learn key E minor": Learn(ChooseKey("E minor")),
    "learn": StopLearning(),
    "forget next": Forget(StepStyle(1)),
    "status": AskStatus(),
    "watch": Watch(),
}

LEARNABLE = st.one_of(
    st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=100)
    .filter(str.isprintable)
    .map(ChooseStyle),
    st.sampled_from([StepStyle(1), StepStyle(-1), TempoByValue(), Tap(), Stop(), Silence()]),
    st.just(Reload()),
    st.floats(*BPM_RANGE).map(ChooseTempo),
    st.floats(-BPM_RANGE[1], BPM_RANGE[1]).map(NudgeTempo),
    st.builds(RampTempo, st.floats(*BPM_RANGE), st.integers(*begun.RAMP_BEATS)),
    st.builds(ScaleTempo, double=st.booleans()),
    st.floats(-begun.MOST_NUDGE_MS, begun.MOST_NUDGE_MS).map(Nudge),
    st.sampled_from(list(Follow)).map(lambda leader: ChooseLeader(leader.value)),
    st.builds(ChooseLean, st.none() | st.integers(0, begun.MOST_LEAN)),
    st.sampled_from([Downbeat(), Break(), ChooseStart("strike"), ChooseStart("downbeat")]),
    st.integers(*begun.COUNT_BARS).map(CountIn),
    st.builds(EndSlowly, st.none() | st.integers(*begun.ENDING_BEATS)),
    st.integers(0, begun.MOST_PICKUP).map(ChoosePickup),
    st.builds(ChooseSwing, st.none() | st.floats(*begun.SWING_RANGE)),
    st.builds(SendClock, on=st.booleans()),
    st.tuples(st.integers(1, 99), st.integers(1, 99)).map(lambda m: ChooseMeter(f"{m[0]}/{m[1]}")),
    st.builds(Key, st.integers(0, 11), st.sampled_from(Mode)).map(lambda k: ChooseKey(str(k))),
    st.builds(ChooseKey, st.none()),
    st.sampled_from([True, False, None]).map(ChooseHold),
    st.builds(ChooseSplit, st.none() | st.integers(0, 127)),
    st.integers(*TRANSPOSE_RANGE).map(Transpose),
    st.builds(PressDegree, st.none() | st.integers(1, 7)),
    st.builds(Mute, st.sampled_from([None, "left", "right"])),
    st.sampled_from([Hear("waltz"), Hear(None)]),
    st.sampled_from(list(ReadKeys)).map(lambda reading: ChooseReading(reading.value)),
)
COMMANDS = st.one_of(
    LEARNABLE,
    LEARNABLE.map(Learn),
    LEARNABLE.map(Forget),
    st.sampled_from([StopLearning(), AskStatus(), AskFigure(), AskStyles(None), Watch()]),
    st.builds(Show, st.lists(st.integers(0, 127), max_size=10).map(tuple)),
)


@pytest.mark.parametrize(("text", "command"), WRITTEN.items(), ids=WRITTEN)
def test_words_are_the_command_they_say(text: str, command: Command) -> None:
    assert command_from(text.split()) == command


@given(COMMANDS)
def test_the_words_of_a_command_read_back_as_the_same_command(command: Command) -> None:
    assert command_from(words_of(command)) == command


def test_each_command_that_there_is_can_be_written() -> None:
    assert {type(command) for command in WRITTEN.values()} == set(Command.__args__)


@pytest.mark.parametrize(
    ("text", "said"),
    {
        "styel waltz": "there is no command 'styel'; did you mean style or styles?",
        "STATUS": "did you mean status",
        "xyzzy": "there is no command 'xyzzy'; there are style, next, previous,",
        "style": "found nothing after 'style'; expected ID",
        "style a b": "found 'a b' after 'style'",
        "next one": "found 'one' after 'next'; expected nothing",
        "tempo fast": "found 'fast' after 'tempo'; expected [BPM, BPM over BEATS, +N, -N, half or",
        "tempo nan": "found 'nan' after 'tempo'",
        "tempo 1_0_0": "found '1_0_0' after 'tempo'",
        "tempo \uff19\uff14": "after 'tempo'",
        "tempo 19.9": "'19.9' is no tempo: write a number from 20 to 400",
        "tempo 1e999": "'1e999' is no tempo",
        "tempo +401": "tempo '+401' is more than 400 at once",
        "tempo half double": "found 'half double' after 'tempo'",
        "tempo 90 over": "found '90 over' after 'tempo'",
        "tempo 90 over 8 beats": "found '90 over 8 beats' after 'tempo'",
        "tempo 90 in 8": "found '90 in 8' after 'tempo'",
        "tempo +9 over 8": "'+9' is no tempo: write a number from 20 to 400",
        "tempo half over 8": "'half' is no tempo",
        "tempo 401 over 8": "'401' is no tempo",
        "tempo 90 over 0": "'0' is no number of beats: write a whole number from 1 to 256",
        "tempo 90 over 257": "'257' is no number of beats",
        "tempo 90 over 1.5": "'1.5' is no number of beats",
        "tap twice": "found 'twice' after 'tap'; expected nothing",
        "nudge": "found nothing after 'nudge'; expected +N or -N",
        "nudge 20": "found '20' after 'nudge'; expected +N or -N",
        "nudge +": "found '+' after 'nudge'",
        "nudge +5 ms": "found '+5 ms' after 'nudge'",
        "nudge -250.5": "nudge '-250.5' is more than 250 ms at once",
        "nudge +1e999": "nudge '+1e999' is more than 250 ms at once",
        "follow": "found nothing after 'follow'; expected none, clock or hands",
        "follow me": "found 'me' after 'follow'; expected none, clock or hands",
        "follow none clock": "found 'none clock' after 'follow'",
        "lean -1": "'-1' is no lean: write a whole number from 0 to 100",
        "lean 101": "'101' is no lean",
        "lean 50.5": "'50.5' is no lean",
        "lean on me": "found 'on me' after 'lean'; expected [0 to 100]",
        "downbeat now": "found 'now' after 'downbeat'; expected nothing",
        "break 2": "found '2' after 'break'; expected nothing",
        "count 0": "'0' is no number of bars: write a whole number from 1 to 4",
        "count 5": "'5' is no number of bars",
        "count 1 2": "found '1 2' after 'count'; expected [1 to 4]",
        "ending 0": "'0' is no number of beats: write a whole number from 1 to 64",
        "ending 65": "'65' is no number of beats",
        "ending slow": "'slow' is no number of beats",
        "ending 8 beats": "found '8 beats' after 'ending'; expected [BEATS]",
        "start": "found nothing after 'start'; expected strike or downbeat",
        "start now": "found 'now' after 'start'; expected strike or downbeat",
        "pickup": "found nothing after 'pickup'; expected BEATS",
        "pickup -1": "'-1' is no number of beats: write a whole number from 0 to 31",
        "pickup 32": "'32' is no number of beats",
        "swing": "found nothing after 'swing'; expected RATIO or by-tempo",
        "swing 0.9": "'0.9' is no swing: write a number from 1 to 3.5, or by-tempo",
        "swing 3.6": "'3.6' is no swing",
        "swing nan": "'nan' is no swing",
        "swing hard": "'hard' is no swing",
        "send-clock": "found nothing after 'send-clock'; expected on or off",
        "send-clock yes": "found 'yes' after 'send-clock'; expected on or off",
        "meter 3": "'3' is no meter",
        "meter 0/4": "'0/4' is no meter",
        "key": "found nothing after 'key'; expected KEY or none",
        "key H": "'H' is no key",
        "key E minor none": "is no key",
        "hold maybe": "found 'maybe' after 'hold'; expected [on or off]",
        "split": "found nothing after 'split'",
        "split C": "'C' is no note",
        "split 128": "'128' lies outside MIDI's notes",
        "transpose": "found nothing after 'transpose'",
        "transpose 25": "'25' is no transposition: write whole semitones from -24 to 24",
        "transpose 1.5": "'1.5' is no transposition",
        "reading played now": "found 'played now' after 'reading'",
        "reading loudly": "found 'loudly' after 'reading'; expected played or from-key",
        "learn status": "found 'status' after 'learn'; no control can do that",
        "learn learn next": "found 'learn' after 'learn'",
        "learn tempo fast": "found 'fast' after 'tempo'",
        "forget": "found nothing after 'forget'",
        "forget watch": "found 'watch' after 'forget'",
    }.items(),
    ids=str,
)
def test_words_that_are_no_command_are_refused_with_what_was_expected(text: str, said: str) -> None:
    assert said in refused(text.split())


@pytest.mark.parametrize(
    "words",
    [[], [""], ["style", " "], ["style", "a\nb"], ["style", "\x1b[2J"], ["style", "\ud800"],
     ["style", "x" * 101], ["key"] * 17],
    ids=ascii,
)  # fmt: skip
def test_words_that_no_message_could_repeat_are_refused(words: list[str]) -> None:
    refused(words)


@given(st.lists(st.text() | st.sampled_from([row.name for row in TABLE]), max_size=20))
def test_any_words_are_a_command_or_one_short_line(words: list[str]) -> None:
    try:
        command = command_from(words)
    except AuthorError as error:
        said = str(error)
    else:
        said = " ".join(words_of(command))
        assert command_from(words_of(command)) == command
    assert said.isprintable()
    assert len(said) < 400


def test_the_table_names_every_command_and_the_words_that_can_follow() -> None:
    written = {text.split()[0] for text in WRITTEN}
    assert [row.name for row in TABLE if row.name not in written] == []
    assert written - {row.name for row in TABLE} == set()
    for row in TABLE:
        for word in row.fixed:
            assert words_of(command_from([row.name, word])) == (row.name, word)


def test_the_page_shows_the_table() -> None:
    section = PAGE.read_text(encoding="utf-8").partition("\n## Commands\n")[2].partition("\n## ")[0]
    shown = [line for line in section.splitlines() if line.startswith("| `")]
    assert shown == [f"| `{f'{r.name} {r.form}'.strip()}` | {r.does} |" for r in TABLE]


def test_ranges_and_readings_are_those_of_a_sessions_settings() -> None:
    assert told.TRANSPOSE_RANGE == TRANSPOSE_RANGE
    assert list(told.READINGS) == [reading.value for reading in ReadKeys]


def test_ranges_of_the_time_are_those_of_a_sessions_settings() -> None:
    for name in (
        "BPM_RANGE", "MOST_NUDGE_MS", "RAMP_BEATS", "MOST_LEAN", "MOST_PICKUP", "COUNT_BARS",
        "ENDING_BEATS", "SWING_RANGE",
    ):  # fmt: skip
        assert getattr(time_told, name) == getattr(begun, name), name
    assert list(time_told.LEADERS) == [leader.value for leader in Follow]
    assert list(time_told.STARTS) == [start.value for start in Start]


def test_only_tempo_and_lean_without_a_number_go_by_a_controllers_value() -> None:
    by_value = [text for text, command in WRITTEN.items() if is_by_value(command)]
    assert by_value == ["tempo", "lean"]


@pytest.mark.parametrize("text", ["4/4", "12/8", "32/16"])
def test_each_meter_that_can_be_played_can_be_told(text: str) -> None:
    assert command_from(["meter", text]) == ChooseMeter(str(meter_named(text)))


def refused(words: list[str]) -> str:
    with pytest.raises(AuthorError) as error:
        command_from(words)
    assert str(error.value).isprintable()
    return str(error.value)
