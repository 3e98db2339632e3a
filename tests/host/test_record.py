"""Sessions that follow each other: each replays by itself to what was played."""

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import pytest

from rig import A4, C4, C5, E4, F4, G4, Rig
from ripieno.engine.loop import Timed
from ripieno.host.record import LONG_NS, Record
from ripieno.host.sessions import Sessions
from ripieno.perform import journal
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import (
    ClockContinue,
    ClockStart,
    ClockStop,
    ClockTick,
    Controller,
    Ending,
    Input,
    KeyDown,
    Nudge,
    Resume,
    Scale,
    Send,
    SetFollow,
    SetMeter,
    SetTempo,
    Silence,
    SongPosition,
    Stop,
)
from ripieno.perform.offline import Happening, hand_in, play
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Follow, Settings
from ripieno.style.model import Meter
from ripieno.units import NS_PER_S

START_NS = 7_000_000_000_123
STYLE = Rig("rippling-sixteenths").style
CHOSEN = Chosen(Settings(bpm=90.0), STYLE)


def timed(happenings: Iterable[Happening]) -> list[Timed]:
    return [Timed(0, happening) for happening in happenings]


def chord(at_ns: int, *notes: int) -> list[Input]:
    return [KeyDown(at_ns, note, 80) for note in notes]


def recorded(folder: Path, news: list[Timed]) -> list[journal.Session]:
    at = iter(range(1000))
    sessions = Sessions(folder, 10**9, lambda: datetime(2030, 1, 1, 0, next(at)))
    record = Record(sessions, CHOSEN)
    for item in news:
        record.add([item])
    record.end(CHOSEN)
    sessions.close()
    assert sessions.fault is None
    files = sorted(folder.glob("*.jsonl"))
    return [journal.read(file.name, file.read_text().splitlines()) for file in files]


def sends(happenings: Iterable[Happening], start_ns: int = 0) -> list[Send]:
    return [
        replace(h, due_ns=h.due_ns - start_ns) for h in happenings if isinstance(h, Send)
    ]  # fmt: skip


def replayed(session: journal.Session) -> list[Send]:
    performer = Performer(session.settings, session.style)
    return sends(play(performer, session.events, session.end_ns))


def performed(performer: Performer, events: list[Input]) -> list[Happening]:
    return [happening for event in events for happening in hand_in(performer, event)]


def test_a_session_begins_with_the_first_key_and_what_was_chosen_before_is_its_setting(
    tmp_path: Path,
) -> None:
    events: list[Input] = [
        SetTempo(START_NS, 120.0),
        Silence(START_NS + 5),
        *chord(START_NS + NS_PER_S, C4, E4, G4),
        SetTempo(START_NS + 3 * NS_PER_S, 60.0),
        Stop(START_NS + 5 * NS_PER_S),
    ]
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    [session] = recorded(tmp_path, timed(happenings))
    assert session.settings.bpm == 120.0
    assert [event.at_ns for event in session.events][:3] == [0, 0, 0]
    music = [h for h in happenings if not isinstance(h, Send) or h.due_ns >= START_NS + NS_PER_S]
    assert replayed(session) == sends(music, START_NS + NS_PER_S)


def test_without_a_key_nothing_is_kept(tmp_path: Path) -> None:
    events: list[Input] = [SetTempo(START_NS, 120.0), Silence(START_NS + 5), Stop(START_NS + 9)]
    assert recorded(tmp_path, timed(performed(Performer(CHOSEN.settings, STYLE), events))) == []


def test_a_long_session_ends_where_the_music_stops_and_the_next_replays_alone(
    tmp_path: Path,
) -> None:
    later_ns = START_NS + LONG_NS + NS_PER_S
    events: list[Input] = [
        *chord(START_NS, C4, E4, G4),
        Stop(START_NS + NS_PER_S),  # too soon for an end
        *chord(START_NS + LONG_NS, F4, A4, C5),
        SetTempo(later_ns - 1, 150.0),
        Stop(later_ns),
        *chord(later_ns + 5 * NS_PER_S, C4, E4, G4),
        Stop(later_ns + 9 * NS_PER_S),
    ]
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    first, second = recorded(tmp_path, timed(happenings))
    assert (first.settings.bpm, second.settings.bpm) == (90.0, 150.0)
    assert replayed(first) == sends([h for h in happenings if _at(h) <= later_ns], START_NS)
    begin_ns = later_ns + 5 * NS_PER_S
    assert replayed(second) == sends([h for h in happenings if _at(h) > later_ns], begin_ns)


