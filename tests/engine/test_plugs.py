"""What the engine is plugged into, on a real JACK server."""

import time
from collections.abc import Callable

import pytest

from instruments import plugged
from ripieno.engine.loop import Engine
from ripieno.engine.plugs import Plugs
from ripieno.engine.rig import Rig
from ripieno.host.library import Library
from ripieno.midi import threads
from ripieno.midi.ahead import PortsAhead
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System
from ripieno.perform.message import note_on
from ripieno.perform.performer import Performer
from ripieno.perform.settings import Settings

PATIENCE_S = 20.0
TURN_S = 0.04


class Plugged:
    """Plugs and their engine, from the beginning to `close`."""

    def __init__(self, system: System) -> None:
        rig = Rig(system, "keys:out", "piano:in")
        self.plugs = Plugs(rig, system, Sounding.unkept(), PortsAhead(), hurries=False)
        performer = Performer(Settings(), Library().style("steady-quarters"))
        self.engine = Engine(performer, self.plugs.to)
        self.engine.start()
        self.plugs.begin(self.engine)

    def turn_until(self, done: Callable[[], object]) -> None:
        give_up = time.monotonic() + PATIENCE_S
        while not done():
            assert time.monotonic() < give_up, "it does not come"
            self.plugs.turn()
            time.sleep(TURN_S)

    def close(self) -> None:
        self.engine.close()
        self.plugs.close()


@pytest.mark.jack
def test_a_client_that_the_server_never_wakes_is_made_anew_and_hears(
    jack: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    with plugged("MidiOut", "keys", "out") as keys, plugged("MidiIn", "piano", "in"):
        waits, asleep = threads._waits, set()
        monkeypatch.setattr(threads, "_waits", lambda t: 0 if t in asleep else waits(t))
        rig = Plugged(jack)
        asleep |= rig.plugs._input.threads
        output = rig.plugs._output.threads
        assert asleep
        rig.turn_until(lambda: not asleep & rig.plugs._input.threads)
        assert rig.plugs._output.threads == output
        assert [state.name for state in rig.plugs.states] == ["keys:out", "piano:in"]
        rig.turn_until(lambda: keys.send(note_on(0, 60, 80)) or rig.engine.counts.received)
        rig.close()


@pytest.mark.jack
def test_clients_that_are_awake_stay(jack: System, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "_ENOUGH", 20)  # a quarter of a second
    with plugged("MidiOut", "keys", "out"), plugged("MidiIn", "piano", "in"):
        rig = Plugged(jack)
        clients = rig.plugs._input.threads, rig.plugs._output.threads
        rig.turn_until(lambda: rig.plugs._woken is None)
        assert (rig.plugs._input.threads, rig.plugs._output.threads) == clients
        rig.close()
