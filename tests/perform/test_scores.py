"""Whole passages of the literature come out of the figure engine, note for note.

The scores are those of music21's corpus: J. S. Bach, Prelude BWV 846 (bars 1-31, five voices in
the order 0 1 2 3 4 2 3 4) and W. A. Mozart, Sonata K. 545, first movement (bars 1-4, left hand,
lowest, highest, middle, highest). Each half bar's notes are the voicing; the shipped figures
'prelude' and 'alberti' do the rest.
"""

from fractions import Fraction
from random import Random

import pytest

from rig import STYLES, notes_in
from ripieno.arrange.voicing import HandVoicing
from ripieno.perform.events import Send
from ripieno.perform.hand_player import Bound, HandPlayer
from ripieno.perform.ledger import Ledger
from ripieno.perform.outbox import Outbox
from ripieno.perform.transport import Transport
from ripieno.style.load import load_style
from ripieno.style.model import Lane, Meter, Tone, Touch
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS

corpus = pytest.importorskip("music21.corpus", reason="needs music21, in the extra 'test'")

NS_PER_QUARTER = 600 * NS_PER_MS
HALF_BAR = Fraction(2)

Score = list[tuple[Fraction, Fraction, int]]  # onset, length (quarters), note


def score(name: str, parts: list[int], bars: int) -> Score:
    """The notes of some parts of the first `bars` bars, tied notes joined."""
    found: Score = []
    for part in parts:
        measures = corpus.parse(name).parts[part].measures(1, bars).stripTies()
        for element in measures.flatten().notes:
            onset, length = Fraction(element.offset), Fraction(element.quarterLength)
            found += [(onset, length, pitch.midi) for pitch in element.pitches]
    return sorted(found)


def half_bars(notes: Score) -> list[list[int]]:
    """What sounds in each half bar, ascending."""
    last = max(onset for onset, _, _ in notes)
    groups: list[set[int]] = [set() for _ in range(int(last // HALF_BAR) + 1)]
    for onset, _, note in notes:
        groups[int(onset // HALF_BAR)].add(note)
    return [sorted(group) for group in groups]


def played(lane: Lane, side: Side, voicings: list[list[int]]) -> Score:
    """The lane over a voicing each half bar."""
    transport = Transport(0, Fraction(0), Fraction(NS_PER_QUARTER), Meter(4, 4))
    hand = HandPlayer(side, lane, Touch(), None, Random(1))
    out = Outbox(Ledger(), 0)
    sends: list[Send] = []
    hand.start(transport, Fraction(0), Fraction(0))
    for half, notes in enumerate(voicings):
        bound = Bound(half, HandVoicing(tuple(notes), (Tone.ROOT,) * len(notes)), 80)
        until_ns = transport.due_ns((half + 1) * HALF_BAR)
        while True:
            due_ns = min(d for d in (hand.step_due_ns, hand.note_due_ns) if d is not None)
            if due_ns >= until_ns:
                break
            hand.end_notes(due_ns, out)
            if hand.step_due_ns == due_ns:
                hand.step(due_ns, bound, out)
            sends += out.flush(due_ns)
    hand.end_notes(until_ns, out)
    sends += out.flush(until_ns)
    quarter_ms = NS_PER_QUARTER / NS_PER_MS
    return sorted(
        (Fraction(n.ms / quarter_ms).limit_denominator(96),
         Fraction(n.length_ms / quarter_ms).limit_denominator(96), n.note)
        for n in notes_in(sends)
    )  # fmt: skip


def lanes(style: str) -> tuple[Lane | None, Lane | None]:
    figure = load_style(STYLES / f"{style}.yaml").figure_for(Meter(4, 4))
    return figure.left, figure.right


def test_bwv_846_comes_out_of_the_prelude_figure_note_for_note() -> None:
    expected = score("bach/bwv846", [0, 1], 31)
    voicings = half_bars(expected)
    assert len(voicings) == 62
    assert all(len(notes) == 5 for notes in voicings)
    left, right = lanes("prelude")
    assert left is not None
    assert right is not None
    result = played(left, Side.LEFT, [notes[:2] for notes in voicings])
    result += played(right, Side.RIGHT, [notes[2:] for notes in voicings])
    assert sorted(result) == expected


def test_the_left_hand_of_k_545_comes_out_of_the_alberti_figure_note_for_note() -> None:
    expected = score("mozart/k545/movement1_exposition", [1], 4)
    voicings = half_bars(expected)
    assert [len(notes) for notes in voicings] == [3] * 8
    left, _ = lanes("alberti")
    assert left is not None
    assert played(left, Side.LEFT, voicings) == expected
