"""Write struck-string.sf2, the sound ripieno brings along: `python build.py [FILE]`.

A SoundFont 2.01 file (the "SoundFont Technical Specification", version 2.01; section numbers
below are its own), computed from the physics of a struck string and from nothing recorded. Same
bytes on every run. It has two presets in bank 0:

- program 0, *struck string*. Every sixth key has a sample: an attack in which the partials die
  away each at its own pace, then a loop in which they stand still; the volume envelope and a
  closing filter do the rest of the decay.
- program 79, *sine*. Steady and pure, for tests that measure pitch.

The strings are slightly inharmonic, and a loop needs whole periods; both hold because the loop
lasts many periods of the fundamental and each partial is moved to the nearest frequency that
fits it, at most half a fundamental divided by the number of those periods.

Numbers marked "by ear" are choices of taste with no other source.
"""

import cmath
import math
import struct
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

Zone = Sequence[tuple[int, int]]  # generators as (operator, amount), in the order of the file

RATE = 32_000  # frames a second of every sample but the sine
ROOTS = range(33, 100, 6)  # A1 to D#7: sampled keys; a key is played at most 3 off, in that range
SILENT_FRAMES = 46  # 6.1: after each sample, so that an interpolator may read past its end
AFTER_LOOP = 16  # 7.10 asks for 8 valid points beyond each end of a loop

# Generators, section 8.1.2.
FILTER_CUTOFF = 8
MOD_ENV_TO_CUTOFF = 11
MOD_DECAY, MOD_SUSTAIN, MOD_RELEASE = 28, 29, 30
KEY_TO_MOD_DECAY = 32
VOLUME_ATTACK, VOLUME_DECAY, VOLUME_SUSTAIN, VOLUME_RELEASE = 34, 36, 37, 38
KEY_TO_VOLUME_DECAY = 40
INSTRUMENT, KEY_RANGE, SAMPLE, SAMPLE_MODES = 41, 43, 53, 54
LOOPED = 1  # a sample mode: round the loop as long as the note sounds

# A modulator's source, section 8.2: note-on velocity, falling, unipolar, linear.
SOFTNESS = 0x0102


@dataclass(frozen=True, slots=True)
class Sample:
    """16-bit frames that repeat from `loop` up to AFTER_LOOP before the end; `key` is their pitch.

    `cents` is how far the pitch of the frames lies from that key's, to the nearest cent.
    """

    name: str
    frames: tuple[int, ...]
    loop: int
    rate: int
    key: int
    cents: int


def main() -> None:
    path = Path(__file__).with_name("struck-string.sf2")
    (Path(sys.argv[1]) if sys.argv[1:] else path).write_bytes(soundfont())


def soundfont() -> bytes:
    """The whole file."""
    samples = [*(struck(root) for root in ROOTS), sine()]
    return riff(b"RIFF", b"sfbk" + info() + sample_data(samples) + presets(samples))


# The sound


def hertz(key: int) -> float:
    """Equal temperament, A4 at 440 Hz (ISO 16)."""
    return 440 * 2 ** ((key - 69) / 12)


def struck(key: int) -> Sample:
    """The sample of one string."""
    periods = round(hertz(key) / 4)  # a loop of about a quarter of a second
    length = round(periods * RATE / hertz(key))
    start = round(RATE * 0.4 * 2 ** ((60 - key) / 60))  # by ear: bass strings settle later
    frames = partials(key, periods, length, start)
    knock(frames, key)
    shape(frames, key, start)
    loop = frames[start : start + length]
    whole = [*frames[:start], *loop, *loop[:AFTER_LOOP]]
    tuned = RATE * periods / length
    return Sample(f"string {key}", pcm(whole, key), start, RATE, key, cents(hertz(key) / tuned))


def partials(key: int, periods: int, length: int, start: int) -> list[float]:
    """The sum of the string's vibrations: decaying up to `start`, standing still from there.

    A strike at 1/8.5 of the string leaves out what has a node there: the amplitude of partial n
    is proportional to sin(n pi / 8.5), the string's mode shape at that place; pianos are struck
    at 1/7 to 1/9 (trade knowledge, from memory). The rest of the slope, a soft hammer's, and the
    decay, faster for higher partials, are by ear.
    """
    random = Random(key)
    frames = [0.0] * (start + length)
    softness = 4000 * 2 ** ((key - 60) / 36)  # Hz
    for number, turns in enumerate(partial_turns(key, periods), 1):
        frequency = number * hertz(key)
        strength = abs(math.sin(number * math.pi / 8.5)) * number**-1.2
        strength *= math.exp(-frequency / softness)
        dying = 0.6 * (number - 1) * 2 ** ((key - 60) / 24)  # 1/s, beyond the fundamental's own
        turn = cmath.exp(2j * math.pi * turns / length)
        fading_turn = turn * math.exp(-dying / RATE)
        vibration = cmath.rect(strength, random.uniform(0, 2 * math.pi))
        for index in range(start):
            frames[index] += vibration.imag
            vibration *= fading_turn
        for index in range(start, start + length):
            frames[index] += vibration.imag
            vibration *= turn
    return frames


