"""What an observer finds, however it was looked for, and the loops that have to be looked for."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.engine.contract.space import LoopQuery


@dataclass(frozen=True, slots=True)
class ObserverVerdict:
    """What an observer finds: whether its requirement is `broken`; if not, whether it has lost
    count, whether from some state it stays alive until a step fails, whether it is put to the test,
    and the fairness sets (numbers) that this rests on. `states` had to be looked at.
    """

    states: int
    broken: bool
    lost_count: bool
    ends_failing: bool
    tested: bool
    rests_on: frozenset[int]
    stopped_by: str


def waiting_loops(alive: int, again: int, idles: int) -> tuple[LoopQuery, LoopQuery]:
    """Loops in which an observer stays alive, by these marks, where nothing happens any more, and
    where something does: two queries, because idling takes no step of the device, and so makes the
    shorter scenario.
    """
    visits = (again,) if again else ()
    return (
        LoopQuery(wanted=alive | idles, visits=visits, past_failures=True),
        LoopQuery(wanted=alive, unwanted=idles, visits=visits, past_failures=True),
    )
