"""Styles written for the tests, and ways to read them."""

from pathlib import Path

from ripieno.style.load import StyleError, load_style

TRIPLETS = """\
name: Triplets over a bass
use: Slow songs that need motion.
suits: [gig, learner]
hands:
  left:
    tones: [root, octave]
    around: C3
  right:
    tones: [root, third, fifth]
    inversion: second
    around: E5
figures:
  - meters: [4/4, 3/4]
    left:
      every: 1/4
      steps: [bottom]
    right:
      every: 1/12
      steps: [top, bottom, middle]
suspend: {tone: fourth, lasts: 1/2}
pedal: none
touch: {left: -8, top: 6, unevenness: 3}
swing: eighths
"""

SHORTEST = """\
name: Chords
use: Rehearsals.
suits: [studio]
hands:
  right: {tones: [root, third, fifth], around: 60}
figures:
  - meters: [4/4]
    right: {every: 1/1, begins: strike, repeats: false, steps: [all]}
"""

FREE = """\
name: Free
use: Trying out every form a step has.
suits: [gig, learner, studio]
hands:
  left: {tones: [root, [seventh, sixth, fifth], octave], inversion: nearest, around: Bb2}
figures:
  - meters: [4/4]
    left:
      every: 1/8
      length: 0.75
      roll: 12.5
      steps: [{play: [bottom, seventh], lasts: 2, accent: -3}, hold, rest, 3,
              [root, top], hold, hold, upper]
  - meters: [6/8]
    left: {every: 3/16, begins: strike, length: 2/3, steps: [middle, rest]}
"""


def faults_of(folder: Path, text: str | bytes, name: str = "spoiled.yaml") -> list[str]:
    """`line:column: message` of every fault; no style may come of the text."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    try:
        style = load_style(path)
    except StyleError as error:
        lines = str(error).splitlines()
        assert lines
        assert all(line.startswith(f"{path}:") for line in lines)
        return [line.removeprefix(f"{path}:") for line in lines]
    raise AssertionError(f"it loaded: {style}")


def changed(old: str, new: str, text: str = TRIPLETS) -> str:
    """The text with one place in it replaced."""
    assert text.count(old) == 1, old
    return text.replace(old, new)