def partial_turns(key: int, periods: int) -> list[int]:
    """How often each partial goes round in a loop of `periods` of the first.

    Stiffness sharpens partial n by sqrt(1 + B n^2) (Fletcher 1964, "Normal vibration frequencies
    of a stiff piano string"). B of 0.00025 at middle C and its growth upwards are of the order
    measured in pianos (from memory).
    """
    stiffness = max(0.0001, 0.00025 * 2 ** ((key - 60) / 9))
    ceiling = 8_000 if key == ROOTS[-1] else 13_000  # Hz; the last is played far above its pitch
    return [
        round(periods * number * math.sqrt((1 + stiffness * number**2) / (1 + stiffness)))
        for number in range(1, int(ceiling / hertz(key)) + 1)
    ]


def knock(frames: list[float], key: int) -> None:
    """The thud of the hammer: 60 ms of low-passed noise, softer in the bass. By ear."""
    random = Random(1000 + key)
    level, smooth = 0.1 * 2 ** ((key - 60) / 48), 0.0
    for index in range(round(0.06 * RATE)):
        smooth += 0.25 * (random.uniform(-1, 1) - smooth)
        frames[index] += level * smooth * math.exp(-index / (0.012 * RATE))


def shape(frames: list[float], key: int, start: int) -> None:
    """The rise under the hammer, and the prompt sound's fall to the aftersound. By ear.

    From `start` on the level is steady.
    """
    contact = 0.0015 * 2 ** ((60 - key) / 36) * RATE
    for index in range(len(frames)):
        at = min(index, start)
        rise = 1 - math.exp(-at / contact)
        frames[index] *= rise * (0.5 + 0.5 * math.exp(-at / (0.12 * RATE)))


