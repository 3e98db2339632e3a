"""The figures that are measured, each with what it means in one sentence."""

from dataclasses import dataclass

from ripieno.units import NS_PER_MS

STRIKE_FIRST = "strike-to-first-note"
STRIKE_LAST = "strike-to-last-note"
SPREAD_FIRST = "spread-strike-to-first-note"
SPREAD_LAST = "spread-strike-to-last-note"
PASS_THROUGH = "pass-through"
SCHEDULING = "scheduling-error"
INPUT_SPREAD = "input-spread"
TRIP_FIRST = "round-trip-first-note"
TRIP_LAST = "round-trip-last-note"
TRIP_PASS = "round-trip-pass-through"
BARE = "bare-path"

# What comes later than this is counted as late: the delay that players accept at most
# (Wessel & Wright 2002).
LATE_NS = 10 * NS_PER_MS
# What has not come after this is lost.
TIME_OUT_NS = 1000 * NS_PER_MS


@dataclass(frozen=True, slots=True)
class Sample:
    """One measurement, and the monotonic instant at which it began."""

    figure: str
    at_ns: int
    value_ns: int


# By the stamps of the engine: from a message's arrival in the program to the instant at which
# the port had taken what answers it. This is all that the program itself adds.
DEFINITIONS = {
    STRIKE_FIRST: "from the arrival of the chord's last key in the engine until the port has "
    "taken the first note that answers it",
    STRIKE_LAST: "from the arrival of the chord's last key in the engine until the port has "
    "taken the last note due with the first",
    SPREAD_FIRST: "as strike-to-first-note, for chords whose keys come 10 ms apart",
    SPREAD_LAST: "as strike-to-last-note, for chords whose keys come 10 ms apart",
    PASS_THROUGH: "from the arrival of a melody key in the engine until the port has taken it",
    SCHEDULING: "of each note of a running figure: the instant at which the port had taken it "
    "minus the instant at which it was due",
    INPUT_SPREAD: "from the first to the last key of a chord as you press it, by their arrival "
    "in the engine",
    TRIP_FIRST: "from sending the chord's last key into the MIDI system until the first note "
    "that answers it has come back",
    TRIP_LAST: "from sending the chord's last key into the MIDI system until the last note that "
    "answers it has come back",
    TRIP_PASS: "from sending a melody key into the MIDI system until it has come back through "
    "the engine",
}

# The same road without the program, which differs by the path.
BARE_DEFINITIONS = {
    "in-process": "from one thread's putting a message into a queue until another has it",
    "midi": "from sending a message into the MIDI system until it has come back through a "
    "program of a few lines that sends what it receives",
    "cable": "from sending a message to the output until it has come in at the input",
}

# Which figures a path measures, in the order in which they are shown.
_ENGINE = (STRIKE_FIRST, STRIKE_LAST, SPREAD_FIRST, SPREAD_LAST, PASS_THROUGH, SCHEDULING)
FIGURES_OF = {
    "in-process": (*_ENGINE, BARE),
    "midi": (*_ENGINE, TRIP_FIRST, TRIP_LAST, TRIP_PASS, BARE),
    "cable": (BARE,),
    "keyboard": (INPUT_SPREAD, STRIKE_FIRST, STRIKE_LAST),
}
PATHS = tuple(FIGURES_OF)

# What is compared with the bare path, being the same road with the program on it.
OVER_BARE = {
    "in-process": (STRIKE_FIRST, PASS_THROUGH),
    "midi": (TRIP_FIRST, TRIP_PASS),
    "cable": (),
    "keyboard": (),
}
# A spread is the player's own, and late or early is no word for it.
NEVER_LATE = frozenset({INPUT_SPREAD})


def definition(figure: str, path: str) -> str:
    """What a figure of a path means, in one sentence without its stop."""
    return BARE_DEFINITIONS[path] if figure == BARE else DEFINITIONS[figure]
