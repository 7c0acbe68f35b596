"""What becomes of a device that is left alone: no actor acts, and no further fault strikes.

Goals are conditions that held before, such as a mode. A state may also be stayed in for ever, where
nothing has to happen: a step in place, to which nothing is fair, stands for that, so that a fair
loop outside of a goal is all that keeps a device from coming back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from modecheck.cutsets.slice_kernels import (
    flag_also,
    keep_and_stay,
    mark_flagged,
    rename_marks,
)
from modecheck.cutsets.slices import Slice, SliceStore
from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.fair_components import FairSearch
from modecheck.engine.search.mark_kernels import flag_goals, set_unknown
from modecheck.engine.search.state_graph import StateGraph
from modecheck.engine.search.sweep_kernels import FOREVER, longest_inside
from modecheck.engine.search.sweeps import in_parts
from modecheck.engine.search.time_bound_search import time_bounds_of
from modecheck.engine.search.time_bounds import DUE, HELD, TimeBoundQuery
from modecheck.product.ir import Label
from modecheck.product.lowering import FALSE
from modecheck.product.observers import IDLE

MOST_GOALS = 16
"""Goals that are looked at together: each takes two marks."""
FLAGGED = 1 << 62
"""A mark beyond those of all goals."""


@dataclass(frozen=True, slots=True)
class Return:
    """How a device that is left alone comes back to a goal, from the states that it can then be in.

    It `stays` if it leaves it in none of them; it `returns` if every fair run comes back to it
    again and again, and `can_return` if from each of them some run does. `steps` and `ticks` are
    the most that it takes, None for no bound (and for no clock); `ends` are the marks of states in
    which it may remain instead. `unknown` tells that a step fails on the way.
    """

    stays: bool
    returns: bool
    can_return: bool
    steps: int | None
    ticks: int | None
    ends: frozenset[int]
    unknown: bool


class Unaided:
    """A slice without the steps of actors. `goals` are the marks that the slice has for them."""

    def __init__(self, part: Slice, goals: Sequence[int]) -> None:
        assert len(goals) <= MOST_GOALS
        self._goals = [1 << number for number, _ in enumerate(goals)]
        self._begun = [1 << MOST_GOALS + number for number, _ in enumerate(goals)]
        conditions = [DUE, *(name for name in part.product.conditions if name.startswith(HELD))]
        timed = [name for name in conditions if name in part.product.conditions]
        bits = [part.mark(name) for name in timed]
        moved = [1 << 2 * MOST_GOALS + number for number, _ in enumerate(timed)]
        arrays = part.graph.arrays
        marks = arrays.filled("u8", part.state_count)
        of = arrays.of
        rename_marks(part.marks, of("u8", [*goals, *bits]), of("u8", [*self._goals, *moved]), marks)
        names = [*(f"goal {bit}" for bit in range(2 * MOST_GOALS)), *timed]
        product = replace(
            part.product,
            labels=(*part.product.labels, Label(IDLE, "idle")),
            conditions=dict.fromkeys(names, FALSE),
        )
        self._space = Exploration[SliceStore](
            product=product,
            found=part.found,
            graph=_left_alone(part),
            marks=marks,
            observed=part.observed,
            stopped_by=part.stopped_by,
        )

    @property
    def marks(self) -> Array:
        """The goals that hold in each state, the first in the lowest bit."""
        return self._space.marks

    def keeps(self, goal: int) -> Array:
        """Flags for the states in which a goal (number) holds, and to which the device would come
        back whatever happened, if it were left alone now.
        """
        inside = self._outside(goal)
        away = self._fair_states(inside)
        leading = self._space.graph.leading_to(self._flags(away), past_failures=False)
        keeps, holds = self._filled(), self._filled()
        flag_goals(self._space.marks, self._goals[goal], 0, holds)
        flag_also(holds, leading, 0, keeps)
        return keeps

    def begun_at(self, entries: Sequence[tuple[int, int]]) -> Unaided:
        """The same, begun in these states, each with the goals (bits) to come back to."""
        arrays = self._space.graph.arrays
        marks = arrays.of("u8", arrays.listed(self._space.marks))
        for number, goals in entries:
            marks[number] = int(marks[number]) | goals << MOST_GOALS
        begun = object.__new__(Unaided)
        begun._goals, begun._begun = self._goals, self._begun
        begun._space = replace(
            self._space, marks=marks, _behind={}, _lengths={}, _combinations=None
        )
        return begun

    def back_to(self, goal: int) -> Return | None:
        """How it comes back to a goal (number); None if it begins nowhere with it."""
        space, graph = self._space, self._space.graph
        reached = space.bfs(self._begun[goal], blocked=0).flags()
        if not self._combinations(reached):
            return None
        outside, unknown = self._filled(), self._filled()
        flag_also(reached, self._outside(goal), 1, outside)
        flag_also(reached, graph.failing, 1, unknown)
        away = self._flags(self._fair_states(graph.arrays.of("u1", outside)))
        holds, lost = self._filled(), self._filled()
        flag_goals(space.marks, self._goals[goal], 0, holds)
        back = graph.leading_to(holds, past_failures=False)
        flag_also(reached, back, 0, lost)
        ends = self._combinations(away)
        return Return(
            stays=not self._combinations(outside) and not self._combinations(unknown),
            returns=not ends and not self._combinations(lost),
            can_return=not self._combinations(lost),
            steps=self._steps(goal, reached),
            ticks=self._ticks(goal, reached),
            ends=ends,
            unknown=bool(self._combinations(unknown)),
        )

    def _filled(self) -> Array:
        return self._space.graph.arrays.filled("u1", self._space.state_count)

    def _outside(self, goal: int) -> Array:
        """Flags for the states in which a goal does not hold and no step fails."""
        inside, graph = self._filled(), self._space.graph
        flag_goals(self._space.marks, 0, self._goals[goal], inside)
        set_unknown(graph.failing, graph.linked, True, 0, inside)
        return inside

    def _fair_states(self, inside: Array) -> Array:
        """The states of fair loops, each with the number of its component."""
        space = self._space
        search = FairSearch.of(space.product, space.graph, space.marks, inside, LoopQuery())
        return search.fair_states()

    def _flags(self, numbers: Array) -> Array:
        """1 where a number is not 0."""
        flags, every = self._filled(), self._space.graph.arrays.filled("u1", len(numbers), 1)
        flag_also(every, numbers, 1, flags)
        return flags

    def _combinations(self, flags: Array) -> frozenset[int]:
        """The goals that hold together in some flagged state."""
        arrays = self._space.graph.arrays
        marked = arrays.filled("u8", self._space.state_count)
        mark_flagged(flags, self._space.marks, FLAGGED, marked)
        goals = (1 << MOST_GOALS) - 1
        return frozenset(own & goals for own in arrays.counted(marked) if own & FLAGGED)

    def _steps(self, goal: int, reached: Array) -> int | None:
        """The most steps from a reached state until the goal holds, or nothing is left to do."""
        space, graph = self._space, self._space.graph
        labels = graph.arrays.listed(graph.labels)
        idle = len(space.product.labels) - 1
        lengths = graph.lengths(
            space.marks, self._goals[goal], [label != idle for label in labels],
            [True] * len(labels)
        )  # fmt: skip
        return self._most(reached, lengths)

    def _ticks(self, goal: int, reached: Array) -> int | None:
        """The most ticks from a reached state until the goal holds."""
        if self._space.product.time is None:
            return None
        query = TimeBoundQuery(0, self._goals[goal], 0, frozenset(), endless=True)
        found = time_bounds_of(self._space)(query)
        return None if found is None else self._most(reached, found.worst)

    def _most(self, reached: Array, lengths: object) -> int | None:
        parts = in_parts(longest_inside, self._space.state_count, 1, reached, lengths)
        most = max(parts, default=0)
        return None if most == FOREVER else int(most)


def _left_alone(part: Slice) -> StateGraph:
    """The steps of chips, links and time, and in each state one in which nothing happens."""
    graph, product = part.graph, part.product
    arrays, by_system = graph.arrays, system_actions(product)
    labels = arrays.listed(graph.labels)
    allowed = arrays.of("u1", [by_system[label] for label in labels])
    room = len(graph.targets) + graph.linked
    first = arrays.filled("i8", graph.linked + 1)
    targets, notes = arrays.filled("u4", room), arrays.filled("u2", room)
    edges = keep_and_stay(
        graph.first, graph.targets, graph.notes, graph.linked, allowed, len(labels),
        first, targets, notes,
    )  # fmt: skip
    kinds = [*labels, len(product.labels)]
    moved, events = ([*arrays.listed(one), 0] for one in (graph.moved, graph.events))
    return replace(
        graph, first=first, targets=targets[: int(edges)], notes=notes[: int(edges)],
        labels=arrays.of("u8", kinds), moved=arrays.of("u8", moved),
        events=arrays.of("u8", events), _transposed=None, _kinds=[], _most_edges=None,
    )  # fmt: skip
