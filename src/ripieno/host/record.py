"""The journal of a daemon: one session after another, each replayable by itself.

A session begins with the first key, not with what is chosen before it, and ends where the music
has stopped and it has become long, or with its engine. The player's choices until then stand in
its header. What was chosen is taken from what the engine says it has done, in its order.
"""

from collections.abc import Iterable

from ripieno.engine.loop import Timed
from ripieno.host.sessions import Sessions
from ripieno.perform.chosen import Chosen, is_choice
from ripieno.perform.events import Input, Send, Silence, Stop
from ripieno.perform.performer import Heard
from ripieno.units import NS_PER_MINUTE

LONG_NS = 30 * NS_PER_MINUTE  # a session this long ends at the next stop


class Record:
    """For one thread."""

    def __init__(self, sessions: Sessions, chosen: Chosen) -> None:
        self._sessions = sessions
        self._chosen = chosen
        self._start_ns: int | None = None  # of the session that is being written
        self._latest_ns = 0
        self._is_over = False  # but for what its last stop lets go

    def add(self, news: Iterable[Timed]) -> None:
        """What the engine has done, in its order."""
        for timed in news:
            happening = timed.happening
            if isinstance(happening, Send | Heard):
                if self._start_ns is not None:
                    self._sessions.add([happening])
            else:
                self._add(happening)

    def end(self, chosen: Chosen) -> None:
        """The engine has ended; the next one begins with `chosen`."""
        self._end()
        self._chosen = chosen

    def _add(self, event: Input) -> None:
        if self._is_over:
            self._end()
        if self._start_ns is None and not (is_choice(event) or isinstance(event, Stop | Silence)):
            self._start_ns = event.at_ns
            self._sessions.begin(self._chosen.settings, self._chosen.style, event.at_ns)
        if self._start_ns is not None:
            self._sessions.add([event])
            self._latest_ns = event.at_ns
            is_long = event.at_ns - self._start_ns > LONG_NS
            self._is_over = is_long and isinstance(event, Stop | Silence)
        self._chosen = self._chosen.after(event)

    def _end(self) -> None:
        if self._start_ns is not None:
            self._sessions.end(self._latest_ns - self._start_ns + 1)
        self._start_ns, self._is_over = None, False
