"""What is not wrong in a model and yet worth a line: what an overlay adds.

Who means to add something skips the line; who misspelt a name sees it there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.model.places import Place

MOST_NAMED = 4
"""More parts are only counted where a person reads, unless they may be slips."""


@dataclass(frozen=True, slots=True)
class Note:
    """Something that a person may want to know of what was read: all of it, and in `brief`."""

    message: str
    place: Place
    brief: str

    def __str__(self) -> str:
        return f"{self.place}: note: {self.brief}"


@dataclass(frozen=True, slots=True)
class Addition:
    """A part that an overlay adds to `owner`, and the name there that is close to its own."""

    kind: str
    name: str
    owner: str
    near: str
    place: Place

    @property
    def told(self) -> str:
        return f"{self.name!r} (close to {self.near!r})" if self.near else repr(self.name)


def notes_on(additions: Iterable[Addition]) -> tuple[Note, ...]:
    """A note for each owner in each file: an overlay that adds much is told in few lines."""
    groups: dict[tuple[str, str], list[Addition]] = {}
    for one in dict.fromkeys(additions):
        groups.setdefault((one.place.file, one.owner), []).append(one)
    return tuple(
        Note(_sentence(group, group), group[0].place, _sentence(group, _worth_naming(group)))
        for group in groups.values()
    )


def _worth_naming(group: list[Addition]) -> list[Addition]:
    """All that may be slips, and of the others the first, in the order of the file."""
    others = [one for one in group if not one.near]
    room = max(MOST_NAMED - (len(group) - len(others)), 0)
    left_out = others[room:]
    # To count a single one takes as much room as to name it.
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
