"""Draws a screen of text for each line of its input: `python -m ripieno.latency.screen`.

It stands in for a screen attached to the engine: a process of its own that turns a status into
coloured text, 100 by 30, and writes it to a terminal. The terminal is a pseudo terminal of its
own, whose other end it throws away as fast as it can.
"""

import json
import os
import sys
from threading import Thread

_WIDTH, _HEIGHT = 100, 30


def main() -> None:
    source, target = os.openpty() if hasattr(os, "openpty") else os.pipe()  # Windows has none
    Thread(target=_throw_away, args=(source,), daemon=True).start()
    for number, line in enumerate(sys.stdin):
        os.write(target, frame(json.loads(line), number).encode())


def _throw_away(source: int) -> None:
    while os.read(source, 65536):
        pass


def frame(status: dict[str, object], number: int) -> str:
    """All cells, each with its colour, as a screen that keeps no account of changes does."""
    lines = [f" {name:>12}  {value}" for name, value in status.items()]
    sounding = status.get("sounding")
    held = set(sounding) if isinstance(sounding, list) else set()
    lines += [""] * (_HEIGHT - 2 - len(lines))
    lines.append("".join("#" if 21 + key in held else "." for key in range(88)))
    lines.append(f" frame {number}")
    rows = (
        "".join(
            f"\x1b[{30 + (ord(cell) + row) % 8}m{cell}" for cell in f"{line:<{_WIDTH}.{_WIDTH}}"
        )
        for row, line in enumerate(lines)
    )
    return "\x1b[H" + "\x1b[0m\r\n".join(rows)


if __name__ == "__main__":
    main()
