"""What the machine code notes while it runs, beside steps: what was taken, met and looked up."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from modecheck.engine.contract.encounters import Encounter, Observed
from modecheck.engine.native.machine import CompiledProduct


def observed_in(machine: CompiledProduct, seen: NDArray[Any]) -> Observed:
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
