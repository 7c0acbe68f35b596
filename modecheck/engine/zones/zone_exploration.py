"""Breadth-first exploration by zones: states of the discrete part, each with zones of its clocks.

A zone that lies in one found before in the same state is not followed. Depth counts steps; ticks
in which a timer begins anew or is over lead on within a layer. What is reached, and by which steps,
is what the plain interpreter reaches step by step and tick by tick.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import Limits
from modecheck.engine.contract.stopping import LimitReached, LimitWatch, noting_stops
from modecheck.engine.reference.plain import State, Step
from modecheck.engine.search.exploration import REPORT_EVERY, Reporter
from modecheck.engine.zones import dbm
from modecheck.engine.zones.dbm import Zone
from modecheck.engine.zones.time_elapse import (
    ClockTurnover,
    Situation,
    ZonePart,
    parts,
    passed,
    situation_of,
    turns,
)
from modecheck.engine.zones.untimed import Untimed
from modecheck.engine.zones.zone_clocks import BoundsInForce, ClockBounds, Running
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product

TICK = -1
"""Stands for the label of a tick with which something turns over."""
NOWHERE = -1
"""The parent of the first node."""


@dataclass(frozen=True, slots=True)
class Came:
    """How a node was come to: from its parent by a step at a moment within bounds (of fields), or
    by a tick with these bounds (of indexes). `sources` are those of its clocks.
    """

    label: int
    way: BoundsInForce
    bounds: tuple[ClockBounds, ...] = ()
    sources: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Node:
    """A state of the discrete part with the moments at which the device can be in it."""

    situation: Situation
    part: ZonePart
    zone: Zone
    parent: int
    came: Came


@dataclass(frozen=True, slots=True)
class Failed:
    """A failing step at a moment of a node within bounds."""

    failure: Failure
    node: int
    label: int
    way: BoundsInForce


@dataclass(slots=True)
class ZoneGraph:
    """What was found. `stopped_by` says which bound was hit."""

    product: Product
    nodes: list[Node] = field(default_factory=list)
    layers: list[int] = field(default_factory=list)
    transitions: int = 0
    failed: list[Failed] = field(default_factory=list)
    observed: Observed = field(default_factory=Observed)
    stopped_by: str = ""

    def trail(self, number: int) -> list[int]:
        """The nodes from the first to one of them."""
        found = []
        while number != NOWHERE:
            found.append(number)
            number = self.nodes[number].parent
        return found[::-1]


class ZoneExplorer:
    """Explores once."""

    def __init__(self, product: Product, limits: Limits, reporter: Reporter) -> None:
        self.graph = ZoneGraph(product)
        self._untimed = Untimed(product)
        self._limits = limits
        self._watch = LimitWatch(limits)
        self._reporter = reporter
        self._situations: dict[State, Situation] = {}
        self._known: dict[State, list[Zone]] = {}
        self._layer: list[int] = []
        self._next: list[int] = []

    def run(self) -> ZoneGraph:
        """Everything that can be reached, or what was reached before a bound was hit."""
        graph = self.graph
        with noting_stops(graph):
            self._begin()
            self._search()
        if graph.stopped_by:
            graph.layers = [*graph.layers, len(graph.nodes) - sum(graph.layers)]
        return graph

    def _begin(self) -> None:
        first = self.graph.product.initial
        state, running, sources = self._untimed.clocks.arrival(first, ())
        zone, came = dbm.rearranged((dbm.ZERO,), 1, sources), Came(TICK, (), (), sources)
        self._enter(self._situation(state, running), zone, NOWHERE, came, self._next)

    def _search(self) -> None:
        graph = self.graph
        done = 0
        while self._next:
            self._layer, self._next = self._next, []
            for number in self._layer:  # ticks add to it
                self._expand(number)
                done += 1
                if done % REPORT_EVERY == 0:
                    self._report(done)
                    self._watch.look()
            graph.layers.append(len(self._layer))

    def _report(self, done: int) -> None:
        graph = self.graph
        self._reporter.progress(
            states=len(graph.nodes),
            transitions=graph.transitions,
            frontier=len(graph.nodes) - done,
            depth=len(graph.layers),
        )

    def _situation(self, state: State, running: tuple[Running, ...]) -> Situation:
        known = self._situations.get(state)
        if known is None:
            known = self._situations[state] = situation_of(self._untimed, state, running)
        return known

    def _enter(
        self, situation: Situation, zone: Zone, parent: int, came: Came, layer: list[int]
    ) -> None:
        """Note where a step or a tick leads, unless it is known."""
        known = self._known.setdefault(situation.state, [])
        for part in parts(situation, zone):
            wide = dbm.extrapolated(
                passed(situation, part), situation.n, situation.most, whole=True
            )
            if any(dbm.includes(one, wide) for one in known):
                continue
            limits = self._limits
            if limits.states is not None and len(self.graph.nodes) >= limits.states:
                raise LimitReached(limits.reached_states)
            known[:] = [one for one in known if not dbm.includes(wide, one)]
            known.append(wide)
            layer.append(len(self.graph.nodes))
            self.graph.nodes.append(Node(situation, part, wide, parent, came))

    def _expand(self, number: int) -> None:
        node = self.graph.nodes[number]
        for possible in node.situation.possible:
            moments = [(way, zone) for way in possible.ways if (zone := at(node, way)) is not None]
            if moments:
                self._observe(possible.observed)
            for step in possible.steps:
                for way, zone in moments:
                    self._step(number, step, way, zone)
        for turn in turns(node.situation, node.zone, node.part):
            self._turn(number, turn)

    def _observe(self, seen: Observed) -> None:
        observed = self.graph.observed
        observed.encounters |= seen.encounters
        observed.taken |= seen.taken

    def _step(self, number: int, step: Step, way: BoundsInForce, zone: Zone) -> None:
        graph = self.graph
        if step.after is None:
            for failure in step.failures:
                self._note_failure(Failed(failure, number, step.label, way))
            return
        graph.transitions += 1
        node = graph.nodes[number]
        arrival = self._untimed.clocks.arrival(step.after, node.situation.running)
        state, running, sources = arrival
        entered = dbm.rearranged(zone, node.situation.n, sources)
        came = Came(step.label, way, (), sources)
        self._enter(self._situation(state, running), entered, number, came, self._next)

    def _note_failure(self, failed: Failed) -> None:
        """The first of its code and subject, and of the others those that blame another place."""
        known = [one.failure for one in self.graph.failed]
        if failed.failure not in known:
            self.graph.failed.append(failed)

    def _turn(self, number: int, turn: ClockTurnover) -> None:
        situation = self.graph.nodes[number].situation
        after = list(situation.state)
        for index in turn.turned:
            clock = situation.running[index - 1]
            assert clock.behind is not None
            after[clock.field] = clock.behind
        arrival = self._untimed.clocks.arrival(after, situation.running, more=1)
        state, running, sources = arrival
        entered = dbm.rearranged(turn.zone, situation.n, sources)
        came = Came(TICK, (), turn.bounds, sources)
        self._enter(self._situation(state, running), entered, number, came, self._layer)

    def shadowed(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """
        found = Observed()
        for node in self.graph.nodes:
            situation = node.situation
            for possible in self._untimed.possible(situation.state, situation.running, curious):
                if any(at(node, way) is not None for way in possible.ways):
                    for rule, by in possible.observed.shadowed.items():
                        found.note_shadow(rule, by)
        return found.shadowed


def at(node: Node, way: BoundsInForce) -> Zone | None:
    """The moments of a node within bounds; None where there is none."""
    zone: Zone | None = node.zone
    situation = node.situation
    for bounds in way:
        if zone is None:
            break
        index = situation.index(bounds.field)
        zone = dbm.between(zone, situation.n, index, bounds.low, bounds.high)
    return zone
