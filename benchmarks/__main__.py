"""All benchmarks that need no file of their own, one after the other: `python benchmarks`.

Each prints its baseline in the same run. Nothing is asserted. `session_memory.py` takes minutes,
`strikes.py`, `strikes_rendered.py` and `following_recorded.py` want recordings: run those by
themselves. How soon notes leave a running engine is measured by `ripieno latency`.
"""

import runpy
from pathlib import Path

for name in ("recognition", "voicing", "performer", "rendering", "timekeeping"):
    print(f"\n{name}\n", flush=True)
    runpy.run_path(str(Path(__file__).with_name(f"{name}.py")), run_name="__main__")
