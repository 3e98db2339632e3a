"""Random MIDI bytes: most through the decoder and the performer, some through a real port.

Of the notes that come out each note-on is counted and each note-off: at the end there are as
many of one as of the other for every key, and none sounds.
"""

import os
import random
import time

from faults.daemon import Daemon, Home, resident_kib
from faults.outcome import Outcome
from faults.server import running_server
from faults.stage import NS_PER_MS, Stage
from ripieno.midi.codec import Decoder
from ripieno.perform.events import Send, Silence
from ripieno.perform.offline import advanced, hand_in
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings
from ripieno.style.load import load_style
from ripieno.style.shipped import presets_folder

_PIECE = 64
_APART_NS = 20 * NS_PER_MS  # between two pieces, so that figures have time to play
_FLAT_KIB = 8192
_PORT_PART = 50  # one byte in so many goes through the port as well
# A wire's whole speed (MIDI 1.0: 31,250 baud) is 3,125 bytes a second; the port takes more.
_AT_ONCE = 20


def run(count: int, seed: int = 1) -> list[Outcome]:
    return [_in_process(count, seed), _through_a_port(count // _PORT_PART, seed)]


def _in_process(count: int, seed: int) -> Outcome:
    rng = random.Random(seed)
    style = load_style(presets_folder() / "styles" / "rippling-sixteenths.yaml")
    performer, decoder = Performer(Settings(bpm=160, split=72), style), Decoder()
    balance = Balance()
    first_kib, done, now_ns = 0, 0, 0
    while done < count:
        if not first_kib and done >= count // 10:
            first_kib = resident_kib(os.getpid())
        now_ns += _APART_NS
        for event in decoder.feed(_random_bytes(rng, _PIECE), now_ns):
            for happening in hand_in(performer, event):
                if isinstance(happening, Send):
                    balance.take(happening.data)
        for happening in advanced(performer, now_ns):
            if isinstance(happening, Send):
                balance.take(happening.data)
        done += _PIECE
    for happening in hand_in(performer, Silence(now_ns + 1)):
        if isinstance(happening, Send):
            balance.take(happening.data)
    growth = resident_kib(os.getpid()) - first_kib
    wrong, hanging = balance.wrong, len(balance.down)
    return Outcome(
        "bytes", "random MIDI bytes through the performer", done, hanging, (),
        "no crash, each note-on one note-off, memory flat",
        not wrong and not hanging and growth < _FLAT_KIB, None,
        (f"notes: {balance.strikes:,}; without their partner: {wrong}; memory {growth:+} KiB",),
    )  # fmt: skip


class Balance:
    """Note-ons against note-offs, as strictly as they are meant to be."""

    def __init__(self) -> None:
        self.down: set[tuple[int, int]] = set()
        self.strikes = 0
        self.wrong = 0  # a note-on while it sounds, or a note-off while it does not

    def take(self, data: bytes) -> None:
        kind = data[0] & 0xF0
        if kind not in (0x80, 0x90):
            return
        key = (data[0] & 0x0F, data[1])
        is_on = kind == 0x90 and data[2] > 0
        self.strikes += is_on
        self.wrong += (key in self.down) == is_on
        (self.down.add if is_on else self.down.discard)(key)


def _through_a_port(count: int, seed: int) -> Outcome:
    """Whole messages, for RtMidi sends no others: random ones, and random system exclusive."""
    rng = random.Random(seed)
    with running_server(), Home() as home, Stage(seed) as stage:
        stage.plug("instrument", "keyboard")
        with Daemon(home).wait_until_ready() as daemon:
            pids = [daemon.pid, daemon.playing]
            sent = 0
            while sent < count:
                messages = [_random_message(rng) for _ in range(_AT_ONCE)]
                stage.send(*messages)
                sent += sum(len(data) for data in messages)
                time.sleep(0.005)
            counts = daemon.status().counts
            daemon.tell("silence")
            stage.send(*(bytes((0xB0 | channel, 123, 0)) for channel in range(16)))
            hanging = stage.wait_until_silent(3.0)
            stage.account.forget()
            plays = stage.play_until_heard(time.monotonic_ns()) is not None
            daemon.tell("silence")
            hanging += stage.wait_until_silent(3.0)
            same = [daemon.pid, daemon.playing] == pids
    return Outcome(
        "bytes", "random MIDI bytes through a real port", sent, hanging, (),
        "no crash, none hanging, still plays", plays and same and not hanging, None,
        (f"counted by the daemon: {counts}",),
    )  # fmt: skip


def _random_bytes(rng: random.Random, count: int) -> bytes:
    """Half as they come, half with a bias to notes, for pure noise is mostly data bytes."""
    if rng.random() < 0.5:
        return rng.randbytes(count)
    return b"".join(_random_message(rng) for _ in range(count // 3 + 1))[:count]


def _random_message(rng: random.Random) -> bytes:
    kind = rng.randrange(10)
    channel = rng.randrange(16) if rng.random() < 0.2 else 0
    first, second = rng.randrange(128), rng.randrange(128)
    if kind < 6:
        return bytes((rng.choice((0x80, 0x90, 0x90)) | channel, 36 + first % 60, second))
    if kind < 8:
        return bytes((0xB0 | channel, first, second))
    if kind == 8:
        return bytes((rng.choice((0xC0, 0xD0)) | channel, first))
    return bytes((0xF0, *rng.randbytes(rng.randrange(20)).translate(_SEVEN_BITS), 0xF7))


_SEVEN_BITS = bytes(value & 0x7F for value in range(256))
