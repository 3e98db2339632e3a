"""ripieno: plain chords in, a full two-hand accompaniment out."""

__version__ = "0.1.0"
