"""The report on C code: what was written, what is stale, and what was compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from modecheck.firmware.firmware_result import FirmwareResult, ProvenChip
from modecheck.report.document_tree import (
    BAD,
    BLANK,
    FAINT,
    GOOD,
    Block,
    Chapter,
    Grid,
    Item,
    Paragraph,
    Verbatim,
)

KINDS = ("messages", "signals", "timers", "own rules", "restarts")
MOST_REFUSED = 10
SAID = (
    "Every case is a state of the chip with all its variables, what it reads of others, and what "
    "it is given: each that the device can reach was given to the compiled code, and next state, "
    "variables, messages, signals, timers and stored values were compared."
)


def firmware_report(result: FirmwareResult) -> list[Block]:
    """All that was done, in the order in which it was."""
    return [*_refused(result), *_files(result), *_proof(result)]


def _refused(result: FirmwareResult) -> Iterator[Block]:
    if not result.refused:
        return
    count = len(result.refused)
    found = f"{count} finding{'s' if count > 1 else ''}"
    yield Paragraph(f"nothing is written: {result.device.name} has {found}", BAD, indent=0)
    yield from (Item(one) for one in result.refused[:MOST_REFUSED])
    if count > MOST_REFUSED:
        yield Item(f"and {count - MOST_REFUSED} more")
    text = "modecheck check explains them; --even-with-findings writes the code all the same"
    yield Paragraph(text, FAINT)


def _files(result: FirmwareResult) -> Iterator[Block]:
    yield from (Item(path, "written") for path in result.written)
    yield from (Item(path, "stale", tone=BAD) for path in result.stale)
    if result.compared and not result.stale:
        yield Paragraph(f"all {result.compared} files are up to date", GOOD, indent=0)


def _proof(result: FirmwareResult) -> Iterator[Block]:
    if not result.proven:
        return
    rows: list[tuple[str, ...]] = [("", *KINDS, "different", "walks")]
    for one in result.proven:
        cases = (f"{one.proof.cases[kind]:,}" for kind in KINDS)
        walks = f"{one.walked.walks:,}"
        rows.append((one.chip, *cases, f"{one.proof.different:,}", walks))
    blocks: list[Block] = [Grid(tuple(rows)), BLANK, Paragraph(SAID, FAINT)]
    for one in result.proven:
        blocks += _differences(one)
    if not result.complete:
        blocks.append(Paragraph("incomplete: not every state of the device was explored", BAD))
    yield Chapter("code and model compared", tuple(blocks))


def _differences(one: ProvenChip) -> Iterator[Block]:
    for difference in one.proof.differences:
        notes = (f"the model: {difference.model}", f"the code:  {difference.code}")
        yield Item(f"{one.chip}: {difference.case}", "!", notes, BAD)
    if one.proof.different > len(one.proof.differences):
        yield Item(f"and {one.proof.different - len(one.proof.differences):,} more")
    if one.proof.failing:
        text = f"{one.chip}: {one.proof.failing:,} cases fail in the model, and were left out"
        yield Item(text)
    if one.walked.deviation:
        yield Verbatim(one.walked.deviation)


def firmware_as_json(result: FirmwareResult) -> dict[str, Any]:
    """The same, for scripts."""
    return {
        "device": result.device.name,
        "options": dict(result.device.variant),
        "complete": result.complete,
        "findings": list(result.refused),
        "written": list(result.written),
        "stale": list(result.stale),
        "proven": [
            {
                "chip": one.chip,
                "cases": {kind: one.proof.cases[kind] for kind in KINDS},
                "different": one.proof.different,
                "failing_in_the_model": one.proof.failing,
                "walks": one.walked.walks,
                "steps": one.walked.steps,
                "holds": one.holds,
            }
            for one in result.proven
        ],
    }
