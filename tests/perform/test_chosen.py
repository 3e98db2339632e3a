from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from rig import C4, Rig
from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen, is_choice
from ripieno.perform.settings import ReadKeys, Settings
from ripieno.style.model import Meter
from ripieno.theory.hand import Side
from ripieno.theory.key import key_named

STYLES = [Rig(name).style for name in ("waltz", "rolled")]
CHOICES = [
    ev.SetStyle(0, STYLES[1]),
    ev.SetTempo(0, 77.5),
    ev.SetMeter(0, Meter(6, 8)),
    ev.SetHold(0, hold=False),
    ev.SetKey(0, key_named("Eb minor")),
    ev.SetSplit(0, 60),
    ev.SetTranspose(0, -5),
    ev.SetReading(0, ReadKeys.FROM_KEY),
    ev.SetMuted(0, Side.LEFT),
]
PLAIN = Chosen(Settings(), STYLES[0])


def after(*events: ev.Input) -> Chosen:
    chosen = PLAIN
    for event in events:
        chosen = chosen.after(event)
    return chosen


def test_all_that_can_be_chosen_while_playing_is_what_is_chosen_afterwards() -> None:
    assert after(*CHOICES) == Chosen(
        Settings(
            bpm=77.5 / 1.5,  # quarters keep their length, and the beats of 6/8 are longer
            meter=Meter(6, 8), hold=False, key=key_named("Eb minor"), split=60,
            transpose=-5, reading=ReadKeys.FROM_KEY, muted=Side.LEFT,
        ),
        STYLES[1],
    )  # fmt: skip


def test_what_is_played_chooses_nothing() -> None:
    played = [ev.KeyDown(0, C4, 80), ev.KeyUp(0, C4), ev.Stop(0), ev.Silence(0)]
    assert after(*played) is PLAIN
    assert [is_choice(event) for event in played] == [False] * 4
    assert all(is_choice(event) for event in CHOICES)


@given(st.sets(st.sampled_from(CHOICES)), st.sets(st.sampled_from(CHOICES)))
def test_the_steps_from_one_to_another_lead_there(
    first: set[ev.Input], second: set[ev.Input]
) -> None:
    here, there = after(*first), after(*second)
    steps = here.steps_to(there, 7)
    assert steps is not None
    assert all(step.at_ns == 7 for step in steps)
    reached = here
    for step in steps:
        reached = reached.after(step)
    assert reached == there


def test_no_steps_lead_to_another_channel_or_seed() -> None:
    for other in (replace(Settings(), channel=3), replace(Settings(), seed=9)):
        assert PLAIN.steps_to(Chosen(other, STYLES[0]), 0) is None
    assert PLAIN.steps_to(PLAIN, 0) == []
