"""What a store offers to the checks when all is explored: paths, too, found by sweeps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from modecheck.engine.contract.space import Edge, ReachGoal
from modecheck.engine.large.state_sets import BitFlags, StateSets
from modecheck.engine.large.swept_space import SweptPaths
from modecheck.engine.native.graph import States
from modecheck.engine.store.path_files import PathFiles
from modecheck.engine.store.state_survey import Place
from modecheck.engine.store.store_explorer import StoreExplorer
from modecheck.engine.store.store_sets import StoreSets
from modecheck.engine.store.store_space import StoreSpace


class SweptStore(SweptPaths, StoreSpace):
    """A product in a store, explored to its end, whose states are numbered as in memory."""

    shadows = StoreSpace.shadows
    is_swept = True

    def __init__(self, explorer: StoreExplorer, files: PathFiles) -> None:
        super().__init__(explorer)
        self._numbering = files.numbering
        self._folder = files.where.folder
        self._reaching: dict[ReachGoal, BitFlags] = {}
        self.sets: StateSets = StoreSets(
            files.where,
            files.numbering,
            len(self.product.conditions),
            explorer.done,
            explorer.workers.count,
            StoreSpace(explorer).shadows,
        )

    def _number(self, place: Place) -> int:
        return self._numbering.number_of(self._folder, place[1])

    def _place(self, number: int) -> Place:
        level = self._numbering.level_of(number)
        return level, self._numbering.words_of(self._folder, number)

    @property
    def starts(self) -> Sequence[int]:
        """The numbers of all states in which the device may begin."""
        return range(self.layers[0])

    def is_expanded(self, number: int) -> bool:
        """Whether the transitions of a state are known."""
        return number < self.expanded

    def depth_of(self, number: int) -> int:
        """The distance of a state from the initial state."""
        return self._numbering.level_of(number)

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """States with all wanted marks and no unwanted one, shallowest first."""
        return self.lacking(wanted, unwanted).zeros()

    def edges_from(self, number: int) -> list[Edge]:
        """The transitions of a state, in the interpreter's order."""
        words = np.array(self._place(number)[1], np.uint64)
        machine = self._explorer.machine
        seen = np.zeros(len(machine.seen) + 64, np.uint8)
        steps = States(machine, words, [1], 1, seen).steps(0)
        return [
            Edge(label, self._numbering.number_of(self._folder, after), moved, events)
            for label, after, moved, events in steps
            if after is not None
        ]

    def label_between(self, before: int, number: int) -> int:
        """The label of a step that leads from one state to another."""
        return min(edge.label for edge in self.edges_from(before) if edge.target == number)
