"""The program on real MIDI ports, other programs at both ends: notes arrive, in order, on time.

`ripieno play` runs as a process of its own on a JACK server with the dummy driver. A second
process presses chords as a person does, the keys some milliseconds apart; a third records what
comes out, stamped with the server's own frames. The five textures are those that pianists make of
a triad progression (common practice, no source).

On time is judged against the music's grid, not as a measure of speed. JACK hands messages over
once an audio period of 10.7 ms, so even a perfect player's stamps jitter by one: half of a
figure's steps must be as long as they should be to within two periods, where the next plausible
grid is 28 ms away (a sixteenth for a triplet). A busy machine may hold up a single note, and a
dummy driver that is late drops frames, which shortens all that is recorded; so each note needs
only be nearer to its own place in the bar than to another, to within a third of a step.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

import pytest
import rtmidi

from jack_server import PATIENCE_S, PERIOD, RATE, Recorder, press, running_server
from playing import started
from rig import A3, C4, E4, G4, Note, notes_in
from ripieno.midi import systems
from ripieno.perform.events import Send
from ripieno.units import ns_from_ms

pytestmark = pytest.mark.jack

Timeline = list[tuple[float, bytes]]

BPM = 180
QUARTER_MS = 60_000 / BPM
BAR_MS = 4 * QUARTER_MS
TRIPLET_MS = QUARTER_MS / 3
TIGHT_MS = 2 * PERIOD * 1000 / RATE

MAJOR = (C4, E4, G4)
MINOR = (A3, C4, E4)
TEXTURES = (
    "high-second-inversion",
    "triplet-broken",
    "suspend-fourth",
    "suspend-second",
    "contrary-broken",
    "parallel-arpeggio",
)

START_MS = 250.0  # so that every program has found its ports before the first key
# Between a chord's keys, and before the beat: a person's one-hand chord spreads over 20 to 30 ms
# (half of them, Vienna 4x22, measured), and a chord that is to change on the beat comes before it.
SPREAD_MS = (0.0, 9.0, 21.0)
AHEAD_MS = 45.0
LIFT_MS = 110.0  # before the next bar

MARK = bytes.fromhex("F2 2A 15")  # a song position: of all messages, one that nobody here sends
PEDAL, DOWN = 64, 64  # MIDI 1.0: controller 64 is on from 64


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        found = systems.choose()
        if found.api != rtmidi.API_UNIX_JACK:
            pytest.skip(f"the program prefers {found.name} on this machine")
        yield


Perform = Callable[..., Timeline]
Recorded = Callable[[str], Timeline]


@pytest.fixture(scope="module")
def perform(tmp_path_factory: pytest.TempPathFactory) -> Perform:
    """Plays a timeline to `ripieno play` with some options, then ends it by SIGTERM.

    What comes back is everything that was recorded.
    """
    home = tmp_path_factory.mktemp("home")

    def run(timeline: Sequence[tuple[float, bytes]], *options: str) -> Timeline:
        with started(options, home) as program, Recorder("ripieno out") as recorder:
            press("ripieno in", timeline)
            program.terminate()
            said, _ = program.communicate(timeout=PATIENCE_S)
            assert program.returncode == 0, said
            return _until_marked(recorder)

    return run


def _until_marked(recorder: Recorder) -> Timeline:
    """All up to now: a mark sent to the recorder itself comes after whatever came before."""
    press("recorder-", [(0, MARK)])
    heard = recorder.wait_for(1)
    while heard[-1][1] != MARK:
        heard = recorder.wait_for(len(heard) + 1)
    return recorder.stop()[:-1]


def chords(*progression: tuple[int, ...]) -> Timeline:
    """A triad a bar: the first is where the music starts, the others come just before the bar."""
    timeline: Timeline = []
    for bar, keys in enumerate(progression):
        at = START_MS + bar * BAR_MS + (SPREAD_MS[-1] - AHEAD_MS if bar else 0)
        up = START_MS + (bar + 1) * BAR_MS - LIFT_MS
        for spread, key in zip(SPREAD_MS, keys, strict=True):
            timeline.append((at + spread, bytes((0x90, key, 80))))
            timeline.append((up + spread, bytes((0x80, key, 64))))
    return sorted(timeline)


def notes(heard: Timeline) -> list[Note]:
    """Times count from the first note. Fails unless every note-on got exactly one note-off."""
    found = notes_in([Send(ns_from_ms(ms), data) for ms, data in heard])
    return [replace(note, ms=note.ms - found[0].ms) for note in found]


@dataclass(frozen=True)
class Bar:
    """The keys that were pressed, and what answered: the notes struck together, one by one.

    Together is what lies within a third of the closest grid's step.
    """

    keys: tuple[int, ...]
    groups: list[list[Note]]

    @property
    def start_ms(self) -> float:
        return self.groups[0][0].ms

    @property
    def struck(self) -> list[list[int]]:
        """The note numbers of each group, ascending."""
        return [sorted(note.note for note in group) for group in self.groups]

    def classes(self, numbers: Sequence[int]) -> list[int]:
        """Semitones above the chord's root, without octaves."""
        return [(number - self.keys[0]) % 12 for number in numbers]


