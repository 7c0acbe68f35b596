"""The document tree on a terminal: lines of text, wrapped to its width."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from modecheck.checks.findings import Finding
from modecheck.model.finding_kinds import KINDS
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.finding_text import facts_of, scenario_of
from modecheck.report.style import Style
from modecheck.scenario.telling import ToldStep, condensed

LONGEST_SCENARIO = 24
"""Steps shown of a scenario; of a longer one the middle is left out (the JSON has it all)."""
HEAD_OF_LONG = 6
FIGURE = 11
"""The width of a figure."""

Paint = Callable[[str], str]


def lines_of(blocks: Iterable[doc.Block], style: Style) -> list[str]:
    """The lines of a report, without a blank one at the beginning."""
    lines = _Renderer(style).all(blocks)
    return lines[1:] if lines and not lines[0] else lines


def finding_in_full(finding: Finding) -> list[str]:
    """A finding with its whole scenario and the hint: for logs, whose readers cannot ask for more.

    The lines are as in a report, but not indented, and up to 100 characters wide.
    """
    hint = doc.Paragraph(f"hint: {finding.hint}")
    blocks = (*_finding(finding, whole=True), hint)
    return [line[2:] for line in lines_of(blocks, Style(width=102))]


def _finding(finding: Finding, *, whole: bool = False) -> tuple[doc.Block, ...]:
    return (
        doc.Paragraph(finding.text, doc.STRONG, hang=0),
        doc.Paragraph(finding.id, doc.FAINT, wrapped=False),
        *facts_of(finding),
        *scenario_of(finding, whole=whole),
    )


def scenario_as_text(
    told: Sequence[ToldStep], style: Style, breaks: Sequence[int] = (), *, whole: bool = False
) -> list[str]:
    """The steps of a scenario, numbered; a long one has no middle unless it is to be `whole`."""
    steps = condensed(told, breaks)
    longest = len(steps) if whole else LONGEST_SCENARIO
    lines: list[str] = []
    looping = False
    for position, step in enumerate(steps, start=1):
        if len(steps) > longest and position == HEAD_OF_LONG + 1:
            middle = steps[HEAD_OF_LONG : len(steps) - (LONGEST_SCENARIO - HEAD_OF_LONG)]
            left_out = sum(one.steps for one in middle)
            lines.append(style.faint(f"     … {counted(left_out, 'more step')} in --json …"))
        if _is_shown(position, len(steps), longest):
            if step.again and not looping:
                lines += _again(steps, step.number, style)
                looping = True
            lines += step_as_text(step, style)
    return lines


def _again(steps: list[ToldStep], shown: int, style: Style) -> list[str]:
    """The line above a loop; if its first steps are left out, it names the step it starts with."""
    begin = next(step.number for step in steps if step.again)
    where = "here" if begin == shown else f"step {begin}"
    return style.wrapped(f"from {where} on, repeating forever:", "  ")


def _is_shown(number: int, count: int, longest: int) -> bool:
    tail = count - (longest - HEAD_OF_LONG)
    return count <= longest or number <= HEAD_OF_LONG or number > tail


def step_as_text(step: ToldStep, style: Style) -> list[str]:
    """One step, and below it the variables that it changed."""
    lines = style.wrapped(step.text, f"  {step.numbers:>3}. ", "       ")
    changed = style.wrapped(", ".join(step.changes), "       ")
    return lines + [style.faint(line) for line in changed]


class _Renderer:
    def __init__(self, style: Style) -> None:
        self._style = style
        self._paints: dict[str, Paint] = {
            "": str,
            doc.STRONG: style.bold,
            doc.FAINT: style.faint,
            doc.GOOD: style.good,
            doc.BAD: style.error,
            doc.OPEN: style.warning,
            doc.OLD: str,
            doc.NEW: str,
        }

    def all(self, blocks: Iterable[doc.Block]) -> list[str]:
        return [line for block in blocks for line in RENDERED[type(block)](self, block)]

    def _painted(self, lines: list[str], *words: doc.Words) -> list[str]:
        """Lines in which the first occurrence of each span with a tone has it."""
        for span in (span for one in words for span in doc.fragments(one) if span.tone):
            for number, line in enumerate(lines):
                if span.text in line:
                    painted = self._paints[span.tone](span.text)
                    lines[number] = line.replace(span.text, painted, 1)
                    break
        return lines

    def _title(self, title: doc.Title) -> list[str]:
        """In one line, or in two where that would be too long."""
        style, said = self._style, self._paints[title.tone](title.said)
        if not title.said:
            return [style.bold(line) for line in style.wrapped(title.name, "", "  ")]
        if len(title.name) + 2 + len(title.said) <= style.width:
            return [f"{style.bold(title.name)}: {said}"]
        return [*(style.bold(line) for line in style.wrapped(f"{title.name}:")), f"  {said}"]

    def _heading(self, heading: str, remark: str, tone: str) -> list[str]:
        """With the remark after it, or below it where one line is too short for both."""
        style, paint = self._style, self._paints[tone]
        if not remark:
            return [paint(line) for line in style.wrapped(heading, "", "  ")]
        if len(heading) + 1 + len(remark) <= style.width:
            return [f"{paint(heading)} {style.faint(remark)}"]
        return [paint(heading), *(style.faint(line) for line in style.wrapped(remark, "  "))]

    def _section(self, one: doc.Chapter) -> list[str]:
        return ["", *self._heading(one.heading, one.remark, one.tone), *self.all(one.blocks)]

    def _steps(self, one: doc.Steps) -> list[str]:
        return scenario_as_text(one.told, self._style, one.breaks, whole=one.whole)

    def _verbatim(self, one: doc.Verbatim) -> list[str]:
        return [self._style.faint(line) for line in self._style.wrapped(one.text, "  | ")]

    def _paragraph(self, one: doc.Paragraph, indent: int = 0) -> list[str]:
        begin = " " * (one.indent + indent)
        text, paint = doc.plain(one.words), self._paints[one.tone]
        lines = [f"{begin}{text}"]
        if one.wrapped:
            lines = self._style.wrapped(text, begin, begin + " " * one.hang)
        return [paint(line) for line in self._painted(lines, one.words)] or [""]

    def _item(self, one: doc.Item) -> list[str]:
        bullet = doc.plain(one.bullet)
        start = f"{' ' * one.indent}{bullet}{' ' if bullet else ''}"
        below = " " * min(len(start) + one.hang, self._style.width // 2)
        lines = self._style.wrapped(doc.plain(one.words), start, below)
        lines = self._painted(lines, one.bullet, one.words)
        lines = [self._paints[one.tone](line) for line in lines]
        for note in one.notes:
            lines += self._paragraph(doc.Paragraph(note, doc.FAINT, len(start)))
        return lines

    def _records(self, block: doc.Records) -> list[str]:
        rows = block.rows
        columns = zip(*(map(doc.plain, row.cells) for row in rows), strict=True)
        widths = [max(map(len, column)) for column in columns]
        lines = []
        for row in rows:
            cells = zip(map(doc.plain, row.cells), widths, strict=True)
            start = "".join(f"  {cell:<{width}}" for cell, width in cells)
            told = [start]
            if row.words:
                start += "  "
                told = self._style.wrapped(doc.plain(row.words), start, " " * len(start))
            lines += self._painted(told, *row.cells, row.words)
            for note in row.notes:
                lines += self._paragraph(note, widths[0] + 2)
        return lines

    def _grid(self, grid: doc.Grid) -> list[str]:
        """Columns in as many parts as the width asks for, each with the names."""
        names, *columns = zip(*grid.rows, strict=True)
        first = max(map(len, names))
        parts: list[list[tuple[str, ...]]] = [[]]
        used = 2 + first
        for column in columns:
            width = max(map(len, column)) + 2
            if parts[-1] and used + width > self._style.width:
                parts.append([])
                used = 2 + first
            parts[-1].append(column)
            used += width
        lines = self._part(grid, names, parts[0])
        for part in parts[1:]:
            lines += ([""] if grid.spaced else []) + self._part(grid, names, part)
        return lines

    def _part(
        self, grid: doc.Grid, names: Sequence[str], columns: Sequence[Sequence[str]]
    ) -> list[str]:
        first = max(map(len, names))
        widths = [max(map(len, column)) for column in columns]
        lines = []
        for row, name in enumerate(names):
            cells = "".join(f"  {c[row]:>{w}}" for c, w in zip(columns, widths, strict=True))
            line = f"  {name:>{first}}{cells}" if grid.figures else f"  {name:<{first}}{cells}"
            lines.append(self._paints[grid.tone](line) if row < grid.heads else line)
        return lines

    def _measures(self, block: doc.Measures) -> list[str]:
        style, (heading, *heads) = self._style, block.heads
        room = style.width - 2 - len(heads) * (FIGURE + 2)
        width = min(room, max(len(heading) - 2, *(len(row.name) for row in block.rows)))
        head = "".join(f"  {one:>{FIGURE}}" for one in heads)
        lines = [style.bold(f"{heading:<{width + 2}}{head}")]
        lines += [style.faint(line) for line in style.wrapped(f"({block.remark})", "  ")]
        for row in block.rows:
            lines += self._measure(row, width)
        return lines

    def _measure(self, row: doc.Measure, width: int) -> list[str]:
        name, lines = row.name, []
        if len(name) > width:
            lines, name = self._style.wrapped(name, "  ", "    "), ""
        figures = "".join(f"  {one.text:>{FIGURE}}" for one in row.figures)
        lines += self._painted([f"  {name:<{width}}{figures}"], row.figures)
        for remark in row.remarks:
            lines += self._style.wrapped(remark, "      ", "        ")
        return lines + self.all(row.blocks)

    def _findings(self, block: doc.Findings) -> list[str]:
        """With what their code means and a hint."""
        kind = KINDS[block.code]
        tone = doc.BAD if kind.severity == "error" else doc.OPEN
        lines = ["", *self._heading(block.code, f"({kind.meaning})", tone)]
        for number, finding in enumerate(block.findings):
            lines += ([""] if number else []) + self.all(_finding(finding))
        return [*lines, *self._style.wrapped(f"hint: {kind.hint}", "  ")]


RENDERED: dict[type[doc.Block], Callable[[_Renderer, Any], list[str]]] = {
    doc.Title: _Renderer._title,
    doc.Chapter: _Renderer._section,
    doc.Paragraph: _Renderer._paragraph,
    doc.Item: _Renderer._item,
    doc.Verbatim: _Renderer._verbatim,
    doc.Records: _Renderer._records,
    doc.Grid: _Renderer._grid,
    doc.Measures: _Renderer._measures,
    doc.Steps: _Renderer._steps,
    doc.Findings: _Renderer._findings,
}
"""How each kind of block is rendered."""
