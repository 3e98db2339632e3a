"""Port names that stay the same, and choosing among them."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ripieno.errors import MachineError

# What only hands on what is sent to it: the Linux kernel's through port and virtual cards,
# macOS's inter-application bus, the usual loopback drivers of Windows.
_LOOPBACKS = ("midi through", "virmidi", "virtual raw midi", "iac driver", "loopmidi", "loopbe")

_ALSA_ADDRESS = re.compile(r"\s+\d+:\d+$")


def without_alsa_address(name: str) -> str:
    """`Keys:Keys MIDI 1 24:0` without its client and port number, which change with plugging."""
    return _ALSA_ADDRESS.sub("", name)


def without_index(name: str, index: int) -> str:
    """`Keys 1` without the place in the list that RtMidi appends on Windows."""
    return name.removesuffix(f" {index}")


def told_apart(names: Sequence[str]) -> tuple[str, ...]:
    """`names` in their order, the second and later of equals ending in `#2`, `#3`..."""
    taken: list[str] = []
    for name in names:
        unique, count = name, 1
        while unique in taken or (count > 1 and unique in names):
            count += 1
            unique = f"{name} #{count}"
        taken.append(unique)
    return tuple(taken)


@dataclass(frozen=True, slots=True)
class Remembered:
    """The ports that were taken because none was chosen: `used`, the latest first.

    `passed` are others that were there meanwhile, which are not taken instead of one that is gone:
    that it is missing for a moment makes the keyboard's own input no better an output.
    """

    used: tuple[str, ...] = ()
    passed: frozenset[str] = frozenset()

    def with_use(self, name: str, names: Sequence[str]) -> "Remembered":
        """And now this one is in use, while these are there."""
        used = (name, *(other for other in self.used if other != name))
        return Remembered(used, self.passed.union(names).difference(used))


NOTHING_REMEMBERED = Remembered()


def is_loopback(name: str) -> bool:
    return any(mark in name.casefold() for mark in _LOOPBACKS)


def find(names: Sequence[str], wanted: str, kind: str) -> int:
    """The index of the one name that `wanted` means; `kind` is `input` or `output`.

    The whole name goes before its beginning, its beginning before any part of it; upper and
    lower case are the same unless two names differ in nothing else. Raises MachineError where
    none or several fit.
    """
    low = wanted.casefold()
    rules: tuple[Callable[[str], bool], ...] = (
        lambda name: name == wanted,
        lambda name: name.casefold() == low,
        lambda name: name.casefold().startswith(low),
        lambda name: low in name.casefold(),
    )
    for fits in rules:
        found = [index for index, name in enumerate(names) if fits(name)]
        if len(found) == 1:
            return found[0]
        if found:
            several = ", ".join(f"'{names[index]}'" for index in found)
            raise MachineError(f"MIDI {kind} '{wanted}' could be {several}: write more of the name")
    raise MachineError(f"no MIDI {kind} '{wanted}': {_there_is(names)}")


def _there_is(names: Sequence[str]) -> str:
    if not names:
        return "there is none at all; is the instrument plugged in and switched on?"
    return "there is " + ", ".join(f"'{name}'" for name in names)
