"""Which states of a labelled system are equivalent: strong, branching and weak bisimulation.

*How.* A partition is refined until all states of a block have one signature: the pairs of a label
and of a block that a step leads to (Blom & Orzan, A distributed algorithm for strong bisimulation
reduction of state spaces, 2002; for branching bisimulation, Distributed branching bisimulation
reduction of state spaces, 2003; both from memory). Only what changed is visited again, and when
a block splits, its largest part keeps its number, so that a state moves at most log2(n) times
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

*Weak* (Milner 1989). Branching equivalent states are weakly equivalent, so it is decided on the
classes of the former. There the weak steps (any silent steps, the visible one, any silent steps; or
silent steps alone, also none) are made into transitions, and strong classes of those are the weak
ones, by definition.

Divergence (silent steps forever) is ignored by branching and weak bisimulation.

*Branching with explicit divergence* (van Glabbeek & Weijland, Branching time and abstraction in
bisimulation semantics, 1996; van Glabbeek, Luttik & Trčka, Branching bisimilarity with explicit
divergence, 2009; from memory). A state can moreover go on silently forever among equivalent states
exactly if those equivalent to it can. It is branching bisimulation of the system in which all
states on cycles of silent steps have a visible step to themselves: the answer to that step comes
behind silent steps among equivalent states; and of finitely many states, one that goes on forever
among them comes to a cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import partial

import numpy as np

from modecheck.compare import refinement_kernels as kernels
from modecheck.compare.growing import Known, filled
from modecheck.compare.labelled import SILENT, Array, LabelledSystem, side_by_side
from modecheck.compare.refinement_kernels import saturate, silently_reached
from modecheck.compare.silent_cycles import (
    grouped,
    silent_components,
    with_divergence,
    without_divergence,
)
from modecheck.model.errors import ModecheckError

MOST_SATURATED = 100_000_000
"""Most weak transitions to compute: 800 MB, and as much again while they are refined."""


class Equivalence(Enum):
    """From the finest to the coarsest."""

    STRONG = "strong"
    DIVERGENCE = "divergence"
    BRANCHING = "branching"
    WEAK = "weak"

    @property
    def title(self) -> str:
        """The equivalence as textbooks call it."""
        if self is Equivalence.DIVERGENCE:
            return "branching bisimulation with explicit divergence"
        return f"{self.value} bisimulation"


class TooManyWeakSteps(ModecheckError):
    """The silent steps can be combined in too many ways: the answer is unknown."""

    def __str__(self) -> str:
        return (
            f"weak bisimulation needs more than {MOST_SATURATED:,} combined steps here; "
            "use branching bisimulation, which is finer"
        )


@dataclass(frozen=True, slots=True)
class Classes:
    """The class of each state, from 0 to `count - 1`, by the first states that they have."""

    of: Array
    count: int


def classes_of(system: LabelledSystem, equivalence: Equivalence) -> Classes:
    """The classes of equivalent states. Raises `TooManyWeakSteps`."""
    if not system.count:
        return Classes(np.zeros(0, np.int32), 0)
    if equivalence is Equivalence.STRONG:
        return _refined(system, inert=False)
    if equivalence is Equivalence.DIVERGENCE:
        system = with_divergence(system)
    contracted, component = _contracted(system)
    branching = _numbered(_refined(contracted, inert=True).of[component])
    if equivalence is not Equivalence.WEAK:
        return branching
    weak = _refined(_saturated(quotient(system, branching)), inert=False)
    return _numbered(weak.of[branching.of])


def _numbered(blocks: Array) -> Classes:
    """The blocks of a partition as classes: how they are found does not show in their order."""
    _, first, block = np.unique(blocks, return_index=True, return_inverse=True)
    number = np.empty(first.size, np.int32)
    number[np.argsort(first)] = np.arange(first.size, dtype=np.int32)
    return Classes(number[block], first.size)


def equivalent(one: LabelledSystem, other: LabelledSystem, equivalence: Equivalence) -> bool:
    """Whether the initial states of two systems are equivalent. Raises `TooManyWeakSteps`."""
    pair = side_by_side(one, other)
    of = classes_of(pair.both, equivalence).of
    return bool(of[pair.both.initial] == of[pair.other_initial])


def quotient(
    system: LabelledSystem, classes: Classes, equivalence: Equivalence = Equivalence.BRANCHING
) -> LabelledSystem:
    """The classes as states, each transition once, without silent ones that stay in their class.
    Strong bisimulation does not pass over those; with explicit divergence, a class has one to
    itself exactly if it has a cycle of silent steps.
    """
    if equivalence is Equivalence.DIVERGENCE:
        return without_divergence(quotient(with_divergence(system), classes))
    sources, targets = classes.of[system.sources], classes.of[system.targets]
    kept = (system.labels != SILENT) | (sources != targets) | (equivalence is Equivalence.STRONG)
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


def _refined(system: LabelledSystem, *, inert: bool) -> Classes:
    count, counters = system.count, np.zeros(kernels.COUNTERS, np.int64)
    parts = kernels.Partition(
        block=np.zeros(count, np.int32),
        members=np.arange(count, dtype=np.int32),
        position=np.arange(count, dtype=np.int32),
        begin=np.zeros(count + 1, np.int64),
        end=np.zeros(count + 1, np.int64),
        changed=np.zeros(count + 1, np.int64),
        signatures=np.full(count + 1, -1, np.int64),
    )
    work = kernels.Work(
        heap=np.arange(count, dtype=np.int32),
        queued=np.ones(count, np.uint8),
        now=np.zeros(count, np.int64),
        judged=np.zeros(count, np.int64),
        touched=np.empty(count, np.int32),
        moved=np.empty(count, np.int32),
        scratch=np.empty(count, np.uint64),
    )
    parts.end[0] = counters[kernels.WAITING] = count
    counters[kernels.BLOCKS] = 1
    steps = grouped(system.count, system.sources, system.labels, system.targets)
    back = grouped(system.count, system.targets, system.labels, system.sources)
    known = Known()
    while not kernels.refine(steps, back, inert, parts, work, known.signatures, counters):
        known.grow(int(counters[kernels.KNOWN]))
    return _numbered(parts.block)


def _contracted(system: LabelledSystem) -> tuple[LabelledSystem, Array]:
    """Each cycle of silent steps as one state, and the new number of each state. Silent steps then
    lead to smaller numbers.
    """
    component = silent_components(system)
    count = int(component.max()) + 1
    sources, targets = component[system.sources], component[system.targets]
    kept = (system.labels != SILENT) | (sources != targets)
    rows = (sources[kept], system.labels[kept], targets[kept])
    initial = int(component[system.initial])
    return LabelledSystem(count, initial, *rows, system.names), component


def _saturated(system: LabelledSystem) -> LabelledSystem:
    """The same states with weak steps as transitions; there must be no cycle of silent steps."""
    ordered, number = _contracted(system)
    assert ordered.count == system.count
    steps = grouped(ordered.count, ordered.sources, ordered.labels, ordered.targets)
    begin, offsets = (np.zeros(system.count + 1, np.int64) for _ in range(2))
    seen = np.full(system.count, -1, np.int64)
    fill = partial(silently_reached, steps, begin, seen)
    reach = filled(np.int32, begin, MOST_SATURATED, fill)
    if reach is None:
        raise TooManyWeakSteps
    fill = partial(saturate, steps, begin, reach, offsets)
    packed = filled(np.uint64, offsets, MOST_SATURATED, fill)
    if packed is None:
        raise TooManyWeakSteps
    back = np.empty(system.count, np.int32)
    back[number] = np.arange(system.count, dtype=np.int32)
    sources = np.repeat(back, np.diff(offsets))
    labels = (packed >> np.uint64(32)).astype(np.int32)
    targets = back[(packed & np.uint64(0xFFFFFFFF)).astype(np.int64)]
    return LabelledSystem(system.count, system.initial, sources, labels, targets, system.names)
