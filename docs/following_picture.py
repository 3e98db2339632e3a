"""Make the picture of a tempo that is followed: `python docs/following_picture.py`.

A simulated player (`benchmarks/simulated_players.py`) speeds up and slows down by a fifth, leaves
chords out and plays others in passing. Above: the tempo that the player has, the one that is
estimated after each strike, and the one that is played. Below: how far each is off the beats
that the player means. The same program makes the same picture.
"""

import sys
from itertools import pairwise
from pathlib import Path

BENCHMARKS = Path(__file__).resolve().parent.parent / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))

from following import Playing  # noqa: E402 - found by the line above
from ripieno.units import NS_PER_MINUTE, NS_PER_S  # noqa: E402
from simulated_players import Performance, Player  # noqa: E402

FILE = Path(__file__).parent / "pictures" / "following.svg"
LEAN = 100
SEED = 5
WIDTH, LEFT, RIGHT = 960, 64, 16
TEMPO_TOP, TEMPO_BOTTOM = 64, 300
OFF_TOP, OFF_BOTTOM = 372, 492
STRIKES = 336
HEIGHT = 540
OFF_MOST = 20.0  # per cent of a beat
PLAYER, ESTIMATE, PLAYED, EXTRA, INK, PALE = (
    "#888888", "#c2410c", "#1d4ed8", "#b91c1c", "#222222", "#dddddd",
)  # fmt: skip

Point = tuple[float, float]  # seconds, and a tempo or an error


def fifth_up_and_back(_luck: object, beats: int, per_bar: int) -> list[float]:
    """Four bars steady, four bars up by a fifth, four bars of that, four back, and steady."""
    lengths = [4 * per_bar] * 4
    goals = [1.0, 1.2, 1.2, 1.0]
    tempo, now = [], 1.0
    for length, goal in zip(lengths, goals, strict=True):
        tempo += [now + (goal - now) * (step + 1) / length for step in range(length)]
        now = goal
    return (tempo + [now] * beats)[:beats]


def played(performance: Performance) -> tuple[list[Point], list[Point], list[Point], list[Point]]:
    """Tempo estimated, tempo played, and how early or late the beats of each are."""
    playing = Playing.beginning(performance, LEAN)
    estimates, late_estimates, late_played = [], [], []
    start_ns = performance.strikes[0].at_ns
    for struck in performance.strikes[1:]:
        playing.advance(struck.at_ns)
        if struck.beat is not None:
            meant = performance.meant_ns[struck.beat]
            beat_ns = meant - performance.meant_ns[struck.beat - 1]
            seconds = (struck.at_ns - start_ns) / NS_PER_S
            expected = playing.follower.predicted_ns(struck.beat)
            late_estimates.append((seconds, 100 * (expected - meant) / beat_ns))
            heard = playing.course.due_ns(struck.beat)
            late_played.append((seconds, 100 * (heard - meant) / beat_ns))
        playing.strike(struck.at_ns)
        course = playing.follower.course
        estimates.append(((struck.at_ns - start_ns) / NS_PER_S, NS_PER_MINUTE / course.beat_ns))
    heard_tempo = [
        ((course.at_ns - start_ns) / NS_PER_S, NS_PER_MINUTE / course.beat_ns)
        for course in playing.heard
    ]
    return estimates, heard_tempo, late_estimates, late_played


