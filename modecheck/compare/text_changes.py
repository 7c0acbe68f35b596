"""What changed in the text of a model: chips, states, rules, links and the like, never lines.

A part is added, removed, changed, renamed or moved; a renamed part can also be changed. Parts
inside one that was added or removed as a whole are counted with it. Parts that only changed their
position in an order are moved: as few as possible (those outside a longest increasing subsequence;
Fredman 1975, from memory).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from modecheck.compare.described import WORDING, DescribedPart, parts_of_device
from modecheck.compare.forms import PartName, Renaming, renamed
from modecheck.compare.renamings import Parts, renaming_between
from modecheck.model.parts import Device
from modecheck.model.places import Place

ADDED, REMOVED, CHANGED, RENAMED, MOVED = "added", "removed", "changed", "renamed", "moved"


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that happened to one part. `old` or `new` is None for what is added or removed.

    `facets` are the keys that changed, each with its words before and after; `inside` says how many
    parts of each kind came or went with an added or removed part. `after` is the part that a moved
    one now follows, or None for the first position.
    """

    what: str
    old: PartName | None
    new: PartName | None
    facets: tuple[tuple[str, str, str], ...] = ()
    inside: tuple[tuple[str, int], ...] = ()
    after: PartName | None = None
    old_place: Place | None = None
    new_place: Place | None = None

    @property
    def name(self) -> PartName:
        """Its new name, or its old one if it was removed."""
        name = self.new or self.old
        assert name is not None
        return name

    @property
    def wording_only(self) -> bool:
        """Whether only wording for people changed."""
        return self.what == CHANGED and all(key in WORDING for key, _, _ in self.facets)


@dataclass(frozen=True, slots=True)
class TextChanges:
    """All changes in document order (of the new device; removed parts come last), and the new name
    of each part of the old device that the new one has.
    """

    changes: tuple[Change, ...]
    renaming: Renaming

    def of_kind(self, *whats: str) -> Iterator[Change]:
        """Changes of some kinds."""
        return (change for change in self.changes if change.what in whats)


def text_changes(old: Device, new: Device) -> TextChanges:
    """What happened between two devices, each in one variant."""
    before, after = parts_of_device(old), parts_of_device(new)
    renaming = renaming_between(before, after)
    comparing = _Comparing(before, after, renaming)
    return TextChanges(tuple(comparing.changes()), renaming)


class _Comparing:
    def __init__(self, before: Parts, after: Parts, renaming: Renaming) -> None:
        self._before, self._after = before, after
        self._there = renaming
        self._back = {new: old for old, new in renaming.items()}
        self._moved = dict(self._moves())

    def changes(self) -> Iterator[Change]:
        for name, part in self._after.items():
            old = self._back.get(name)
            if old is None:
                if self._stands_alone(name, self._back):
                    inside = self._inside(self._after, name)
                    yield Change(ADDED, None, name, inside=inside, new_place=part.place)
            else:
                yield from self._kept(self._before[old], part)
        for name, part in self._before.items():
            if name not in self._there and self._stands_alone(name, self._there):
                inside = self._inside(self._before, name)
                yield Change(REMOVED, name, None, inside=inside, old_place=part.place)

    def _stands_alone(self, name: PartName, known: Renaming) -> bool:
        """Whether what is around it is there in both devices."""
        return name.around is None or name.around in known

    def _inside(self, parts: Parts, name: PartName) -> tuple[tuple[str, int], ...]:
        counts: dict[str, int] = {}
        for one in parts:
            if one.around == name:
                counts[one.kind] = counts.get(one.kind, 0) + 1
        return tuple(counts.items())

    def _kept(self, old: DescribedPart, new: DescribedPart) -> Iterator[Change]:
        at = Change("", old.name, new.name, old_place=old.place, new_place=new.place)
        if old.name.name != new.name.name and not _are_given(old.name, new.name):
            yield replace(at, what=RENAMED)
        facets = tuple(self._differing(old, new))
        if facets:
            yield replace(at, what=CHANGED, facets=facets)
        if new.name in self._moved:
            yield replace(at, what=MOVED, after=self._moved[new.name])

    def _differing(self, old: DescribedPart, new: DescribedPart) -> Iterator[tuple[str, str, str]]:
        for key in dict.fromkeys([*old.facets, *new.facets]):
            mine, theirs = old.facets.get(key), new.facets.get(key)
            if mine is None or theirs is None:
                yield key, mine.words if mine else "", theirs.words if theirs else ""
                continue
            here = renamed(mine.form, lambda name: self._there.get(name, ("gone", str(name))))
            if here != renamed(theirs.form, lambda name: name):
                yield key, mine.words, theirs.words

    def _moves(self) -> Iterator[tuple[PartName, PartName | None]]:
        """What stands elsewhere among its like, and behind what."""
        groups: dict[tuple[str, str], list[PartName]] = {}
        for name in self._after:
            groups.setdefault((name.kind, name.scope), []).append(name)
        positions = {name: number for number, name in enumerate(self._before)}
        for (kind, _), names in groups.items():
            if kind == "signal":
                continue  # they stand where they are given first
            kept = [name for name in names if name in self._back]
            steady = _increasing([positions[self._back[name]] for name in kept])
            for number, name in enumerate(kept):
                if number not in steady:
                    place = names.index(name)
                    yield name, names[place - 1] if place else None


def _are_given(old: PartName, new: PartName) -> bool:
    """Whether both are titles that rules without a name were given."""
    return old.kind == "rule" and ":" in old.name and ":" in new.name


def _increasing(numbers: Sequence[int]) -> set[int]:
    """The places of a longest increasing subsequence; the numbers differ."""
    ends: list[int] = []
    at: list[int] = []
    before: list[int] = []
    for place, number in enumerate(numbers):
        length = bisect_left(ends, number)
        before.append(at[length - 1] if length else -1)
        ends[length : length + 1] = [number]
        at[length : length + 1] = [place]
    found = set()
    place = at[-1] if at else -1
    while place >= 0:
        found.add(place)
        place = before[place]
    return found
