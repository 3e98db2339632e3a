"""The performer that nobody hears."""

import tracemalloc

import pytest

from rig import STYLE_IDS, Rig
from ripieno.perform.settings import Settings
from ripieno.perform.understudy import Understudy


@pytest.mark.parametrize("style", STYLE_IDS)
def test_it_plays_any_style_for_as_long_as_it_is_asked(style: str) -> None:
    understudy = Understudy(Settings(), Rig(style).style)
    for turn in range(60):
        understudy.step() if turn % 7 else understudy.chord()


def test_it_gathers_nothing_however_long_it_plays() -> None:
    understudy = Understudy(Settings(), Rig("rippling-sixteenths").style)

    def play() -> None:
        for turn in range(2000):
            understudy.step() if turn % 9 else understudy.chord()

    play()
    tracemalloc.start()
    try:
        play()
        before, _ = tracemalloc.get_traced_memory()
        play()
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert after - before < 20_000
