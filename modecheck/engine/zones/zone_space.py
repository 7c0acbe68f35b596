"""What zones offer to the checks: the questions of a `Space` that zones preserve.

States that some scenario leads to, failing steps, rules taken, events met. Nodes have the numbers
from 0 on; states of a run that leads to a node, tick by tick, follow as they are asked for. Paths
and loops are not asked of zones: a path may lead on from some of the moments in a zone, and from
others not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import Limits, Occurrence, Path, Sighting
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.search.exploration import Reporter, Silent
from modecheck.engine.zones.runs import Runner
from modecheck.engine.zones.schedules import schedule_to
from modecheck.engine.zones.zone_clocks import BoundsInForce
from modecheck.engine.zones.zone_exploration import Failed, ZoneExplorer
from modecheck.product.ir import Product

OF_CLOCKS = ("due",)
"""Conditions that ask for the time; a node has no answer to them."""


class ZoneSpace:
    """A product with time, explored by zones. Raises `NotZonable`."""

    def __init__(
        self, product: Product, *, limits: Limits | None = None, reporter: Reporter | None = None
    ) -> None:
        self.product = product
        self._explorer = ZoneExplorer(product, limits or Limits(), reporter or Silent())
        self._graph = self._explorer.run()
        self._runner = Runner(product)
        self._beyond: list[State | Failed] = []
        interpreter, self._marks = Interpreter(product), list[int]()
        conditions = [
            (bit, condition)
            for bit, (name, condition) in enumerate(product.conditions.items())
            if name not in OF_CLOCKS
        ]
        known: dict[State, int] = {}
        for node in self._graph.nodes:
            state = node.situation.state
            if state not in known:
                holding = (b for b, each in conditions if interpreter.condition(each, state))
                known[state] = sum(1 << bit for bit in holding)
            self._marks.append(known[state])

    @property
    def stopped_by(self) -> str:
        """Why the exploration stopped early, or nothing."""
        return self._graph.stopped_by

    @property
    def complete(self) -> bool:
        """Whether every node was expanded."""
        return not self.stopped_by

    @property
    def state_count(self) -> int:
        """Nodes found: pairs of a state of the discrete part and a zone."""
        return len(self._graph.nodes)

    @property
    def transitions(self) -> int:
        """Steps from a node that lead somewhere."""
        return self._graph.transitions

    @property
    def layers(self) -> list[int]:
        """How many nodes there are of each depth, the last layer perhaps not whole."""
        return self._graph.layers

    @property
    def depth(self) -> int:
        """The most steps that a node is away, ticks not counted."""
        return len(self._graph.layers) - 1

    @property
    def observed(self) -> Observed:
        """Rules taken, and which event met which chip in which leaf."""
        return self._graph.observed

    @property
    def occupied(self) -> list[set[int]]:
        """For each chip the leaves that it is ever in."""
        nodes = self._graph.nodes
        return [
            {node.situation.state[chip.state_field] for node in nodes}
            for chip in self.product.chips
        ]

    @cached_property
    def failures(self) -> dict[tuple[str, str], Sighting]:
        """The failing steps, by code and subject of the finding."""
        found: dict[tuple[str, str], Sighting] = {}
        for failed in self._graph.failed:
            key = (failed.failure.code, failed.failure.subject)
            if key in found:
                found[key].others.append(failed.failure)
            else:
                found[key] = Sighting(failed.failure, self._number(failed), failed.label)
        return found

    def _number(self, one: State | Failed) -> int:
        self._beyond.append(one)
        return len(self._graph.nodes) + len(self._beyond) - 1

    def state(self, number: int) -> State:
        """The values of a state's fields; of a node, with marks where clocks run."""
        nodes = self._graph.nodes
        if number < len(nodes):
            return nodes[number].situation.state
        known = self._beyond[number - len(nodes)]
        return self.state(known.node) if isinstance(known, Failed) else known

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""
        return [self.state(number) for number in numbers]

    def path_to(self, number: int) -> Path:
        """A way to a node with the fewest steps, or to where a step fails; among its moments the
        earliest ones. Every tick is a step of it. Raises `NoSchedule`, if modecheck is wrong.
        """
        leaving: BoundsInForce | None = None
        if number >= len(self._graph.nodes):
            failed = self._beyond[number - len(self._graph.nodes)]
            assert isinstance(failed, Failed)
            number, leaving = failed.node, failed.way
        schedule = schedule_to(self._graph, number, leaving)
        run = self._runner.run(self._graph, schedule, schedule.earliest())
        return [(label, self._number(state)) for label, state in run]

    def mark(self, condition: str) -> int:
        """The bit of a condition of the product."""
        return 1 << list(self.product.conditions).index(condition)

    def marks_at(self, number: int) -> int:
        """The bits of the conditions that hold in a node."""
        return self._marks[number]

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some node has."""
        found: dict[int, Occurrence] = {}
        for number, marks in enumerate(self._marks):
            first = found[marks].first if marks in found else number
            found[marks] = Occurrence(first, found[marks].count + 1 if marks in found else 1)
        return found

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """Nodes with all wanted marks and no unwanted one, shallowest first."""
        both = wanted | unwanted
        return (number for number, marks in enumerate(self._marks) if marks & both == wanted)

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """
        return self._explorer.shadowed(curious)
