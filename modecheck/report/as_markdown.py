"""The verdict as Markdown for a merge request: short when nothing is wrong, complete otherwise.

It uses CommonMark with the usual tables; details fold with HTML's `details`. Names from a model
stay plain text, whatever they contain.
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import HOLDS
from modecheck.model.wording import counted
from modecheck.report.finding_text import seen_from_here
from modecheck.report.mode_table import ending_in_words, mode_rows, switches_in_words
from modecheck.report.terminal import outcome_in_words
from modecheck.scenario.telling import STAYS, ToldStep, condensed

MARKS = re.compile(r"([\\`*_\[\]#|~$]|^[-+]|(?<=^\d)[.)])")
"""ASCII punctuation that can be markup within a line, or that begins a list; CommonMark lets a
backslash escape it."""


def markdown_text(verdict: Verdict) -> str:
    """The verdict in one line; then findings, requirements and mode switches."""
    lines = [f"## {escaped(verdict.device.name)}: {outcome_in_words(verdict)}", ""]
    for one in verdict.explored:
        lines += [escaped(_explored(one)), ""]
    for remark in verdict.remarks:
        lines += [escaped(remark), ""]
    for finding in verdict.findings:
        lines += [*finding_block(finding), ""]
    lines += _requirements(verdict)
    lines += _accepted(verdict)
    for one in verdict.explored:
        lines += _modes(verdict, one)
    return "\n".join(lines).rstrip("\n") + "\n"


def escaped(text: str) -> str:
    """The text on one line, with all Markdown and HTML escaped."""
    return MARKS.sub(r"\\\1", _in_html(text))


def _in_html(text: str) -> str:
    """The text on one line inside HTML, where Markdown has no meaning."""
    return html.escape(" ".join(text.split()), quote=False)


def as_code(text: str) -> str:
    """The text set as code, for a paragraph or a table cell."""
    return f"<code>{escaped(text)}</code>"


def _explored(one: Explored) -> str:
    found = one.exploration
    variant = f"{one.variant}: " if one.variant else ""
    end = one.extent if found.complete else f"incomplete, {one.extent}"
    asked = one.reduced.not_asked
    left_out = f"; not checked: {', '.join(asked)}" if asked else ""
    return (
        f"{variant}{counted(found.state_count, 'state')}, "
        f"{counted(found.transitions, 'transition')}, depth {found.depth}, {end}{left_out}"
    )


def finding_block(finding: Finding) -> list[str]:
    """A finding as a block that folds."""
    text = _in_html(f"{finding.severity}: {finding.text}")
    title = f"{text} (<code>{_in_html(finding.id)}</code>)"
    lines = [f"<details><summary>{title}</summary>", ""]
    lines += [f"at {as_code(seen_from_here(str(finding.place)))}", ""]
    lines += [f"and {as_code(seen_from_here(str(place)))}\n" for place in finding.also]
    if finding.variants:
        lines += [escaped(f"only with {' or '.join(finding.variants)}"), ""]
    details = [f"- {escaped(detail)}" for detail in finding.details]
    lines += [*details, ""] if details else []
    lines += scenario_as_markdown(finding.scenario)
    if finding.stays:
        lines += [STAYS, ""]
    return [*lines, f"hint: {escaped(finding.hint)}", "", "</details>"]


def scenario_as_markdown(told: Sequence[ToldStep], breaks: Sequence[int] = ()) -> list[str]:
    """The steps as a list. Markdown numbers the entries of a list itself, so where several steps
    share an entry the numbers are part of the text.
    """
    steps = condensed(told, breaks)
    numbered = all(step.steps == 1 and step.number == n for n, step in enumerate(steps, start=1))
    lines = []
    for step in steps:
        again = "(repeats forever) " if step.again else ""
        changes = f" ({as_code(', '.join(step.changes))})" if step.changes else ""
        number = f"{step.number}." if numbered else f"- {step.numbers}:"
        lines.append(f"{number} {again}{escaped(step.text)}{changes}")
    return [*lines, ""] if lines else []


def _requirements(verdict: Verdict) -> list[str]:
    judged = verdict.requirements
    if not judged:
        return []
    rows = [["requirement", "verdict", "what it says"]]
    for one in judged:
        said = escaped(one.verdict) if one.verdict == HOLDS else f"**{escaped(one.verdict)}**"
        remark = f" ({escaped(one.remark)})" if one.remark else ""
        rows.append([as_code(one.need.name), said, escaped(one.need.sentence) + remark])
    holding = sum(one.verdict == HOLDS for one in judged)
    title = f"{holding} of {counted(len(judged), 'requirement')} {_verb(holding)}"
    return folded(title, table(rows), unfolded=holding < len(judged))


def _verb(count: int) -> str:
    return "holds" if count == 1 else "hold"


def _accepted(verdict: Verdict) -> list[str]:
    if not verdict.accepted:
        return []
    lines = []
    for one in verdict.accepted:
        until = f" (until {one.until})" if one.until else ""
        lines.append(f"- {as_code(one.finding.id)}: {escaped(f'{one.reason}{until}')}")
    return folded(counted(len(lines), "accepted finding"), lines, unfolded=False)


def _modes(verdict: Verdict, one: Explored) -> list[str]:
    if len(one.modes) < 2:
        return []
    variant = f", {one.variant}" if len(verdict.explored) > 1 else ""
    rows = [[escaped(cell) for cell in row] for row in mode_rows(one)]
    rows[0][0] = "from ↓ to →"
    remarks = [*switches_in_words(one), *map(ending_in_words, one.endings)]
    below = ["", *(f"- {escaped(line)}" for line in remarks)] if remarks else []
    title = f"mode switches{variant}: fewest steps from each to each"
    return folded(title, [*table(rows), *below], unfolded=False)


def table(rows: list[list[str]]) -> list[str]:
    head, *others = [f"| {' | '.join(row)} |" for row in rows]
    return [head, f"|{' --- |' * len(rows[0])}", *others]


def folded(title: str, lines: list[str], *, unfolded: bool) -> list[str]:
    state = " open" if unfolded else ""
    return [
        f"<details{state}><summary>{_in_html(title)}</summary>",
        "",
        *lines,
        "",
        "</details>",
        "",
    ]
