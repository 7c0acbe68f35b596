"""Several goals, and which chips can still move, found out by one search backwards.

Each is a bit of a state, and the bits of all are spread together. What is asked of the states of a
product is known before they are searched, as the checks say what they will ask.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.engine.contract.space import ReachGoal
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.mark_kernels import flag_bit
from modecheck.engine.search.state_graph import StateGraph
from modecheck.engine.search.sweep_kernels import flag_known
from modecheck.engine.search.sweeps import in_parts

SHORT, LONG = 32, 64
"""Bits of a state. Short masks take less memory, so more of them is at hand."""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """`masks[i]` has a bit for each of the `chips` that can still move in a path from state `i`,
    and above them one for each goal that a path leads to.
    """

    graph: StateGraph
    chips: int
    goals: dict[ReachGoal, int]
    masks: Array

    def leading_to(self, goal: ReachGoal) -> bytes:
        """For each state 1 if a path leads to the goal."""
        flags = self.graph.arrays.filled("u1", self.graph.count)
        flag_bit(self.masks, 1 << self.goals[goal], flags)
        return bytes(flags)


def foresee(graph: StateGraph, marks: Array, chips: int, goals: Sequence[ReachGoal]) -> Foreseen:
    """Search for all chips' moves, and for as many of the goals as there are bits for."""
    known = list(dict.fromkeys(goals))[: LONG - chips]
    places = {goal: chips + number for number, goal in enumerate(known)}
    of, everybody = graph.arrays.of, (1 << chips) - 1
    full = (1 << chips + len(known)) - 1
    past_failures = everybody | sum(1 << places[goal] for goal in known if goal.past_failures)
    masks = graph.arrays.filled("u4" if full < 1 << SHORT else "u8", graph.count)
    in_parts(
        flag_known, graph.count, graph.threads, marks, graph.failing, graph.linked,
        of("u8", [goal.marks for goal in known]), of("u8", [goal.lacking for goal in known]),
        of("u8", [1 << place for place in places.values()]),
        of("u8", [0, past_failures, full]), masks,
    )  # fmt: skip
    own, carried = [], []
    columns = map(graph.arrays.listed, (graph.moved, graph.events))
    for moved, events in zip(*columns, strict=True):
        own.append(moved & everybody)
        led = (1 << place for goal, place in places.items() if not events & goal.without_events)
        carried.append(everybody | sum(led))
    graph.widen(masks, own, carried, full)
    return Foreseen(graph, chips, places, masks)
