"""Requirements about single states and paths: never, always, possible, recoverable."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import replace

from modecheck.checks.judged import HOLDS, Cost, Judged, broken, undecided, up_to_failures
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import ReachGoal, Space, first_zero
from modecheck.model.parts import Requirement
from modecheck.product.composition import acts
from modecheck.product.state_conditions import is_watched
from modecheck.scenario.traces import Trace, trace_to


def judge(space: Space) -> Iterator[Judged]:
    """The verdict on each requirement that needs no observer."""
    for need in space.product.device.requirements.values():
        if not is_watched(need):
            yield judged_in(space, need)


def judge_states(space: Space) -> Iterator[Judged]:
    """The verdict on each requirement that is about single states only."""
    for need in space.product.device.requirements.values():
        if not is_watched(need) and need.pattern != "recoverable":
            yield _judged(space, need)


def judged_in(space: Space, need: Requirement) -> Judged:
    """The verdict on a requirement that needs no observer."""
    began = time.monotonic()
    with phase(f"requirement {need.name}"):
        judged = _judged(space, need)
    return replace(judged, cost=Cost(space.state_count, time.monotonic() - began))


def _judged(space: Space, need: Requirement) -> Judged:
    found = _breach(space, need)
    if found is not None:
        return found
    if not space.complete:
        return undecided(need)
    return Judged(need, HOLDS, remark=up_to_failures(space))


def _breach(space: Space, need: Requirement) -> Judged | None:
    if need.pattern in ("never", "always"):
        return _invariant(space, need)
    if need.pattern == "recoverable":
        return _recoverable(space, need)
    return _possible(space, need) if space.complete else None


def _invariant(space: Space, need: Requirement) -> Judged | None:
    bit = space.mark(f"requirement:{need.name}")
    bad = space.numbered(bit) if need.pattern == "never" else space.numbered(0, bit)
    number = next(bad, None)
    if number is None:
        return None
    return broken_invariant(need, trace_to(space, number))


def broken_invariant(need: Requirement, trace: Trace) -> Judged:
    """A `never` that becomes true, or an `always` that does not hold, at the end of a trace."""
    verb = "becomes true" if need.pattern == "never" else "does not hold"
    return broken(need, f"{need.text} {verb}", trace)


def _possible(space: Space, need: Requirement) -> Judged | None:
    if next(space.numbered(space.mark(f"requirement:{need.name}")), None) is not None:
        return None
    return broken(need, f"{need.text} never becomes true")


def _never_reached(text: str) -> str:
    """That a condition can never hold again, said without a double negation."""
    negated = re.fullmatch(r"not ([\w.]+)", text)
    return f"{negated[1]} can never become false" if negated else f"{text} can never become true"


def _recovery(space: Space, need: Requirement) -> ReachGoal:
    without = space.product.event_bits(acts(space.product.device, need.without))
    return ReachGoal(space.mark(f"requirement:{need.name}"), without_events=without)


def goals(space: Space) -> Iterator[ReachGoal]:
    """What is asked of the paths from each state, for all requirements of a device."""
    for need in space.product.device.requirements.values():
        if need.pattern == "recoverable":
            yield _recovery(space, need)
            if space.failures:
                yield replace(_recovery(space, need), past_failures=False)


def _recoverable(space: Space, need: Requirement) -> Judged | None:
    goal = _recovery(space, need)
    lost = first_zero(space.can_reach(goal))
    if lost is not None:
        return broken(need, f"from here {_never_reached(need.text)}", trace_to(space, lost))
    if not space.complete or not space.failures:
        return None
    if first_zero(space.can_reach(replace(goal, past_failures=False))) is None:
        return None
    return undecided(need, "from some state only a failing step might lead there")
