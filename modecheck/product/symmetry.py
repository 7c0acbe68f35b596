"""Identical units of a product: the renamings that change nothing, and the product closed under it.

Clarke, Enders, Filkorn and Jha, Exploiting symmetry in temporal logic model checking, Formal
Methods in System Design 9, 1996; Emerson and Sistla, Symmetry and model checking, in the same
volume. Every renaming leaves modes unchanged. A condition or an event that a renaming turns into
one that the product does not have yet is added to it, so that each is judged for every image of a
state.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import reduce

from modecheck.product.automorphism_search import Mapping, automorphisms
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    Failure,
    IsLateIR,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import EventIR, Product
from modecheck.product.ir_graph import IRGraph
from modecheck.product.renaming import Renaming, inverse_of, no_renaming
from modecheck.product.value_sorts import NUMBER

MOST_CONDITIONS = 63
MOST_EVENTS = 31
"""Most of them in a closed product: each takes a bit in the compiled engine."""


@dataclass(frozen=True, slots=True)
class Symmetry:
    """A product with conditions and events added, and renamings that generate its symmetry.

    `backwards[i]` undoes `generators[i]`. `stopped_by` is the bound that was hit, if
    any: then units may be missing.
    """

    product: Product
    generators: tuple[Renaming, ...]
    backwards: tuple[Renaming, ...]
    stopped_by: str = ""


def symmetry_of(product: Product) -> Symmetry:
    """The symmetry of a product; without generators if no units of it can be exchanged.

    There are none either if closing the product would take more conditions or events than an
    engine can keep, or events that observers do not know.
    """
    graph = IRGraph(product)
    mappings, stopped_by = automorphisms(graph)
    closing = _Closing(graph, mappings)
    if not closing.close():
        too_many = f"the bound of {MOST_CONDITIONS} conditions and {MOST_EVENTS} events"
        return Symmetry(product, (), (), too_many)
    generators = tuple(closing.renaming(mapping) for mapping in mappings)
    backwards = tuple(inverse_of(generator) for generator in generators)
    return Symmetry(closing.product, generators, backwards, stopped_by)


def units_of(product: Product, generators: Iterable[Renaming]) -> tuple[tuple[str, ...], ...]:
    """The names of chips that renamings exchange, class by class, each in document order."""
    names = [chip.name for chip in product.chips]
    classes = [{number} for number in range(len(names))]
    for generator in generators:
        for chip, to in enumerate(generator.chips):
            if classes[chip] is not classes[to]:
                classes[chip] |= classes[to]
                for member in classes[to]:
                    classes[member] = classes[chip]
    firsts = [n for n in range(len(names)) if min(classes[n]) == n and len(classes[n]) > 1]
    return tuple(tuple(names[member] for member in sorted(classes[first])) for first in firsts)


class _Closing:
    def __init__(self, graph: IRGraph, mappings: list[Mapping]) -> None:
        self._graph = graph
        self._mappings = mappings
        self.product = graph.product
        self._conditions = {
            name: graph.condition(expression)
            for name, expression in self.product.conditions.items()
        }
        self._events = [graph.event(event) for event in self.product.events]

    def close(self) -> bool:
        """Add the missing conditions and events; False if there are too many."""
        # The image of a condition that was added may be missing as well, hence the loop. It ends,
        # since the renamings generate a finite group; the bounds only keep it short.
        known = 0
        while known < len(self._conditions) + len(self._events):
            known = len(self._conditions) + len(self._events)
            for mapping in self._mappings:
                images = self._graph.images(mapping, grow=True)
                assert images is not None
                if not self._add_images(images):
                    return False
        return True

    def _add_images(self, images: list[int]) -> bool:
        """Add the images that are missing; False when there are too many."""
        for name, node in list(self._conditions.items()):
            if images[node] not in self._conditions.values():
                self._add_condition(name, images[node])
        for node in list(self._events):
            if images[node] not in self._events:
                if self.product.observers:
                    return False  # observers name events by number
                self._add_event(images[node])
        return len(self._conditions) <= MOST_CONDITIONS and len(self._events) <= MOST_EVENTS

    def _add_condition(self, name: str, node: int) -> None:
        number = len(self._conditions)
        new = f"{name}, exchanged #{number}"
        self._conditions[new] = node
        expression = self._expression(node)
        conditions = {**self.product.conditions, new: expression}
        self.product = replace(self.product, conditions=conditions)

    def _add_event(self, node: int) -> None:
        self._events.append(node)
        self.product = replace(
            self.product,
            watched_events=(*self.product.watched_events, f"exchanged #{len(self._events)}"),
            events=(*self.product.events, self._event(node)),
        )

    def _parts(self, node: int) -> tuple[int, ...]:
        return self._graph.keys[node][2]

    def _number(self, node: int) -> int:
        """The number of an atom, or the value of a value."""
        atom = self._graph.atoms.get(node)
        if atom is None:
            tag = self._graph.keys[node][0]
            assert isinstance(tag, tuple)
            return int(tag[1])
        kind, key = atom
        if kind == "value":
            assert isinstance(key, tuple)
            return int(key[1])
        assert isinstance(key, int)
        return key

    def _expression(self, node: int) -> Expression:
        """The expression that a term stands for."""
        tag = self._graph.keys[node][0]
        parts = self._parts(node)
        if self._graph.atoms.get(node, ("",))[0] == "field":
            return Read(self._number(node))
        if tag == "payload":
            return PayloadIR()
        if tag == "late":
            return IsLateIR()
        if tag == "item":
            fields = [self._number(part) for part in self._parts(parts[0])]
            failure = self._graph.failures[parts[2]]
            return ReadItem(fields[0], len(fields), self._expression(parts[1]), failure)
        if tag == "if":
            return ApplyIR("if", tuple(self._expression(part) for part in parts))
        if isinstance(tag, tuple) and tag[0] == "operator":
            first, *others = (self._expression(part) for part in parts)
            if not others:
                return ApplyIR(str(tag[1]), (first,))
            return reduce(lambda one, two: ApplyIR(str(tag[1]), (one, two)), others, first)
        return ConstantIR(self._number(node))

    def _event(self, node: int) -> EventIR:
        *pairs, signals, rules = self._parts(node)
        sent, accepted, delivered, late, dropped = (
            frozenset(
                (self._number(self._parts(one)[0]), self._number(self._parts(one)[1]))
                for one in self._parts(part)
            )
            for part in pairs
        )
        return EventIR(
            sent=sent,
            accepted=accepted,
            delivered=delivered,
            late=late,
            dropped=dropped,
            signalled=frozenset(self._number(one) for one in self._parts(signals)),
            taken=frozenset(self._number(one) for one in self._parts(rules)),
        )

    def renaming(self, mapping: Mapping) -> Renaming:
        """The renaming of the closed product that a permutation of atoms stands for."""
        images = self._graph.images(mapping)
        assert images is not None
        nothing = no_renaming(self.product)
        numbers: dict[str, dict[int, int]] = {}
        failures: dict[Failure, Failure] = {}
        for one, two in mapping.items():
            kind = self._graph.atoms[one][0]
            if kind == "failure":
                failures[self._graph.failures[one]] = self._graph.failures[two]
            elif kind != "value":
                numbers.setdefault(kind, {})[self._number(one)] = self._number(two)

        def moved(kind: str, before: tuple[int, ...]) -> tuple[int, ...]:
            return tuple(numbers.get(kind, {}).get(number, number) for number in before)

        conditions = list(self._conditions.values())
        return replace(
            nothing,
            fields=moved("field", nothing.fields),
            values=tuple(self._values(field, images) for field in nothing.fields),
            chips=moved("chip", nothing.chips),
            queues=moved("queue", nothing.queues),
            signals=moved("signal", nothing.signals),
            rules=moved("rule", nothing.rules),
            labels=moved("label", nothing.labels),
            conditions=_places(conditions, images),
            events=_places(self._events, images),
            failures=failures,
        )

    def _values(self, number: int, images: list[int]) -> tuple[int, ...] | None:
        if self._graph.sorts.of_field(number) == NUMBER:
            return None
        field = self.product.fields[number]
        before = range(field.low, field.high + 1)
        after = tuple(self._number(images[self._graph.value_of(number, value)]) for value in before)
        return None if after == tuple(before) else after


def _places(nodes: list[int], images: list[int]) -> tuple[int, ...]:
    """For each term the place of its image; of equal terms, each stays where it is if it can."""
    return tuple(
        place if images[node] == node else nodes.index(images[node])
        for place, node in enumerate(nodes)
    )
