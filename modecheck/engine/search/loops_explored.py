"""A fair loop over the explored states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from modecheck.engine.contract.space import HALTED, LoopQuery, Path
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.fair_components import FairSearch
from modecheck.engine.search.fair_kernels import (
    flag_equal,
    flag_halted,
    keep_flagged,
    keep_restless,
)
from modecheck.engine.search.mark_kernels import flag_marked, set_unknown
from modecheck.engine.search.owed_failures import search_with_owed

if TYPE_CHECKING:
    from modecheck.engine.search.explored_space import Exploration, StateStore


def fair_loop_in(
    space: Exploration[StateStore], query: LoopQuery, between: Array | None
) -> tuple[Path | None, frozenset[int]]:
    """A loop that is asked for, through states that are flagged in `between`, if that is told; and
    the fairness sets without which there would be others. Loops pass no state whose future is
    unknown; one with a failing step only if the query allows it. Raises `NotSearched` where there
    are too many of those.
    """
    marks, inside = space.marks, _inside(space, query, between)
    if query.timeless:
        marks = _halted(space)
        query = replace(query, visits=(*query.visits, HALTED))
    order, graph = space.ordered()
    if graph is not space.graph:
        marks, inside = ([flags[number] for number in order] for flags in (marks, inside))
    search = FairSearch.of(space.product, graph, marks, inside, query)
    if query.past_failures and space.may_fail:
        found = _past_failures(space, order, search)
        if found is not None:
            return found
    component, rests_on = search.component()
    if component is None:
        return None, rests_on
    loop = component.loop(space.depth_of)
    return [(label, order[place]) for label, place in loop], rests_on


def _past_failures(
    space: Exploration[StateStore], order: Sequence[int], search: FairSearch
) -> tuple[Path | None, frozenset[int]] | None:
    """The same, where states with a failing step may matter; None where they do not."""

    def failing_labels(place: int) -> list[int]:
        return space.failing_labels(order[place])

    found = search_with_owed(space.product, search, search.graph.failing, failing_labels)
    if found is None:
        return None
    if found.component is None:
        return None, found.rests_on
    places = found.places
    loop = found.component.loop(lambda number: space.depth_of(places[number]))
    return [(label, order[places[number]]) for label, number in loop], found.rests_on


def _inside(space: Exploration[StateStore], query: LoopQuery, between: Array | None) -> Array:
    """Flags for the states that a loop may pass."""
    graph = space.graph
    inside = graph.arrays.filled("u1", graph.count)
    flag_marked(space.marks, query.wanted | query.unwanted, query.wanted, inside)
    set_unknown(graph.failing, graph.linked, not query.past_failures, 0, inside)
    if query.restless >= 0:
        chip = space.product.chips[query.restless]
        works = graph.arrays.of("u1", [not rests for rests in chip.rests])
        keep_restless(space.found.column(chip.state_field), works, inside)
    if between is not None:
        keep_flagged(between, inside)
    return inside


def _halted(space: Exploration[StateStore]) -> Array:
    """The marks of states, with `HALTED` where time cannot go on before something else happens: a
    step that has to come first and is a transition, or what is due. That a step which fails would
    have to come first does not count.
    """
    product, graph, filled = space.product, space.graph, space.graph.arrays.filled
    assert product.time is not None
    late, delivers = filled("u8", graph.count), [0] * len(product.labels)
    waiting = [number for number, queue in enumerate(product.queues) if queue.latest >= 0]
    for place, number in enumerate(waiting):
        queue = product.queues[number]
        flag_equal(space.found.column(queue.slots[0].age), queue.latest, 1 << place, late)
        for n, label in enumerate(product.labels):
            if label.kind in ("deliver", "discard") and label.queue == number:
                delivers[n] = 1 << place
    labels, of = graph.arrays.listed(graph.labels), graph.arrays.of
    marks = of("u8", space.marks)
    due = space.mark("due") if "due" in product.conditions else 0
    flag_halted(
        graph.first, graph.notes, graph.linked,
        of("u1", [label in product.time.at_once for label in labels]),
        of("u8", [delivers[label] for label in labels]), late, due, HALTED, marks,
    )  # fmt: skip
    return marks
