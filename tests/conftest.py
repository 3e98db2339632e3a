"""No test fails for being slow: how long things take is for benchmarks to say.

Properties are tried with few examples each time, for there are many of them and every run draws
others. `--hypothesis-profile=thorough` tries many.

On JACK a message is lost when the machine holds a client up for a period. So a test on JACK that
fails is run once more, and the last line counts these (`1 rerun`).
"""

from collections.abc import Iterator

import pytest
import rtmidi
from hypothesis import settings

from jack_server import running_server
from ripieno.midi import systems
from ripieno.midi.systems import System

ALONE = {"end_to_end", "engine", "latency"}  # folders

settings.register_profile("patient", deadline=None, max_examples=30)
settings.register_profile("thorough", deadline=None, max_examples=1000)
settings.load_profile("patient")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what must not run beside another test: `python tests` runs it by itself."""
    for item in items:
        is_on_jack = item.get_closest_marker("jack") is not None
        if is_on_jack:
            item.add_marker(pytest.mark.flaky(reruns=1))
        if is_on_jack or item.path.parent.name in ALONE:
            item.add_marker(pytest.mark.alone)


@pytest.fixture(scope="module")
def jack() -> Iterator[System]:
    """JACK as a MIDI system, on a server of the module's own."""
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("python-rtmidi was built without JACK")
    with running_server():
        yield systems.choose((rtmidi.API_UNIX_JACK,))
