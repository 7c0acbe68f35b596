"""Find permutations of a product's atoms that change nothing: exchanges of identical units.

Candidates come from colour refinement with individualisation (the scheme of McKay, Practical graph
isomorphism, Congressus Numerantium 30, 1981). A candidate may be wrong, so `IRGraph.images` checks
each one: what is returned is exact. The search tries to keep every atom in place before it moves
it, so the exchanges found move little.

Where the device says which chips are copies, their exchanges are proposed first: two neighbours,
or, where that is no automorphism, all of them turned round by one place (a ring), and reversed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from modecheck.product.ir_graph import IRGraph

MOST_TRIES = 60
"""Candidates tried for one pair of units; symmetric devices need one or two."""

Kind = Sequence[int]
"""Chips that are copies of each other, in the order of their numbers."""

Mapping = dict[int, int]
"""Atoms to atoms; those that are not in it stay where they are."""


def automorphisms(graph: IRGraph) -> tuple[list[Mapping], str]:
    """Automorphisms that move chips, enough of them to connect all chips that can be exchanged; and
    the bound that was hit, if any: then some may be missing.
    """
    finder = _Finder(graph)
    found = finder.found()
    return found, f"the bound of {MOST_TRIES} tries for two units" if finder.gave_up else ""


class _Finder:
    def __init__(self, graph: IRGraph) -> None:
        self._graph = graph
        self._tags = [hash_of_tag(graph, number) for number in range(len(graph.keys))]
        self._parents: list[list[tuple[int, int]]] = [[] for _ in graph.keys]
        for number, (_, ordered, parts) in enumerate(graph.keys):
            for place, part in enumerate(parts):
                self._parents[part].append((number, place if ordered else -1))
        self._chips = [n for n, (kind, _) in graph.atoms.items() if kind == "chip"]
        self._tries = 0
        self.gave_up = False

    def found(self) -> list[Mapping]:
        colours = self._refined({})
        classes: dict[int, list[int]] = defaultdict(list)
        for chip in self._chips:
            classes[colours[chip]].append(chip)
        result = self._of_copies()
        for chips in classes.values():
            self._connect(chips, result)
        return result

    def _of_copies(self) -> list[Mapping]:
        """Automorphisms that exchange chips which the device declares as copies: first those of one
        kind alone, then those of as many chips of several kinds together, as units of a tile and
        its pedal are.
        """
        product = self._graph.product
        atoms = {chip.name: self._graph.atom("chip", n) for n, chip in enumerate(product.chips)}
        kinds = [[atoms[name] for name in names] for names in product.device.copies.values()]
        kinds = [chips for chips in kinds if len(chips) > 1]
        result: list[Mapping] = []
        rigid = [chips for chips in kinds if not self._exchange([chips], kinds, result)]
        for size in sorted({len(chips) for chips in rigid}):
            together = [chips for chips in rigid if len(chips) == size]
            if len(together) > 1:
                self._exchange(together, kinds, result)
        return result

    def _exchange(
        self, moved: Sequence[Kind], kinds: Sequence[Kind], result: list[Mapping]
    ) -> bool:
        """Add what exchanges the copies of some kinds, in the same way for each of them, while all
        other copies stay in place. Whether they can be in any order.
        """
        count = len(moved[0])
        identity = list(range(count))
        stays = [(chip, chip) for chips in kinds if chips not in moved for chip in chips]

        def add(order: Sequence[int]) -> bool:
            pairs = [(chips[n], chips[to]) for chips in moved for n, to in enumerate(order)]
            mapping = self._automorphism([*stays, *pairs])
            if mapping is not None:
                result.append(mapping)
            return mapping is not None

        found = [add([*identity[:n], n + 1, n, *identity[n + 2 :]]) for n in range(count - 1)]
        if not all(found) and count > 2:
            add([*identity[1:], 0])
            add(identity[::-1])
        return all(found)

    def _connect(self, chips: Sequence[int], result: list[Mapping]) -> None:
        """Add exchanges until all these chips are connected, or no more are found."""
        pairs = list(pairwise(chips))
        pairs += [(a, b) for n, a in enumerate(chips) for b in chips[n + 2 :]]
        for strict in (True, False):
            for one, two in pairs:
                if two in _orbit(one, result):
                    continue
                wanted = [(one, two), (two, one)] if strict else [(one, two)]
                mapping = self._automorphism(wanted)
                if mapping is not None:
                    result.append(mapping)

    def _automorphism(self, wanted: list[tuple[int, int]]) -> Mapping | None:
        self._tries = 0
        found = next(self._search(wanted), None)
        self.gave_up |= found is None and self._tries >= MOST_TRIES
        return found

    def _search(self, pairs: list[tuple[int, int]]) -> Iterator[Mapping]:
        sources = self._refined({one: mark for mark, (one, _) in enumerate(pairs, start=1)})
        targets = self._refined({two: mark for mark, (_, two) in enumerate(pairs, start=1)})
        cells = _cells(sources, targets, self._graph.atoms)
        if cells is None or self._tries >= MOST_TRIES:
            return
        open_cells = [cell for cell in cells if len(cell[0]) > 1]
        if not open_cells:
            self._tries += 1
            mapping = {one[0]: two[0] for one, two in cells}
            moved = {one: two for one, two in mapping.items() if one != two}
            if self._graph.images(moved) is not None:
                yield moved
            return
        ours, theirs = min(open_cells, key=lambda cell: (len(cell[0]), cell[0]))
        one = ours[0]
        # Keep the atom in place if possible; else try a swap, with the atom that is mapped to it.
        back = [source for source, target in pairs if target == one]
        for two in sorted(theirs, key=lambda two: (two != one, two not in back, two)):
            self._tries += 1
            yield from self._search([*pairs, (one, two)])

    def _refined(self, marks: dict[int, int]) -> list[int]:
        """Colours of all nodes, refined from the kinds of atoms and from marks on some of them."""
        # Colours are hashes: a collision can only propose a wrong candidate, which is refused.
        graph, count = self._graph, len(self._graph.keys)
        colours = list(self._tags)
        for number, mark in marks.items():
            colours[number] = hash((colours[number], mark))
        known = 0
        while True:
            below = self._upwards(colours)
            above = [0] * count
            for number in range(count - 1, -1, -1):
                parents = sorted(
                    hash((above[parent], below[parent], place))
                    for parent, place in self._parents[number]
                )
                above[number] = hash((tuple(parents), number in graph.facts))
            for number in graph.atoms:
                colours[number] = hash((colours[number], above[number]))
            classes = len({colours[number] for number in graph.atoms})
            if classes == known:
                return colours
            known = classes

    def _upwards(self, colours: Sequence[int]) -> list[int]:
        """The colour of every node as a term over the atoms' colours."""
        below: list[int] = []
        for number, (_, ordered, parts) in enumerate(self._graph.keys):
            if not parts:
                below.append(colours[number])
                continue
            inner = [below[part] for part in parts]
            below.append(hash((colours[number], tuple(inner if ordered else sorted(inner)))))
        return below