class Drawing:
    """An SVG in which time goes from left to right."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self.parts: list[str] = []

    def x(self, seconds: float) -> float:
        return LEFT + seconds / self._seconds * (WIDTH - LEFT - RIGHT)

    def line(self, x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> None:
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
            f'stroke="{colour}" stroke-width="{width}"/>'
        )

    def text(
        self, x: float, y: float, words: str, anchor: str = "start", colour: str = INK
    ) -> None:
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}">{words}</text>'
        )

    def curve(self, points: list[Point], colour: str, width: float, *, steps: bool) -> None:
        corners = []
        for (x, y), (following, _) in pairwise([*points, (points[-1][0], 0.0)]):
            corners.append((x, y))
            if steps:
                corners.append((following, y))
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
        self.parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}" '
            'stroke-linejoin="round"/>'
        )

    def svg(self) -> str:
        return "\n".join((
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
            'font-family="sans-serif" font-size="13">',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
            *self.parts, "</svg>", "",
        ))  # fmt: skip


def draw(performance: Performance) -> str:
    estimates, heard, late_estimates, late_played = played(performance)
    start_ns = performance.strikes[0].at_ns
    meant = [(at - start_ns) / NS_PER_S for at in performance.meant_ns]
    drawing = Drawing(meant[-1])
    true_tempo = [(at, 60 / (after - at)) for at, after in pairwise(meant)]
    _tempo(drawing, true_tempo, estimates, heard)
    _strikes(drawing, performance, meant)
    _off(drawing, late_estimates, late_played)
    return drawing.svg()


def _tempo(
    drawing: Drawing, player: list[Point], estimates: list[Point], heard: list[Point]
) -> None:
    low = 10 * (min(bpm for _, bpm in (*player, *heard)) // 10)
    high = 10 * (max(bpm for _, bpm in (*player, *heard)) // 10 + 1)

    def y(bpm: float) -> float:
        return TEMPO_BOTTOM - (bpm - low) / (high - low) * (TEMPO_BOTTOM - TEMPO_TOP)

    drawing.text(LEFT, 22, "Beats a minute")
    for place, (words, colour) in enumerate((
        ("the player", PLAYER), ("estimated at each strike", ESTIMATE), ("played", PLAYED),
    )):  # fmt: skip
        x = LEFT + 150 + 210 * place
        drawing.line(x, 18, x + 28, 18, colour, 3)
        drawing.text(x + 36, 22, words)
    for bpm in range(int(low), int(high) + 1, 10):
        drawing.line(LEFT, y(bpm), WIDTH - RIGHT, y(bpm), PALE, 1)
        drawing.text(LEFT - 8, y(bpm) + 4, f"{bpm}", "end")
    for points, colour, width in (
        (player, PLAYER, 3),
        (heard, PLAYED, 1.5),
        (estimates, ESTIMATE, 1.5),
    ):
        found = [(drawing.x(at), y(bpm)) for at, bpm in points]
        drawing.curve(found, colour, width, steps=True)


def _strikes(drawing: Drawing, performance: Performance, meant: list[float]) -> None:
    """Each strike: on a beat a tall mark, in passing a short one; a circle where none came."""
    start_ns = performance.strikes[0].at_ns
    drawing.text(LEFT - 8, STRIKES + 4, "strikes", "end")
    for struck in performance.strikes:
        x = drawing.x((struck.at_ns - start_ns) / NS_PER_S)
        if struck.beat is None:
            drawing.line(x, STRIKES - 4, x, STRIKES + 4, EXTRA, 3)
        else:
            drawing.line(x, STRIKES - 10, x, STRIKES + 10, INK, 1.5)
    found = {struck.beat for struck in performance.strikes}
    for beat in range(len(meant) - 1):
        if beat not in found:
            drawing.parts.append(
                f'<circle cx="{drawing.x(meant[beat]):.1f}" cy="{STRIKES}" r="3.5" '
                f'fill="none" stroke="{INK}"/>'
            )


def _off(drawing: Drawing, estimates: list[Point], heard: list[Point]) -> None:
    middle = (OFF_TOP + OFF_BOTTOM) / 2
    scale = (OFF_BOTTOM - OFF_TOP) / 2 / OFF_MOST

    def y(per_cent: float) -> float:
        return middle - max(-OFF_MOST, min(OFF_MOST, per_cent)) * scale

    for per_cent in (-20, -10, 0, 10, 20):
        drawing.line(LEFT, y(per_cent), WIDTH - RIGHT, y(per_cent), PALE, 1)
        drawing.text(LEFT - 8, y(per_cent) + 4, f"{per_cent:+d}" if per_cent else "0", "end")
    for points, colour in ((heard, PLAYED), (estimates, ESTIMATE)):
        for at, per_cent in points:
            drawing.parts.append(
                f'<circle cx="{drawing.x(at):.1f}" cy="{y(per_cent):.1f}" r="2.5" fill="{colour}"/>'
            )
    drawing.text(
        LEFT, HEIGHT - 14, "How late each beat is foreseen and played, in per cent of a beat."
    )
    drawing.text(
        WIDTH - RIGHT, HEIGHT - 14, "Red: chords in passing. Circles: chords left out.", "end"
    )


def main() -> None:
    player = Player("picture", fifth_up_and_back, missed=0.08, extra=0.08, bars=20)
    FILE.write_text(draw(player.play(SEED)), encoding="utf-8")
    sys.stdout.write(f"{FILE}\n")


if __name__ == "__main__":
    main()
