"""What the machine code notes while it runs, beside steps: what was taken, met and looked up."""

from __future__ import annotations

import numpy as np

from modecheck.engine.compiled.graph import Array, States
from modecheck.engine.compiled.graph_kernels import flag_states
from modecheck.engine.compiled.machine import CompiledProduct, compiled
from modecheck.engine.encounters import Encounter, Observed
from modecheck.engine.system_actions import system_actions
from modecheck.product.ir import Product


def observed_in(machine: CompiledProduct, seen: Array) -> Observed:
    """What the bytes that a successor function has set mean."""
    observed = Observed()
    for meaning, number in machine.seen.items():
        if not seen[number]:
            continue
        if meaning[0] == "taken":
            observed.taken.add(meaning[1])
        elif meaning[0] == "met":
            observed.encounters.add(Encounter(*meaning[1:]))
        elif meaning[0] == "watched":
            observed.watched.add((meaning[1], meaning[2]))
        else:
            observed.note_shadow(meaning[1], meaning[2])
    return observed


def shadows_of(product: Product, states: States, curious: frozenset[int]) -> dict[int, int]:
    """Step through all states once more, with code that looks at the rules that lost."""
    machine = compiled(
        product, system_actions(product), curious=curious, level=states.machine.level
    )
    seen = np.zeros(len(machine.seen) + 64, np.uint8)
    records = np.zeros(max(1024, 2 * machine.most_records) * (states.width + 2), np.uint64)
    spare: Array = np.zeros(states.count, np.uint8)
    flag_states(
        machine.successors,
        seen,
        states.words,
        states.width,
        0,
        states.expanded,
        records,
        spare,
        spare.copy(),
    )
    return observed_in(machine, seen).shadowed
