"""Facts as terms over atoms: what permutations of the atoms leave as it is.

A fact is a term over atoms and literals; the parts of a term may be unordered. Equal terms are one
node, so `images` decides whether a permutation of the atoms maps the set of facts to itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

Tag = Hashable


class FactGraph:
    """Nodes are numbered so that a node's parts have smaller numbers.

    `keys[n]` is a node's tag, whether its parts are ordered, and its parts; `atoms` are the
    nodes without parts, with kind and key.
    """

    def __init__(self) -> None:
        self.keys: list[tuple[Tag, bool, tuple[int, ...]]] = []
        self.atoms: dict[int, tuple[str, Hashable]] = {}
        self.facts: set[int] = set()
        self._numbers: dict[tuple[Tag, bool, tuple[int, ...]], int] = {}

    def node(self, tag: Tag, parts: Sequence[int] = (), *, ordered: bool = True) -> int:
        """The node of a tag and parts."""
        key = (tag, ordered, tuple(parts if ordered else sorted(parts)))
        number = self._numbers.get(key)
        if number is None:
            number = self._numbers[key] = len(self.keys)
            self.keys.append(key)
        return number

    def atom(self, kind: str, key: Hashable) -> int:
        """The atom of a kind and key."""
        number = self.node(("atom", kind, key))
        self.atoms.setdefault(number, (kind, key))
        return number

    @property
    def none(self) -> int:
        """The node of what is not there."""
        return self.node("none")

    def images(self, mapping: dict[int, int], *, grow: bool = False) -> list[int] | None:
        """For each node its image under a permutation of atoms, if facts map to facts, else
        None. An image that is not a node yet is -1, or with `grow` becomes one.
        """
        found: list[int] = []
        for number in range(len(self.keys)):
            found.append(self._image(number, found, mapping, grow=grow))
        if {found[fact] for fact in self.facts} != self.facts:
            return None
        return found

    def _image(self, number: int, found: list[int], mapping: dict[int, int], *, grow: bool) -> int:
        if number in self.atoms:
            return mapping.get(number, number)
        tag, ordered, parts = self.keys[number]
        if not parts:
            return number
        mapped = [found[part] for part in parts]
        if -1 in mapped:
            return -1
        if grow:
            return self.node(tag, mapped, ordered=ordered)
        return self._numbers.get((tag, ordered, tuple(mapped if ordered else sorted(mapped))), -1)

    def fact(self, tag: Tag, *parts: int) -> None:
        self.facts.add(self.node(tag, parts))
