"""Players that are simulated: how their tempo goes, how unsteady they are, which beats they strike.

Intervals vary as Wing and Kristofferson's model has it ("Response delays and the timing of
discrete motor responses", Perception & Psychophysics 14, 1973): a timekeeper whose intervals vary
independently, and a motor delay at each strike that does not carry over, so that a strike too
late is followed by an interval too short. The standard deviation of an even interval is
`sqrt(timekeeper^2 + 2 motor^2)`; players here have 20 to 40 ms of it.

Phrases that end slower follow Friberg and Sundberg's curve for the final ritard ("Does music
performance allude to locomotion?", Journal of the Acoustical Society of America 105(3), 1999).
Phrases within phrases follow Todd's parabolas ("A model of expressive timing in tonal music",
Music Perception 3, 1985; cited from memory). Nine of the fourteen whose tempo moves have something
that comes round in the bar or in eight; the other five have not, and there it costs to expect it.
How wide and how often tempos change is our assumption; nothing here comes from a recording.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate
from math import exp, sin, sqrt, tau
from random import Random

from ripieno.units import NS_PER_MINUTE, NS_PER_MS

Tempo = Callable[[Random, int, int], list[float]]  # luck, beats, beats a bar -> relative tempo

MISSED = 0.08  # of the chords due
EXTRA = 0.05  # passing chords, a beat
RITARD_CURVE = 3  # the exponent that listeners preferred with 2 (Friberg and Sundberg 1999)


@dataclass(frozen=True, slots=True)
class Struck:
    """A strike: the beat that it is, None off the beat, and when its player meant it."""

    at_ns: int
    beat: int | None
    meant_ns: float


@dataclass(frozen=True, slots=True)
class Performance:
    """What a simulated player did. Beat 0 is a downbeat, and is always struck."""

    told_bpm: float  # the tempo that the follower begins with
    beats_per_bar: int
    strikes: tuple[Struck, ...]
    meant_ns: tuple[float, ...]  # each beat, struck or not
    parts: int = 2  # of a beat: three in compound meters


@dataclass(frozen=True, slots=True)
class Player:
    """A kind of player; `every` are the chords' distances in beats, `pushes` the share early."""

    name: str
    tempo: Tempo
    every: tuple[int, ...] = (1,)
    timekeeper_ms: tuple[float, float] = (6, 14)
    motor_ms: tuple[float, float] = (14, 24)
    told_off: float = 0.03  # the standard deviation of the tempo told, in parts of the true one
    pushes: float = 0.0
    missed: float = MISSED
    extra: float = EXTRA
    rests: bool = False
    bars: int = 40
    beats_per_bar: tuple[int, ...] = (3, 4, 4, 4)  # any of them
    parts: int = 2
    told_bpm: float | None = None  # if it is always the same, as is
    bpm: tuple[float, float] = (66, 132)
    leads_in: bool = True  # all beats of the first bar are struck

    def play(self, seed: int) -> Performance:
        """The same seed plays the same."""
        luck = Random(f"{self.name} {seed}")
        bpm, per_bar = luck.uniform(*self.bpm), luck.choice(self.beats_per_bar)
        told_bpm = self.told_bpm or bpm * exp(luck.gauss(0, self.told_off))
        meant = self._meant_ns(luck, bpm, per_bar)
        strikes = self._strikes(luck, meant, per_bar)
        return Performance(told_bpm, per_bar, strikes, meant, self.parts)

    def _meant_ns(self, luck: Random, bpm: float, per_bar: int) -> tuple[float, ...]:
        beats = self.bars * per_bar
        kept_ns = luck.uniform(*self.timekeeper_ms) * NS_PER_MS
        even_ns = NS_PER_MINUTE / bpm
        tempo = self.tempo(luck, beats, per_bar)
        lengths = (
            max(even_ns / now / 4, even_ns / now + luck.gauss(0, kept_ns)) for now in tempo[:-1]
        )
        return tuple(accumulate(lengths, initial=float(NS_PER_MINUTE)))

    def _strikes(self, luck: Random, meant: tuple[float, ...], per_bar: int) -> tuple[Struck, ...]:
        motor_ns = luck.uniform(*self.motor_ms) * NS_PER_MS
        resting = self._resting(luck, len(meant) // per_bar + 1)
        found: list[tuple[float, int | None]] = [(meant[0], 0)]
        distance = 1 if self.leads_in else luck.choice(self.every)
        for beat in range(1, len(meant) - 1):
            if beat % per_bar == 0:
                distance = luck.choice(self.every)
            if not resting[beat // per_bar]:
                due = beat % per_bar % distance == 0
                found += self._around(luck, beat, meant, due=due)
        struck = (
            Struck(round(at + (luck.gauss(0, motor_ns) if at > meant[0] else 0)), beat, at)
            for at, beat in found
        )
        return tuple(sorted(struck, key=lambda each: each.at_ns))

    def _resting(self, luck: Random, bars: int) -> list[bool]:
        """The bars in which the hand rests: two in sixteen, if it rests at all."""
        if not self.rests:
            return [False] * bars
        first = luck.randrange(4, 14)
        return [bar % 16 in (first, first + 1) for bar in range(bars)]

    def _around(
        self, luck: Random, beat: int, meant: tuple[float, ...], *, due: bool
    ) -> list[tuple[float, int | None]]:
        """What is struck on a beat, pushed ahead of it, and in passing after it."""
        found: list[tuple[float, int | None]] = []
        if due and luck.random() < self.pushes:
            found.append(((meant[beat - 1] + meant[beat]) / 2, None))
        elif due and luck.random() >= self.missed:
            found.append((meant[beat], beat))
        if luck.random() < self.extra:
            part = luck.choice((0.5, 0.5, 0.5, 1 / 3, 2 / 3))
            found.append((meant[beat] + part * (meant[beat + 1] - meant[beat]), None))
        return found


def steady(luck: Random, beats: int, _per_bar: int) -> list[float]:
    """A pop song: the tempo wanders by a per cent or two within minutes."""
    return _wandering(luck, beats, per_beat=0.002)


def accelerando_and_ritardando(luck: Random, beats: int, per_bar: int) -> list[float]:
    """A fifth faster within two to six bars, some bars of that, as slowly back; and again."""
    tempo = [1.0]
    while len(tempo) < beats:
        goal = tempo[-1] * (1.2 if tempo[-1] < 1.1 else 1 / 1.2)
        length = luck.randint(2, 6) * per_bar
        here = tempo[-1]
        tempo += [here + (goal - here) * step / length for step in range(1, length + 1)]
        tempo += [goal] * (luck.randint(2, 6) * per_bar)
    return tempo[:beats]


def phrase_ends(luck: Random, beats: int, per_bar: int) -> list[float]:
    """A steady tempo; the last bar or two of each eight slow down to 0.6 to 0.8 of it."""
    tempo = _wandering(luck, beats, per_beat=0.002)
    for end in range(8 * per_bar, beats + 1, 8 * per_bar):
        length = luck.randint(1, 2) * per_bar
        last = luck.uniform(0.6, 0.8)
        for step in range(length):
            tempo[end - length + step] *= ritard((step + 1) / length, last)
    return tempo


def ritard(place: float, last: float) -> float:
    """The tempo at a place in [0, 1] of a ritard that ends at `last`, in parts of that before."""
    curve = RITARD_CURVE
    return (1 + (last**curve - 1) * place) ** (1 / curve)


def rubato(luck: Random, beats: int, per_bar: int) -> list[float]:
    """Romantic: phrases swell and slow, single beats are dwelt on, and no two are alike."""
    ends = phrase_ends(luck, beats, per_bar)
    width, local = luck.uniform(0.05, 0.12), luck.uniform(0.02, 0.05)
    length = luck.choice((4, 8)) * per_bar
    tempo = []
    for beat in range(beats):
        arc = width * sin(tau * (beat % length) / length - tau / 8)
        dwelt = luck.uniform(0.1, 0.3) if luck.random() < 0.05 else 0.0
        tempo.append(ends[beat] * exp(arc + luck.gauss(0, local) - dwelt))
    return tempo


def free(luck: Random, beats: int, per_bar: int) -> list[float]:
    """The tempo goes where it will, by 10 to 30 per cent within a bar, and comes back."""
    per_beat, now, going, tempo = luck.uniform(0.03, 0.06), 0.0, 0.0, []
    for _ in range(beats):
        going = 0.6 * going + luck.gauss(0, per_beat)
        now = 0.93 * now + going / (1 + per_bar / 8)
        tempo.append(exp(max(-0.5, min(0.5, now))))
    return tempo


def arcs(luck: Random, beats: int, per_bar: int) -> list[float]:
    """Phrases within phrases, each begun slowly, moving, and ended slowly, as Todd has it: sixteen
    bars, eight, four; none quite like the others, and the beats within uneven by a little.
    """
    local = luck.uniform(0.015, 0.04)
    tempo = [luck.gauss(0, local) for _ in range(beats)]
    for bars, width in ((16, 0.1), (8, 0.15), (4, 0.1)):
        length = bars * per_bar
        width *= luck.uniform(0.3, 1.2)
        for first in range(0, beats, length):
            deep = width * luck.uniform(0.5, 1.5)
            for beat in range(first, min(beats, first + length)):
                from_middle = 2 * (beat - first + 0.5) / length - 1
                tempo[beat] -= deep * from_middle**2
    return [exp(now) for now in tempo]


def lilting(luck: Random, beats: int, per_bar: int) -> list[float]:
    """A dance: some beats of the bar are always longer than others; the tempo wanders slowly."""
    lilt = [luck.gauss(0, 0.08) for _ in range(per_bar)]
    wandering = _wandering(luck, beats, per_beat=0.008)
    local = luck.uniform(0.01, 0.04)
    return [
        now * exp(lilt[beat % per_bar] + luck.gauss(0, local)) for beat, now in enumerate(wandering)
    ]


def pink(luck: Random, beats: int, _per_bar: int) -> list[float]:
    """Beats' lengths vary alike at all scales, by 5 to 15 per cent: nothing but chance in it."""
    width, scales = luck.uniform(0.05, 0.15), (1, 4, 16, 64)
    tempo = [0.0] * beats
    for scale in scales:
        kept, now = 1 - 1 / scale, luck.gauss(0, 1)
        for beat in range(beats):
            tempo[beat] += now * width / sqrt(len(scales))
            now = kept * now + sqrt(1 - kept * kept) * luck.gauss(0, 1)
    return [exp(now) for now in tempo]


def strophes(luck: Random, beats: int, per_bar: int) -> list[float]:
    """Eight bars again and again, shaped much alike each time; the last beats are drawn out."""
    length = 8 * per_bar
    shape = pink(luck, length, per_bar)
    local = luck.uniform(0.02, 0.04)
    tempo = []
    for beat in range(beats):
        from_end = length - 1 - beat % length
        drawn_out = luck.uniform(0.1, 0.3) / (1 + from_end)
        tempo.append(shape[beat % length] * exp(luck.gauss(0, local) - drawn_out))
    return tempo


def holding(luck: Random, beats: int, per_bar: int) -> list[float]:
    """Beats uneven by some per cent; now and then one is held for half as long again to twice."""
    tempo = pink(luck, beats, per_bar)
    for end in range(4 * per_bar, beats + 1, 4 * per_bar):
        if luck.random() < 0.5:
            tempo[end - 1] /= luck.uniform(1.5, 2.0)
    return tempo


def _wandering(luck: Random, beats: int, per_beat: float) -> list[float]:
    return [exp(now) for now in accumulate(luck.gauss(0, per_beat) for _ in range(beats))]


ANY = (1, 2, 4)
PLAYERS = (
    Player("steady, every beat", steady),
    Player("steady, every other beat", steady, every=(2,)),
    Player("steady, once a bar", steady, every=(4,)),
    Player("song with pushes", steady, every=(2, 4), pushes=0.25, extra=0.1),
    Player("unsteady hand", steady, every=(1, 2), motor_ms=(26, 34)),
    Player("hand that rests", steady, every=ANY, rests=True),
    Player("accelerando and ritardando", accelerando_and_ritardando),
    Player("the same, mixed", accelerando_and_ritardando, every=ANY),
    Player("phrase ends", phrase_ends, every=ANY),
    Player("rubato, every beat", rubato, told_off=0.08),
    Player("rubato, mixed", rubato, every=(1, 1, 2), told_off=0.08),
    Player("rubato, once a bar", rubato, every=(4,), told_off=0.08),
    Player("free", free, told_off=0.08),
    Player("arcs", arcs, told_off=0.08),
    Player("arcs, mixed", arcs, every=(1, 1, 2), told_off=0.08),
    Player("lilting", lilting, told_off=0.05),
    Player("pink", pink, told_off=0.08),
    Player("strophes", strophes, told_off=0.08),
    Player("strophes, mixed", strophes, every=(1, 1, 2), told_off=0.08),
    Player("holding", holding, told_off=0.08),
)


def _told_92(bpm: int, every: int, beats_per_bar: int, parts: int) -> Player:
    """From the first bar on, with a steady hand, in 4/4, 3/4 or 6/8."""
    meter = {4: "4/4", 3: "3/4", 2: "6/8"}[beats_per_bar]
    beats = "beat" if every == 1 else f"{every} beats"
    return Player(
        f"at {bpm}, each {beats} of {meter}",
        steady,
        every=(every,),
        beats_per_bar=(beats_per_bar,),
        parts=parts,
        bpm=(bpm, bpm),
        told_bpm=92,
        motor_ms=(15, 15),
        missed=0.0,
        extra=0.0,
        leads_in=False,
        bars=20,
    )


# Players who were told a tempo that is far off.
FAR_OFF = (
    *(
        _told_92(bpm, every, beats_per_bar, parts)
        for beats_per_bar, parts, distances in ((4, 2, (4, 2, 1)), (3, 2, (3, 1)), (2, 3, (2, 1)))
        for every in distances
        for bpm in (72, 116)
    ),
    *(
        Player(f"off by any, {name}", steady, every=every, told_off=0.2, leads_in=False, bars=20)
        for name, every in (
            ("every beat", (1,)),
            ("every other beat", (2,)),
            ("once a bar", (4,)),
            ("mixed", ANY),
        )
    ),
)
