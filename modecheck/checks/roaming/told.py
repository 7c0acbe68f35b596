"""What was seen, as findings: with the texts and ids of a complete check."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.deadlocks import cause_of
from modecheck.checks.deadlocks import finding_of as deadlock_finding
from modecheck.checks.findings import Finding
from modecheck.checks.mode_switches import two_modes_finding
from modecheck.checks.pairings import lost_finding, one_sided_finding, usurped_finding
from modecheck.checks.requirement_checks import broken_invariant
from modecheck.checks.roaming.shrinking import Shrunk
from modecheck.checks.time_stops import finding_of as time_stop_finding
from modecheck.checks.watched import broken_run
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.search.walk_targets import (
    CHANGE,
    DEADLOCK,
    FAILING,
    LOSS,
    RESTING,
    TIME_STOP,
    WalkTarget,
    failing_target,
)
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move
from modecheck.scenario.traces import Trace, without_observers


def as_finding(base: Product, target: WalkTarget, shrunk: Shrunk) -> Finding | None:
    """The finding that a shrunk run shows; `base` is the product without observers. None if
    it is not a fault: a `possible` requirement that became true.
    """
    trace = Trace(shrunk.product, tuple(Move(label, after) for label, after in shrunk.run))
    trace = without_observers(base, trace)
    states = [base.initial, *(move.after for move in trace.moves if move.after is not None)]
    if target.kind == FAILING:
        return _failing(target, shrunk, trace)
    if target.kind == DEADLOCK:
        return deadlock_finding(base, cause_of(base, states[-1]), states[-1], trace)
    if target.kind == TIME_STOP:
        return time_stop_finding(base, states[-1], trace)
    pairings = base.device.pairings
    if target.kind == LOSS:
        return lost_finding(base, pairings[target.name], states[-2], states[-1], trace)
    if target.kind == CHANGE:
        return usurped_finding(pairings[target.name], trace)
    if target.kind == RESTING:
        return one_sided_finding(base, pairings[target.name], states[-1], trace)
    return _in_state(base, target, states[-1], trace)


def _in_state(base: Product, target: WalkTarget, state: State, trace: Trace) -> Finding | None:
    kind, _, rest = target.name.partition(":")
    if kind == "modes":
        interpreter, conditions = Interpreter(base), base.conditions
        modes = base.device.modes
        names = (n for n in modes if interpreter.condition(conditions[f"mode:{n}"], state))
        return two_modes_finding(base.device, tuple(names), trace)
    name, _, reason = rest.partition(":")
    need = base.device.requirements[name]
    if need.pattern == "possible":
        return None
    if kind == "bad":
        return broken_run(base, need, trace, reason).finding
    return broken_invariant(need, trace).finding


def _failing(target: WalkTarget, shrunk: Shrunk, trace: Trace) -> Finding:
    failure = next(f for f in _last_failures(shrunk) if failing_target(f.code, f.subject) == target)
    return Finding(
        code=failure.code,
        subject=failure.subject,
        text=failure.text,
        place=failure.place,
        trace=trace,
    )


def _last_failures(shrunk: Shrunk) -> Iterator[Failure]:
    """What fails in the last step of a run."""
    before = shrunk.run[-2][1] if len(shrunk.run) > 1 else shrunk.product.initial
    assert before is not None
    steps = Interpreter(shrunk.product).steps(before)
    label = shrunk.run[-1][0]
    return (failure for step in steps if step.label == label for failure in step.failures)
