"""How well the tempo follows simulated players: python benchmarks/following.py [SEEDS]

Each strike that is a beat is predicted just before it comes; the error is in per cent of the
player's beat there. Beside the follower, which is told nothing but a tempo and the strikes, stand
two predictors that are told which strikes are which beats, so that they cannot lose the beat:

- constant: the tempo told at first, from the first strike on, for ever
- last interval: from the last strike, at the tempo of the interval that it ended

Columns: the median and the 90th percentile of the errors; `meant`, the follower's median error
against the instant that the player meant, without what his hand adds; `hand`, what that adds,
below which no prediction of a strike can come; `played`, how far what is heard (bent towards the
estimate, at full lean) is off the strikes; `ratio`, the follower's median in parts of each of the
others'; `lost`, the longest run of struck beats with an error of more than a quarter of a beat in
any of the runs, and how many runs in a hundred had one of more than two; `slips`, in a hundred
beats, how often a beat got another number. An error is taken to the beat that the follower has
there: a slip counts once, as a slip.

Then players who were told a tempo that is far off, at the default lean: of a hundred runs, in how
many the tempo is right within 3 %, and the last two bar lines within a quarter of a beat, after
8 and after 16 bars.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import floor
from typing import NamedTuple

from ripieno.perform.bending import bent
from ripieno.perform.following import Course, HandsFollower
from ripieno.units import NS_PER_MINUTE
from simulated_players import FAR_OFF, PLAYERS, Performance, Player, Struck

SEEDS = 40
LOST = 0.25  # of a beat
DEFAULT_LEAN = 75
AFTER_BARS = (8, 16)


@dataclass(slots=True)
class Playing:
    """The follower, and what is played, driven by strikes as a performer would drive them."""

    follower: HandsFollower
    lean: int
    course: Course
    next_change_ns: int | None = None
    heard: list[Course] = field(default_factory=list)

    @classmethod
    def beginning(cls, performance: Performance, lean: int) -> "Playing":
        at_ns, bpm = performance.strikes[0].at_ns, performance.told_bpm
        follower = HandsFollower(
            at_ns,
            0.0,
            NS_PER_MINUTE / bpm,
            lean,
            performance.beats_per_bar,
            parts=performance.parts,
        )
        return cls.following(follower, lean, bpm)

    @classmethod
    def following(cls, follower: HandsFollower, lean: int, bpm: float) -> "Playing":
        """In the tempo told, from where the follower begins."""
        course = Course(follower.course.at_ns, follower.course.position_beats, NS_PER_MINUTE / bpm)
        return cls(follower, lean, course, heard=[course])

    def advance(self, now_ns: int) -> None:
        while self.next_change_ns is not None and self.next_change_ns <= now_ns:
            self._bend(self.next_change_ns)

    def strike(self, at_ns: int) -> bool:
        taken = self.follower.strike(at_ns)
        self._bend(at_ns)
        return taken

    def _bend(self, now_ns: int) -> None:
        estimate, turns_ns = self.follower.course_at(now_ns)
        bend = bent(now_ns, self.course, estimate, self.lean)
        changes = (change for change in (bend.next_change_ns, turns_ns) if change is not None)
        self.course, self.next_change_ns = bend.course, min(changes, default=None)
        self.heard.append(self.course)


@dataclass(slots=True)
class Errors:
    """Errors in parts of a beat, of one run or of many."""

    follower: list[float] = field(default_factory=list)
    constant: list[float] = field(default_factory=list)
    last_interval: list[float] = field(default_factory=list)
    meant: list[float] = field(default_factory=list)
    hand: list[float] = field(default_factory=list)
    played: list[float] = field(default_factory=list)
    slips: int = 0
    longest_lost: list[int] = field(default_factory=list)  # one a run

    def add(self, other: "Errors") -> None:
        for name in ("follower", "constant", "last_interval", "meant", "hand", "played"):
            getattr(self, name).extend(getattr(other, name))
        self.slips += other.slips
        self.longest_lost += other.longest_lost


class Judge:
    """Takes the errors of one run, strike by strike."""

    def __init__(self, performance: Performance, lean: int) -> None:
        self._performance = performance
        self._told_ns = NS_PER_MINUTE / performance.told_bpm
        self._last = performance.strikes[0]
        self._interval_ns = self._told_ns
        self._number = 0  # what the follower's count is ahead of the player's
        self._lost = 0
        self.playing = Playing.beginning(performance, lean)
        self.errors = Errors(longest_lost=[0])

    def run(self) -> Errors:
        for struck in self._performance.strikes[1:]:
            self.playing.advance(struck.at_ns)
            if struck.beat is not None:
                self._judge(struck, struck.beat)
            self.playing.strike(struck.at_ns)
        return self.errors

    def _judge(self, struck: Struck, beat: int) -> None:
        meant = self._performance.meant_ns
        beat_ns = meant[beat] - meant[beat - 1]
        first, last = self._performance.strikes[0], self._last
        errors, at_ns = self.errors, struck.at_ns
        found_ns = self._found_ns(beat, at_ns, beat_ns)
        errors.follower.append(abs(found_ns - at_ns) / beat_ns)
        errors.meant.append(abs(found_ns - struck.meant_ns) / beat_ns)
        errors.hand.append(abs(at_ns - struck.meant_ns) / beat_ns)
        constant_ns = first.at_ns + beat * self._told_ns
        errors.constant.append(abs(constant_ns - at_ns) / beat_ns)
        assert last.beat is not None, "only beats are kept"
        interval_ns = last.at_ns + (beat - last.beat) * self._interval_ns
        errors.last_interval.append(abs(interval_ns - at_ns) / beat_ns)
        off = self.playing.course.position(at_ns) % 1
        errors.played.append(min(off, 1 - off))
        self._interval_ns = (at_ns - last.at_ns) / (beat - last.beat)
        self._last = struck

    def _found_ns(self, beat: int, at_ns: int, beat_ns: float) -> float:
        """When the follower has the beat, by its own number; whether it slipped, or is lost."""
        follower, number = self.playing.follower, self._number
        place = follower.course_at(at_ns)[0].position(at_ns)
        nearest = floor(place + 0.5) - beat
        close = abs(follower.predicted_ns(beat + nearest) - at_ns) < 0.15 * beat_ns
        if nearest != number and (close or self._lost > 2):
            self.errors.slips += 1
            self._number = number = nearest
        found_ns = follower.predicted_ns(beat + number)
        self._lost = self._lost + 1 if abs(found_ns - at_ns) > LOST * beat_ns else 0
        self.errors.longest_lost[0] = max(self.errors.longest_lost[0], self._lost)
        return found_ns


def errors_of(player: Player, seeds: Sequence[int], lean: int = 100) -> Errors:
    """The errors of all runs of a player."""
    errors = Errors()
    for seed in seeds:
        errors.add(Judge(player.play(seed), lean).run())
    return errors


def percentile(values: list[float], part: float) -> float:
    """In per cent of a beat."""
    return 100 * sorted(values)[int(part * (len(values) - 1))]


class Found(NamedTuple):
    """Whether a player is found after some bars."""

    tempo: bool
    bar_line: bool


def found(performance: Performance, bars: int, lean: int = DEFAULT_LEAN) -> Found:
    """After the downbeat that ends so many bars."""
    playing, strikes = Playing.beginning(performance, lean), iter(performance.strikes[1:])
    struck, per_bar, meant = next(strikes, None), performance.beats_per_bar, performance.meant_ns
    downbeats = ((bars - 1) * per_bar, bars * per_bar)
    right = []
    for beat in downbeats:
        now_ns = meant[beat] + 0.2 * (meant[beat + 1] - meant[beat])
        while struck is not None and struck.at_ns < now_ns:
            playing.advance(struck.at_ns)
            playing.strike(struck.at_ns)
            struck = next(strikes, None)
        course, _ = playing.follower.course_at(round(now_ns))
        place = course.position(round(meant[beat])) % per_bar
        right.append(min(place, per_bar - place) < LOST)
    beat_ns = (meant[downbeats[1]] - meant[downbeats[0]]) / per_bar
    return Found(abs(course.beat_ns / beat_ns - 1) < 0.03, all(right))


def print_far_off(seeds: int) -> None:
    """The second table."""
    print(f"\n{'found, in a hundred runs':32}{'tempo after 8, 16':>20}{'bar line after 8, 16':>24}")
    for player in FAR_OFF:
        runs = [[found(player.play(seed), bars) for seed in range(seeds)] for bars in AFTER_BARS]
        tempo, line = (
            " ".join(f"{100 * sum(each[part] for each in run) // seeds:4}" for run in runs)
            for part in (0, 1)
        )
        print(f"{player.name:32}{tempo:>20}{line:>24}")


HEADINGS = (
    "player", "follower p50/p90", "meant", "hand", "played", "constant p50/p90",
    "last interval p50/p90", "ratios", "lost", "slips",
)  # fmt: skip


def row(name: str, errors: Errors) -> tuple[str, ...]:
    """One line of the table."""
    follower, constant = percentile(errors.follower, 0.5), percentile(errors.constant, 0.5)
    last = percentile(errors.last_interval, 0.5)
    long_lost = 100 * sum(run > 2 for run in errors.longest_lost) / len(errors.longest_lost)
    return (
        name,
        f"{follower:.1f} / {percentile(errors.follower, 0.9):.1f}",
        f"{percentile(errors.meant, 0.5):.1f}",
        f"{percentile(errors.hand, 0.5):.1f}",
        f"{percentile(errors.played, 0.5):.1f}",
        f"{constant:.1f} / {percentile(errors.constant, 0.9):.0f}",
        f"{last:.1f} / {percentile(errors.last_interval, 0.9):.1f}",
        f"{follower / constant:.2f} {follower / last:.2f}",
        f"{max(errors.longest_lost)} ({long_lost:.0f})",
        f"{100 * errors.slips / len(errors.follower):.2f}",
    )


def rows(seeds: int = SEEDS, lean: int = 100) -> Iterator[tuple[str, ...]]:
    """The table, a line for each kind of player, then all of them together."""
    together = Errors()
    for player in PLAYERS:
        errors = errors_of(player, range(seeds), lean)
        together.add(errors)
        yield row(player.name, errors)
    yield row("all", together)


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) == 2 else SEEDS
    print(f"{seeds} runs each; errors in per cent of a beat")
    for cells in (HEADINGS, *rows(seeds)):
        print(
            f"{cells[0]:27}"
            + "".join(
                f"{cell:>{width}}"
                for cell, width in zip(cells[1:], (18, 7, 6, 8, 18, 23, 11, 9, 7), strict=True)
            )
        )
    print_far_off(seeds)


if __name__ == "__main__":
    main()
