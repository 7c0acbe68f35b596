"""What a part of a model declares, as plain data that keeps names apart from everything else.

A form is nested tuples of words and numbers; wherever the model mentions one of its own parts there
is a `PartName`, and things without an order are `Together`. So two forms can be compared under any
renaming, and structure can be separated from names.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True, order=True)
class PartName:
    """A part by its kind and its name; `scope` is the chip or link in which the name is valid."""

    kind: str
    name: str
    scope: str = ""

    def __str__(self) -> str:
        return f"{self.scope}.{self.name}" if self.scope else self.name

    @property
    def around(self) -> PartName | None:
        """The chip or the link that it is a part of."""
        if not self.scope:
            return None
        return PartName("link" if self.kind == "message" else "chip", self.scope)


@dataclass(frozen=True, slots=True)
class Together:
    """Forms in no order."""

    items: tuple[Form, ...]


Form: TypeAlias = "PartName | Together | str | int | tuple[Form, ...]"
Renaming: TypeAlias = "dict[PartName, PartName]"
"""Maps the names of one device to those of another; no two names map to the same one."""


def renamed(form: Form, name_of: Callable[[PartName], Form]) -> Form:
    """The form with every name replaced, and every `Together` sorted."""
    if isinstance(form, PartName):
        return name_of(form)
    if isinstance(form, Together):
        return Together(tuple(sorted((renamed(item, name_of) for item in form.items), key=repr)))
    if isinstance(form, tuple):
        return tuple(renamed(item, name_of) for item in form)
    return form


def blanked(form: Form, known: Renaming) -> Form:
    """The form with known names as in the other device, and a number in place of every other name:
    the same number for the same name, counted from the left.
    """
    numbers: dict[PartName, int] = {}

    def blank(name: PartName) -> Form:
        if name in known:
            return known[name]
        return ("unknown", name.kind, numbers.setdefault(name, len(numbers)))

    return renamed(form, blank)


def aligned(old: Form, new: Form, known: Renaming) -> Iterator[tuple[PartName, PartName]]:
    """Pairs of unknown names that stand in the same place of two forms that are alike otherwise.

    Raises `NotAlike` when the forms differ in anything else.
    """
    if isinstance(old, PartName) and isinstance(new, PartName):
        if old in known or new in known.values():
            if known.get(old) != new:
                raise NotAlike
        elif old.kind != new.kind:
            raise NotAlike
        else:
            yield old, new
    elif isinstance(old, Together) and isinstance(new, Together):
        yield from _aligned_together(old, new, known)
    elif isinstance(old, tuple) and isinstance(new, tuple):
        if len(old) != len(new):
            raise NotAlike
        for one, other in zip(old, new, strict=True):
            yield from aligned(one, other, known)
    elif old != new:
        raise NotAlike


def _aligned_together(
    old: Together, new: Together, known: Renaming
) -> Iterator[tuple[PartName, PartName]]:
    """Items that both have are left out; one remaining item on each side can be aligned."""
    others = [renamed(item, lambda name: name) for item in new.items]
    left = []
    for item in old.items:
        same = renamed(item, lambda name: known.get(name, name))
        if same in others:
            others.remove(same)
        else:
            left.append(item)
    if len(left) != len(others):
        raise NotAlike
    if len(left) == 1:
        yield from aligned(left[0], others[0], known)


class NotAlike(Exception):
    """Two forms differ in more than in names that are not known yet."""
