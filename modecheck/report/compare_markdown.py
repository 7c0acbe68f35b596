"""A comparison of two devices as Markdown for a merge request."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.report.as_markdown import as_code, escaped
from modecheck.report.compare_words import (
    SIGNS,
    bench_in_words,
    change_in_words,
    concern_in_words,
    differences_told,
    facets_in_words,
    findings_of_concern,
    looks_told,
    outcome_in_words,
    reasons,
    remarks_on_retest,
)
from modecheck.report.finding_text import seen_from_here
from modecheck.review.device_comparison import DeviceComparison
from modecheck.scenario.telling import ToldStep


def comparison_as_markdown(comparison: DeviceComparison) -> str:
    """The comparison in one line; then text, findings, behaviour, and what to retest."""
    name = escaped(comparison.new.device.name)
    lines = [f"## {name}: {escaped(outcome_in_words(comparison))}", ""]
    lines += [
        f"From {as_code(comparison.old_origin.name)} to {as_code(comparison.new_origin.name)}.",
        "",
    ]
    lines += [*_text(comparison), "", *_findings(comparison), *_behaviour(comparison), ""]
    lines += _retest(comparison)
    return "\n".join(lines).rstrip("\n") + "\n"


def _text(comparison: DeviceComparison) -> list[str]:
    lines = ["### Changes in the text of the model", ""]
    for change in comparison.text.changes:
        lines.append(f"- {SIGNS[change.what]} {change.what} {escaped(change_in_words(change))}")
        for key, before, after in facets_in_words(change):
            said = f"{as_code(before)} → {as_code(after)}" if before else escaped(after)
            lines.append(f"  - {escaped(key)}: {said}")
    return [*lines] if comparison.text.changes else [*lines, "Nothing."]


def _findings(comparison: DeviceComparison) -> list[str]:
    found = comparison.findings
    lines = ["### Findings and requirements", ""]
    for finding in found.new:
        lines.append(f"**New:** {escaped(finding.text)} ({as_code(finding.id)})")
        lines += ["", f"at {as_code(seen_from_here(str(finding.place)))}", ""]
        lines += _scenario(finding.scenario)
    for title, names in (
        ("Fixed", found.fixed),
        ("Not seen again, but not everything was explored", found.unseen),
        ("Unchanged", found.unchanged),
    ):
        lines += [f"- {title}: {as_code(name)}" for name in names]
    lines += [
        f"- {as_code(one.name)}: {escaped(one.before)} → **{escaped(one.after)}**"
        for one in found.requirements
    ]
    if len(lines) == 2:
        so_far = "" if found.complete else " so far, incomplete"
        lines.append(f"No new findings, none fixed{so_far}.")
    return [*lines, ""]


def _scenario(steps: Sequence[ToldStep]) -> list[str]:
    lines = []
    for step in steps:
        changes = f" ({as_code(', '.join(step.changes))})" if step.changes else ""
        lines.append(f"{step.number}. {escaped(step.text)}{changes}")
    return [*lines, ""] if lines else []


def _behaviour(comparison: DeviceComparison) -> list[str]:
    lines = [f"### Behaviour ({comparison.asked.equivalence.value} bisimulation)", ""]
    lines += ["| what is seen | old and new |", "| --- | --- |"]
    for look in looks_told(comparison.behaviours):
        variant = f"{look.variant}: " if look.variant else ""
        lines.append(
            f"| {escaped(variant + look.title)} | {escaped('; '.join(look.sentences()))} |"
        )
    for reason in reasons(comparison.behaviours):
        lines += ["", escaped(reason)]
    for one in differences_told(comparison):
        lines += ["", f"**{escaped(one.title)}:** {escaped(one.sentence)}", ""]
        lines += _scenario(one.told)
    return lines


def _retest(comparison: DeviceComparison) -> list[str]:
    lines = [
        "### To retest and recertify",
        "",
        "| concern | status | why |",
        "| --- | --- | --- |",
    ]
    for one in comparison.retest.concerns:
        found = [
            f"{title}: {', '.join(map(as_code, ids))}" for title, ids in findings_of_concern(one)
        ]
        why = "; ".join([*found, *map(escaped, concern_in_words(one))])
        lines.append(f"| {escaped(one.concern)} | {escaped(one.standing.value)} | {why} |")
    said = [*remarks_on_retest(comparison), *bench_in_words(comparison.retest.bench)]
    return [*lines, "", *(f"- {escaped(line)}" for line in said)]