def test_a_later_session_has_what_it_goes_by_from_before_it(tmp_path: Path) -> None:
    later_ns = START_NS + LONG_NS + NS_PER_S
    events: list[Input] = [
        SetMeter(START_NS, Meter(6, 8)),
        SetFollow(START_NS + 1, Follow.CLOCK),
        *chord(START_NS + 2, C4, E4, G4),
        Controller(START_NS + NS_PER_S, 11, 100),
        Nudge(START_NS + NS_PER_S, 200.0),
        Nudge(START_NS + NS_PER_S, 130.0),
        Stop(later_ns),
        *(ClockTick(later_ns + i * 20_833_333) for i in range(1, 40)),
        *chord(later_ns + NS_PER_S, C4, E4, G4),
        Ending(later_ns + NS_PER_S + 1, 1),
        Stop(later_ns + 30 * NS_PER_S),
    ]
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    _, second = recorded(tmp_path, timed(happenings))
    assert second.settings.bpm == 60  # 90 quarters
    begin_ns = second.events[-1].at_ns - events[-1].at_ns
    played = sends([h for h in happenings if _at(h) > later_ns], -begin_ns)
    assert [send for send in replayed(second) if send.due_ns][1:] == played[1:]
    assert {send.data[1] for send in played if send.data[0] == 0xB0} == {11, 64}


def in_the_time_of_a_clock(*before: Input, gap_ns: int = 0) -> list[Input]:
    """Two sessions of a clock at 120: the second is played with what has come before it.

    The clock ticks during the first, and before the second, which begins `gap_ns` after that.
    """
    second_ns = START_NS + LONG_NS + 10 * NS_PER_S
    return [
        SetFollow(START_NS, Follow.CLOCK),
        *(ClockTick(START_NS + i * 20_833_333) for i in range(1, 120)),
        *chord(START_NS + 3 * NS_PER_S, C4, E4, G4),
        *before,
        Stop(second_ns - 5 * NS_PER_S),
        *(ClockTick(second_ns + i * 20_833_333) for i in range(1, 60)),
        *chord(second_ns + 60 * 20_833_333 - 9_000_000 + gap_ns, F4, A4, C5),
        *(ClockTick(second_ns + gap_ns + i * 20_833_333) for i in range(60, 200)),
        SetFollow(second_ns + 10 * NS_PER_S + gap_ns, Follow.NONE),
        Stop(second_ns + 11 * NS_PER_S + gap_ns),
        *chord(second_ns + 12 * NS_PER_S + gap_ns, C4, E4, G4),
        Stop(second_ns + 15 * NS_PER_S + gap_ns),
    ]


def second_is_replayed(folder: Path, events: list[Input]) -> list[Send]:
    """What the second session plays, after it has been found to be what was played."""
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    _, second = recorded(folder, timed(happenings))
    begin_ns = events[-1].at_ns - second.events[-1].at_ns
    played = sends([h for h in happenings if _at(h) > START_NS + LONG_NS + 6 * NS_PER_S], begin_ns)
    assert replayed(second) == played
    return played


HALF, DOUBLE = Fraction(1, 2), Fraction(2)


