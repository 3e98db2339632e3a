"""Keeps one processor busy until its standard input ends: `python -m ripieno.latency.busy`."""

import sys
from threading import Thread


def main() -> None:
    waiting = Thread(target=sys.stdin.read, daemon=True)
    waiting.start()
    count = 0
    while waiting.is_alive():
        for _ in range(100_000):
            count += 1


if __name__ == "__main__":
    main()
