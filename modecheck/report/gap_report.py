"""Gap tables for people: a row for each event, a numbered column for each state."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from modecheck.checks.gaps import GapEntry, GapEvent, GapTable
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.document_tree import BAD, BLANK, FAINT, Block, Chapter, Grid, Item, Paragraph

LEGEND = (
    "→n goes to state n; = stays; d discarded; w waits; f waits for a full link (a signal fails); "
    "! arrives, but has no answer; - is signalled, but no rule reacts; · never arrives; "
    "(…) has an answer, but never arrives"
)

SIGNS = {"discard": "d", "defer": "w"}
"""For what a state does with an event that triggers no rule."""


def gap_report(tables: list[GapTable], stopped_by: str) -> list[Block]:
    """All tables, each followed by its gaps in words, and the legend; `stopped_by` is empty where
    everything was explored.
    """
    incomplete = [BLANK, Paragraph(f"incomplete: stopped by {stopped_by}", indent=0)]
    return [
        *map(_chapter, tables),
        BLANK,
        Paragraph(LEGEND, FAINT, indent=0, hang=0),
        *(incomplete if stopped_by else ()),
    ]


def _chapter(table: GapTable) -> Chapter:
    unanswered = sum(bool(event.link) for _, event in table.gaps())
    events, states = counted(len(table.events), "event"), counted(len(table.leaves), "state")
    gaps = f", {unanswered} without an answer" if unanswered else ""
    return Chapter(
        doc.code(table.chip),
        tuple(_table(table)),
        summary=f"{table.chip}: {events} × {states}{gaps}",
        folded=not unanswered,
        anchor=f"gaps-{table.chip}",
    )


def _table(table: GapTable) -> Iterator[Block]:
    numbers = {leaf: number for number, leaf in enumerate(table.leaves, start=1)}
    rows: list[tuple[doc.Words, ...]] = [("", *map(str, numbers.values()))]
    for event in table.events:
        cells = (_symbols(table.cells[leaf, event], leaf, numbers, event) for leaf in table.leaves)
        rows.append((event.label, *cells))
    yield Grid(tuple(rows), tone=FAINT, names=table.leaves)
    yield from _in_words(table)


def _symbols(cell: GapEntry, leaf: str, numbers: dict[str, int], event: GapEvent) -> doc.Words:
    parts = ["=" if target == leaf else f"→{numbers[target]}" for target in cell.targets]
    if cell.otherwise:
        parts.append(SIGNS[cell.otherwise])
    if cell.blocked:
        parts.append("f")
    if cell.unanswered:
        parts.append("!" if event.link else "-")
    if not parts:
        return "·"
    text = "/".join(parts)
    if cell.unanswered and event.link:
        return doc.Fragment(text, BAD)
    return text if cell.arrives else f"({text})"


def _in_words(table: GapTable) -> Iterator[Item]:
    for leaf, event in table.gaps():
        if event.link:
            text = f"{table.chip} in {leaf} has no answer to {event.name} from {event.link}"
            yield Item(text, "!", tone=BAD)
    silent: dict[str, list[str]] = {}
    for leaf, event in table.gaps():
        if not event.link:
            silent.setdefault(event.name, []).append(leaf)
    for signal, leaves in silent.items():
        yield Item(f"{table.chip} does not react to {signal} in {', '.join(leaves)}")


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
