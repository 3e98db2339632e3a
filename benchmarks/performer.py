"""How long the performer takes for one event or one instant: `python benchmarks/performer.py`.

A player presses chords of three and four keys, another every 0.9 s, mostly new ones; every
eighth is the first after a stop, and the style is set anew after every twentieth. The performer
is driven as the real-time loop drives it, in virtual time, and each call is timed for itself:

- key: `handle` of a key after which the strike is not complete
- last key: `handle` of the key that completes it, the chord being read and voiced with it
- strike: that and the `advance` at the same instant, where this strikes notes
- step, ends: an `advance` that strikes notes of the figure; that only releases some
- nothing: an `advance` before anything is due
- next: `next_due_ns` after a strike, when its notes have been sent
- switch: `handle` of another style, in the middle of a chord

Three states. Warm: all chords and progressions have been met before. Rested: the same, but
before each measured call a walk through memory has emptied the processor's caches, as other
programs do while the loop waits. New: all that was remembered of chords is forgotten before each
strike.

At last, new processes: the very first strike after a start, with and without `warm` before it.

Times are microseconds of one call by `perf_counter_ns`; `x bare` is the median over that of
calling a function that looks one chord up and answers with one message, measured in the same
run. Collection of garbage is off, as it is while the program plays.
"""

import gc
import random
import subprocess
import sys
from collections.abc import Callable
from statistics import median
from time import perf_counter_ns
from typing import TypeVar

from ripieno.perform.events import KeyDown, KeyUp, Send, SetStyle, Stop
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.perform.warming import warm
from ripieno.style.load import load_style
from ripieno.style.model import COMMON_TIME, Style
from ripieno.style.shipped import shipped_styles
from ripieno.units import NS_PER_MS, ns_from_ms

CHORDS = 160
GAP_MS, SPREAD_MS, HELD_MS = 900, 8, 700
SHAPES = ((0, 4, 7), (0, 3, 7), (0, 5, 9), (0, 3, 8), (0, 4, 7, 10), (0, 3, 7, 10), (0, 4, 7, 11))
PROCESSES = 15

KINDS = ("key", "last key", "strike", "step", "ends", "nothing", "next", "switch")
Times = dict[str, list[float]]
Argument = TypeVar("Argument")
Answer = TypeVar("Answer")


