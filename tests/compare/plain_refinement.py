"""Classes of equivalent states by lists and sets: the kernels are compared with them.

A partition is refined by signatures until it is stable; for branching bisimulation a state also has
the signatures that are reached by silent steps within its block (Blom & Orzan 2003, from memory).
Weak bisimulation is strong bisimulation of the weak steps, by definition.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from modecheck.compare.labelled import SILENT, LabelledSystem

Steps = Sequence[set[tuple[int, int]]]
"""For each state its steps: label and target."""


def steps_of(system: LabelledSystem) -> Steps:
    """The transitions of each state."""
    steps: list[set[tuple[int, int]]] = [set() for _ in range(system.count)]
    columns = (system.sources.tolist(), system.labels.tolist(), system.targets.tolist())
    for source, label, target in zip(*columns, strict=True):
        steps[source].add((label, target))
    return steps


def plain_classes(system: LabelledSystem, equivalence: str) -> list[int]:
    """The class of each state by one of the four equivalences."""
    refine: dict[str, Callable[[Steps], list[int]]] = {
        "strong": strong_classes,
        "divergence": partial(branching_classes, divergence=True),
        "branching": branching_classes,
        "weak": weak_classes,
    }
    return refine[equivalence](steps_of(system))


def strong_classes(steps: Steps) -> list[int]:
    """The class of each state, numbered in order of first appearance."""
    block = [0] * len(steps)
    while True:
        signatures = [{(label, block[target]) for label, target in own} for own in steps]
        finer = _numbered(zip(block, map(frozenset, signatures), strict=True))
        if finer == block:
            return block
        block = finer


def branching_classes(steps: Steps, *, divergence: bool = False) -> list[int]:
    """The same for branching bisimulation; with explicit `divergence`, a signature also says
    whether silent steps can go on forever within the block.
    """
    block = [0] * len(steps)
    while True:
        signatures = _behind_inert_steps(steps, block)
        for state in _forever_inert(steps, block) if divergence else ():
            signatures[state].add((SILENT, -1))
        finer = _numbered(zip(block, map(frozenset, signatures), strict=True))
        if finer == block:
            return block
        block = finer


def weak_classes(steps: Steps) -> list[int]:
    """The same for weak bisimulation."""
    behind = [_silently_reached(steps, state) for state in range(len(steps))]
    weak: list[set[tuple[int, int]]] = []
    for reached in behind:
        found = {(SILENT, target) for target in reached}
        for passed in reached:
            for label, target in steps[passed]:
                if label != SILENT:
                    found |= {(label, further) for further in behind[target]}
        weak.append(found)
    return strong_classes(weak)


def _numbered(keys: Iterable[object]) -> list[int]:
    numbers: dict[object, int] = {}
    return [numbers.setdefault(key, len(numbers)) for key in keys]


def _behind_inert_steps(steps: Steps, block: list[int]) -> list[set[tuple[int, int]]]:
    """What can be done in each state, perhaps after silent steps that stay in its block."""
    found: list[set[tuple[int, int]]] = [set() for _ in steps]
    before: list[list[int]] = [[] for _ in steps]
    for state, own in enumerate(steps):
        for label, target in own:
            if label == SILENT and block[target] == block[state]:
                before[target].append(state)
            else:
                found[state].add((label, block[target]))
    pending = list(range(len(steps)))
    while pending:
        state = pending.pop()
        for earlier in before[state]:
            if not found[state] <= found[earlier]:
                found[earlier] |= found[state]
                pending.append(earlier)
    return found


def _forever_inert(steps: Steps, block: list[int]) -> set[int]:
    """The states from which silent steps can go on forever within the block: what is left when all
    that cannot take one more such step among them have been struck out.
    """
    left = set(range(len(steps)))
    while True:
        stuck = {
            state
            for state in left
            if not any(
                label == SILENT and target in left and block[target] == block[state]
                for label, target in steps[state]
            )
        }
        if not stuck:
            return left
        left -= stuck


def _silently_reached(steps: Steps, state: int) -> set[int]:
    found, pending = {state}, [state]
    while pending:
        for label, target in steps[pending.pop()]:
            if label == SILENT and target not in found:
                found.add(target)
                pending.append(target)
    return found
