"""Chords: a quality on a root over a bass."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quality:
    """What a chord is, apart from its root.

    `degrees` and `semitones` run in parallel, the root first, in the order a chord symbol
    stacks them (1 3 5 7 9 ...; a sixth stands after the fifth). Degrees are 1..13; semitones
    are above the root, reduced to 0..11.
    """

    id: str  # as journals and JSON write it: "maj", "min7"
    suffix: str  # as a chord symbol writes it after the root: "", "m7"
    harte: str  # as Harte et al. 2005 write it after the colon: "maj", "min7", "sus4(b7)"
    degrees: tuple[int, ...]
    semitones: tuple[int, ...]

    def above_root(self, *degrees: int) -> int | None:
        """Semitones of the first of `degrees` that the quality has; None if it has none."""
        for degree in degrees:
            if degree in self.degrees:
                return self.semitones[self.degrees.index(degree)]
        return None


_SEVENTH = 7  # the highest degree whose place in the bass is an inversion


@dataclass(frozen=True, slots=True)
class Chord:
    """A quality on a root. `root` and `bass` are pitch classes.

    `added` are semitones above the root (1..11, ascending) that the keys hold beyond the
    quality; `omitted` are degrees of the quality that the keys left out (ascending).
    A bass outside the quality stands in `added` as well.
    """

    root: int
    quality: Quality
    bass: int
    added: tuple[int, ...] = ()
    omitted: tuple[int, ...] = ()

    @property
    def pitch_classes(self) -> frozenset[int]:
        """All of the quality's, those left out too, what is added, and the bass."""
        above = (*self.quality.semitones, *self.added)
        return frozenset({self.bass, *[(self.root + semitones) % 12 for semitones in above]})

    @property
    def bass_degree(self) -> int | None:
        """The degree of the quality that is in the bass; None when the bass is added."""
        above = (self.bass - self.root) % 12
        if above not in self.quality.semitones:
            return None
        return self.quality.degrees[self.quality.semitones.index(above)]

    @property
    def inversion(self) -> int:
        """0 for root position, 1 with the third in the bass ...

        0 too when the bass is added, or a ninth, eleventh or thirteenth: see `recognize`.
        """
        degree = self.bass_degree
        return self.quality.degrees.index(degree) if degree and degree <= _SEVENTH else 0


