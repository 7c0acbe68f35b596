"""Repairs of a device, for people: each as a sentence, as a file, and with what is known of it."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.model.wording import counted, listed
from modecheck.repair.changes import yaml_text
from modecheck.repair.proposals import Proposal, Repairs
from modecheck.repair.trying import Trial
from modecheck.report import document_tree as doc
from modecheck.report.repair_words import CHECKED, facts, outcome_in_words, tried_in_words

MOST_NEAR = 3
"""Candidates that are shown where none was kept."""


def repair_report(found: Repairs, most: int) -> list[doc.Block]:
    """The report, with at most so many repairs."""
    settled = found.proposals or not (found.wanted or found.tally.stopped_by)
    tone = doc.GOOD if settled else doc.OPEN
    blocks: list[doc.Block] = [
        doc.Title(f"{found.verdict.device.name}, repairs", outcome_in_words(found), tone)
    ]
    if not found.wanted:
        why = "The device was not explored completely, so nothing was tried."
        return [*blocks, *([doc.Paragraph(why)] if found.tally.stopped_by else [])]
    blocks.append(doc.Chapter("to repair", tuple(_wanted(found))))
    for number, one in enumerate(found.proposals[:most], start=1):
        blocks.append(_proposal(number, one, found))
    if len(found.proposals) > most:
        left = counted(len(found.proposals) - most, "more repair")
        blocks += [doc.BLANK, doc.Paragraph(f"{left}: --most {len(found.proposals)} shows all")]
    if found.proposals:
        blocks += [doc.BLANK, doc.Paragraph(CHECKED, indent=0, hang=0)]
    elif found.near:
        blocks.append(doc.Chapter("nearest", tuple(map(_near, found.near[:MOST_NEAR]))))
    blocks.append(doc.Chapter("tried", tuple(_lines(tried_in_words(found.tally)))))
    return blocks


def _wanted(found: Repairs) -> Iterator[doc.Block]:
    for one in found.wanted:
        yield doc.Item((doc.code(one.id), f": {one.text}"), "")


def _lines(lines: Iterator[str]) -> Iterator[doc.Block]:
    return (doc.Item(line) for line in lines)


def _proposal(number: int, one: Proposal, found: Repairs) -> doc.Chapter:
    candidate = one.trial.candidate
    blocks: list[doc.Block] = [doc.Verbatim(yaml_text(candidate.overlay).rstrip("\n"))]
    blocks += _lines(facts(one, found))
    return doc.Chapter((f"{number}. ", candidate.sentence), tuple(blocks))


def _near(trial: Trial) -> doc.Block:
    """A candidate that takes some findings away, and why it was not kept."""
    notes: list[doc.Words] = [f"takes away: {listed(sorted(trial.gone))}"]
    if trial.new:
        notes.append(f"but brings: {listed(trial.new)}")
    if trial.lost:
        notes.append(f"but loses: {listed(trial.lost)}")
    return doc.Item(trial.candidate.sentence, notes=tuple(notes))
