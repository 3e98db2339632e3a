"""Warming: what is met before the first key, and that nobody hears it."""

from hypothesis import given, settings
from hypothesis import strategies as st

from rig import C4, E4, G4, STYLE_IDS, STYLES, Rig
from ripieno.arrange import voicing
from ripieno.perform import chord_on
from ripieno.perform.settings import Settings
from ripieno.perform.warming import warm
from ripieno.style.load import load_style
from ripieno.theory import recognize as recognition
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.recognize import recognize


def forget() -> None:
    for table in (recognition._ways, recognition._plain, voicing._ways, voicing._stacks):
        table.cache_clear()
    chord_on._voice_again.cache_clear()


@settings(max_examples=20)
@given(style=st.sampled_from(STYLE_IDS), seed=st.integers(0, 9))
def test_what_is_played_after_warming_is_what_is_played_without(style: str, seed: int) -> None:
    rig = Rig(style, seed=seed)
    rig.chord(0, C4, E4, G4, until_ms=900)
    rig.chord(1000, C4 + 5, E4 + 5, G4 + 5, until_ms=1900)
    forget()
    cold = rig.sends(3000)
    warm(rig.settings, rig.style)
    assert rig.sends(3000) == cold


def test_after_warming_no_triad_or_seventh_chord_is_worked_out_anew() -> None:
    forget()
    style = load_style(STYLES / "smooth-chords.yaml")
    warm(Settings(), style)
    tables = (recognition._ways, recognition._plain, voicing._ways, voicing._stacks)
    met = [table.cache_info().misses for table in tables]
    for quality in ("maj", "min", "dim", "7", "min7", "maj7"):
        for root in range(12):
            keys = [48 + root + above for above in QUALITIES[quality].semitones]
            assert recognize(keys).chord == Chord(root, QUALITIES[quality], root)
            voicing.voice(style.left, style.right, recognize(keys).chord)
    assert [table.cache_info().misses for table in tables] == met
