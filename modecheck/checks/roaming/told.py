"""What was seen, as findings: the same words and ids as those of a complete check."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.deadlocks import cause_of
from modecheck.checks.deadlocks import finding_of as deadlock_finding
from modecheck.checks.findings import Finding
from modecheck.checks.mode_switches import two_modes_finding
from modecheck.checks.pairings import lost_finding, one_sided_finding, usurped_finding
from modecheck.checks.requirements import broken_invariant
from modecheck.checks.roaming.shrinking import Shrunk
from modecheck.checks.watched import broken_run
from modecheck.checks.ways import Move, Way, without_watchers
from modecheck.engine.plain import Interpreter, State
from modecheck.engine.sights import (
    CHANGE,
    DEADLOCK,
    FAILING,
    LOSS,
    RESTING,
    Sight,
    failing_sight,
)
from modecheck.product.form import Failure, Product


def as_finding(base: Product, sight: Sight, shrunk: Shrunk) -> Finding | None:
    """The finding that a shrunk run shows; `base` is the product without watchers. None for what
    is no fault: that something possible came true.
    """
    way = Way(tuple(Move(label, after) for label, after in shrunk.run))
    way = without_watchers(shrunk.product, base, way)
    states = [base.initial, *(move.after for move in way.moves if move.after is not None)]
    if sight.kind == FAILING:
        return _failing(sight, shrunk, way)
    if sight.kind == DEADLOCK:
        return deadlock_finding(base, cause_of(base, states[-1]), states[-1], way)
    pairings = base.device.pairings
    if sight.kind == LOSS:
        return lost_finding(base, pairings[sight.name], states[-2], states[-1], way)
    if sight.kind == CHANGE:
        return usurped_finding(pairings[sight.name], way)
    if sight.kind == RESTING:
        return one_sided_finding(base, pairings[sight.name], states[-1], way)
    return _in_state(base, sight, states[-1], way)


def _in_state(base: Product, sight: Sight, state: State, way: Way) -> Finding | None:
    kind, _, rest = sight.name.partition(":")
    if kind == "modes":
        interpreter, conditions = Interpreter(base), base.conditions
        modes = base.device.modes
        names = (n for n in modes if interpreter.condition(conditions[f"mode:{n}"], state))
        return two_modes_finding(base.device, tuple(names), way)
    name, _, reason = rest.partition(":")
    need = base.device.requirements[name]
    if need.pattern == "possible":
        return None
    if kind == "bad":
        return broken_run(base, need, way, reason).finding
    return broken_invariant(need, way).finding


def _failing(sight: Sight, shrunk: Shrunk, way: Way) -> Finding:
    failure = next(f for f in _last_failures(shrunk) if failing_sight(f.code, f.subject) == sight)
    return Finding(
        code=failure.code,
        subject=failure.subject,
        text=failure.text,
        place=failure.place,
        way=way,
    )


def _last_failures(shrunk: Shrunk) -> Iterator[Failure]:
    """What fails in the last step of a run."""
    before = shrunk.run[-2][1] if len(shrunk.run) > 1 else shrunk.product.initial
    assert before is not None
    steps = Interpreter(shrunk.product).steps(before)
    label = shrunk.run[-1][0]
    return (failure for step in steps if step.label == label for failure in step.failures)