# Every quality that is read, triads before sevenths before what stands on them.
# Tone sets are those on which music21 10.5, pychord 1.4 and mingus 0.6 agree. Where they do
# not, ours follow music21 and pychord: stacked chords are complete (11 = 1 3 5 b7 9 11,
# 13 = 1 3 5 b7 9 11 13; mingus leaves out the third, ninth or eleventh), maj7#5 has a major
# seventh (mingus: minor), 6/9 is read as one quality (pychord: a slash chord). "C2" and
# "C4", which they read in two ways each, are not written; sus2, add9, sus4 and add11 are.
# Harte's shorthand is that of ISMIR 2005 with the later sus2, 1, 5, 11 and 13. The
# (b5) triad, m69, m7add11 and 13#11 are in pychord's table; madd11 is common practice, no source.
_ROWS = (
    Quality("maj", "", "maj", (1, 3, 5), (0, 4, 7)),
    Quality("min", "m", "min", (1, 3, 5), (0, 3, 7)),
    Quality("dim", "dim", "dim", (1, 3, 5), (0, 3, 6)),
    Quality("aug", "aug", "aug", (1, 3, 5), (0, 4, 8)),
    Quality("majb5", "(b5)", "(3,b5)", (1, 3, 5), (0, 4, 6)),
    Quality("sus2", "sus2", "sus2", (1, 2, 5), (0, 2, 7)),
    Quality("sus4", "sus4", "sus4", (1, 4, 5), (0, 5, 7)),
    Quality("5", "5", "5", (1, 5), (0, 7)),
    Quality("1", "(no3,no5)", "1", (1,), (0,)),
    Quality("6", "6", "maj6", (1, 3, 5, 6), (0, 4, 7, 9)),
    Quality("min6", "m6", "min6", (1, 3, 5, 6), (0, 3, 7, 9)),
    Quality("7", "7", "7", (1, 3, 5, 7), (0, 4, 7, 10)),
    Quality("maj7", "maj7", "maj7", (1, 3, 5, 7), (0, 4, 7, 11)),
    Quality("min7", "m7", "min7", (1, 3, 5, 7), (0, 3, 7, 10)),
    Quality("minmaj7", "mMaj7", "minmaj7", (1, 3, 5, 7), (0, 3, 7, 11)),
    Quality("hdim7", "m7b5", "hdim7", (1, 3, 5, 7), (0, 3, 6, 10)),
    Quality("dim7", "dim7", "dim7", (1, 3, 5, 7), (0, 3, 6, 9)),
    Quality("aug7", "7#5", "aug(b7)", (1, 3, 5, 7), (0, 4, 8, 10)),
    Quality("maj7#5", "maj7#5", "aug(7)", (1, 3, 5, 7), (0, 4, 8, 11)),
    Quality("7b5", "7b5", "(3,b5,b7)", (1, 3, 5, 7), (0, 4, 6, 10)),
    Quality("7sus4", "7sus4", "sus4(b7)", (1, 4, 5, 7), (0, 5, 7, 10)),
    Quality("add9", "add9", "maj(9)", (1, 3, 5, 9), (0, 4, 7, 2)),
    Quality("madd9", "m(add9)", "min(9)", (1, 3, 5, 9), (0, 3, 7, 2)),
    Quality("add11", "add11", "maj(11)", (1, 3, 5, 11), (0, 4, 7, 5)),
    Quality("madd11", "m(add11)", "min(11)", (1, 3, 5, 11), (0, 3, 7, 5)),
    Quality("69", "6/9", "maj6(9)", (1, 3, 5, 6, 9), (0, 4, 7, 9, 2)),
    Quality("min69", "m6/9", "min6(9)", (1, 3, 5, 6, 9), (0, 3, 7, 9, 2)),
    Quality("9", "9", "9", (1, 3, 5, 7, 9), (0, 4, 7, 10, 2)),
    Quality("maj9", "maj9", "maj9", (1, 3, 5, 7, 9), (0, 4, 7, 11, 2)),
    Quality("min9", "m9", "min9", (1, 3, 5, 7, 9), (0, 3, 7, 10, 2)),
    Quality("9sus4", "9sus4", "sus4(b7,9)", (1, 4, 5, 7, 9), (0, 5, 7, 10, 2)),
    Quality("7b9", "7b9", "7(b9)", (1, 3, 5, 7, 9), (0, 4, 7, 10, 1)),
    Quality("7#9", "7#9", "7(#9)", (1, 3, 5, 7, 9), (0, 4, 7, 10, 3)),
    Quality("7#11", "7#11", "7(#11)", (1, 3, 5, 7, 11), (0, 4, 7, 10, 6)),
    Quality("maj7#11", "maj7#11", "maj7(#11)", (1, 3, 5, 7, 11), (0, 4, 7, 11, 6)),
    Quality("min7add11", "m7(add11)", "min7(11)", (1, 3, 5, 7, 11), (0, 3, 7, 10, 5)),
    Quality("11", "11", "11", (1, 3, 5, 7, 9, 11), (0, 4, 7, 10, 2, 5)),
    Quality("maj11", "maj11", "maj9(11)", (1, 3, 5, 7, 9, 11), (0, 4, 7, 11, 2, 5)),
    Quality("min11", "m11", "min11", (1, 3, 5, 7, 9, 11), (0, 3, 7, 10, 2, 5)),
    Quality("13", "13", "13", (1, 3, 5, 7, 9, 11, 13), (0, 4, 7, 10, 2, 5, 9)),
    Quality("13#11", "13#11", "9(#11,13)", (1, 3, 5, 7, 9, 11, 13), (0, 4, 7, 10, 2, 6, 9)),
    Quality("maj13", "maj13", "maj13", (1, 3, 5, 7, 9, 11, 13), (0, 4, 7, 11, 2, 5, 9)),
    Quality("min13", "m13", "min13", (1, 3, 5, 7, 9, 11, 13), (0, 3, 7, 10, 2, 5, 9)),
)
QUALITIES = {row.id: row for row in _ROWS}
