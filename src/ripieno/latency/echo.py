"""The bare path: a program that sends what it receives, on python-rtmidi and nothing of ours.

`python -m ripieno.latency.echo API CLIENT` opens two virtual ports of an RtMidi system, prints
`ready`, and ends with its standard input. It is what the engine's round trips are compared
with, so it must not go through the code that is measured.
"""

import os
import sys
import time

import rtmidi

# A JACK server (1.9.21) may never wake the second of two clients that are activated at once.
_PORTS_APART_S = 0.2


def main(api: int, client: str) -> None:
    out = rtmidi.MidiOut(api, client)
    out.open_virtual_port("echo out")
    time.sleep(_PORTS_APART_S)
    heard = rtmidi.MidiIn(api, client)
    send = out.send_message
    heard.set_callback(lambda event, _: send(event[0]))
    heard.open_virtual_port("echo in")
    os.write(1, b"ready\n")
    sys.stdin.read()
    heard.cancel_callback()
    heard.delete()
    out.delete()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
