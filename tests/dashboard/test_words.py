"""What the screen says in words."""

import pytest
from statuses import status

from ripieno.dashboard import words
from ripieno.link.async_client import Lost
from ripieno.style.model import Meter


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "All is well. Stage Keys MIDI 1 plays Grand Piano MIDI 1."),
        ({"hearing": "waltz"}, "You hear waltz on a few chords. Any key of yours ends it."),
        ({"learning": ("tempo", "+1")}, "Press the control that shall do: tempo +1"),
        ({"counting": True, "waiting": True}, "Counting in."),
        ({"ending": True}, "Coming to the end."),
        ({"waiting": True}, "Waiting for the downbeat."),
    ],
    ids=str,
)
def test_what_is_well_is_said_without_alarm(changes: dict[str, object], said: str) -> None:
    assert words.health(status(**changes)) == words.Sentence(said, wrong=False)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"input": "", "input_why": "'Keys' is not there"}, "No keyboard: 'Keys' is not there."),
        (
            {"output": "", "output_why": "nothing is connected", "input": "", "input_why": "so"},
            "No sound goes out: nothing is connected. No keyboard: so.",
        ),
        (
            {"output": "", "output_why": "no MIDI", "input": "", "input_why": "no MIDI"},
            "No sound goes out, and no keys come in: no MIDI.",
        ),
        ({"notices": ("the disk is full",)}, "The disk is full."),
        ({"notices": ("config.yaml:1:8: found 'x'",)}, "config.yaml:1:8: found 'x'."),
        ({"notices": ("/tmp/journals is full!",)}, "/tmp/journals is full!"),
        (
            {"follow": "clock", "clock": "missing", "ending": True},
            "No MIDI clock is heard: the tempo stays as it is.",
        ),
        ({"notices": ("a!", "b", "c")}, "A! 2 more in the rig."),
        ({"notices": ("a",), "input": "", "input_why": ""}, "A. No keyboard: no reason is known."),
        (
            {"engine": "lost", "output_why": "the engine was killed"},
            "Nothing sounds just now: the engine was killed.",
        ),
        ({"learning": ("tap",), "output": "", "output_why": "b"}, "No sound goes out: b."),
    ],
    ids=str,
)
def test_what_is_wrong_comes_first_with_its_reason(changes: dict[str, object], said: str) -> None:
    assert words.health(status(**changes)) == words.Sentence(said, wrong=True)


def test_a_daemon_that_is_away_is_said_with_what_to_do_and_what_happens() -> None:
    sentence = words.health(Lost("no daemon is running; start one with 'ripieno serve'"))
    assert sentence.wrong
    assert sentence.text == (
        "No daemon is running; start one with 'ripieno serve'. "
        "This screen goes on by itself as soon as there is a daemon."
    )


def test_a_sign_tells_wrong_from_well_where_there_is_no_colour() -> None:
    assert words.Sentence("x", wrong=True).marked == "! x"
    assert words.Sentence("x").marked == "  x"


def test_a_sentence_takes_two_lines_at_most_and_says_where_the_rest_is() -> None:
    assert words.Sentence("All is well.").fitted(80) == "  All is well."
    long = words.Sentence("all the words there are " * 9, wrong=True).fitted(80).splitlines()
    assert len(long) == 2
    assert max(map(len, long)) <= 80
    assert long[0].startswith("! all the words")
    assert long[1].endswith(" ... (g: all of it)")
    assert words.Sentence("word " * 9).fitted(1)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "Own tempo."),
        ({"follow": "hands", "lean": 80}, "Your hands lead, lean 80."),
        ({"follow": "clock", "clock": "heard", "ending": True},
         "Coming to the end. MIDI clock, heard."),
        ({"counting": True, "pickup": 1}, "Counting in. Own tempo. Pick-up of 1 beat."),
    ],
    ids=str,
)  # fmt: skip
def test_the_time_is_said_in_sentences_with_what_is_under_way_first(
    changes: dict[str, object], said: str
) -> None:
    assert words.time_line(status(**changes)) == said


def test_while_bars_are_counted_it_says_that_a_chord_may_come() -> None:
    assert words.if_no_chord(status(chord=None, counting=True)) == words.COUNTING
    assert words.if_no_chord(status(chord=None)) == words.NOTHING_ON


def test_the_facts_have_their_labels() -> None:
    now = status(bpm=94.5, key="Eb minor", meter="6/8", hold=False, bar=12, beat=2)
    assert words.facts(now) == (
        ("tempo", "94.5"), ("meter", "6/8"), ("key", "Ebm"), ("hold", "off"), ("bar.beat", "12.2"),
    )  # fmt: skip
    assert dict(words.facts(status(bar=None, beat=None, key=None)))["bar.beat"] == "-"
    assert dict(words.facts(status(key=None)))["key"] == "-"


@pytest.mark.parametrize(("bpm", "shown"), [(92.0, "92"), (94.25, "94.2"), (399.96, "400")])
def test_the_tempo_is_as_short_as_it_can_be(bpm: float, shown: str) -> None:
    assert words.tempo(bpm) == shown


def test_the_degree_names_its_key() -> None:
    assert words.degree(status(degree="V7/ii", key="C major")) == "V7/ii in C major"
    assert words.degree(status(degree=None)) == ""
    assert words.degree(status(chord=None, degree="I")) == ""


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "Flowing eighths"),
        ({"transpose": 1}, "Flowing eighths   (1 semitone up)"),
        ({"transpose": -3, "hold": False}, "Flowing eighths   (3 semitones down)"),
        ({"split": 60, "muted": "left"}, "Flowing eighths   (melody from C4, left hand muted)"),
        ({"split": 61, "key": "Ab major"}, "Flowing eighths   (melody from Db4)"),
        ({"split": 61, "key": None}, "Flowing eighths   (melody from C#4)"),
        ({"reading": "from-key"}, "Flowing eighths   (one key, one chord)"),
    ],
    ids=str,
)  # fmt: skip
def test_the_style_is_named_with_what_is_not_as_it_mostly_is(
    changes: dict[str, object], said: str
) -> None:
    assert words.style_line(status(**changes)) == said


@pytest.mark.parametrize("unit", [2, 4, 8, 16])
def test_beats_are_counted_as_the_engine_counts_them(unit: int) -> None:
    for count in range(1, 33):
        assert words.beats_in(f"{count}/{unit}") == Meter(count, unit).beats


@pytest.mark.parametrize("meter", ["", "4", "0/4", "x/y", "4/"])
def test_a_meter_of_another_version_is_no_reason_to_fall(meter: str) -> None:
    assert words.beats_in(meter) == 1


@pytest.mark.parametrize(
    ("quarters", "bar_quarters", "share"),
    [(1.0, 4.0, 0.25), (None, 4.0, None), (1.0, 0.0, None), (0.0, 3.0, 0.0)],
)
def test_the_share_of_the_bar_that_has_gone(
    quarters: float | None, bar_quarters: float, share: float | None
) -> None:
    assert words.share_of_bar(status(quarters=quarters, bar_quarters=bar_quarters)) == share


def test_the_share_of_the_bar_never_reaches_the_next() -> None:
    for quarters in (4.0, 9.0):
        assert words.share_of_bar(status(quarters=quarters, bar_quarters=4.0)) < 1


def test_what_the_daemon_adds_to_a_thing_done_is_a_sentence() -> None:
    assert (
        words.result_note({"note": "waltz has no figure in 4/4"}) == "Waltz has no figure in 4/4."
    )
    assert words.result_note({"style": "waltz"}) is None
