"""A keyboard, and an instrument that nobody asked for: a process of python-rtmidi alone.

It shares no code with the program. A line on standard input is a command, answered by
`done NANOSECONDS COMMAND` when it has been done:

    plug NAME      the port is there     (NAME is one of PORTS)
    pull NAME      it is gone, with its client: RtMidi opens no virtual port twice
    send HEX       the keyboard sends one message
    end            all is closed, and the process ends

Nanoseconds are monotonic, which all processes of a machine share on Linux.
"""

import sys
import time
from typing import Any

import rtmidi

# A name to its client, and whether it listens.
PORTS = {
    "keyboard": ("stage-keys", False),
    "other": ("another-piano", True),
}


class Ends:
    def __init__(self) -> None:
        self._clients: dict[str, Any] = {}

    def plug(self, name: str) -> None:
        client, listens = PORTS[name]
        kind = rtmidi.MidiIn if listens else rtmidi.MidiOut
        midi = kind(rtmidi.API_UNIX_JACK, client)
        midi.open_virtual_port("in" if listens else "out")
        self._clients[name] = midi

    def pull(self, name: str) -> None:
        midi = self._clients.pop(name)
        midi.close_port()
        midi.delete()

    def send(self, text: str) -> None:
        """To nowhere while the keyboard is not plugged in."""
        if "keyboard" in self._clients:
            self._clients["keyboard"].send_message(bytes.fromhex(text))

    def end(self) -> None:
        time.sleep(0.02)  # what was sent last leaves within a few periods
        for name in list(self._clients):
            self.pull(name)


def main() -> None:
    ends = Ends()
    do = {"plug": ends.plug, "pull": ends.pull, "send": ends.send}
    for line in sys.stdin:
        verb, _, rest = line.strip().partition(" ")
        if verb == "end":
            break
        do[verb](rest)
        if verb != "send":
            print("done", time.monotonic_ns(), line.strip(), flush=True)
    ends.end()


if __name__ == "__main__":
    main()
