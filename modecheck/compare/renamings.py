"""Which parts of a device were given another name, and nothing else.

Parts with the same name in both devices are the same part. Of the rest, an old name that is gone
and a new name are taken for one part if the text allows no other reading:

- a rule, a link, a mode, a pairing or a requirement, if both declare the same, word for word except
  for names that are not known yet, and no other remaining part declares that, too;
- any part, if in all parts known to be the same in both devices the new name appears wherever the
  old one did, and neither appears anywhere else there. What both declare (the type of a variable,
  whether a state is a rest state) must be equal, except for wording.

Each renaming that is found can reveal further ones, so both rules are applied in turn until nothing
is added. A pair is only taken if it is the only possible one, so the answer depends on the two
texts alone. It is a guess at the author's intention: two names that were swapped, and a part that
was both renamed and changed in what it declares, are reported as changes. Proofs depend on it in
one respect only: under which name a message, link or mode of the old device is looked up in the new
one.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.compare.described import WORDING, DescribedPart
from modecheck.compare.forms import Form, NotAlike, PartName, Renaming, aligned, blanked

Parts = dict[PartName, DescribedPart]

BY_CONTENT = ("rule", "link", "mode", "pairing", "requirement")
"""Kinds that declare enough to be recognised by it."""
NEVER = ("device", "fault", "option", "acceptance")
"""Kinds whose names are not names, or are part of what they declare."""


def renaming_between(old: Parts, new: Parts) -> Renaming:
    """For each part of the old device that the new one has too, its new name."""
    return _Renaming(old, new).found()


class _Renaming:
    def __init__(self, old: Parts, new: Parts) -> None:
        self._old, self._new = old, new
        self._known: Renaming = {}

    def found(self) -> Renaming:
        self._take_same_names()
        while self._take_by_content() or self._take_by_use() or self._take_chips():
            self._take_same_names()
        return self._known

    def _take_same_names(self) -> None:
        """Names inside of chips and links count as the same when those around them are."""
        taken = set(self._known.values())
        for name in self._old:
            if name in self._known:
                continue
            there = self._in_new_scope(name, name.name)
            if there is not None and there in self._new and there not in taken:
                self._known[name] = there
                taken.add(there)

    def _in_new_scope(self, name: PartName, called: str) -> PartName | None:
        around = name.around
        if around is None:
            return PartName(name.kind, called)
        known = self._known.get(around)
        return PartName(name.kind, called, known.name) if known is not None else None

    def _left_over(self) -> tuple[list[PartName], list[PartName]]:
        taken = set(self._known.values())
        old = [name for name in self._old if name not in self._known and name.kind not in NEVER]
        new = [name for name in self._new if name not in taken and name.kind not in NEVER]
        return old, new

    def _take_by_content(self) -> bool:
        old, new = self._left_over()
        same = {name: name for name in self._known.values()}
        here = _alike((self._content(self._old, one, self._known), one) for one in old)
        there = _alike((self._content(self._new, one, same), one) for one in new)
        pairs = [
            (ones[0], there[key][0])
            for key, ones in here.items()
            if len(ones) == 1 and len(there.get(key, ())) == 1 and ones[0].kind in BY_CONTENT
        ]
        pairs = [(one, other) for one, other in pairs if self._fits(one, other)]
        self._known.update(pairs)
        return bool(pairs)

    def _content(self, parts: Parts, name: PartName, known: Renaming) -> Form:
        """What a part says, with what is inside of a link."""
        inside = [parts[one] for one in parts if name.kind == "link" and one.around == name]
        said = [parts[name], *inside]
        form = tuple((each.name.kind, _said(each)) for each in said)
        return (name.kind, blanked(form, known))

    def _take_chips(self) -> bool:
        """A chip is also known by the names of all that is inside it."""
        old, new = self._left_over()
        here = _alike((_inside(self._old, one), one) for one in old if one.kind == "chip")
        there = _alike((_inside(self._new, one), one) for one in new if one.kind == "chip")
        pairs = [
            (ones[0], there[key][0])
            for key, ones in here.items()
            if len(ones) == 1 and len(there.get(key, ())) == 1
        ]
        self._known.update(pairs)
        return bool(pairs)

    def _take_by_use(self) -> bool:
        there: dict[PartName, set[PartName]] = {}
        back: dict[PartName, set[PartName]] = {}
        for one, other in self._uses():
            there.setdefault(one, set()).add(other)
            back.setdefault(other, set()).add(one)
        pairs = [
            (one, next(iter(others)))
            for one, others in there.items()
            if len(others) == 1 and back[next(iter(others))] == {one}
        ]
        pairs = [pair for pair in pairs if self._fits(*pair) and self._declares_the_same(*pair)]
        self._known.update(pairs)
        return bool(pairs)

    def _uses(self) -> Iterator[tuple[PartName, PartName]]:
        """Pairs of unknown names that stand in the same place of a part that both devices have."""
        for one, other in self._known.items():
            mine, theirs = self._old[one].facets, self._new[other].facets
            for key in mine.keys() & theirs.keys():
                yield from self._in_form(mine[key].form, theirs[key].form)

    def _in_form(self, one: Form, other: Form) -> list[tuple[PartName, PartName]]:
        try:
            return list(aligned(one, other, self._known))
        except NotAlike:
            return []

    def _fits(self, one: PartName, other: PartName) -> bool:
        """Whether both are parts, of one kind, and of the same chip or link."""
        is_part = one in self._old and other in self._new and one.kind not in NEVER
        return is_part and self._in_new_scope(one, other.name) == other

    def _declares_the_same(self, one: PartName, other: PartName) -> bool:
        mine, theirs = _said(self._old[one]), _said(self._new[other])
        try:
            list(aligned(mine, theirs, self._known))
        except NotAlike:
            return False
        return True


def _said(part: DescribedPart) -> Form:
    return tuple(
        (key, facet.form) for key, facet in sorted(part.facets.items()) if key not in WORDING
    )


def _inside(parts: Parts, chip: PartName) -> Form:
    """The kinds and names of what a chip holds: nothing else, since its surroundings may change."""
    return tuple((one.kind, one.name) for one in parts if one.around == chip)


def _alike(pairs: Iterator[tuple[Form, PartName]]) -> dict[Form, list[PartName]]:
    found: dict[Form, list[PartName]] = {}
    for key, name in pairs:
        found.setdefault(key, []).append(name)
    return found
