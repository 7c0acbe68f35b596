"""What an overlay file changes, as Markdown for a merge request."""

from __future__ import annotations

from modecheck.checks.differences import VerdictDifference, breaks
from modecheck.checks.explored import Verdict
from modecheck.report.as_markdown import as_code, escaped, finding_block, table
from modecheck.report.trial_text import figures_of_both, outcome_of_trial


def trial_as_markdown_text(old: Verdict, new: Verdict, found: VerdictDifference, over: str) -> str:
    """New findings in full, with scenarios; of the others the ids."""
    title = f"{escaped(old.device.name)} with {escaped(over)}: {outcome_of_trial(found)}"
    lines = [f"## {title}", ""]
    for line in figures_of_both(old, new):
        lines += [escaped(line), ""]
    for finding in found.new:
        lines += [*finding_block(finding), ""]
    lines += _listed("Fixed", found.fixed)
    lines += _listed("Not seen again, but not everything was explored", found.unseen)
    lines += _listed("Unchanged", found.unchanged)
    lines += _requirements(found)
    return "\n".join(lines).rstrip("\n") + "\n"


def _listed(title: str, names: tuple[str, ...]) -> list[str]:
    return [f"{title}:", "", *(f"- {as_code(name)}" for name in names), ""] if names else []


def _requirements(found: VerdictDifference) -> list[str]:
    if not found.requirements:
        return []
    rows = [["requirement", "without the file", "with the file", "what it says"]]
    for one in found.requirements:
        after = f"**{escaped(one.after)}**" if breaks(one) else escaped(one.after)
        rows.append([as_code(one.name), escaped(one.before), after, escaped(one.sentence)])
    return table(rows)
