"""What an overlay file changes, as short text."""

from __future__ import annotations

from itertools import groupby

from modecheck.checks.differences import NewVerdict, VerdictDifference, breaks
from modecheck.checks.explored import Verdict
from modecheck.model.wording import counted
from modecheck.report.style import Style
from modecheck.report.terminal import group_as_text, headline


def trial_as_text(
    old: Verdict, new: Verdict, found: VerdictDifference, over: str, style: Style
) -> list[str]:
    """New findings in full, with scenarios; of the others the ids."""
    paint = style.error if found.new else style.good if found.complete else style.warning
    lines = headline(f"{old.device.name} with {over}", outcome_of_trial(found), paint, style)
    for line in figures_of_both(old, new):
        lines += style.wrapped(line, "  ", "    ")
    return lines + difference_as_text(found, style)


def difference_as_text(found: VerdictDifference, style: Style) -> list[str]:
    """New findings with scenarios, the ids of the others, and changed verdicts of requirements."""
    lines: list[str] = []
    for code, group in groupby(found.new, key=lambda finding: finding.code):
        lines += ["", *group_as_text(code, list(group), style)]
    lines += _listed("fixed", found.fixed, style)
    lines += _listed("not seen again, but not everything was explored", found.unseen, style)
    lines += _listed("unchanged", found.unchanged, style)
    return lines + _requirements(found.requirements, style)


def outcome_of_trial(found: VerdictDifference) -> str:
    """How many findings are new, fixed and unchanged, in one line."""
    parts = [counted(len(found.new), "new finding") if found.new else "no new findings"]
    parts += [f"{len(found.fixed)} fixed"] if found.fixed else []
    parts += [f"{len(found.unchanged)} unchanged"] if found.unchanged else []
    return ", ".join(parts) + ("" if found.complete else " so far, incomplete")


def figures_of_both(old: Verdict, new: Verdict) -> list[str]:
    """The sizes of both, and what stopped their exploration."""
    lines = []
    for before, after in zip(old.explored, new.explored, strict=False):
        variant = f"{after.variant}: " if after.variant else ""
        sizes = [counted(one.exploration.state_count, "state") for one in (before, after)]
        lines.append(f"{variant}{sizes[0]} without the file, {sizes[1]} with it")
    for name, verdict in (("without the file", old), ("with the file", new)):
        stops = {one.exploration.stopped_by for one in verdict.explored} - {""}
        lines += [f"{name}: stopped by {stop}" for stop in sorted(stops)]
        if verdict.not_evaluated:
            lines.append(f"{name}: undecided: {', '.join(verdict.not_evaluated)}")
    return lines


def _listed(title: str, names: tuple[str, ...], style: Style) -> list[str]:
    return ["", style.bold(title), *(f"  {name}" for name in names)] if names else []


def _requirements(changes: tuple[NewVerdict, ...], style: Style) -> list[str]:
    if not changes:
        return []
    lines = ["", style.bold("requirements")]
    for one in changes:
        paint = style.error if breaks(one) else style.bold
        lines.append(f"  {one.name}: {paint(f'{one.before} → {one.after}')}")
        lines += style.wrapped(one.sentence, "    ", "    ")
    return lines
