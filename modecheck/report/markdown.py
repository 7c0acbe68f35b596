"""The document tree as Markdown: CommonMark with the usual tables, made for a merge request.

Long parts fold with HTML's `details`. Names from a model stay plain text, whatever they contain.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from modecheck.checks.findings import Finding
from modecheck.model.finding_kinds import KINDS
from modecheck.report import document_tree as doc
from modecheck.report.finding_groups import FindingGroup
from modecheck.report.finding_text import facts_of, scenario_of
from modecheck.scenario.telling import ToldStep, condensed

MARKS = re.compile(r"([\\`*_\[\]#|~$]|^[-+]|(?<=^\d)[.)])")
"""ASCII punctuation that can be markup within a line, or that begins a list; CommonMark lets a
backslash escape it."""
BOX = "[ ]"


def markdown_of(blocks: Iterable[doc.Block]) -> str:
    """A document with a title, then its blocks."""
    lines = _blocks(blocks, 3)
    return "\n".join(lines).rstrip("\n") + "\n"


def escaped(text: str) -> str:
    """The text on one line, with all Markdown and HTML escaped."""
    return MARKS.sub(r"\\\1", _in_html(text))


def _in_html(text: str) -> str:
    """The text on one line inside HTML, where Markdown has no meaning."""
    return html.escape(" ".join(text.split()), quote=False)


def _code(text: str) -> str:
    """The text set as code, for a paragraph or a table cell."""
    return f"<code>{escaped(text)}</code>"


def _words(words: doc.Words) -> str:
    """What is bad or open is set in bold."""
    parts = []
    for span in doc.fragments(words):
        # Spaces at the ends of a span part it from its neighbours.
        text = span.text.strip()
        shown = _code(text) if span.code else escaped(text)
        shown = f"**{shown}**" if span.tone in (doc.BAD, doc.OPEN) and text else shown
        before, after = (
            " " if one else "" for one in (span.text[:1] == " ", span.text[-1:] == " ")
        )
        parts.append(f"{before}{shown}{after}")
    return "".join(parts).strip()


def _blocks(blocks: Iterable[doc.Block], level: int) -> list[str]:
    """The lines of blocks; entries of a list stay together, other blocks are parted by a line."""
    lines: list[str] = []
    listing = False
    for block in blocks:
        if listing and not isinstance(block, doc.Item):
            lines.append("")
        listing = isinstance(block, doc.Item)
        lines += RENDERED[type(block)](block, level)
    return [*lines, ""] if listing else lines


def _title(title: doc.Title, _: int) -> list[str]:
    return [f"## {escaped(f'{title.name}: {title.said}' if title.said else title.name)}", ""]


def _paragraph(one: doc.Paragraph, _: int) -> list[str]:
    return [_words(one.words), ""] if doc.plain(one.words) else []


def _verbatim(one: doc.Verbatim, _: int) -> list[str]:
    return [_code(one.text), ""]


def _records(block: doc.Records, _: int) -> list[str]:
    rows = [[*map(_words, row.cells), _sentence(row)] for row in block.rows]
    return [*_table([block.heads, *rows]), ""]


def _grid(grid: doc.Grid, _: int) -> list[str]:
    names = [escaped(grid.numbered), ""] if grid.names else []
    return [*names, *_table([list(map(_words, row)) for row in grid.rows]), ""]


def _steps(one: doc.Steps, _: int) -> list[str]:
    return steps_as_markdown(one.told, one.breaks)


def _findings(block: doc.Findings, level: int) -> list[str]:
    return [line for group in block.groups for line in _group(group, level)]


def _item(item: doc.Item, _: int) -> list[str]:
    bullet, depth = doc.plain(item.bullet), "  " * (item.indent // 4)
    # A number after the box is part of the text: Markdown numbers no boxes.
    mark = f"{BOX} {bullet.removeprefix(BOX).strip()}".strip() if BOX in bullet else bullet
    mark = "" if mark in ("-", "") else f"{mark} "
    return [
        f"{depth}- {mark}{_words(item.words)}",
        *(f"{depth}  - {_words(note)}" for note in item.notes),
    ]


def _sentence(row: doc.Record) -> str:
    """The sentence of a record with its notes."""
    notes = "; ".join(_words(one.words) for one in row.notes if isinstance(one, doc.Paragraph))
    said = _words(row.words) if row.words else ""
    folds = "".join(_folded_note(one) for one in row.notes if isinstance(one, doc.Fold))
    return (f"{said} ({notes})" if said and notes else said or notes) + folds


def _folded_note(note: doc.Fold) -> str:
    """A note in a cell of a table, where only HTML can fold."""
    inside = "<br>".join(_words(one.words) for one in note.blocks if isinstance(one, doc.Paragraph))
    return f"<details><summary>{_words(note.summary.words)}</summary>{inside}</details>"


def _fold(one: doc.Fold, level: int) -> list[str]:
    return _folding(_in_html(doc.plain(one.summary.words)), _blocks(one.blocks, level), folded=True)


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    head, *others = [f"| {' | '.join(row)} |" for row in rows]
    return [head, f"|{' --- |' * len(rows[0])}", *others]


def _measures(block: doc.Measures, level: int) -> list[str]:
    rows = [[*block.heads, "remarks"]]
    for row in block.rows:
        remarks = escaped("; ".join(row.remarks))
        rows.append([_code(row.name), *map(_words, row.figures), remarks])
    shown = [line for row in block.rows for line in _blocks(row.blocks, level)]
    return [*_table(rows), "", escaped(f"{block.remark}."), "", *shown]


def _section(section: doc.Chapter, level: int) -> list[str]:
    inner = _blocks(section.blocks, level + 1)
    heading = doc.plain(section.heading)
    if section.folded is not None:
        title = section.summary or f"{heading} {section.remark}".strip()
        return _folding(_in_html(title), inner, folded=section.folded)
    remark = [escaped(section.remark), ""] if section.remark else []
    shown = escaped(heading[:1].upper() + heading[1:])
    return [f"{'#' * level} {shown}", "", *remark, *inner]


def _folding(title: str, lines: list[str], *, folded: bool) -> list[str]:
    state = "" if folded else " open"
    while lines and not lines[-1]:
        lines = lines[:-1]
    return [f"<details{state}><summary>{title}</summary>", "", *lines, "", "</details>", ""]


def steps_as_markdown(told: Sequence[ToldStep], breaks: Sequence[int] = ()) -> list[str]:
    """The steps as a list. Markdown numbers the entries of a list itself, so where several steps
    share an entry the numbers are part of the text.
    """
    steps = condensed(told, breaks)
    numbered = all(step.steps == 1 and step.number == n for n, step in enumerate(steps, start=1))
    lines = []
    for step in steps:
        again = "(repeats forever) " if step.again else ""
        changes = f" ({_code(', '.join(step.changes))})" if step.changes else ""
        number = f"{step.number}." if numbered else f"- {step.numbers}:"
        lines.append(f"{number} {again}{escaped(step.text)}{changes}")
    return [*lines, ""] if lines else []


def _group(group: FindingGroup, level: int) -> list[str]:
    """A finding as a block that folds, with the others of its cause as such blocks in it."""
    first, *others = group.findings
    meaning = doc.Paragraph(f"{first.code}: {KINDS[first.code].meaning}")
    hint = doc.Paragraph(f"hint: {first.hint}")
    lines = _blocks((meaning, *_facts(first), hint), level)
    for one in others:
        lines += _folding(_title_of(one.text, one), _blocks(_facts(one), level), folded=True)
    return _folding(_title_of(f"{first.severity}: {group.text}", first), lines, folded=True)


def _title_of(text: str, finding: Finding) -> str:
    return f"{_in_html(text)} (<code>{_in_html(finding.id)}</code>)"


def _facts(finding: Finding) -> tuple[doc.Block, ...]:
    return (*facts_of(finding), *scenario_of(finding))


RENDERED: dict[type[doc.Block], Callable[[Any, int], list[str]]] = {
    doc.Title: _title,
    doc.Chapter: _section,
    doc.Paragraph: _paragraph,
    doc.Item: _item,
    doc.Fold: _fold,
    doc.Verbatim: _verbatim,
    doc.Records: _records,
    doc.Grid: _grid,
    doc.Measures: _measures,
    doc.Steps: _steps,
    doc.Findings: _findings,
}
"""How each kind of block is rendered, under headings of a level."""
