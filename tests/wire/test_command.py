"""The grammar of commands: each way to write one, each way to get it wrong, and its inverse."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.errors import AuthorError
from ripieno.perform.settings import BPM_RANGE, TRANSPOSE_RANGE, ReadKeys
from ripieno.style.model import meter_named
from ripieno.theory.key import Key, Mode
from ripieno.wire import command as told
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
    ChooseTempo,
    Command,
    Forget,
    Hear,
    Learn,
    Mute,
    NudgeTempo,
    PressDegree,
    Reload,
    Show,
    Silence,
    StepStyle,
    Stop,
    StopLearning,
    Tap,
    TempoByValue,
    Transpose,
    Watch,
    command_from,
    words_of,
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
    "tap": Tap(),
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
        "STATUS": "did you mean status?",
        "xyzzy": "there is no command 'xyzzy'; there are style, next, previous,",
        "style": "found nothing after 'style'; expected ID",
        "style a b": "found 'a b' after 'style'",
        "next one": "found 'one' after 'next'; expected nothing",
        "tempo fast": "found 'fast' after 'tempo'; expected [BPM or +N or -N]",
        "tempo nan": "found 'nan' after 'tempo'",
        "tempo 1_0_0": "found '1_0_0' after 'tempo'",
        "tempo \uff19\uff14": "after 'tempo'",
        "tempo 19.9": "'19.9' is no tempo: write a number from 20 to 400",
        "tempo 1e999": "'1e999' is no tempo",
        "tempo +401": "tempo '+401' is more than 400 at once",
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
    assert (told.BPM_RANGE, told.TRANSPOSE_RANGE) == (BPM_RANGE, TRANSPOSE_RANGE)
    assert list(told.READINGS) == [reading.value for reading in ReadKeys]


@pytest.mark.parametrize("text", ["4/4", "12/8", "32/16"])
def test_each_meter_that_can_be_played_can_be_told(text: str) -> None:
    assert command_from(["meter", text]) == ChooseMeter(str(meter_named(text)))


def refused(words: list[str]) -> str:
    with pytest.raises(AuthorError) as error:
        command_from(words)
    assert str(error.value).isprintable()
    return str(error.value)
