"""Fair loops through states in which a step fails.

A step that fails leads nowhere, so no loop takes it; but as long as it is possible, whoever owes it
is not fair in a loop that leaves it out. What nobody owes, an actor's step or a fault, keeps no
loop from going on. A graph has no failing steps: here they are put into the part of it where it
matters, as steps that lead to one more state, which nothing may pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from modecheck.engine.contract.space import NotSearched
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.fair_components import FairComponent, FairSearch
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import Product

MOST_STEPPED = 50_000
"""Failing states that are stepped once more: some seconds of machine code, or a minute of the
interpreter where there is none."""
MOST_COPIED = 1_000_000
"""States of which the transitions are copied; some seconds as well."""

TOO_MANY = "too many states with a step error lie on a loop"


@dataclass(frozen=True, slots=True)
class OwedSearch:
    """A component with a fair loop, if there is one, among the `places` of a graph; and the
    fairness sets without which there would be others.
    """

    component: FairComponent | None
    rests_on: frozenset[int]
    places: list[int]


def search_with_owed(
    product: Product,
    search: FairSearch,
    failing: Array,
    failing_labels: Callable[[int], Iterable[int]],
) -> OwedSearch | None:
    """A search through all states that are `inside`, also those with a flag in `failing`: of each
    the labels of the steps that fail there are asked for. None where no such state matters. Raises
    `NotSearched` where there are too many.
    """
    inside = search.graph.arrays.of("u1", search.graph.arrays.listed(search.inside))
    found, number, owed = replace(search, inside=inside).fair_components()
    if not number:
        return OwedSearch(None, owed, [])
    places = [place for place, own in enumerate(search.graph.arrays.listed(found)) if own]
    fails = [place for place in places if failing[place]]
    if not fails:
        return None
    if len(fails) > MOST_STEPPED or len(places) > MOST_COPIED:
        raise NotSearched(TOO_MANY)
    labels = {
        place: sorted({one for one in failing_labels(place) if search.set_of_label[one] >= 0})
        for place in fails
    }
    component, rests_on = _part(product, search, places, labels).component()
    return OwedSearch(component, owed | rests_on, places)


def _part(
    product: Product, search: FairSearch, places: list[int], failing: dict[int, list[int]]
) -> FairSearch:
    """The same search in a part of the graph, with one more state in place of all others, and the
    steps that fail.
    """
    graph, query, of = search.graph, search.query, search.graph.arrays.of
    number_of, other = {place: number for number, place in enumerate(places)}, len(places)
    kinds = [graph.kind(note) for note in range(len(graph.labels))]
    note_of: dict[int, int] = {}
    first, targets, notes = [0], [], []
    for place in places:
        for edge in graph.edges(place):
            targets.append(number_of.get(int(graph.targets[edge]), other))
            notes.append(int(graph.notes[edge]))
        for label in failing.get(place, ()):
            targets.append(other)
            notes.append(note_of.setdefault(label, len(kinds) + len(note_of)))
        first.append(len(targets))
    first.append(len(targets))
    kinds += [(label, 0, 0) for label in note_of]
    labels, moved, events = (of("u8", column) for column in zip(*kinds, strict=True))
    none = graph.arrays.filled("u1", other + 1)
    part = StateGraph(
        graph.arrays, of("i8", first), of("u4", targets), of("u2", notes), labels, moved, events,
        none, none, linked=other + 1,
    )  # fmt: skip
    marks = of("u8", [int(search.marks[place]) for place in places] + [0])
    inside = of("u1", [1] * other + [0])
    return FairSearch.of(product, part, marks, inside, query)