@pytest.fixture(scope="module")
def kept() -> dict[tuple[str, int], Timeline]:
    return {}


@pytest.fixture
def recorded(
    perform: Perform, kept: dict[tuple[str, int], Timeline], request: pytest.FixtureRequest
) -> Recorded:
    """Two bars in a style: each style is played once, whatever the tests ask of it.

    A test that is run once more, for JACK may have lost a key, has it played once more.
    """

    def play(style: str) -> Timeline:
        which = style, getattr(request.node, "execution_count", 1)
        if which not in kept:
            kept[which] = perform(chords(MAJOR, MINOR), "-s", style, "-t", str(BPM))
        return kept[which]

    return play


def two_bars(heard: Timeline, steps: int) -> list[Bar]:
    """What answered each of the two chords in a figure of so many steps a bar.

    Of the second, no more than a bar: a third may have begun before the signal came.
    """
    groups = grouped(notes(heard))
    return [Bar(MAJOR, groups[:steps]), Bar(MINOR, groups[steps : 2 * steps])]


def grouped(notes: list[Note]) -> list[list[Note]]:
    groups: list[list[Note]] = []
    for note in notes:
        if groups and note.ms - groups[-1][0].ms < TRIPLET_MS / 3:
            groups[-1].append(note)
        else:
            groups.append([note])
    return groups


def assert_on_time(bars: list[Bar], step_ms: float) -> None:
    """Each group comes a step after the one before it, and the second bar a step after the first.

    Not counted from the first: each frame that a late dummy driver drops would count to the end.
    """
    starts = [group[0].ms for bar in bars for group in bar.groups]
    off = [abs(after - before - step_ms) for before, after in pairwise(starts)]
    assert max(off) < step_ms / 2, off
    assert median(off) <= TIGHT_MS, off


def test_high_second_inversion_is_held_an_octave_up_over_a_bass(recorded: Recorded) -> None:
    bars = two_bars(recorded("high-second-inversion"), 1)
    for bar in bars:
        root, third, fifth = bar.keys
        (struck,) = bar.struck
        assert struck[-3:] == [fifth, root + 12, third + 12]
        bass = struck[:-3]
        assert bass
        assert all(note % 12 == root % 12 and note < root for note in bass)
        (chord,) = bar.groups
        assert median(note.ms - bar.start_ms for note in chord) <= TIGHT_MS
    first, second = bars
    held_ms = min(note.ms + note.length_ms for note in first.groups[0])
    assert abs(held_ms - second.start_ms) < TRIPLET_MS / 3  # released as the next is struck
    assert abs(second.start_ms - (BAR_MS + SPREAD_MS[-1] - AHEAD_MS)) < QUARTER_MS / 3


def test_triplet_broken_falls_top_bottom_middle_twelve_times_a_bar(recorded: Recorded) -> None:
    bars = two_bars(recorded("triplet-broken"), 12)
    for bar in bars:
        root, third, fifth = bar.keys
        right = [[note for note in group if note >= fifth] for group in bar.struck]
        bass = [note for group in bar.struck for note in group if note < fifth]
        assert right == [[third + 12], [fifth], [root + 12]] * 4
        assert all(note % 12 == root % 12 and note < root for note in bass)
        assert len(bar.groups[0]) > 1, "a bass under the first"
    assert_on_time(bars, TRIPLET_MS)


@pytest.mark.parametrize(("style", "tone"), [("suspend-fourth", 5), ("suspend-second", 2)])
def test_a_suspension_stands_for_the_third_and_resolves_to_it_a_quarter_later(
    recorded: Recorded, style: str, tone: int
) -> None:
    # 4-3 comes down a semitone in major and two in minor, 2-3 goes up two and one.
    for bar in two_bars(recorded(style), 2):
        third = bar.keys[1] - bar.keys[0]
        arrival, resolution = bar.struck
        assert set(bar.classes(arrival)) == {0, 7, tone}
        assert bar.classes(resolution) == [third]
        (suspended,) = [n for n in bar.groups[0] if bar.classes([n.note]) == [tone]]
        (resolved,) = bar.groups[1]
        assert resolved.note - suspended.note == third - tone
        # It ends as the third begins: both leave in one instant, the release first.
        ended = suspended.ms + suspended.length_ms
        assert ended <= resolved.ms
        for late in (ended, resolved.ms):
            assert abs(late - bar.start_ms - QUARTER_MS) < QUARTER_MS / 4  # nearer than an eighth


