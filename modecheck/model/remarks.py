"""What is not wrong in a model and yet worth a line: what an overlay adds.

Who means to add something skips the line; who misspelt a name sees it there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.model.places import Place


@dataclass(frozen=True, slots=True)
class Note:
    """Something that a person may want to know of what was read."""

    message: str
    place: Place

    def __str__(self) -> str:
        return f"{self.place}: note: {self.message}"


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
    return tuple(Note(_sentence(group), group[0].place) for group in groups.values())


def _sentence(group: list[Addition]) -> str:
    first = group[0]
    if len(group) == 1:
        owner = f" to {first.owner}" if first.owner else ""
        near = f" (close to {first.near!r})" if first.near else ""
        return f"overlay adds {first.kind} {first.name!r}{owner}{near}"
    kinds: dict[str, list[str]] = {}
    for one in group:
        kinds.setdefault(one.kind, []).append(one.told)
    parts = "; ".join(
        f"{kind}{'s' * (len(told) > 1)} {', '.join(told)}" for kind, told in kinds.items()
    )
    return f"overlay adds to {first.owner or 'the device'}: {parts}"
