"""The gap tables of a device as one matrix: a row for each state, a column for each event."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.checks.gaps import GapEntry, GapEvent, GapTable
from modecheck.exchange.constant_values import own_constants
from modecheck.exchange.table_words import CHIP, NO_ANSWER, NO_RULE, NOTHING
from modecheck.exchange.table_writing import WORDS, RuleWriter, event_text, head_of
from modecheck.model.parts import Chip, Device, Event, Rule
from modecheck.product.rule_order import alternatives


def gap_matrix(device: Device, tables: Sequence[GapTable]) -> list[tuple[str, ...]]:
    """The rows of all tables. Several have a column for the chip; one has lines above, so that it
    can be read as the chip again.
    """
    labels = list(dict.fromkeys(_label(device, one) for table in tables for one in table.events))
    alone = len(tables) == 1
    rows: list[tuple[str, ...]] = []
    if alone:
        rows += [tuple(one) for one in head_of(device, device.chips[tables[0].chip])]
    rows.append((*(() if alone else (CHIP,)), "state", *labels))
    for table in tables:
        chip = device.chips[table.chip]
        for leaf in table.leaves:
            cells = dict.fromkeys(labels, "")
            for event in table.events:
                entry = table.cells[leaf, event]
                lines = _lines(device, chip, leaf, event, entry)
                cells[_label(device, event)] = "\n".join(lines)
            rows.append((*(() if alone else (table.chip,)), leaf, *cells.values()))
    return rows


def _label(device: Device, event: GapEvent) -> str:
    """The event at the top of a column; one of a link alone is named with it."""
    if not event.link or event.label == event.name:
        return event.name
    return event_text(device, Event(event.name, event.link))


def _lines(
    device: Device, chip: Chip, leaf: str, event: GapEvent, entry: GapEntry
) -> Iterator[str]:
    constants, _ = own_constants(device, chip)
    for rule in alternatives(chip, leaf, Event(event.name, event.link or None)):
        yield _entry(RuleWriter(device, rule, constants), rule)
    if entry.otherwise:
        yield WORDS[entry.otherwise]
    elif entry.unanswered:
        yield NO_ANSWER if event.link else NO_RULE


def _entry(writer: RuleWriter, rule: Rule) -> str:
    """`[condition] next / action; action`. It never begins as a formula of a spreadsheet would."""
    condition, actions = writer.condition(), "; ".join(writer.actions())
    target = rule.target or ("" if actions else NOTHING)
    parts = [f"[{condition}]" if condition else "", target, f"/ {actions}" if actions else ""]
    return " ".join(filter(None, parts))
