"""Which MIDI system is taken."""

import pytest
import rtmidi

from ripieno.midi import systems


def test_with_no_midi_system_ports_live_in_memory() -> None:
    system = systems.choose(())
    assert (system.api, system.virtual) == (None, False)
    assert system.why == "so no MIDI system is here"


def test_each_known_system_is_tried_and_none_is_left_to_rtmidi() -> None:
    assert rtmidi.API_UNSPECIFIED not in systems.PREFERRED
    assert rtmidi.API_RTMIDI_DUMMY not in systems.PREFERRED
    real = set(rtmidi.get_compiled_api()) - {rtmidi.API_RTMIDI_DUMMY}
    assert real <= set(systems.PREFERRED)


@pytest.mark.skipif(
    rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api(), reason="rtmidi built without JACK"
)
def test_a_system_that_does_not_answer_is_named_with_its_reason_and_nothing_else_is_printed(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "ripieno-test-no-such-server")
    system = systems.choose((rtmidi.API_UNIX_JACK,))
    assert system.api is None
    assert "JACK does not answer (" in system.why
    assert capfd.readouterr() == ("", "")
