"""No test fails for being slow: how long things take is for benchmarks to say.

Properties are tried with few examples each time, for there are many of them and every run draws
others. `--hypothesis-profile=thorough` tries many.
"""

import pytest
from hypothesis import settings

ALONE = {"end_to_end", "engine", "latency"}  # folders

settings.register_profile("patient", deadline=None, max_examples=50)
settings.register_profile("thorough", deadline=None, max_examples=1000)
settings.load_profile("patient")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what must not run beside another test: `python tests` runs it by itself."""
    for item in items:
        if item.path.parent.name in ALONE or item.get_closest_marker("jack"):
            item.add_marker(pytest.mark.alone)
