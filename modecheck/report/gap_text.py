"""Gap tables as text: a row for each event, a numbered column for each state."""

from __future__ import annotations

from typing import Any

from modecheck.checks.gaps import GapEntry, GapEvent, GapTable
from modecheck.report.style import Style

LEGEND = (
    "→n goes to state n; = stays; d discarded; w waits; f waits for a full link (a signal fails); "
    "! arrives, but has no answer; - is signalled, but no rule reacts; · never arrives; "
    "(…) has an answer, but never arrives"
)

SIGNS = {"discard": "d", "defer": "w"}
"""For what a state does with an event that triggers no rule."""


def gap_tables_as_text(tables: list[GapTable], style: Style) -> list[str]:
    """All tables, each followed by its gaps in words, and the legend."""
    lines = []
    for table in tables:
        lines += [*_table(table, style), ""]
    return lines + [style.faint(line) for line in style.wrapped(LEGEND)]


def _table(table: GapTable, style: Style) -> list[str]:
    lines = [style.bold(table.chip)]
    lines += style.wrapped(
        ", ".join(f"{number} {leaf}" for number, leaf in enumerate(table.leaves, start=1)), "  "
    )
    numbers = {leaf: number for number, leaf in enumerate(table.leaves, start=1)}
    rows = {
        event: [_symbols(table.cells[leaf, event], leaf, numbers, event) for leaf in table.leaves]
        for event in table.events
    }
    first = max(len(event.label) for event in table.events)
    widths = [
        max(len(str(number)), *(len(row[number - 1]) for row in rows.values()))
        for number in numbers.values()
    ]
    for columns in _blocks(widths, style.width - first - 4):
        head = "  ".join(str(column + 1).rjust(widths[column]) for column in columns)
        lines.append(style.faint(f"  {'':{first}}  {head}"))
        for event, row in rows.items():
            cells = "  ".join(row[column].rjust(widths[column]) for column in columns)
            lines.append(f"  {event.label:{first}}  {cells}")
    return lines + _in_words(table, style)


def _blocks(widths: list[int], room: int) -> list[list[int]]:
    """Columns in groups that fit the width."""
    blocks: list[list[int]] = [[]]
    used = 0
    for column, width in enumerate(widths):
        if blocks[-1] and used + width + 2 > room:
            blocks.append([])
            used = 0
        blocks[-1].append(column)
        used += width + 2
    return blocks


def _symbols(cell: GapEntry, leaf: str, numbers: dict[str, int], event: GapEvent) -> str:
    parts = ["=" if target == leaf else f"→{numbers[target]}" for target in cell.targets]
    if cell.otherwise:
        parts.append(SIGNS[cell.otherwise])
    if cell.blocked:
        parts.append("f")
    if cell.unanswered:
        parts.append("!" if event.link else "-")
    if not parts:
        return "·"
    text = " ".join(parts) if len(parts) == 1 else "/".join(parts)
    return text if cell.arrives else f"({text})"


def _in_words(table: GapTable, style: Style) -> list[str]:
    lines = []
    for leaf, event in table.gaps():
        if event.link:
            text = f"{table.chip} in {leaf} has no answer to {event.name} from {event.link}"
            lines += [style.error(line) for line in style.wrapped(text, "  ! ", "    ")]
    silent: dict[str, list[str]] = {}
    for leaf, event in table.gaps():
        if not event.link:
            silent.setdefault(event.name, []).append(leaf)
    for signal, leaves in silent.items():
        text = f"{table.chip} does not react to {signal} in {', '.join(leaves)}"
        lines += style.wrapped(text, "  - ", "    ")
    return lines


def gap_tables_as_json(tables: list[GapTable]) -> list[dict[str, Any]]:
    """The same, for scripts."""
    return [
        {
            "chip": table.chip,
            "states": list(table.leaves),
            "events": [{"name": event.name, "link": event.link or None} for event in table.events],
            "cells": [
                {
                    "state": leaf,
                    "event": event.name,
                    "link": event.link or None,
                    "targets": list(cell.targets),
                    "otherwise": cell.otherwise or None,
                    "arrives": cell.arrives,
                    "unanswered": cell.unanswered,
                    "blocked": cell.blocked,
                }
                for (leaf, event), cell in table.cells.items()
            ],
        }
        for table in tables
    ]
