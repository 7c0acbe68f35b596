"""Which states of a labelled system are equivalent: strong, branching and weak bisimulation.

*How.* A partition is refined until all states of a block have one signature: the pairs of a label
and of a block that a step leads to (Blom & Orzan, A distributed algorithm for strong bisimulation
reduction of state spaces, 2002; for branching bisimulation, Distributed branching bisimulation
reduction of state spaces, 2003; both from memory). Only what changed is looked at again, and of a
block that splits the largest part keeps its number, so that a state moves at most log2(n) times
(after Hopcroft 1971 and Paige & Tarjan, Three partition refinement algorithms, 1987).

*Strong.* Equivalent states have the same signature by every partition that does not separate
equivalent states, so none are ever separated; and when nothing changes any more, "in the same
block" is itself a bisimulation. So the blocks are the classes.

*Branching* (van Glabbeek & Weijland 1989). States on a cycle of silent steps are equivalent and are
contracted first (Groote & Vaandrager, An efficient algorithm for branching bisimulation and
stuttering equivalence, 1990). A signature then also holds what can be done behind silent steps
within the block, which are inert; these lead to smaller numbers, so the signatures behind them are
known first. With equivalent states, the inert steps of one are answered by the other within the
same classes, hence within the same block: their signatures agree. And a stable partition is a
branching bisimulation: for every pair in a signature there are inert steps, which stay in the
block, and then the step itself.

*Weak* (Milner 1989). Branching equivalent states are weakly equivalent, so it is asked of the
classes of the former. There the weak steps (any silent steps, the visible one, any silent steps; or
silent steps alone, also none) are made into transitions, and strong classes of those are the weak
ones, by definition.

Silent steps that go on for ever count for nothing in branching and weak bisimulation.

Small systems are refined by `refinement_plain`, which comes to the same classes.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from enum import Enum
from types import ModuleType

import numpy as np

from modecheck.compare.labelled import SILENT, Array, LabelledSystem, side_by_side
from modecheck.compare.refinement_plain import (
    branching_classes,
    steps_of,
    strong_classes,
    weak_classes,
)
from modecheck.engine.kept_files import kernels_folder
from modecheck.model.mistakes import ModecheckError

MOST_SATURATED = 100_000_000
"""Weak transitions that are made: 800 MB, and as much again while they are refined."""


SMALL = 1_000
"""States and transitions that are compared sooner than compiled code is loaded (and it is compiled
once, in some ten seconds, which nobody should wait for to compare two small devices).
"""


class Equivalence(Enum):
    """From the finest to the coarsest."""

    STRONG = "strong"
    BRANCHING = "branching"
    WEAK = "weak"


class TooManyWeakSteps(ModecheckError):
    """The silent steps can be combined in more ways than can be looked at: nothing is known."""

    def __str__(self) -> str:
        return (
            f"weak bisimulation needs more than {MOST_SATURATED:,} combined steps here; "
            "ask for branching bisimulation, which is finer"
        )


@dataclass(frozen=True, slots=True)
class Classes:
    """The class of each state, from 0 to `count - 1`."""

    of: Array
    count: int


def classes_of(system: LabelledSystem, equivalence: Equivalence) -> Classes:
    """The classes of equivalent states. Raises `TooManyWeakSteps`."""
    if not system.count:
        return Classes(np.zeros(0, np.int32), 0)
    if system.count <= SMALL and system.transitions <= SMALL:
        return _plainly(system, equivalence)
    if equivalence is Equivalence.STRONG:
        return _refined(system, inert=False)
    contracted, component = _contracted(system)
    found = _refined(contracted, inert=True)
    branching = Classes(found.of[component], found.count)
    if equivalence is Equivalence.BRANCHING:
        return branching
    weak = _refined(_saturated(quotient(system, branching)), inert=False)
    return Classes(weak.of[branching.of], weak.count)


def _plainly(system: LabelledSystem, equivalence: Equivalence) -> Classes:
    steps = steps_of(system)
    if equivalence is Equivalence.STRONG:
        of = strong_classes(steps)
    elif equivalence is Equivalence.BRANCHING:
        of = branching_classes(steps)
    else:
        of = weak_classes(steps)
    return Classes(np.array(of, np.int32), max(of) + 1)


def equivalent(one: LabelledSystem, other: LabelledSystem, equivalence: Equivalence) -> bool:
    """Whether the initial states of two systems are equivalent. Raises `TooManyWeakSteps`."""
    pair = side_by_side(one, other)
    of = classes_of(pair.both, equivalence).of
    return bool(of[pair.both.initial] == of[pair.other_initial])


def quotient(
    system: LabelledSystem, classes: Classes, *, silent_loops: bool = False
) -> LabelledSystem:
    """The classes as states, each transition once, without silent ones that stay in their class
    unless `silent_loops` (strong bisimulation does not pass over those).
    """
    sources, targets = classes.of[system.sources], classes.of[system.targets]
    kept = (system.labels != SILENT) | (sources != targets) | silent_loops
    rows = _each_once(sources[kept], system.labels[kept], targets[kept], classes.count)
    return LabelledSystem(classes.count, int(classes.of[system.initial]), *rows, system.names)


def _each_once(
    sources: Array, labels: Array, targets: Array, count: int
) -> tuple[Array, Array, Array]:
    """Distinct transitions, by source, label and target."""
    many = np.int64(int(labels.max(initial=0)) + 1)
    keys = (sources.astype(np.int64) * many + labels) * np.int64(count) + targets
    keys = np.unique(keys)
    rest, targets_ = np.divmod(keys, np.int64(count))
    sources_, labels_ = np.divmod(rest, many)
    return sources_.astype(np.int32), labels_.astype(np.int32), targets_.astype(np.int32)


def _kernels() -> ModuleType:
    """The compiled loops; they take a second to load, so they are loaded when they are needed."""
    os.environ.setdefault("NUMBA_CACHE_DIR", str(kernels_folder()))
    from modecheck.compare import refinement_kernels

    return refinement_kernels


def _refined(system: LabelledSystem, *, inert: bool) -> Classes:
    kernels = _kernels()
    outgoing = kernels.group(system.count, system.sources, system.labels, system.targets)
    incoming = kernels.group(system.count, system.targets, system.labels, system.sources)
    block = np.empty(system.count, np.int32)
    count = kernels.refine(system.count, *outgoing, *incoming, inert, block)
    return Classes(block, int(count))


def _contracted(system: LabelledSystem) -> tuple[LabelledSystem, Array]:
    """Each cycle of silent steps as one state, and the new number of each state. Silent steps then
    lead to smaller numbers.
    """
    kernels = _kernels()
    component = np.empty(system.count, np.int32)
    outgoing = kernels.group(system.count, system.sources, system.labels, system.targets)
    count = int(kernels.silent_components(system.count, *outgoing, component))
    sources, targets = component[system.sources], component[system.targets]
    kept = (system.labels != SILENT) | (sources != targets)
    rows = (sources[kept], system.labels[kept], targets[kept])
    initial = int(component[system.initial])
    return LabelledSystem(count, initial, *rows, system.names), component


def _saturated(system: LabelledSystem) -> LabelledSystem:
    """The same states with weak steps as transitions; there must be no cycle of silent steps."""
    kernels = _kernels()
    ordered, number = _contracted(system)
    assert ordered.count == system.count
    grouped = kernels.group(ordered.count, ordered.sources, ordered.labels, ordered.targets)
    begin, reach, whole = kernels.silently_reached(ordered.count, *grouped, MOST_SATURATED)
    if not whole:
        raise TooManyWeakSteps
    found = kernels.saturate(ordered.count, *grouped, begin, reach, MOST_SATURATED)
    offsets, packed, whole = found
    if not whole:
        raise TooManyWeakSteps
    packed = packed[: int(offsets[-1])]
    back = np.empty(system.count, np.int32)
    back[number] = np.arange(system.count, dtype=np.int32)
    sources = np.repeat(back, np.diff(offsets))
    labels = (packed >> np.uint64(32)).astype(np.int32)
    targets = back[(packed & np.uint64(0xFFFFFFFF)).astype(np.int64)]
    return LabelledSystem(system.count, system.initial, sources, labels, targets, system.names)
