"""A labelled transition system: states, and transitions of which some can be seen from outside.

Label 0 is the silent step, which is invisible; an observer distinguishes the other labels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

SILENT = 0
"""The label of an invisible step."""
SILENT_NAME = ""


@dataclass(frozen=True, slots=True)
class LabelledSystem:
    """Transition `i` leads from `sources[i]` to `targets[i]` and is seen as `names[labels[i]]`.

    The arrays are of 32-bit integers and of one length; `names[0]` is the silent step's, and names
    differ. States that cannot be reached from `initial` do not matter.
    """

    count: int
    initial: int
    sources: Array
    labels: Array
    targets: Array
    names: tuple[str, ...]

    @property
    def transitions(self) -> int:
        return int(self.sources.size)


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Two systems as one: state `s` of the other is state `moved + s` of `both`, whose initial
    state is the first one's. Equal names have equal labels.
    """

    both: LabelledSystem
    moved: int
    other_initial: int


def side_by_side(one: LabelledSystem, other: LabelledSystem) -> SideBySide:
    """The disjoint union of two systems."""
    names = (*one.names, *(name for name in other.names if name not in one.names))
    numbers = {name: number for number, name in enumerate(names)}
    relabelled = np.array([numbers[name] for name in other.names], np.int32)
    moved = np.int32(one.count)
    both = LabelledSystem(
        one.count + other.count,
        one.initial,
        np.concatenate([one.sources, other.sources + moved]),
        np.concatenate([one.labels, relabelled[other.labels]]),
        np.concatenate([one.targets, other.targets + moved]),
        names,
    )
    return SideBySide(both, one.count, one.count + other.initial)