@pytest.mark.parametrize("factors", [(HALF,), (DOUBLE,), (HALF, HALF, HALF), (HALF, DOUBLE)])
@pytest.mark.parametrize("gap_s", [0, 4])
def test_half_and_double_time_of_a_clock_are_those_of_a_later_session_too(
    tmp_path: Path, factors: tuple[Fraction, ...], gap_s: int
) -> None:
    scales = [
        Scale(START_NS + 2 * NS_PER_S + i * NS_PER_S // 8, factor)
        for i, factor in enumerate(factors)
    ]
    tempo = SetTempo(START_NS + 12 * NS_PER_S // 5, 100.0)  # for when no clock leads any more
    events = in_the_time_of_a_clock(*scales, tempo, gap_ns=gap_s * NS_PER_S)
    assert second_is_replayed(tmp_path, sorted(events, key=lambda event: event.at_ns))


def test_half_time_where_no_clock_is_heard_is_none_of_the_clocks(tmp_path: Path) -> None:
    missing_ns = START_NS + 20 * NS_PER_S
    events = in_the_time_of_a_clock(Scale(missing_ns, HALF), SetTempo(missing_ns + 1, 100.0))
    assert second_is_replayed(tmp_path, events)
    text = sorted(tmp_path.glob("*.jsonl"))[1].read_text()
    assert '"scale"' not in text


@pytest.mark.parametrize("values", [(90,), ()])
def test_the_next_engine_knows_nothing_but_what_it_is_told(
    tmp_path: Path, values: tuple[int, ...]
) -> None:
    before: list[Input] = [
        SetFollow(START_NS, Follow.CLOCK),
        *(ClockTick(START_NS + i * 20_833_333) for i in range(1, 60)),
        Nudge(START_NS + 2 * NS_PER_S, 100.0),
        Controller(START_NS + 3 * NS_PER_S, 11, 40),
    ]
    chosen = Chosen(replace(CHOSEN.settings, follow=Follow.CLOCK), STYLE)
    after: list[Input] = [
        *(Controller(START_NS + 4 * NS_PER_S, 11, value) for value in values),
        *chord(START_NS + 5 * NS_PER_S, C4, E4, G4),
        *(ClockTick(START_NS + 6 * NS_PER_S + i * 20_833_333) for i in range(100)),
        Stop(START_NS + 9 * NS_PER_S),
    ]
    happenings = performed(Performer(chosen.settings, STYLE), after)
    minutes = iter(range(9))
    sessions = Sessions(tmp_path, 10**9, lambda: datetime(2030, 1, 1, 0, next(minutes)))
    record = Record(sessions, CHOSEN)
    record.add(timed(performed(Performer(CHOSEN.settings, STYLE), before)))
    record.end(chosen)
    record.add(timed(happenings))
    record.end(chosen)
    sessions.close()
    last = max(tmp_path.glob("*.jsonl"))
    session = journal.read(last.name, last.read_text().splitlines())
    begin_ns = START_NS + 5 * NS_PER_S
    music = sends([h for h in happenings if _at(h) >= begin_ns], begin_ns)
    assert replayed(session) == [*(Send(0, bytes((0xB0, 11, value))) for value in values), *music]


def test_a_song_that_is_continued_in_a_later_session_goes_on_from_where_it_stood(
    tmp_path: Path,
) -> None:
    later_ns = START_NS + LONG_NS + NS_PER_S
    events: list[Input] = [
        SetFollow(START_NS, Follow.CLOCK),
        ClockStart(START_NS + 1),
        *(ClockTick(START_NS + 10 + i * 20_833_333) for i in range(100)),
        ClockStop(START_NS + 3 * NS_PER_S),
        Stop(later_ns),
        *(ClockTick(later_ns + i * 20_833_333) for i in range(1, 60)),
        ClockContinue(later_ns + 59 * 20_833_333 + 9),
        *(ClockTick(later_ns + i * 20_833_333) for i in range(60, 70)),
        *chord(later_ns + 69 * 20_833_333 + 9, C4, E4, G4),
        *(ClockTick(later_ns + i * 20_833_333) for i in range(70, 300)),
        Stop(later_ns + 9 * NS_PER_S),
    ]
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    _, second = recorded(tmp_path, timed(happenings))
    begin_ns = events[-1].at_ns - second.events[-1].at_ns
    played = sends([h for h in happenings if _at(h) > later_ns], begin_ns)
    assert replayed(second) == played
    place = next(event for event in second.events if isinstance(event, SongPosition))
    assert (place.sixteenths, place.ticks) == (16, 4)


def test_a_song_that_runs_while_a_session_ends_by_itself_goes_on_in_the_next(
    tmp_path: Path,
) -> None:
    """As it does where nobody has played for long: 20 beats a minute, a tick each 125 ms."""
    apart_ns = NS_PER_S // 8
    ticks = LONG_NS // apart_ns + 50
    events: list[Input] = [
        SetFollow(START_NS, Follow.CLOCK),
        ClockStart(START_NS + 1),
        *(ClockTick(START_NS + 10 + i * apart_ns) for i in range(ticks)),
        *chord(START_NS + 11 + (ticks - 1) * apart_ns, C4, E4, G4),
        Stop(START_NS + (ticks + 4) * apart_ns),
    ]
    _, second = recorded(tmp_path, timed(events))
    place, goes_on, *rest = second.events
    assert place == SongPosition(0, *divmod(ticks - 24, 6))
    assert goes_on == ClockContinue(0)
    assert [type(event) for event in rest[:25]] == [ClockTick] * 24 + [KeyDown]


def test_a_session_does_not_end_while_a_song_runs(tmp_path: Path) -> None:
    events: list[Input] = [
        SetFollow(START_NS, Follow.CLOCK),
        ClockStart(START_NS + 1),
        *(ClockTick(START_NS + 10 + i * 20_833_333) for i in range(50)),
        *chord(START_NS + NS_PER_S + 20_833_333, C4, E4, G4),
        Stop(START_NS + LONG_NS + NS_PER_S),
        *chord(START_NS + LONG_NS + 2 * NS_PER_S, C4, E4, G4),
        Stop(START_NS + LONG_NS + 4 * NS_PER_S),
    ]
    happenings = performed(Performer(CHOSEN.settings, STYLE), events)
    [session] = recorded(tmp_path, timed(happenings))
    assert replayed(session) == sends(happenings, START_NS + 1)


def test_an_engine_that_resumes_begins_a_session_that_replays(tmp_path: Path) -> None:
    before = Performer(CHOSEN.settings, STYLE)
    performed(before, chord(START_NS, C4, E4, G4))
    before.advance(START_NS + NS_PER_S)
    playing = before.accompaniment
    assert playing.harmony is not None
    assert playing.transport is not None
    begin_ns = START_NS + 2 * NS_PER_S + 77
    resume = Resume(begin_ns, playing.harmony.chord, playing.harmony.level, playing.transport)
    happenings = performed(Performer(CHOSEN.settings, STYLE), [resume, Stop(begin_ns + NS_PER_S)])
    [session] = recorded(tmp_path, timed(happenings))
    assert replayed(session) == sends(happenings, begin_ns) != []
    line = json.loads(next(tmp_path.glob("*.jsonl")).read_text().splitlines()[1])
    assert (line["kind"], line["quality"]) == ("resume", "maj")


def _at(happening: Happening) -> int:
    return happening.due_ns if isinstance(happening, Send) else happening.at_ns
