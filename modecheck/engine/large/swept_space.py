"""A space without transitions: what is asked of paths and loops is found by sweeps over sets of
states.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

from modecheck.engine.contract.space import Edge, LoopAnswer, LoopQuery, Path, ReachGoal, State
from modecheck.engine.large.state_sets import BitFlags, Followed, Numbers, StateSet, StateSets
from modecheck.engine.large.swept_loops import fair_loop_in
from modecheck.engine.large.swept_region import NOBODY, SweptRegion
from modecheck.engine.native.graph import CompiledExploration
from modecheck.engine.reference.system_actions import system_actions
from modecheck.product.ir import Product


class SweptPaths:
    """What a space is asked of paths, answered by `sets` of its states. `_reaching` keeps the
    answers on goals.
    """

    __slots__ = ()

    product: Product
    sets: StateSets
    _reaching: dict[ReachGoal, BitFlags]

    if TYPE_CHECKING:  # what it stands on, as in `Space`

        @property
        def layers(self) -> list[int]: ...

        @property
        def state_count(self) -> int: ...

        def depth_of(self, number: int) -> int: ...

        def state(self, number: int) -> State: ...

        def mark(self, condition: str) -> int: ...

        def marks_at(self, number: int) -> int: ...

        def edges_from(self, number: int) -> list[Edge]: ...

        def label_between(self, before: int, number: int) -> int: ...

    def path_to(self, number: int) -> Path:
        path: Path = []
        while number >= self.layers[0]:
            depth = self.depth_of(number)
            end = sum(self.layers[:depth])
            before = self.sets.source_of(number, end - self.layers[depth - 1], end)
            assert before is not None
            path.append((self.label_between(before, number), number))
            number = before
        if self.product.starts:
            path.append((self.product.start_label, number))
        return path[::-1]

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        followed = self.without(without_events)
        found = [
            self._first_step(1 << bit, 0, 0, 1 << bit, followed)
            for bit in range(marks.bit_length())
            if marks >> bit & 1
        ]
        return self._edge_of(
            min((one for one in found if one is not None), default=None),
            lambda edge, own: (
                not edge.events & without_events and own & marks & ~self.marks_at(edge.target) != 0
            ),
        )

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        found = self._first_step(before, 0, after, 0, self.without(0))
        return self._edge_of(found, lambda edge, _: bool(self.marks_at(edge.target) & after))

    def _first_step(
        self, some: int, lacking: int, after: int, after_lacking: int, followed: Followed
    ) -> int | None:
        of, into = self.sets.where(some, lacking), self.sets.where(after, after_lacking)
        found = self.sets.first_step(of, into, followed)
        self.sets.free(of, into)
        return found

    def _edge_of(
        self, number: int | None, wanted: Callable[[Edge, int], bool]
    ) -> tuple[int, Edge] | None:
        """A state with its first transition that is wanted."""
        if number is None:
            return None
        own = self.marks_at(number)
        return number, next(edge for edge in self.edges_from(number) if wanted(edge, own))

    def without(self, events: int) -> Followed:
        """The transitions in which none of these events happens."""
        return Followed(tuple(not happened & events for _, _, happened in self.sets.kinds))

    def foresee(self, goals: Iterable[ReachGoal]) -> None:
        """Each goal is a search of its own."""

    def can_reach(self, goal: ReachGoal) -> BitFlags:
        if goal not in self._reaching:
            own = self.sets.where(goal.marks, goal.lacking)
            flags = self._led_to(own, goal.without_events, past_failures=goal.past_failures)
            self._reaching[goal] = flags
        return self._reaching[goal]

    def can_reach_states(self, numbers: Iterable[int]) -> BitFlags:
        own = self.sets.of(np.array(list(numbers), np.uint32))
        return self._led_to(own, 0, past_failures=True)

    def _led_to(self, own: StateSet, without: int, *, past_failures: bool) -> BitFlags:
        unknown = self.sets.unknown(past_failures=past_failures)
        self.sets.join(own, unknown)
        self.sets.widen(own, self.without(without))
        flags = BitFlags(self.sets.bits(own), self.state_count)
        self.sets.free(own, unknown)
        return flags

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        movable = {
            chip: self._can_move(1 << chip)
            for chip in range(chips.bit_length())
            if chips >> chip & 1
        }
        every = np.full(-(-self.state_count // 64), np.uint64(0xFFFFFFFFFFFFFFFF))
        for words, _ in movable.values():
            every &= words
        for number in BitFlags(every, self.state_count).zeros():
            yield number, sum(1 << chip for chip, (_, can) in movable.items() if not can[number])

    def _can_move(self, chips: int) -> tuple[np.ndarray[tuple[int], np.dtype[np.uint64]], BitFlags]:
        """The states from which a path leads to a move of one of these chips, not in place."""
        moving = Followed(tuple(bool(moved & chips) for _, moved, _ in self.sets.kinds), away=True)
        own, unknown = self.sets.sources(moving), self.sets.unknown(past_failures=True)
        self.sets.join(own, unknown)
        self.sets.widen(own, self.without(0))
        words = self.sets.bits(own)
        self.sets.free(own, unknown)
        return words, BitFlags(words, self.state_count)

    def bfs(self, starts: int, *, blocked: int) -> SweptRegion:
        return self._spread_out(starts, blocked, by_depth=False)

    def bfs_from_each(self, starts: Sequence[int], *, blocked: int) -> list[SweptRegion]:
        return [self.bfs(own, blocked=blocked) for own in starts]

    def spread_from_initial(self, starts: int, *, blocked: int) -> SweptRegion:
        return self._spread_out(starts, blocked, by_depth=True)

    def _spread_out(self, starts: int, blocked: int, *, by_depth: bool) -> SweptRegion:
        """Spread from all starts at once, or from each when the spread is as far as its depth;
        blocked states are entered in the former case alone.
        """
        sets, region = self.sets, SweptRegion(self)
        marked = sets.where(starts)
        left = _by_depth(sets.numbers(marked), self.layers) if by_depth else [NOBODY]
        barred, known, frontier = sets.where(blocked), sets.none(), sets.none()
        followed = self.without(0)
        while left or (region.layers and region.layers[-1].size):
            behind = sets.targets(frontier, followed, known)
            entered = sets.none()
            sets.join(entered, behind)
            sets.keep(entered, barred)
            sets.drop(behind, barred)
            if not by_depth:
                sets.join(known, entered)
            sets.join(known, behind)
            joining = sets.of(left.pop(0) if left else NOBODY)
            if not by_depth and not region.layers:
                sets.join(joining, marked)
            sets.drop(joining, known)
            sets.join(known, joining)
            region.joined.append(sets.numbers(joining))
            region.entered.append(NOBODY if by_depth else sets.numbers(entered))
            sets.join(behind, joining)
            region.layers.append(sets.numbers(behind))
            sets.free(frontier, entered, joining)
            frontier = behind
        sets.free(marked, barred, known, frontier)
        return region

    def behind(self, starts: int, *, blocked: int) -> StateSet:
        """The states with a mark of `starts`, and those to which a path leads from them through
        states without blocked marks, which are left out.
        """
        sets, followed = self.sets, self.without(0)
        found, frontier, barred = sets.where(starts), sets.where(starts), sets.where(blocked)
        while sets.count(frontier):
            further = sets.targets(frontier, followed, found)
            sets.drop(further, barred)
            sets.join(found, further)
            sets.free(frontier)
            frontier = further
        sets.free(frontier, barred)
        return found

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        return fair_loop_in(self, query)

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:  # noqa: ARG002 - nothing is exchanged here
        sets, by_system = self.sets, system_actions(self.product)
        followed = Followed(tuple(by_system[label] for label, _, _ in sets.kinds), away=True)
        inside, barred = self.behind(starts, blocked=blocked), sets.where(blocked)
        sets.drop(inside, barred)
        unknown = sets.unknown(past_failures=True)
        sets.keep(unknown, inside)
        endless = bool(sets.count(unknown))
        if not endless:
            sets.join(unknown, inside)
            sets.trim(unknown, followed)
            endless = bool(sets.count(unknown))
        # States from which there is a path of one step, of two, and so on.
        left, steps = sets.sources(followed, inside), 0
        while not endless and sets.count(left):
            further = sets.sources(followed, left, left)
            sets.free(left)
            left, steps = further, steps + 1
        sets.free(inside, barred, unknown, left)
        return None if endless else steps

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        sets = self.sets
        happening = Followed(tuple(bool(happened & events) for _, _, happened in sets.kinds))
        inside, begun = self.behind(starts, blocked=blocked), sets.where(starts)
        every, others = sets.where(1, 1), sets.where(1, 1)
        sets.drop(others, begun)
        found = [sets.first_step(begun, others, happening)]
        sets.drop(inside, begun)
        found.append(sets.first_step(inside, every, happening))
        sets.free(begun, others, inside, every)
        return self._edge_of(
            min((one for one in found if one is not None), default=None),
            lambda edge, own: bool(
                edge.events & events and not (own & starts and self.marks_at(edge.target) & starts)
            ),
        )

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        return self.sets.noted(curious)

    def lacking(self, wanted: int, unwanted: int) -> BitFlags:
        """A flag for each state, 0 for those with all wanted marks and no unwanted one."""
        own = self.sets.where(unwanted & ~wanted, wanted)
        flags = BitFlags(self.sets.bits(own), self.state_count)
        self.sets.free(own)
        return flags


@dataclass(slots=True)
class SweptSpace(SweptPaths, CompiledExploration):  # type: ignore[misc]
    """A space whose `graph` has no transitions, with sets of its states."""

    sets: StateSets = field(kw_only=True)
    _reaching: dict[ReachGoal, BitFlags] = field(default_factory=dict)

    @property
    def is_swept(self) -> bool:
        return True

    @property
    def occupied(self) -> list[set[int]]:
        if self._occupied is None:
            fields = [chip.state_field for chip in self.product.chips]
            with ThreadPoolExecutor() as pool:
                self._occupied = list(pool.map(self.found.values_in, fields))
        return self._occupied


def swept(space: CompiledExploration, sets: StateSets) -> SweptSpace:
    """A space that has no transitions, with sets of its states."""
    return SweptSpace(
        product=space.product,
        found=space.found,
        graph=space.graph,
        marks=space.marks,
        observed=space.observed,
        failures=space.failures,
        transitions=space.transitions,
        stopped_by=space.stopped_by,
        sets=sets,
    )


def _by_depth(numbers: Numbers, layers: list[int]) -> list[Numbers]:
    """Numbers in order, divided by depth, up to the last ones."""
    ends = np.searchsorted(numbers, list(accumulate(layers)))
    parts = np.split(numbers, ends[:-1])
    while parts and not parts[-1].size:
        parts.pop()
    return parts
