"""What the harness plays, and when: seeded, so that two runs play the same.

The gaps are drawn at random, so that nothing falls in step with audio periods or with the
figure's grid. All kinds of probe are mixed, so that they meet the same conditions.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from itertools import count
from random import Random

from ripieno.perform.message import control, note_off, note_on
from ripieno.units import NS_PER_MS

SPLIT = 84  # keys from here on are melody; the chords lie below
MELODY_CHANNEL = 15  # the accompaniment has the first, so that melody is told from it
TOGETHER_VELOCITY, SPREAD_VELOCITY = 80, 96
SPREAD_NS = 10 * NS_PER_MS  # between the keys of a chord that is spread

_DOWN_NS = 12 * NS_PER_MS  # how long a key stays down
_LUCK_NS = 25 * NS_PER_MS  # the longest random wait before a probe
_BUSY_GAP_NS = 120 * NS_PER_MS  # likewise, while a figure runs
_CHORD_NS = 1500 * NS_PER_MS  # from chord to chord, while a figure runs
_SCALE = (60, 62, 64, 65, 67, 69, 71)
UNUSED_CONTROLLER = 85  # undefined in MIDI 1.0, so that no synthesizer does anything


class Kind(Enum):
    TOGETHER = "a chord, all keys at once"
    SPREAD = "a chord, its keys apart"
    MELODY = "a melody key"
    BARE = "a message for the bare path"


@dataclass(frozen=True, slots=True)
class Probe:
    """Waits `gap_ns`, then sends `messages`, each so long after the first.

    `measured` is the number of the message from which the time counts.
    """

    kind: Kind
    gap_ns: int
    messages: tuple[tuple[int, bytes], ...]
    measured: int


class Plan:
    """The probes of a run. `settle_ns`: how long an answer may take to have come for sure."""

    def __init__(self, seed: int, settle_ns: int) -> None:
        self._luck = Random(seed)
        self._settle_ns = settle_ns
        self._numbers = count()
        self._degree = 0

    def strikes(self, rounds: int) -> Iterator[Probe]:
        """So many of each kind, the kinds in a random order."""
        kinds = list(Kind)
        for _ in range(rounds):
            self._luck.shuffle(kinds)
            for kind in kinds:
                yield self._probe(kind, _LUCK_NS)

    def beside_a_figure(self, length_ns: int) -> Iterator[Probe]:
        """A chord now and then, and between them melody and bare probes, for so long."""
        spent_ns = chord_ns = 0
        while spent_ns < length_ns:
            kind = self._luck.choice((Kind.MELODY, Kind.BARE))
            if spent_ns >= chord_ns:
                kind, chord_ns = Kind.TOGETHER, spent_ns + _CHORD_NS
            probe = self._probe(kind, _BUSY_GAP_NS)
            spent_ns += probe.gap_ns + probe.messages[-1][0]
            yield probe

    def bare(self, count: int) -> Iterator[Probe]:
        """The bare path alone."""
        for _ in range(count):
            yield self._probe(Kind.BARE, _LUCK_NS)

    def _probe(self, kind: Kind, most_ns: int) -> Probe:
        gap_ns = self._settle_ns + self._luck.randrange(most_ns)
        match kind:
            case Kind.TOGETHER:
                return Probe(kind, gap_ns, *self._chord(TOGETHER_VELOCITY, 0))
            case Kind.SPREAD:
                return Probe(kind, gap_ns, *self._chord(SPREAD_VELOCITY, SPREAD_NS))
            case Kind.MELODY:
                return Probe(kind, gap_ns, self._melody(), measured=0)
            case Kind.BARE:
                return Probe(kind, gap_ns, (self._bare(),), measured=0)

    def _chord(self, velocity: int, apart_ns: int) -> tuple[tuple[tuple[int, bytes], ...], int]:
        """A triad of the scale that shares no key with the one before: one degree on."""
        self._degree = (self._degree + 1) % len(_SCALE)
        octave = [*_SCALE, *(key + 12 for key in _SCALE)]
        keys = [octave[self._degree + third] for third in (0, 2, 4)]
        down = [(n * apart_ns, note_on(0, key, velocity)) for n, key in enumerate(keys)]
        up = [(down[-1][0] + _DOWN_NS, note_off(0, key)) for key in keys]
        return (*down, *up), len(down) - 1

    def _melody(self) -> tuple[tuple[int, bytes], ...]:
        """A key whose bytes come again only after 2,000 others."""
        number = next(self._numbers)
        note, velocity = SPLIT + number % 19, 1 + number % 113
        return (
            (0, note_on(MELODY_CHANNEL, note, velocity)),
            (_DOWN_NS, note_off(MELODY_CHANNEL, note)),
        )

    def _bare(self) -> tuple[int, bytes]:
        return 0, control(MELODY_CHANNEL, UNUSED_CONTROLLER, next(self._numbers) % 128)


def round_ns(settle_ns: int) -> int:
    """How long a round of `strikes` takes on average."""
    down_ns = 3 * _DOWN_NS + 2 * SPREAD_NS
    return len(Kind) * (settle_ns + _LUCK_NS // 2) + down_ns
