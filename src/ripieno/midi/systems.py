"""Which MIDI system of this machine to use.

RtMidi's own choice takes the first system it was built with and raises where that one does not
answer, although another would; so each is tried here, once, in the order of `PREFERRED`.
"""

import contextlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import rtmidi

CLIENT = "ripieno"

# Best first. ALSA before JACK because RtMidi delivers to JACK once an audio period, so that a
# round trip takes up to two (2.7 ms at 128 frames, 21 ms at 1024), and to ALSA at once.
_NAMES = {
    rtmidi.API_LINUX_ALSA: "ALSA",
    rtmidi.API_MACOSX_CORE: "CoreMIDI",
    rtmidi.API_WINDOWS_MM: "Windows MM",
    rtmidi.API_UNIX_JACK: "JACK",
}
PREFERRED = tuple(_NAMES)


@dataclass(frozen=True, slots=True)
class System:
    """A way to reach MIDI ports. `why` is one sentence for people.

    `api` is RtMidi's number, None where there is no MIDI system and ports live in memory.
    `virtual` says whether programs can make ports of their own in it. `client` is the name
    under which other programs see ports that are opened with it.
    """

    api: int | None
    name: str
    why: str
    virtual: bool
    client: str = CLIENT

    @property
    def is_served(self) -> bool:
        """Whether it is a program of its own, JACK, that can end while others play through it."""
        return bool(self.api == rtmidi.API_UNIX_JACK)

    @property
    def is_shared(self) -> bool:
        """Whether several programs may have one port open: where they can make their own."""
        return self.virtual


def choose(order: Sequence[int] = PREFERRED) -> System:
    """The first of `order` that RtMidi was built with and that answers, else memory."""
    silent: list[str] = []
    for api in order:
        if api not in rtmidi.get_compiled_api():
            continue
        fault = _fault(api)
        if fault is None:
            why = "; ".join([*silent, f"{_NAMES[api]} answers"])
            return System(api, _NAMES[api], why, virtual=api != rtmidi.API_WINDOWS_MM)
        silent.append(f"{_NAMES[api]} does not answer ({fault})")
    why = "; ".join([*silent, "so no MIDI system is here"])
    return System(None, "memory", why, virtual=False)


def _fault(api: int) -> str | None:
    """What RtMidi says against `api`, None if it works."""
    try:
        with hushed():
            probe = rtmidi.MidiIn(api, CLIENT)
    except rtmidi.RtMidiError as error:
        return str(error).partition(": ")[2].rstrip(".?! ") or str(error)
    probe.delete()
    return None


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Standard error to nowhere: libasound and libjack write there what `why` says shorter."""
    try:
        kept = os.dup(2)
    except OSError:  # closed, as some service managers leave it: nothing to hush
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
