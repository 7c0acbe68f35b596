"""Gap tables for a page: each cell as a sign and as words."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.gaps import GapEntry, GapEvent, GapTable


@dataclass(frozen=True, slots=True)
class GapCell:
    """`kind` is gap, silent, answered, spare or never; `said` is the sign in words."""

    sign: str
    said: str
    kind: str


@dataclass(frozen=True, slots=True)
class GapSheet:
    """One chip's table: a row of cells for each event, a column for each state."""

    chip: str
    leaves: tuple[str, ...]
    rows: tuple[tuple[GapEvent, tuple[GapCell, ...]], ...]
    gaps: tuple[str, ...]


def gap_sheet(table: GapTable) -> GapSheet:
    """A gap table with its words."""
    rows = tuple(
        (event, tuple(_cell(table.cells[leaf, event], leaf, event) for leaf in table.leaves))
        for event in table.events
    )
    gaps = tuple(
        f"{table.chip} in {leaf} has no answer to {event.name} from {event.link}"
        for leaf, event in table.gaps()
        if event.link
    )
    return GapSheet(table.chip, table.leaves, rows, gaps)


def _cell(cell: GapEntry, leaf: str, event: GapEvent) -> GapCell:
    parts = ["stays" if target == leaf else f"→ {target}" for target in cell.targets]
    if cell.otherwise:
        parts.append(f"{cell.otherwise}s")
    if cell.blocked:
        parts.append("waits for room" if event.link else "finds no room")
    if cell.unanswered:
        parts.append("no answer" if event.link else "no reaction")
    if not parts:
        return GapCell("·", "never arrives", "never")
    text = " / ".join(parts)
    if cell.unanswered:
        return GapCell(text, text, "gap" if event.link else "silent")
    if cell.arrives:
        return GapCell(text, text, "answered")
    return GapCell(f"({text})", f"{text}; never arrives", "spare")
