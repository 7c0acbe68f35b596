"""Notes on what is not wrong but worth a line: what an overlay adds.

An intended addition needs no attention; a misspelt name shows up there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.model.places import Place

MOST_NAMED = 4
"""Beyond this many, parts are only counted in text, unless they may be misspelt."""


@dataclass(frozen=True, slots=True)
class Note:
    """Something worth knowing about the files read: in full, and in `brief`."""

    message: str
    place: Place
    brief: str

    def __str__(self) -> str:
        return f"{self.place}: note: {self.brief}"


@dataclass(frozen=True, slots=True)
class Unused:
    """A declaration that nothing uses."""

    subject: str
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Addition:
    """A part that an overlay adds to `owner`; `near` is a known name that is close to its own."""

    kind: str
    name: str
    owner: str
    near: str
    place: Place

    @property
    def told(self) -> str:
        return f"{self.name!r} (close to {self.near!r})" if self.near else repr(self.name)


def notes_on(additions: Iterable[Addition]) -> tuple[Note, ...]:
    """One note per owner and file, so that an overlay that adds much takes few lines."""
    groups: dict[tuple[str, str], list[Addition]] = {}
    for one in dict.fromkeys(additions):
        groups.setdefault((one.place.file, one.owner), []).append(one)
    return tuple(
        Note(_sentence(group, group), group[0].place, _sentence(group, _worth_naming(group)))
        for group in groups.values()
    )


def _worth_naming(group: list[Addition]) -> list[Addition]:
    """All that may be misspelt, and the first of the others, in the order of the file."""
    others = [one for one in group if not one.near]
    room = max(MOST_NAMED - (len(group) - len(others)), 0)
    left_out = others[room:]
    # Counting a single one takes as much room as naming it.
    return [one for one in group if one not in left_out] if len(left_out) > 1 else group


def _sentence(group: list[Addition], named: list[Addition]) -> str:
    first = group[0]
    if len(group) == 1:
        owner = f" to {first.owner}" if first.owner else ""
        near = f" (close to {first.near!r})" if first.near else ""
        return f"overlay adds {first.kind} {first.name!r}{owner}{near}"
    kinds: dict[str, list[str]] = {}
    for one in named:
        kinds.setdefault(one.kind, []).append(one.told)
    parts = [f"{kind}{'s' * (len(told) > 1)} {', '.join(told)}" for kind, told in kinds.items()]
    if len(named) < len(group):
        parts.append(f"and {len(group) - len(named)} more")
    return f"overlay adds to {first.owner or 'the device'}: {'; '.join(parts)}"