class Player:
    """One performer and the instant it has come to; `before_*` unsettle it."""

    def __init__(
        self,
        styles: list[Style],
        *,
        before_call: Callable[[], object] = int,
        before_chord: Callable[[], object] = int,
    ) -> None:
        self._styles = styles
        self._performer = Performer(Settings(), styles[0])
        self._before_call = before_call
        self._before_chord = before_chord
        self._now_ns = 0
        self.times: Times = {kind: [] for kind in KINDS}

    def play(self, seed: int, count: int = CHORDS) -> Times:
        rng = random.Random(seed)
        for number in range(count):
            if number % 8 == 7:
                self._performer.handle(Stop(self._now_ns))
            root = rng.randrange(43, 67)
            self._strike([root + above for above in rng.choice(SHAPES)])
            if number % 20 == 19:
                style = self._styles[number // 20 % len(self._styles)]
                self._timed("switch", self._performer.handle, SetStyle(self._now_ns, style))
        return self.times

    def _strike(self, keys: list[int]) -> None:
        self._before_chord()
        start_ns = self._now_ns
        for place, key in enumerate(keys):
            self._run_to(start_ns + place * ns_from_ms(SPREAD_MS))
            down = KeyDown(self._now_ns, key, 80)
            if place == 2:
                self._complete(down)
            else:
                self._timed("key" if place < 2 else None, self._performer.handle, down)
        self._run_to(start_ns + ns_from_ms(HELD_MS))
        for key in keys:
            self._performer.handle(KeyUp(self._now_ns, key))
        self._run_to(start_ns + ns_from_ms(GAP_MS))

    def _complete(self, down: KeyDown) -> None:
        sends, key_us = self._timed("last key", self._performer.handle, down)
        more, rest_us = self._timed(None, self._performer.advance, self._now_ns)
        if _strikes(sends + more):
            self.times["strike"].append(key_us + rest_us)
            self._timed("next", lambda _: self._performer.next_due_ns(), None)

    def _run_to(self, end_ns: int) -> None:
        """Every instant on the way, each at its own time."""
        while (due_ns := self._performer.next_due_ns()) is not None and due_ns <= end_ns:
            if due_ns > self._now_ns + NS_PER_MS:
                self._timed("nothing", self._performer.advance, due_ns - NS_PER_MS)
            sends, took_us = self._timed(None, self._performer.advance, due_ns)
            if _strikes(sends):
                self.times["step"].append(took_us)
            elif any(send.data[0] & 0xF0 == 0x80 for send in sends):
                self.times["ends"].append(took_us)
            self._now_ns = due_ns
        self._now_ns = end_ns

    def _timed(
        self, kind: str | None, call: Callable[[Argument], Answer], argument: Argument
    ) -> tuple[Answer, float]:
        self._before_call()
        start = perf_counter_ns()
        answer = call(argument)
        took_us = (perf_counter_ns() - start) / 1000
        if kind is not None:
            self.times[kind].append(took_us)
        return answer, took_us


def _strikes(sends: list[Send]) -> bool:
    return any(send.data[0] & 0xF0 == 0x90 for send in sends)


def forget() -> None:
    """Empty every table of what was met before, as after a start without `warm`."""
    for name, module in sys.modules.items():
        if name.startswith("ripieno."):
            for thing in vars(module).values():
                if hasattr(thing, "cache_clear"):
                    thing.cache_clear()


_MEMORY = bytes(4 << 20)


def rest() -> None:
    """Walk through more memory than the caches nearest to the processor hold."""
    _MEMORY.count(1)


def density(style: Style) -> float:
    """Struck steps a quarter note, both hands together."""
    figure = style.figure_for(COMMON_TIME)
    lanes = [lane for lane in (figure.left, figure.right) if lane is not None]
    return float(sum(sum(bool(s.plays) for s in ln.steps) / ln.cycle_quarters for ln in lanes))


def bare_us() -> float:
    """The median of a call that looks one chord up and answers with one message."""
    table = {above: bytes((0x90, above % 128, 80)) for above in range(2048)}

    def answer(above: int) -> list[Send]:
        return [Send(0, table[above])]

    taken = []
    for above in range(2048):
        start = perf_counter_ns()
        answer(above)
        taken.append((perf_counter_ns() - start) / 1000)
    return median(taken)


def report(name: str, times: Times, bare: float) -> None:
    for kind, taken in times.items():
        if taken:
            taken.sort()
            cuts = [taken[int(len(taken) * part)] for part in (0.5, 0.99, 0.999)]
            figures = "".join(f"{us:9.1f}" for us in (*cuts, taken[-1]))
            print(f"{name:28}{kind:9}{len(taken):7}{figures}{cuts[0] / bare:9.0f}", flush=True)


def played(styles: list[Style], count: int = CHORDS, **unsettled: Callable[[], object]) -> Times:
    """What each of the styles takes; now and then it changes to the next of them.

    Unless chords are forgotten, all has been played once before.
    """
    times: Times = {kind: [] for kind in KINDS}
    for number in range(len(styles)):
        order = styles[number:] + styles[:number]
        if "before_chord" not in unsettled:
            Player(order).play(number, count)
        for kind, taken in Player(order, **unsettled).play(number, count).items():
            times[kind] += taken
    return times


def first_us(style: Style, *, warmed: bool) -> float:
    """The first strike there ever is in this process."""
    if warmed:
        warm(Settings(), style)
    performer = Performer(Settings(), style)
    for place, key in enumerate((60, 64)):
        performer.handle(KeyDown(place * NS_PER_MS, key, 80))
    down = KeyDown(2 * NS_PER_MS, 67, 80)
    start = perf_counter_ns()
    performer.handle(down)
    performer.advance(down.at_ns)
    return (perf_counter_ns() - start) / 1000


def timed_ms(call: Callable[[], object]) -> float:
    start = perf_counter_ns()
    call()
    return (perf_counter_ns() - start) / NS_PER_MS


def in_new_processes(style: str, state: str) -> list[float]:
    command = [sys.executable, __file__, style, state]
    return [float(subprocess.check_output(command)) for _ in range(PROCESSES)]


def main() -> None:
    gc.disable()
    by_id = {path.stem: load_style(path) for path in shipped_styles()}
    if len(sys.argv) == 3:  # a new process, started by `in_new_processes`
        print(first_us(by_id[sys.argv[1]], warmed=sys.argv[2] == "warmed"))
        return
    styles = sorted(by_id.values(), key=density)
    bare = bare_us()
    print(f"bare call {bare:.2f} us; lightest style {styles[0].id}, densest {styles[-1].id}")
    print(f"{'':39}{'count':>7}{'median':>9}{'p99':>9}{'p99.9':>9}{'max':>9}{'x bare':>9}")
    for name, chosen in (("lightest", styles[:1]), ("densest", styles[-1:]), ("all", styles)):
        rounds = len(styles) // len(chosen)
        report(f"warm, {name}", played(chosen * min(rounds, 10)), bare)
        report(f"rested, {name}", played(chosen, CHORDS // 4, before_call=rest), bare)
        report(f"new, {name}", played(chosen, CHORDS // 2, before_chord=forget), bare)
    for style in (styles[0], styles[-1]):
        took = timed_ms(lambda style=style: warm(Settings(), style))
        print(f"warm takes {took:.0f} ms for {style.id}, after all of the above")
        for state in ("unwarmed", "warmed"):
            times = {"strike": in_new_processes(style.id, state)}
            report(f"{state}, {style.id}", times, bare)


if __name__ == "__main__":
    main()
