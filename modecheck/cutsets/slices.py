"""One exploration with counted faults, cut into slices: in each, exactly these faults have struck.

A fault that has struck is never taken back, so every loop stays in one slice, and what can still
become of a state without a further fault is decided in its slice. Each slice answers what an
explored space answers, so the checks of `modecheck.checks` look at it as they look at any other.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from modecheck.cutsets.counted_faults import Counts, spent
from modecheck.cutsets.slice_kernels import (
    copy_inner,
    count_inner,
    first_strike,
    note_places,
    take_values,
)
from modecheck.engine.contract.space import Edge, Path, Sighting, State
from modecheck.engine.search.arrays import Array
from modecheck.engine.search.explored_space import Exploration, StateStore
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import Product

Whole = Exploration[StateStore]


class SliceStore:
    """The states of a slice, by their numbers in it. Numbers beyond its states stand for states of
    the whole: the first `count` less.
    """

    def __init__(self, whole: Whole, numbers: Array, ordered: Sequence[int] | None) -> None:
        self._whole, self.numbers = whole, numbers
        self._listed: list[int] = whole.graph.arrays.listed(numbers)
        self._ordered = ordered
        ends = [bisect_left(self._listed, end) for end in accumulate(whole.layers)]
        self.layers = [end - begin for begin, end in zip([0, *ends], ends, strict=False)]
        self.expanded = bisect_left(self._listed, whole.expanded)

    def number_in_whole(self, number: int) -> int:
        """The number that a state has in the whole."""
        count = len(self._listed)
        return number - count if number >= count else self._listed[number]

    def number_here(self, number: int) -> int:
        """The number in the slice of a state of the whole that is in it."""
        return bisect_left(self._listed, number)

    def values(self, number: int) -> State:
        return self._whole.found.values(self.number_in_whole(number))

    def values_of(self, numbers: Sequence[int]) -> list[State]:
        return self._whole.found.values_of([self.number_in_whole(one) for one in numbers])

    def column(self, field: int) -> Array:
        own = self._whole.graph.arrays.filled("i8", len(self._listed))
        take_values(self.numbers, self._whole.found.column(field), own)
        return own

    def values_in(self, field: int) -> set[int]:
        return set(self._whole.graph.arrays.listed(self.column(field)))

    def step_into(self, graph: StateGraph, number: int) -> tuple[int, int]:
        raise NotImplementedError("paths into a slice are those of the whole")

    def chosen(self, labels: list[int]) -> int:
        return self._whole.found.chosen(labels)

    def remade(self, number: int) -> list[tuple[int, int, int, int]]:
        raise NotImplementedError("a slice has the transitions that were kept")

    def failing_labels(self, number: int) -> list[int]:
        return self._whole.found.failing_labels(self.number_in_whole(number))

    def ordered(self) -> list[int] | None:
        if self._ordered is None:
            return None
        place = {number: own for own, number in enumerate(self._listed)}
        return [place[number] for number in self._ordered if number in place]

    def shadows(self, product: Product, curious: frozenset[int]) -> dict[int, int]:
        raise NotImplementedError("what is shadowed is asked of the whole")


@dataclass(slots=True, kw_only=True)
class Slice(Exploration[SliceStore]):
    """The states in which faults have struck so often as `counts` says, and the steps between them
    in which none strikes. Scenarios lead there from the initial state of the whole; the states on
    their way have numbers beyond those of the slice.
    """

    counts: Counts
    slices: Slices

    def path_to(self, number: int) -> Path:
        count = self.state_count
        path = self.slices.whole.path_to(self.found.number_in_whole(number))
        return [(label, count + behind) for label, behind in path]

    @property
    def may_fail(self) -> bool:
        # `failures` holds those that are new with these faults; others fail here as well.
        return bool(self.slices.whole.failures)

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        # Without `super()`, which a class with slots does not find.
        inside = Exploration.first_loss(self, marks, without_events=without_events)
        return self._nearest(inside, self._strike(0, marks, 0, without_events))

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        inside = Exploration.first_change(self, before, after)
        return self._nearest(inside, self._strike(before, 0, after, 0))

    def _nearest(
        self, inside: tuple[int, Edge] | None, strike: tuple[int, Edge] | None
    ) -> tuple[int, Edge] | None:
        both = [one for one in (inside, strike) if one is not None]
        return min(both, key=lambda one: self.found.number_in_whole(one[0]), default=None)

    def _strike(
        self, before: int, lost: int, gained: int, without_events: int
    ) -> tuple[int, Edge] | None:
        """The first step into the slice by a fault, from a state with a mark of `before`, that
        loses or gains a mark.
        """
        whole, graph = self.slices.whole, self.slices.whole.graph
        number, edge = first_strike(
            graph.first, graph.targets, graph.notes, graph.linked, whole.marks,
            self.slices.strikes, self.slices.mask, self.slices.bits_of(self.counts),
            before, lost, gained, graph.barred(without_events),
        )  # fmt: skip
        if number < 0:
            return None
        label, target, moved, events = graph.transition(int(edge))
        count = self.state_count
        chips = (1 << len(self.product.chips)) - 1
        return count + int(number), Edge(label, count + target, moved & chips, events)


class Slices:
    """A space of counted faults by what has struck. Its product must be made by `with_spent`;
    `labels` are those of all steps in which each fault strikes.
    """

    def __init__(self, whole: Whole, labels: Sequence[frozenset[int]], most: int) -> None:
        self.whole, graph = whole, whole.graph
        self._bits = [
            [whole.mark(spent(number, times)) for times in range(most)]
            for number, _ in enumerate(labels)
        ]
        self.mask = sum(sum(bits) for bits in self._bits)
        self.by_label = {label: number for number, own in enumerate(labels) for label in own}
        self.strikes = self.notes_of(self.by_label)
        self._place = graph.arrays.filled("u4", graph.count)
        self._ordered = whole.found.ordered()

    def notes_of(self, labels: Iterable[int]) -> Array:
        """A flag for each note whose label is one of these."""
        known, graph = set(labels), self.whole.graph
        listed = graph.arrays.listed(graph.labels)
        return graph.arrays.of("u1", [label in known for label in listed])

    def counts_of(self, marks: int) -> Counts:
        """How often each fault has struck, by the marks of a state."""
        return tuple(sum(bool(marks & bit) for bit in bits) for bits in self._bits)

    def bits_of(self, counts: Counts) -> int:
        """The marks of all states in which faults have struck so often."""
        return sum(sum(bits[:count]) for bits, count in zip(self._bits, counts, strict=True))

    @property
    def occurring(self) -> list[Counts]:
        """Every set of faults that can strike, smaller ones first."""
        found = {self.counts_of(marks) for marks in self.whole.combinations()}
        return sorted(found, key=lambda counts: (sum(counts), [-count for count in counts]))

    def slice(self, counts: Counts, failures: dict[tuple[str, str], Sighting]) -> Slice:
        """The states in which exactly these faults have struck. `failures` are the failing steps
        there, in states of the whole.
        """
        whole, graph = self.whole, self.whole.graph
        arrays, own = graph.arrays, self.bits_of(counts)
        numbers = arrays.of("u4", self._numbered(own))
        note_places(numbers, self._place)
        store = SliceStore(whole, numbers, self._ordered)
        linked = store.number_here(graph.linked)
        allowed = arrays.of("u1", [1] * len(arrays.listed(graph.labels)))
        first = arrays.filled("i8", linked + 1)
        edges = count_inner(
            numbers, linked, graph.first, graph.targets, graph.notes, whole.marks,
            self.mask, own, allowed, first,
        )  # fmt: skip
        targets, notes = arrays.filled("u4", int(edges)), arrays.filled("u2", int(edges))
        copy_inner(
            numbers, linked, graph.first, graph.targets, graph.notes, whole.marks,
            self.mask, own, allowed, self._place, targets, notes,
        )  # fmt: skip
        own_graph = replace(
            graph, first=first, targets=targets, notes=notes, linked=linked,
            is_quiescent=self._taken("u1", numbers, graph.is_quiescent),
            failing=self._taken("u1", numbers, graph.failing),
            overheard=None, _transposed=None, _kinds=[], _most_edges=None,
        )  # fmt: skip
        return Slice(
            product=whole.product,
            found=store,
            graph=own_graph,
            marks=self._taken("u8", numbers, whole.marks),
            observed=whole.observed,
            failures={
                key: replace(one, state=len(numbers) + one.state) for key, one in failures.items()
            },
            transitions=int(edges),
            stopped_by=whole.stopped_by,
            counts=counts,
            slices=self,
        )

    def _numbered(self, own: int) -> list[int]:
        return list(self.whole.numbered(own, self.mask & ~own))

    def _taken(self, kind: str, numbers: Array, values: Array) -> Array:
        taken = self.whole.graph.arrays.filled(kind, len(numbers))
        take_values(numbers, values, taken)
        return taken
