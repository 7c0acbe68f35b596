"""When states move to one partition, and when to one for each thread.

One thread alone expands small levels sooner than several, which wait for each other at each. States
move when the present way has lost as much time as that takes: so, whatever the levels that come,
not much more is lost than twice what somebody would lose who knew them.
"""

from __future__ import annotations

from dataclasses import dataclass

EXPANDING, MEETING, MOVING = 0.5e-6, 200e-6, 0.1e-6
"""Seconds that it takes to expand a state, that threads lose at each level in which they wait for
each other, and that it takes to move a state to another partition; measured on a server processor.
"""


@dataclass(slots=True)
class Balance:
    """What the present number of partitions has lost, in seconds, against the other one of the two
    that come into question; levels at which it gains make up for that. The figures are rough, and
    only decide how soon states move.
    """

    partitions: int
    threads: int
    lost: float = 0.0

    def add(self, fresh: int) -> None:
        """A level with so many states."""
        saved_together = fresh * EXPANDING * (1 - 1 / self.threads) - MEETING
        loss = saved_together if self.partitions == 1 else -saved_together
        self.lost = max(self.lost + loss, 0.0)

    def is_tipped(self, states: int) -> bool:
        """Whether it has lost more than moving so many states takes."""
        return self.lost > states * MOVING
