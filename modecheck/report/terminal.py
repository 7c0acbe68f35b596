"""The document tree on a terminal: lines of text, wrapped to its width."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from modecheck.checks.findings import Finding
from modecheck.model.finding_kinds import KINDS
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.finding_groups import FindingGroup
from modecheck.report.finding_text import facts_of, scenario_of, stays_in_words
from modecheck.report.style import Style
from modecheck.scenario.telling import ToldStep, condensed

LONGEST_SCENARIO = 24
"""Steps shown of a scenario; of a longer one the middle is left out (the JSON has it all)."""
HEAD_OF_LONG = 6
MOST_OTHERS = 3
"""Ids listed of the other findings in a group."""
FOLDED = "▸"
"""Stands after a summary."""
FEWEST_SHARED = 4
"""Steps at the beginning of a scenario, the same as of an earlier one, that are not shown again."""
FIGURE = 11
"""The width of a figure."""

Paint = Callable[[str], str]


def lines_of(blocks: Iterable[doc.Block], style: Style, *, unfold: str = "") -> list[str]:
    """The lines of a report, without a blank one at the beginning. `unfold` is the option that
    shows what they leave out, where there is one.
    """
    renderer = _Renderer(style, unfold)
    lines = renderer.all(blocks)
    if renderer.folded and unfold:
        lines += ["", style.faint(f"{FOLDED} {unfold} shows what is folded")]
    return lines[1:] if lines and not lines[0] else lines


def finding_in_full(finding: Finding) -> list[str]:
    """A finding with its whole scenario and the hint: for logs, whose readers cannot ask for more.

    The lines are as in a report, but not indented, and up to 100 characters wide.
    """
    hint = doc.Paragraph(f"hint: {finding.hint}")
    blocks = (*_facts(finding), *scenario_of(finding, whole=True), hint)
    return [line[2:] for line in lines_of(blocks, Style(width=102))]


def _facts(
    finding: Finding, text: str = "", others: Iterable[str] = (), *, folded: bool = False
) -> Iterator[doc.Block]:
    """What is said above a scenario; the `text` of a group, and lines on the `others` in it."""
    yield doc.Paragraph(text or finding.text, doc.STRONG, hang=0)
    yield doc.Paragraph(finding.id, doc.FAINT, wrapped=False)
    yield from (doc.Paragraph(line, doc.FAINT, wrapped=False) for line in others)
    yield from facts_of(finding, folded=folded)


def scenario_as_text(
    told: Sequence[ToldStep], style: Style, breaks: Sequence[int] = (), *, whole: bool = False
) -> list[str]:
    """The steps of a scenario, numbered; a long one has no middle unless it is to be `whole`."""
    return _steps_as_text(condensed(told, breaks), style, whole=whole)


def _steps_as_text(steps: list[ToldStep], style: Style, *, whole: bool) -> list[str]:
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
    def __init__(self, style: Style, unfold: str) -> None:
        self._style = style
        self._unfold = unfold
        self.folded = False
        """Whether a summary has stood for something."""
        self._told: dict[str, Sequence[ToldStep]] = {}
        """The scenarios of the findings shown so far."""
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
        heading = self._heading(doc.plain(one.heading), one.remark, one.tone)
        return ["", *heading, *self.all(one.blocks)]

    def _steps(self, one: doc.Steps) -> list[str]:
        return scenario_as_text(one.told, self._style, one.breaks, whole=one.whole)

    def _fold(self, one: doc.Fold, indent: int = 0) -> list[str]:
        self.folded = True
        words: doc.Words = (*doc.fragments(one.summary.words), f" {FOLDED}")
        return self._paragraph(replace(one.summary, words=words), indent)

    def _verbatim(self, one: doc.Verbatim) -> list[str]:
        lines = one.text.splitlines()
        if len(lines) > 1:  # its lines mean something
            return [self._style.faint(f"  | {line}") for line in lines]
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
                lines += self._note(note, widths[0] + 2)
        return lines

    def _note(self, note: doc.Paragraph | doc.Fold, indent: int) -> list[str]:
        if isinstance(note, doc.Fold):
            return self._fold(note, indent)
        return self._paragraph(note, indent)

    def _grid(self, grid: doc.Grid) -> list[str]:
        """Columns in as many parts as the width asks for, each with the names."""
        names, *columns = zip(*(map(doc.plain, row) for row in grid.rows), strict=True)
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
        lines = self._style.wrapped(grid.numbered, "  ", "  ") if grid.names else []
        lines += self._part(grid, names, parts[0])
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
        for number, group in enumerate(block.groups):
            lines += [""] if number else []
            others = self._others(group)
            lines += self.all(_facts(group.first, group.text, others, folded=not block.whole))
            lines += self._scenario(group.first, whole=block.whole)
        return [*lines, *self._style.wrapped(f"hint: {kind.hint}", "  ")]

    def _others(self, group: FindingGroup) -> Iterator[str]:
        """The ids of the findings that the first of a group stands for."""
        others = group.findings[1:]
        if len(others) > MOST_OTHERS + 1:
            others = others[:MOST_OTHERS]
        yield from (f"also {one.id}" for one in others)
        more = len(group.findings) - 1 - len(others)
        if more:
            yield f"also {more:,} more, {f'with {self._unfold}' if self._unfold else 'in --json'}"

    def _scenario(self, finding: Finding, *, whole: bool) -> list[str]:
        """Without the steps at its beginning that were shown for another finding."""
        told = finding.scenario
        alike = {id_: _shared(told, other) for id_, other in self._told.items()}
        known = max(alike, key=alike.__getitem__, default="")
        shared = alike.get(known, 0)
        self._told[finding.id] = told
        if whole or shared < FEWEST_SHARED:
            return self.all(scenario_of(finding, whole=whole))
        steps = [one for one in condensed(told, (shared + 1,)) if one.number > shared]
        lines = self._style.wrapped(f"as in {known}", f"  {f'1-{shared}':>3}. ", "       ")
        lines += _steps_as_text(steps, self._style, whole=False)
        return lines + self.all(stays_in_words(finding))


def _shared(told: Sequence[ToldStep], other: Sequence[ToldStep]) -> int:
    """The number of steps with which both begin; the last one of a scenario is its own."""
    most = min(len(told) - 1, len(other))
    return next((n for n in range(most) if told[n] != other[n]), most)


RENDERED: dict[type[doc.Block], Callable[[_Renderer, Any], list[str]]] = {
    doc.Title: _Renderer._title,
    doc.Chapter: _Renderer._section,
    doc.Paragraph: _Renderer._paragraph,
    doc.Item: _Renderer._item,
    doc.Fold: _Renderer._fold,
    doc.Verbatim: _Renderer._verbatim,
    doc.Records: _Renderer._records,
    doc.Grid: _Renderer._grid,
    doc.Measures: _Renderer._measures,
    doc.Steps: _Renderer._steps,
    doc.Findings: _Renderer._findings,
}
"""How each kind of block is rendered."""
