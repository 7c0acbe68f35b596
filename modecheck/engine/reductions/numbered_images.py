"""Numbers for representatives and their images, and what is asked of all images at once.

`n + k * count` is the image of representative `n` under the renaming registered as number `k`, and
number 0 leaves it as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

from modecheck.engine.reductions.permuted_searches import StateQuery
from modecheck.engine.reductions.representatives import Representatives
from modecheck.product.renaming import Numbers, Renaming, inverse_of

Item = TypeVar("Item", bound=Hashable)


class NumberedImages:
    """The images of `count` representatives."""

    def __init__(self, representatives: Representatives, count: int) -> None:
        self.representatives = representatives
        self.count = count
        self._renamings: list[Renaming] = [representatives.nothing]
        self._registered: dict[object, int] = {representatives.nothing.key: 0}
        self._undone: dict[object, Renaming] = {}

    def numbered_image(self, number: int, renaming: Renaming) -> int:
        """The number of a representative's image."""
        known = self._registered.get(renaming.key)
        if known is None:
            known = self._registered[renaming.key] = len(self._renamings)
            self._renamings.append(renaming)
        return number + known * self.count

    def split(self, number: int) -> tuple[int, Renaming]:
        """The representative of a number, and the renaming that leads from it to the state."""
        renaming, own = divmod(number, self.count)
        return own, self._renamings[renaming]

    def back(self, number: int) -> Renaming:
        """The renaming that leads from a state to its representative."""
        return self.inverse(self._renamings[number // self.count])

    def inverse(self, renaming: Renaming) -> Renaming:
        known = self._undone.get(renaming.key)
        if known is None:
            known = self._undone[renaming.key] = inverse_of(renaming)
        return known

    def undoing(self, permutation: int) -> Renaming:
        """What leads from the state behind a transition to its representative."""
        return self.inverse(self.representatives.renaming(permutation))

    def closed(
        self, items: Iterable[Item], permuted: Callable[[Renaming, Item], Item]
    ) -> set[Item]:
        """All images of some things."""
        found = set(items)
        pending = list(found)
        while pending:
            item = pending.pop()
            for generator in self.representatives.generators:
                image = permuted(generator, item)
                if image not in found:
                    found.add(image)
                    pending.append(image)
        return found

    def turns(self, item: Item, permuted: Callable[[Renaming, Item], Item]) -> list[Renaming]:
        """For each image of a thing a renaming that makes it, the thing itself first."""
        found = {item: self.representatives.nothing}
        pending = [item]
        for one in pending:
            for generator in self.representatives.generators:
                image = permuted(generator, one)
                if image not in found:
                    found[image] = generator.after(found[one])
                    pending.append(image)
        return list(found.values())

    def asked(self, first: StateQuery) -> dict[StateQuery, Renaming]:
        """What it takes that some image of a state has what is asked: for each form of the question
        the renaming of the image.
        """
        found = {first: self.representatives.nothing}
        pending = [first]
        generators = list(
            zip(self.representatives.generators, self.representatives.backwards, strict=True)
        )
        for one in pending:
            for generator, backward in generators:
                permuted = permuted_question(one, backward)
                if permuted not in found:
                    found[permuted] = found[one].after(generator)
                    pending.append(permuted)
        return found


def looked_up(bits: int, source: Sequence[int]) -> int:
    """Bit `n` of the result is bit `source[n]`."""
    return sum(1 << n for n, where in enumerate(source) if bits >> where & 1)


def gathered(bits: int, to: Numbers) -> int:
    """Bit `n` becomes bit `to[n]`; several may become one."""
    result = 0
    for number, where in enumerate(to):
        if bits >> number & 1:
            result |= 1 << where
    return result


def permuted_question(asked: StateQuery, by: Renaming) -> StateQuery:
    """What is asked of the renamed state when this is asked of a state."""
    return StateQuery(
        gathered(asked.wanted, by.conditions),
        gathered(asked.unwanted, by.conditions),
        gathered(asked.barred, by.events),
    )
