"""Answers about all images of representatives: a flag for each, or what a search reached."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from modecheck.engine.contract.space import BfsRegion, Flags, Path, first_zero
from modecheck.engine.reductions.numbered_images import NumberedImages, permuted_question
from modecheck.engine.reductions.permuted_searches import FlagRows, StateQuery
from modecheck.product.renaming import Renaming


@dataclass(frozen=True, slots=True)
class SharedFlags:
    """A flag for every image, the same for all images of a representative."""

    flags: Sequence[int] | Flags
    count: int

    def __getitem__(self, number: int) -> int:
        return self.flags[number % self.count]

    def first_zero(self) -> int | None:
        """The number of the shallowest state whose flag is 0."""
        return first_zero(self.flags)


@dataclass(frozen=True, slots=True)
class PermutedFlags:
    """A flag for every image: bit `j` of a representative answers the `j`-th form of a question."""

    images: NumberedImages
    masks: FlagRows
    forms: dict[StateQuery, Renaming]

    def __getitem__(self, number: int) -> int:
        first = next(iter(self.forms))
        form = permuted_question(first, self.images.back(number))
        place = list(self.forms).index(form)
        return self.masks[number % self.images.count] >> place & 1

    def first_zero(self) -> int | None:
        """The number of the shallowest state whose flag is 0."""
        full = (1 << len(self.forms)) - 1
        for number, mask in self.masks.lacking(full):
            lacking = full & ~mask
            place = (lacking & -lacking).bit_length() - 1
            return self.images.numbered_image(number, list(self.forms.values())[place])
        return None


@dataclass(frozen=True, slots=True)
class PermutedStateFlags:
    """A flag for every image, where paths to a set of states were asked for."""

    images: NumberedImages
    masks: FlagRows
    place_of: Callable[[int], int]

    def __getitem__(self, number: int) -> int:
        return self.masks[number % self.images.count] >> self.place_of(number) & 1

    def first_zero(self) -> int | None:
        """The number of the first representative whose flag is 0."""
        count = self.images.count
        return next((number for number in range(count) if not self[number]), None)


@dataclass(frozen=True, slots=True)
class PermutedBfsRegion:
    """A spread over representatives, from and through marks that all images share."""

    found: BfsRegion
    followed: Callable[[int, Path], Path]
    """How a path of representatives from one of them is really followed."""

    def first(self, wanted: int, unwanted: int) -> int | None:
        """The nearest representative with all wanted marks and no unwanted one."""
        return self.found.first(wanted, unwanted)

    def first_zero(self, flags: Sequence[int] | Flags) -> int | None:
        """The nearest representative that is passed on from and whose flag is 0."""
        return self.found.first_zero(flags)

    def path_to(self, number: int) -> tuple[int, Path]:
        """The start from which a state was reached, and a shortest path from there to an image."""
        start, path = self.found.path_to(number)
        return start, self.followed(start, path)
