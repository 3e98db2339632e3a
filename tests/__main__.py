"""All tests: `python tests`, with pytest's own options after it.

First, two at a time, what needs nothing but a processor; most of it waits for processes. Then, one
by one, what wants the machine to itself: real ports, sound, and what is measured.
"""

import subprocess
import sys

HALVES = (("-n", "2", "-m", "not alone and not long"), ("-m", "alone and not long"))


def main(options: list[str]) -> int:
    """The first status that is not 0, once both halves have run."""
    statuses = [
        subprocess.run([sys.executable, "-m", "pytest", *half, *options], check=False).returncode
        for half in HALVES
    ]
    return next((status for status in statuses if status), 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