def hash_of_tag(graph: IRGraph, number: int) -> int:
    """A first colour: an atom's kind, or the tag of a term."""
    kind = graph.atoms.get(number)
    if kind is not None:
        return hash(("atom", kind[0]))
    tag, ordered, parts = graph.keys[number]
    return hash((tag, ordered, len(parts)))


def _cells(
    sources: Sequence[int], targets: Sequence[int], atoms: dict[int, tuple[str, object]]
) -> list[tuple[list[int], list[int]]] | None:
    """Atoms of equal colour on both sides, or None where the colours do not match."""
    ours, theirs = defaultdict(list), defaultdict(list)
    for number in atoms:
        ours[sources[number]].append(number)
        theirs[targets[number]].append(number)
    if ours.keys() != theirs.keys():
        return None
    cells = [(ours[colour], theirs[colour]) for colour in ours]
    return cells if all(len(one) == len(two) for one, two in cells) else None


def _orbit(start: int, mappings: Sequence[Mapping]) -> set[int]:
    """Where an atom can be brought by some mappings and their inverses."""
    reached, pending = {start}, [start]
    while pending:
        atom = pending.pop()
        for mapping in mappings:
            back = {two: one for one, two in mapping.items()}
            for onward in (mapping.get(atom, atom), back.get(atom, atom)):
                if onward not in reached:
                    reached.add(onward)
                    pending.append(onward)
    return reached
