"""One representative for all states that differ only by an exchange of identical units.

The renamings are split into parts that move different fields. In a part whose renamings exchange
whole blocks of fields with each other in any way, the blocks are sorted (Ip and Dill 1996). In any
other part, all renamings are listed, and the least image is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

from modecheck.engine.reference.plain import State
from modecheck.product.renaming import Renaming, inverse_of, no_renaming
from modecheck.product.symmetry import Symmetry

MOST_LISTED = 128
"""Renamings of a part that are tried for every state; generators are left out until so few remain,
which is a smaller reduction and as exact."""
PLACE_BITS = 4
"""Bits of a permutation for each sorted block."""
MOST_BLOCKS = 1 << PLACE_BITS


class FieldRenamings(Protocol):
    """Renamings that move fields which no other part moves."""

    @property
    def turn_bits(self) -> int:
        """Bits that tell which renaming leads from a representative back to a state."""

    def least(self, state: State) -> tuple[State, int]:
        """The representative, and the permutation that leads back from it."""

    def renaming(self, permutation: int) -> Renaming:
        """The renaming of a permutation."""


@dataclass(frozen=True)
class Listed:
    """All renamings of a part, the one that changes nothing first; `backwards` undo them."""

    elements: tuple[Renaming, ...]
    backwards: tuple[Renaming, ...]

    @property
    def turn_bits(self) -> int:
        return (len(self.elements) - 1).bit_length()

    def least(self, state: State) -> tuple[State, int]:
        best, permutation = state, 0
        for number, backward in enumerate(self.backwards):
            image = backward.state(state)
            if image < best:
                best, permutation = image, number
        return best, permutation

    def renaming(self, permutation: int) -> Renaming:
        return self.elements[permutation]


@dataclass(frozen=True)
class SortedBlocks:
    """Blocks of fields that may be in any order; `swaps[i]` exchanges block `i` and the next."""

    blocks: tuple[tuple[int, ...], ...]
    swaps: tuple[Renaming, ...]
    nothing: Renaming
    _known: dict[int, Renaming] = field(default_factory=dict)

    @property
    def turn_bits(self) -> int:
        return PLACE_BITS * len(self.blocks)

    def least(self, state: State) -> tuple[State, int]:
        keys = [tuple([state[f] for f in block]) for block in self.blocks]
        order = sorted(range(len(keys)), key=keys.__getitem__)
        result, permutation = list(state), 0
        for place, source in enumerate(order):
            permutation |= source << PLACE_BITS * place
            for where, value in zip(self.blocks[place], keys[source], strict=True):
                result[where] = value
        return tuple(result), permutation

    def renaming(self, permutation: int) -> Renaming:
        """The renaming that moves the block at each place to where the permutation says, by
        exchanges of neighbours (bubble sort).
        """
        known = self._known.get(permutation)
        if known is None:
            known = self._known[permutation] = self._composed(permutation)
        return known

    def _composed(self, permutation: int) -> Renaming:
        mask = MOST_BLOCKS - 1
        goals = [permutation >> PLACE_BITS * place & mask for place in range(len(self.blocks))]
        result = self.nothing
        for end in range(len(goals) - 1, 0, -1):
            for place in range(end):
                if goals[place] > goals[place + 1]:
                    goals[place], goals[place + 1] = goals[place + 1], goals[place]
                    result = self.swaps[place].after(result)
        return result


@dataclass(frozen=True)
class Representatives:
    """Chooses a representative of each state's images under a symmetry.

    Two states have the same representative exactly when a renaming of the parts leads from one to
    the other, and `renaming(permutation).state(representative)` is the state again. `stopped_by` is
    the bound, if one was hit, because of which some units are not exchanged that could be.
    """

    symmetry: Symmetry
    parts: tuple[FieldRenamings, ...]
    nothing: Renaming
    generators: tuple[Renaming, ...]
    stopped_by: str = ""
    _known: dict[int, Renaming] = field(default_factory=dict)

    @property
    def turn_bits(self) -> int:
        return sum(part.turn_bits for part in self.parts)

    @cached_property
    def unturned(self) -> int:
        """The permutation of every state that is its own representative."""
        own, _ = self.of(self.symmetry.product.initial)
        return self.of(own)[1]

    def of(self, state: State) -> tuple[State, int]:
        """The representative of a state, and the permutation that leads back from it."""
        permutation = shift = 0
        for part in self.parts:
            state, own = part.least(state)
            permutation |= own << shift
            shift += part.turn_bits
        return state, permutation

    def renaming(self, permutation: int) -> Renaming:
        """The renaming of a permutation."""
        known = self._known.get(permutation)
        if known is None:
            known = self._known[permutation] = self._composed(permutation)
        return known

    def _composed(self, permutation: int) -> Renaming:
        result = self.nothing
        for part in self.parts:
            own = part.renaming(permutation & ((1 << part.turn_bits) - 1))
            result = own.after(result)
            permutation >>= part.turn_bits
        return result

    def images(self, state: State) -> dict[State, Renaming]:
        """Every image of a state, itself first, with a renaming that leads there."""
        found = {state: self.nothing}
        pending = [state]
        for one in pending:
            for generator in self.generators:
                image = generator.state(one)
                if image not in found:
                    found[image] = generator.after(found[one])
                    pending.append(image)
        return found

    @cached_property
    def backwards(self) -> tuple[Renaming, ...]:
        """What undoes each generator."""
        return tuple(inverse_of(generator) for generator in self.generators)


def representatives_of(symmetry: Symmetry) -> Representatives:
    """How to choose representatives under a symmetry."""
    nothing = no_renaming(symmetry.product)
    parts: list[FieldRenamings] = []
    used: list[Renaming] = []
    for generators in _apart(symmetry.generators):
        blocks = _blocks(generators)
        if blocks is not None:
            parts.append(SortedBlocks(blocks, tuple(generators), nothing))
            used += generators
        else:
            part, kept = _listed(generators, nothing)
            parts.append(part)
            used += kept
    stopped_by = symmetry.stopped_by
    if len(used) < sum(map(len, _apart(symmetry.generators))):
        stopped_by = f"the bound of {MOST_LISTED} exchanges tried for each state"
    return Representatives(symmetry, tuple(parts), nothing, tuple(used), stopped_by)


def _apart(generators: Sequence[Renaming]) -> list[list[Renaming]]:
    """Generators in groups that move different fields."""
    groups: list[tuple[set[int], list[Renaming]]] = []
    for generator in generators:
        fields, members = set(generator.moved), [generator]
        for group in [group for group in groups if group[0] & fields]:
            fields |= group[0]
            members = group[1] + members
            groups.remove(group)
        groups.append((fields, members))
    return [members for fields, members in groups if fields]


def _blocks(generators: Sequence[Renaming]) -> tuple[tuple[int, ...], ...] | None:
    """The blocks that generators exchange, each one two neighbours in a row; None if they do
    anything else.
    """
    if not 2 <= len(generators) < MOST_BLOCKS:
        return None
    if any(values is not None for one in generators for values in one.values):
        return None
    first = sorted(generators[0].moved - generators[1].moved)
    blocks = [tuple(first)]
    for generator in generators:
        blocks.append(tuple(generator.fields[f] for f in blocks[-1]))
    if len({f for block in blocks for f in block}) != len(first) * len(blocks):
        return None
    for place, generator in enumerate(generators):
        one, two = blocks[place], blocks[place + 1]
        exchange = {**dict(zip(one, two, strict=True)), **dict(zip(two, one, strict=True))}
        if {f: generator.fields[f] for f in generator.moved} != exchange:
            return None
    return tuple(blocks)


def _listed(generators: list[Renaming], nothing: Renaming) -> tuple[Listed, list[Renaming]]:
    """All renamings that some generators make, at most `MOST_LISTED` of them."""
    kept = list(generators)
    while True:
        elements = _elements(kept, nothing)
        if elements is not None:
            return Listed(elements, tuple(inverse_of(one) for one in elements)), kept
        kept.pop()


def _elements(generators: Sequence[Renaming], nothing: Renaming) -> tuple[Renaming, ...] | None:
    found = {nothing.key: nothing}
    pending = [nothing]
    for one in pending:
        for generator in generators:
            onward = generator.after(one)
            if onward.key not in found:
                if len(found) >= MOST_LISTED:
                    return None
                found[onward.key] = onward
                pending.append(onward)
    return tuple(pending)