def pcm(frames: Sequence[float], key: int) -> tuple[int, ...]:
    """16-bit frames in which every key's first tenth of a second is about as loud.

    The bass a little more so, for the ear hears it less (by ear).
    """
    onset = frames[: RATE // 10]
    power = sum(frame * frame for frame in onset) / len(onset)
    scale = 32767 * 0.17 * 2 ** ((60 - key) / 72) / math.sqrt(power)
    values = tuple(round(frame * scale) for frame in frames)
    assert max(map(abs, values)) < 32767, f"the sample of key {key} clips"
    return values


def sine() -> Sample:
    """A4: 44 periods in 4,410 frames are 440 Hz without remainder."""
    loop = [round(16_000 * math.sin(2 * math.pi * 44 * index / 4410)) for index in range(4410)]
    return Sample("sine", (*loop, *loop, *loop[:AFTER_LOOP]), 4410, 44_100, 69, 0)


def cents(ratio: float) -> int:
    return round(1200 * math.log2(ratio))


def timecents(seconds: float) -> int:
    return round(1200 * math.log2(seconds))


# Its use, as generators


def string_zones() -> list[Zone]:
    """What all strings share, then one zone a sample; together they cover keys 0 to 127.

    Envelope times are those to fall by 100 dB (8.1.2). Middle C takes 12 s, which is 8 dB a
    second, halving with every 17 keys upwards; the damper takes 0.4 s. By ear.
    """
    shared = [
        (MOD_ENV_TO_CUTOFF, 2700),
        (MOD_DECAY, timecents(3)),
        (MOD_SUSTAIN, 1000),
        (MOD_RELEASE, timecents(1)),
        (KEY_TO_MOD_DECAY, 50),
        (VOLUME_DECAY, timecents(12)),
        (VOLUME_SUSTAIN, 1000),
        (VOLUME_RELEASE, timecents(0.4)),
        (KEY_TO_VOLUME_DECAY, 70),
    ]
    return [shared, *(string_zone(index, root) for index, root in enumerate(ROOTS))]


def string_zone(index: int, root: int) -> Zone:
    """The keys nearest to `root`. Its filter ends two octaves above middle C, lower in the bass."""
    low = 0 if root == ROOTS[0] else root - 3
    high = 127 if root == ROOTS[-1] else root + 2
    cutoff = 8400 + 70 * (root - 60)
    return [
        (KEY_RANGE, low | high << 8),
        (FILTER_CUTOFF, cutoff),
        (SAMPLE_MODES, LOOPED),
        (SAMPLE, index),
    ]


def sine_zone(index: int) -> Zone:
    return [
        (VOLUME_ATTACK, timecents(0.01)),
        (VOLUME_RELEASE, timecents(0.2)),
        (SAMPLE_MODES, LOOPED),
        (SAMPLE, index),
    ]


# The file


def riff(kind: bytes, data: bytes) -> bytes:
    """A chunk (section 3.1), its data padded to whole words."""
    return kind + struct.pack("<I", len(data)) + data + bytes(len(data) % 2)


def info() -> bytes:
    """Section 5. Texts end in one or two zeros, whichever makes their length even."""
    texts = (
        (b"isng", b"EMU8000"),
        (b"INAM", b"struck string"),
        (b"ICOP", b"The ripieno authors; MIT licence"),
        (b"ICMT", b"Computed, not recorded: presets/soundfont/build.py"),
    )
    chunks = [riff(b"ifil", struct.pack("<HH", 2, 1))]
    chunks += [riff(kind, text + bytes(2 - len(text) % 2)) for kind, text in texts]
    return riff(b"LIST", b"INFO" + b"".join(chunks))


def sample_data(samples: Iterable[Sample]) -> bytes:
    """Section 6."""
    silence = bytes(2 * SILENT_FRAMES)
    data = [struct.pack(f"<{len(s.frames)}h", *s.frames) + silence for s in samples]
    return riff(b"LIST", b"sdta" + riff(b"smpl", b"".join(data)))


def presets(samples: Sequence[Sample]) -> bytes:
    """Section 7: presets, instruments and sample headers, each table with a last record."""
    preset_zones: list[Zone] = [[(INSTRUMENT, 0)], [(INSTRUMENT, 1)]]
    strings = string_zones()
    zones = [*strings, sine_zone(len(samples) - 1)]
    instruments = instrument("struck string", 0) + instrument("sine", len(strings))
    instruments += instrument("EOI", len(zones))
    touch = struct.pack("<HHhHH", SOFTNESS, FILTER_CUTOFF, -3000, 0, 0)
    chunks = (
        riff(b"phdr", preset("struck string", 0, 0) + preset("sine", 79, 1) + preset("EOP", 0, 2)),
        riff(b"pbag", bags(preset_zones, modulators=[0, 0])),
        riff(b"pmod", bytes(10)),
        riff(b"pgen", generators(preset_zones)),
        riff(b"inst", instruments),
        riff(b"ibag", bags(zones, modulators=[1] + [0] * len(samples))),
        riff(b"imod", touch + bytes(10)),
        riff(b"igen", generators(zones)),
        riff(b"shdr", sample_headers(samples)),
    )
    return riff(b"LIST", b"pdta" + b"".join(chunks))


def preset(name: str, program: int, bag: int) -> bytes:
    return struct.pack("<20sHHHIII", name.encode(), program, 0, bag, 0, 0, 0)


def instrument(name: str, bag: int) -> bytes:
    return struct.pack("<20sH", name.encode(), bag)


def bags(zones: Sequence[Zone], modulators: Sequence[int]) -> bytes:
    """Where each zone's generators and modulators begin; the last record is where they end."""
    starts = [
        (sum(map(len, zones[:index])), sum(modulators[:index])) for index in range(len(zones) + 1)
    ]
    return b"".join(struct.pack("<HH", *start) for start in starts)


def generators(zones: Sequence[Zone]) -> bytes:
    pairs = [pair for zone in zones for pair in zone]
    records = [struct.pack("<HH", operator, amount & 0xFFFF) for operator, amount in pairs]
    return b"".join(records) + bytes(4)


def sample_headers(samples: Iterable[Sample]) -> bytes:
    """Section 7.10; type 1 is mono."""
    records, start = [], 0
    for s in samples:
        end_of_loop, stop = start + len(s.frames) - AFTER_LOOP, start + len(s.frames)
        bounds = (start, stop, start + s.loop, end_of_loop, s.rate)
        records.append(struct.pack("<20s5IBbHH", s.name.encode(), *bounds, s.key, s.cents, 0, 1))
        start = stop + SILENT_FRAMES
    return b"".join(records) + struct.pack("<20s5IBbHH", b"EOS", *[0] * 9)


if __name__ == "__main__":
    main()
