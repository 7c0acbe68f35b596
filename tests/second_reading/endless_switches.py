"""Switches that can go on for ever, by brute force."""

from __future__ import annotations

import networkx as nx

from tests.second_reading.livelocks import fair_parts
from tests.second_reading.modes import modes_of
from tests.second_reading.reachability import distances
from tests.second_reading.search import Reached


def endless_switches(reached: Reached) -> dict[str, int | None]:
    """Every finding by its id, for each mode behind which chips and links can go round, fairly, in
    no mode and not all at rest. (Which loop is told is free, so there is no length.)
    """
    modes, chips = modes_of(reached), reached.device.chips.values()
    if len(reached.device.modes) < 2:
        return {}

    def switching(number: int) -> bool:
        world = reached.worlds[number]
        settled = all(c.states[world.at[c.name]].rest for c in chips if not c.actor)
        return not modes[number] and not settled

    found: dict[str, int | None] = {}
    for mode in reached.device.modes:
        starts = [number for number in reached.numbers if mode in modes[number]]
        graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
        graph.add_nodes_from(
            number for number in distances(reached, starts, switching) if switching(number)
        )
        for number in list(graph):
            for step, target in reached.outcomes[number]:
                if step.unprompted and target in graph and target != number:
                    graph.add_edge(number, target, step=step)
        if fair_parts(reached, graph):
            found[f"endless-switch:{mode}"] = None
    return found
