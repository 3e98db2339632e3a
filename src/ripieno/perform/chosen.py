"""What a player has chosen, style and all, and what an event makes of it."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

from ripieno.perform import events as ev
from ripieno.perform.events import Input
from ripieno.perform.settings import Settings, playable_bpm
from ripieno.style.model import Meter, Style

# The settings that an event can change while it plays, and the event's type.
_EVENTS: dict[str, Callable[[int, Any], Input]] = {
    "bpm": ev.SetTempo,
    "meter": ev.SetMeter,
    "hold": ev.SetHold,
    "key": ev.SetKey,
    "split": ev.SetSplit,
    "transpose": ev.SetTranspose,
    "reading": ev.SetReading,
    "muted": ev.SetMuted,
    "swing": ev.SetSwing,
    "follow": ev.SetFollow,
    "lean": ev.SetLean,
    "start": ev.SetStart,
    "pickup": ev.SetPickup,
    "send_clock": ev.SetSendClock,
}
_NAMES: dict[object, str] = {event: name for name, event in _EVENTS.items()}
# Where an event's value is not called as the setting is.
_VALUES: dict[object, str] = {ev.SetTranspose: "semitones"}


@dataclass(frozen=True, slots=True)
class Chosen:
    """With which an instrument begins to play as another one has come to play."""

    settings: Settings
    style: Style

    def after(self, event: Input) -> "Chosen":
        """What is chosen once the event has been taken; the same if it chooses nothing."""
        if isinstance(event, ev.SetStyle):
            return replace(self, style=event.style)
        if isinstance(event, ev.Tapped | ev.Ramp):
            return self._at(event.bpm)
        if isinstance(event, ev.Scale):
            return self._at(playable_bpm(self.settings.bpm * float(event.factor)))
        if isinstance(event, ev.SetMeter):
            return self._in_meter(event.meter)
        name = _NAMES.get(type(event))
        if name is None:
            return self
        value = getattr(event, _VALUES.get(type(event), name))
        return replace(self, settings=replace(self.settings, **{name: value}))

    def _in_meter(self, meter: Meter) -> "Chosen":
        """Quarters keep their length, and so the beats a minute may be others."""
        beats = self.settings.meter.beat_quarters / meter.beat_quarters
        bpm = self.settings.bpm if beats == 1 else self.settings.bpm * float(beats)
        return replace(self, settings=replace(self.settings, meter=meter, bpm=playable_bpm(bpm)))

    def _at(self, bpm: float) -> "Chosen":
        return replace(self, settings=replace(self.settings, bpm=bpm))

    def steps_to(self, other: "Chosen", at_ns: int) -> list[Input] | None:
        """The events that lead from this to the other; None if only a new instrument does."""
        steps: list[Input] = []
        now = self
        names = sorted((field.name for field in fields(Settings)), key=_is_after_meter)
        for name in names:
            value = getattr(other.settings, name)
            if getattr(now.settings, name) == value:
                continue
            if name not in _EVENTS:
                return None
            steps.append(_EVENTS[name](at_ns, value))
            now = now.after(steps[-1])
        if self.style != other.style:
            steps.append(ev.SetStyle(at_ns, other.style))
        return steps


def _is_after_meter(name: str) -> bool:
    """A meter of other beats changes how many there are in a minute."""
    return name != "meter"


def is_choice(event: Input) -> bool:
    """Whether an event chooses something and plays nothing."""
    return isinstance(event, ev.SetStyle) or type(event) in _NAMES
