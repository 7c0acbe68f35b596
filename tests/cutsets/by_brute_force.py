"""The effects of a fault by brute force: all states and steps of the interpreter as a graph of
networkx, and fair runs sought by taking states away (Emerson and Lei 1987), without a line of the
searches of `modecheck.engine.search`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import networkx as nx

from modecheck.cutsets.effects import KEPT, LOST, MAY_RETURN, RETURNS, UNKNOWN
from modecheck.engine.reference.plain import Interpreter, Step
from modecheck.product.ir import Product

State = tuple[int, ...]
Graph: TypeAlias = "nx.MultiDiGraph[State]"


@dataclass(frozen=True)
class Brute:
    """All states that are reached with no fault, or with one fault of one kind (`strikes`, labels),
    and for each its steps.
    """

    product: Product
    interpreter: Interpreter
    unharmed: dict[State, list[Step]]
    strikes: frozenset[int]

    @classmethod
    def of(cls, product: Product, strikes: frozenset[int]) -> Brute:
        interpreter = Interpreter(product)
        faults = {f.label for f in product.faults}
        faults |= {label for f in product.faults for label in f.cut_labels.values()}
        known: dict[State, list[Step]] = {}
        waiting = [product.initial]
        while waiting:
            state = waiting.pop()
            if state not in known:
                known[state] = interpreter.steps(state)
                steps = (step for step in known[state] if step.label not in faults)
                waiting += [step.after for step in steps if step.after is not None]
        return cls(product, interpreter, known, strikes)

    def holds(self, condition: str, state: State) -> bool:
        return self.interpreter.condition(self.product.conditions[condition], state)

    def alone(self, starts: Iterable[State]) -> tuple[Graph, set[State]]:
        """What becomes of states when nobody acts and nothing fails; and where a step fails. A
        state may be stayed in by a step without a label.
        """
        graph: Graph = nx.MultiDiGraph()
        failing, waiting = set[State](), list(starts)
        while waiting:
            state = waiting.pop()
            if graph.has_node(state) and "known" in graph.nodes[state]:
                continue
            graph.add_node(state, known=True)
            graph.add_edge(state, state, label=-1)
            for step in self.interpreter.steps(state):
                if step.after is None:
                    failing.add(state)
                elif self._by_system(step.label):
                    graph.add_edge(state, step.after, label=step.label)
                    waiting.append(step.after)
        return graph, failing

    def _by_system(self, number: int) -> bool:
        label = self.product.labels[number]
        if label.kind == "rule":
            return not self.product.chips[label.chip].actor
        return label.kind in ("deliver", "discard", "tick")

    def outcome(self, condition: str) -> str | None:
        """What becomes of a condition that one of the faults strikes; None if none can while it
        would be kept.
        """
        starts = self._struck(condition)
        if not starts:
            return None
        graph, failing = self.alone(starts)
        back = {state for state in graph if self.holds(condition, state)}
        if failing:
            return UNKNOWN
        if set(graph) == back:
            return KEPT
        leading = set().union(back, *(nx.ancestors(graph, state) for state in back))
        if set(graph) != leading:
            return LOST
        away = self._fair(graph.subgraph(set(graph) - back), graph)
        return MAY_RETURN if away else RETURNS

    def steps(self, condition: str) -> int | None:
        """The most steps until a condition that is struck holds again; None for no bound."""
        graph, _ = self.alone(self._struck(condition))
        away = nx.DiGraph((one, two) for one, two in graph.edges() if one != two)
        away.remove_edges_from(
            [(one, two) for one, two in away.edges() if self.holds(condition, one)]
        )
        if not nx.is_directed_acyclic_graph(away):
            return None
        return int(nx.dag_longest_path_length(away))

    def _struck(self, condition: str) -> list[State]:
        """The states behind strikes at which a condition would have been kept."""
        return [
            step.after
            for state, steps in self.unharmed.items()
            if self.holds(condition, state) and self._keeps(condition, state)
            for step in steps
            if step.label in self.strikes and step.after is not None
        ]

    def _keeps(self, condition: str, state: State) -> bool:
        """Whether a device that is left alone in a state comes back to it again and again."""
        graph, failing = self.alone([state])
        outside = {one for one in graph if not self.holds(condition, one)} - failing
        return not self._fair(graph.subgraph(outside), graph)

    def _fair(self, part: Graph, whole: Graph) -> bool:
        """Whether some run stays in a part of the graph for ever, and is fair."""
        for states in list(nx.strongly_connected_components(part)):
            inner = part.subgraph(states)
            if inner.number_of_edges() and self._is_fair(inner, whole):
                return True
        return False

    def _is_fair(self, inner: Graph, whole: Graph) -> bool:
        taken = {step[2] for state in inner for step in _steps(state, inner)}
        possible = {
            state: {label for _, after, label in _steps(state, whole) if after != state}
            for state in inner
        }
        for fair in self.product.fair:
            always = all(fair.labels & labels for labels in possible.values())
            if always and not fair.strong and not fair.labels & taken:
                return False
        for fair in self.product.fair:
            where = {state for state, labels in possible.items() if fair.labels & labels}
            if fair.strong and not fair.labels & taken and where:
                return self._fair(inner.subgraph(set(inner) - where), whole)
        return True


def _steps(state: State, graph: Graph) -> Iterable[tuple[State, State, int]]:
    """The steps of a state in a graph: from, to, label."""
    found: Iterable[tuple[State, State, int]] = graph.out_edges(state, data="label")
    return found
