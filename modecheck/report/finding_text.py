"""A finding in full, as plain text: for logs, whose readers cannot ask for more."""

from __future__ import annotations

import os
from collections.abc import Sequence

from modecheck.checks.findings import Finding
from modecheck.report.style import Style
from modecheck.scenario.telling import STAYS, ToldStep, condensed

PLAIN = Style(colour=False, width=100)


def finding_in_full(finding: Finding) -> list[str]:
    """What is wrong, where, in which variants, the whole scenario, and the hint."""
    lines = PLAIN.wrapped(finding.text)
    lines += [finding.id, f"at {seen_from_here(str(finding.place))}"]
    lines += [f"and {seen_from_here(str(place))}" for place in finding.also]
    if finding.variants:
        lines += PLAIN.wrapped(f"only with {' or '.join(finding.variants)}", "", "  ")
    for detail in finding.details:
        lines += PLAIN.wrapped(detail, "- ", "  ")
    lines += _scenario(finding.scenario)
    if finding.stays:
        lines.append(STAYS)
    return [*lines, *PLAIN.wrapped(f"hint: {finding.hint}", "", "  ")]


def seen_from_here(place: str) -> str:
    """`file:line:column`, with the file relative to the current folder where that is shorter."""
    file, line, column = place.rsplit(":", 2)
    near = os.path.relpath(file) if os.path.isabs(file) else file
    return f"{min(file, near, key=len)}:{line}:{column}"


def _scenario(steps: Sequence[ToldStep]) -> list[str]:
    lines: list[str] = []
    looping = False
    for step in condensed(steps):
        if step.again and not looping:
            lines.append("from here on, repeating forever:")
            looping = True
        lines += PLAIN.wrapped(step.text, f"{step.numbers:>3}. ", "     ")
        if step.changes:
            lines += PLAIN.wrapped(", ".join(step.changes), "     ", "     ")
    return lines
