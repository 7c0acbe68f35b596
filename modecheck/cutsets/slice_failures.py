"""Which failing steps need which faults: an exploration keeps the first state of each, not of each
set of faults, so the states with a failing step are stepped once more.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from modecheck.cutsets.counted_faults import Counts, includes
from modecheck.cutsets.slices import Slices
from modecheck.engine.contract.space import Sighting
from modecheck.engine.reference.plain import Interpreter

MOST_STEPPED = 20_000
"""Failing states that are stepped once more; some seconds of the interpreter."""

Key = tuple[str, str]
"""The code and the subject of a failing step."""


@dataclass(slots=True)
class SliceFailures:
    """The first sighting of each failing step, by the minimal sets of faults that it needs, smaller
    ones first. Not `complete` where there were too many failing states to look at all of them.
    """

    of: dict[Counts, dict[Key, Sighting]] = field(default_factory=dict)
    complete: bool = True


def failures_in(slices: Slices) -> SliceFailures:
    """The failing steps of each slice, without those that fewer faults suffice for."""
    whole, found = slices.whole, SliceFailures()
    if not whole.failures:
        return found
    flags = whole.graph.arrays.listed(whole.graph.failing)
    failing = [number for number, fails in enumerate(flags) if fails]
    struck = {number: slices.counts_of(whole.marks_at(number)) for number in failing}
    interpreter = Interpreter(whole.product)
    known: dict[Key, list[Counts]] = {key: [] for key in whole.failures}
    stepped = 0
    for number in sorted(failing, key=lambda one: (sum(struck[one]), one)):
        counts = struck[number]
        if all(any(includes(counts, less) for less in sets) for sets in known.values()):
            continue
        if stepped >= MOST_STEPPED:
            found.complete = False
            break
        stepped += 1
        for step in interpreter.steps(whole.state(number)):
            for failure in step.failures:
                key = failure.code, failure.subject
                behind = _behind(slices, counts, step.label)
                sets = known.setdefault(key, [])
                if not any(includes(behind, less) for less in sets):
                    sets.append(behind)
                    sighting = Sighting(failure, number, step.label)
                    found.of.setdefault(behind, {})[key] = sighting
    return found


def _behind(slices: Slices, counts: Counts, label: int) -> Counts:
    """What has struck once a step is done that begins where `counts` has."""
    fault = slices.by_label.get(label)
    return tuple(count + (number == fault) for number, count in enumerate(counts))