def test_contrary_broken_moves_the_hands_against_each_other_at_the_same_instants(
    recorded: Recorded,
) -> None:
    bars = two_bars(recorded("contrary-broken"), 12)
    for bar in bars:
        assert len(bar.struck) == 12
        assert all(len(pair) == 2 for pair in bar.struck)
        triad = [key - bar.keys[0] for key in bar.keys]
        left, right = zip(*bar.struck, strict=True)
        assert [note - left[0] for note in left] == triad * 4
        assert bar.classes(left[:1]) == [0]
        assert [note - right[2] for note in right] == triad[::-1] * 4
        octaves = {high - low for low, high in zip(left[:3], right[2::-1], strict=True)}
        assert octaves <= {12, 24, 36}
    assert_on_time(bars, TRIPLET_MS)


def test_contrary_broken_has_the_pedal_down_and_changes_it_with_the_chord(
    recorded: Recorded,
) -> None:
    heard = recorded("contrary-broken")
    start = min(ms for ms, data in heard if data[0] == 0x90)
    moves = [(ms - start, data[2] >= DOWN) for ms, data in heard if data[:2] == b"\xb0\x40"]
    assert [down for _, down in moves[:4]] == [True, False, True, False]
    pressed, lifted, pressed_again, _ = (ms for ms, _ in moves[:4])
    # Legato: up when the new notes sound, and down again before the beat is over
    # (Matthay, The Act of Touch); down at first as soon as the hands are.
    assert 0 <= pressed < QUARTER_MS
    assert BAR_MS - TRIPLET_MS < lifted < pressed_again < BAR_MS + QUARTER_MS


def test_parallel_arpeggio_rises_in_both_hands_the_right_inverted_once(recorded: Recorded) -> None:
    bars = two_bars(recorded("parallel-arpeggio"), 8)
    for bar in bars:
        assert len(bar.struck) == 8
        assert all(len(pair) == 2 for pair in bar.struck)
        root, third, fifth = (key - bar.keys[0] for key in bar.keys)
        left, right = zip(*bar.struck, strict=True)
        assert [note - left[0] for note in left] == [root, third, fifth, 12] * 2
        assert bar.classes(left[:1]) == [0]
        assert [note - right[0] + third for note in right] == [third, fifth, 12, 12 + third] * 2
        assert bar.classes(right[:1]) == [third]
    assert_on_time(bars, QUARTER_MS / 2)


@pytest.mark.parametrize("style", TEXTURES)
def test_after_sigterm_no_note_is_left_sounding_and_the_pedal_is_up(
    recorded: Recorded, style: str
) -> None:
    heard = recorded(style)
    assert notes(heard)  # each has its note-off
    assert pedals_at_the_end(heard) == {0: 0}


MELODY = [
    (0.0, bytes((0x91, 76, 33))),
    (150.0, bytes((0x91, 79, 97))),
    (250.0, bytes((0x81, 76, 21))),
    (620.0, bytes((0x81, 79, 88))),
    (640.0, bytes((0x91, 72, 64))),  # still down at the end, as the player's pedal is
]


def test_melody_above_the_split_point_passes_through_as_it_was_played(perform: Perform) -> None:
    melody = [(START_MS + ms, data) for ms, data in MELODY]
    foot = (START_MS + 650, bytes((0xB1, PEDAL, 101)))
    triad = [
        (START_MS + 80 + spread, bytes((0x90, key, 80)))
        for spread, key in zip(SPREAD_MS, (48, 52, 55), strict=True)
    ]
    heard = perform(sorted([*melody, foot, *triad]), "--split", "C5", "-s", "triplet-broken")
    passed = [data for _, data in heard if data[0] in (0x81, 0x91)]
    assert passed[: len(MELODY)] == [data for _, data in MELODY]
    accompaniment = [data for _, data in heard if data[0] == 0x90]
    assert accompaniment
    assert heard.index(next(item for item in heard if item[1][0] == 0x91)) == 0
    # After SIGTERM: the melody's last key, which nobody lifted, and the player's pedal.
    assert notes(heard)
    assert passed[len(MELODY) :] == [passed[len(MELODY)]]
    assert passed[-1][:2] == b"\x81\x48"
    assert (0xB1, PEDAL, 101) in [tuple(data) for _, data in heard]
    assert set(pedals_at_the_end(heard).values()) == {0}


def pedals_at_the_end(heard: Timeline) -> dict[int, int]:
    """The last value of the sustain pedal on each channel that it was moved on."""
    return {
        data[0] & 0x0F: data[2] for _, data in heard if data[0] >> 4 == 0xB and data[1] == PEDAL
    }
