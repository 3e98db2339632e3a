"""The accompaniment's foot on the pedal: it changes with the chord, and comes up with the hands."""

from ripieno.arrange.pedal import change
from ripieno.perform.ledger import PedalPost
from ripieno.perform.outbox import Outbox


class Foot:
    """Up until a chord sounds."""

    def __init__(self, post: PedalPost, out: Outbox) -> None:
        self._post = post
        self._out = out
        self._plan: list[tuple[int, bool]] = []  # when it moves, and whether down

    @property
    def is_down(self) -> bool:
        return self._post.ours

    @property
    def goes_down_next(self) -> bool:
        """Whether its next move is to press."""
        return bool(self._plan) and self._plan[0][1]

    @property
    def due_ns(self) -> int | None:
        """When it moves next."""
        return self._plan[0][0] if self._plan else None

    def lift(self) -> None:
        self._plan = []
        self._out.control(self._post.program(down=False))

    def change(self, now_ns: int) -> None:
        """A chord begins to sound: a legato change, soon."""
        plan = change(now_ns, is_down=self._post.ours)
        ups = [] if plan.up_ns is None else [(plan.up_ns, False)]
        self._plan = [*ups, (plan.down_ns, True)]

    def move(self) -> None:
        """What is due."""
        self._out.control(self._post.program(down=self._plan.pop(0)[1]))
