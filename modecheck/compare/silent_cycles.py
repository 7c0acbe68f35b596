"""Cycles of silent steps: where a system can go on forever without a visible event (divergence).

For an observer who notices that, it is made visible: every state on a cycle of silent steps gets a
step to itself, seen as `FOREVER`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from modecheck.compare.labelled import SILENT, Array, LabelledSystem
from modecheck.compare.refinement_kernels import Grouped
from modecheck.engine.search.search_kernels import find_components

FOREVER = "silent steps forever"
"""In place of an event: that silent steps can go on forever from here."""


def grouped(count: int, keys: Array, labels: Array, others: Array) -> Grouped:
    """Transitions by one of their ends, else in the order in which they were."""
    order = np.argsort(keys, kind="stable")
    first = np.zeros(count + 1, np.int64)
    np.cumsum(np.bincount(keys, minlength=count), out=first[1:])
    return Grouped(first, labels[order], others[order])


def silent_components(system: LabelledSystem) -> Array:
    """For each state the number of its strongly connected component of silent steps. Silent steps
    out of a component lead to smaller numbers. There must be a state.
    """
    steps = grouped(system.count, system.sources, system.labels, system.targets)
    notes, barred = (steps.labels != SILENT).astype(np.uint16), np.array([0, 1], np.uint8)
    marks, inside = np.zeros(system.count, np.uint64), np.ones(system.count, np.uint8)
    numbers, *room = (np.zeros(system.count, np.uint32) for _ in range(6))
    find_components(
        steps.first, steps.others.view(np.uint32), notes, marks, inside, barred, np.uint64(0),
        False, numbers, *room, np.zeros(system.count, np.int64),
    )  # fmt: skip
    return numbers.astype(np.int32) - 1


def with_divergence(system: LabelledSystem) -> LabelledSystem:
    """The system with `FOREVER` as its last label; these steps stand behind all others."""
    component = silent_components(system)
    within = component[system.sources] == component[system.targets]
    states = np.unique(system.sources[within & (system.labels == SILENT)])
    return replace(
        system,
        sources=np.concatenate([system.sources, states]),
        labels=np.concatenate([system.labels, np.full(states.size, len(system.names), np.int32)]),
        targets=np.concatenate([system.targets, states]),
        names=(*system.names, FOREVER),
    )


def without_divergence(system: LabelledSystem) -> LabelledSystem:
    """The same with a silent step for each that is seen as `FOREVER`, the last label."""
    labels = system.labels.copy()
    labels[labels == len(system.names) - 1] = SILENT
    return replace(system, labels=labels, names=system.names[:-1])
