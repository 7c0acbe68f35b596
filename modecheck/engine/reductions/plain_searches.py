"""Turned searches over a plain exploration."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.exploration import Exploration
from modecheck.engine.reductions.annotated_quotient import Back, StateQuery, looked_up


@dataclass(frozen=True, slots=True)
class PlainMasks:
    """Bits of each state."""

    masks: list[int]

    def __getitem__(self, number: int) -> int:
        return self.masks[number]

    def lacking(self, full: int) -> Iterator[tuple[int, int]]:
        """The states that lack some bit of `full`, with their bits."""
        return ((number, mask) for number, mask in enumerate(self.masks) if full & ~mask)


@dataclass(frozen=True, slots=True)
class PlainSearches:
    """Each state has bits; a transition gives the state before it those of the state behind it,
    turned.
    """

    found: Exploration

    def backward_reachability(
        self, asked: Sequence[StateQuery], back: Back, *, past_failures: bool
    ) -> PlainMasks:
        """For each state, bit `j` if a path leads from it to some mark of `asked[j].wanted`, or to
        where one of `asked[j].unwanted` is not.
        """
        masks = [
            sum(
                1 << place
                for place, form in enumerate(asked)
                if marks & form.wanted or form.unwanted & ~marks
            )
            for marks in self.found.marks
        ]

        def allowed(events: int) -> int:
            return sum(1 << place for place, form in enumerate(asked) if not events & form.barred)

        return self._spread_back(masks, len(asked), back, allowed, past_failures=past_failures)

    def can_reach_states(self, goals: dict[int, int], count: int, back: Back) -> PlainMasks:
        """For each state, bit `j` if a path leads to a state with bit `j` in `goals`."""
        masks = [goals.get(number, 0) for number in range(self.found.state_count)]
        everything = (1 << count) - 1
        return self._spread_back(masks, count, back, lambda _: everything)

    def can_still_move(self, back: Back, unturned: int) -> PlainMasks:
        """For each state the bits of the chips that can still move on some path from it, but in
        place.
        """
        found, count = self.found, len(self.found.product.chips)
        masks = [0] * found.state_count
        for number in range(found.expanded):
            for edge in found.graph.edges(number):
                note = found.notes[found.notes_of[edge]]
                if found.targets[edge] != number or note.permutation != unturned:
                    masks[number] |= note.moved
        everybody = (1 << count) - 1
        return self._spread_back(masks, count, back, lambda _: everybody)

    def first_loss(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition that loses a mark without a barred event."""
        found = self.found
        sources = [back(note.permutation) for note in found.notes]
        for number in range(found.expanded):
            for position, edge in enumerate(found.graph.edges(number)):
                note = found.notes_of[edge]
                after, events = found.marks[found.targets[edge]], found.notes[note].events
                for place, form in enumerate(asked):
                    before = found.marks[number] & form.wanted
                    if before and not events & form.barred:
                        kept = (after >> sources[note][bit] & 1 for bit in _bits(before))
                        if not all(kept):
                            return number, position, place
        return None

    def first_change(self, asked: Sequence[StateQuery], back: Back) -> tuple[int, int, int] | None:
        """The first transition from a state with one mark to a state with the other."""
        found = self.found
        sources = [back(note.permutation) for note in found.notes]
        for number in range(found.expanded):
            for position, edge in enumerate(found.graph.edges(number)):
                for place, form in enumerate(asked):
                    if found.marks[number] & form.wanted:
                        source, marks = sources[found.notes_of[edge]], found.marks
                        after = looked_up(marks[found.targets[edge]], source)
                        if after & form.unwanted:
                            return number, position, place
        return None

    def _spread_back(
        self,
        masks: list[int],
        count: int,
        back: Back,
        allowed: Callable[[int], int],
        *,
        past_failures: bool = True,
    ) -> PlainMasks:
        found, backward_reachability = self.found, self.found.backward_reachability
        everything = (1 << count) - 1
        for number in backward_reachability.unknown if past_failures else found.unexpanded:
            masks[number] = everything
        sources = [back(note.permutation) for note in found.notes]
        passing = [allowed(note.events) for note in found.notes]
        permuted: dict[tuple[int, int], int] = {}
        pending = deque(number for number, mask in enumerate(masks) if mask)
        while pending:
            number = pending.popleft()
            mask = masks[number]
            for edge, before in backward_reachability.into(number):
                note = found.notes_of[edge]
                image = permuted.get((note, mask))
                if image is None:
                    image = passing[note] & looked_up(mask, sources[note])
                    permuted[note, mask] = image
                if image & ~masks[before]:
                    masks[before] |= image
                    pending.append(before)
        return PlainMasks(masks)


def _bits(mask: int) -> list[int]:
    return [bit for bit in range(mask.bit_length()) if mask >> bit & 1]
