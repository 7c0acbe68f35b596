"""The verdict as text for people: the verdict first, then the findings, then the modes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, HOLDS, Judged
from modecheck.model.clocks import spelled
from modecheck.model.finding_kinds import KINDS
from modecheck.model.wording import counted, listed
from modecheck.product.composition import with_longest_tick
from modecheck.report.finding_text import seen_from_here
from modecheck.report.mode_table import mode_table
from modecheck.report.style import Style
from modecheck.scenario.telling import STAYS, ToldStep, condensed

LONGEST_SCENARIO = 24
"""Steps shown of a scenario; of a longer one the middle is left out (the JSON has it all)."""
HEAD_OF_LONG = 6
COSTS = "(states explored and seconds spent to decide it)"
MOST_ASSUMPTIONS = 4
"""Assumptions listed with a verdict; the JSON has them all."""


def verdict_as_text(verdict: Verdict, style: Style) -> list[str]:
    """The lines of the report."""
    lines = [*_headline(verdict, style), *_explored_lines(verdict, style)]
    for code, group in groupby(verdict.findings, key=lambda finding: finding.code):
        lines += ["", *group_as_text(code, list(group), style)]
    lines += _requirements(verdict, style)
    lines += accepted_as_text(verdict.accepted, style)
    lines += _modes(verdict, style)
    return lines


def _headline(verdict: Verdict, style: Style) -> list[str]:
    return headline(verdict.device.name, *_said(verdict, style), style)


def headline(name: str, said: str, paint: Callable[[str], str], style: Style) -> list[str]:
    """A name and its verdict, painted, in one line, or in two where that would be too long."""
    if len(name) + 2 + len(said) <= style.width:
        return [f"{style.bold(name)}: {paint(said)}"]
    return [*(style.bold(line) for line in style.wrapped(f"{name}:")), f"  {paint(said)}"]


def _said(verdict: Verdict, style: Style) -> tuple[str, Callable[[str], str]]:
    paint = style.good if verdict.complete else style.warning
    return outcome_in_words(verdict), style.error if verdict.findings else paint


def outcome_in_words(verdict: Verdict) -> str:
    """The verdict in a few words. An incomplete one says so, whatever was found."""
    if verdict.findings:
        so_far = "" if verdict.complete else " so far, incomplete"
        return f"{findings_counted(verdict.findings)}{so_far}"
    return "nothing found" if verdict.complete else "incomplete, nothing found so far"


def findings_counted(findings: Sequence[Finding]) -> str:
    """How many errors and warnings there are."""
    errors = sum(finding.severity == "error" for finding in findings)
    warnings = len(findings) - errors
    parts = [_plural(errors, "error")] if errors else []
    parts += [_plural(warnings, "warning")] if warnings else []
    return " and ".join(parts)


def _plural(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _explored_lines(verdict: Verdict, style: Style) -> list[str]:
    lines = []
    for one in verdict.explored:
        for line in (_explored_line(one), *_time_lines(one), *_reduced_lines(one)):
            lines += style.wrapped(line, "  ", "    ")
    return lines + [line for text in verdict.remarks for line in style.wrapped(text, "  ", "    ")]


def _explored_line(one: Explored) -> str:
    found = one.exploration
    variant = f"{one.variant}: " if one.variant else ""
    noun = "zone" if one.reduced.zones else "state"
    exchanged = " up to exchange of identical units" if one.reduced.units else ""
    return (
        f"{variant}{counted(found.state_count, noun)}{exchanged}, "
        f"{counted(found.transitions, 'transition')}, depth {found.depth}, {one.extent}"
    )


def _time_lines(one: Explored) -> list[str]:
    """How time was treated; nothing for a device without a clock."""
    return [f"time: {time_in_words(one)}"] if one.device.clock is not None else []


def time_in_words(one: Explored) -> str:
    """How time was treated in a few words; nothing for a device without a clock."""
    device = with_longest_tick(one.device) if one.reduced.time_acceleration else one.device
    if device.clock is None:
        return ""
    trace = "zones" if one.reduced.zones else "digital clocks"
    waits = (
        "; ticks in which nothing can happen are taken in one step"
        if one.reduced.time_acceleration
        else ""
    )
    return f"{trace}, in ticks of {spelled(device.clock.tick)}{waits}"


def _reduced_lines(one: Explored) -> list[str]:
    """Which reductions were used, and what that means for the report."""
    reduced, lines = one.reduced, []
    if reduced.units:
        units = "; ".join(map(listed, reduced.units))
        lines.append(f"identical units, explored once, and each reported by its name: {units}")
    elif reduced.units is not None and not reduced.units_stopped_by:
        lines.append("this device has no interchangeable units")
    if reduced.units_stopped_by:
        lines.append(
            f"incomplete search for symmetry: stopped by {reduced.units_stopped_by}; other "
            "identical units, if there are any, were explored separately"
        )
    if reduced.order:
        lines.append(
            "independent steps were explored in one order only, which preserves every deadlock"
        )
    if reduced.not_asked:
        why = "with zones" if reduced.zones else "since only part of the product was explored"
        lines.append(f"not checked {why}: {', '.join(reduced.not_asked)}")
    return lines


def group_as_text(code: str, findings: list[Finding], style: Style) -> list[str]:
    """The findings of one code, with what the code means and a hint."""
    kind = KINDS[code]
    paint = style.error if kind.severity == "error" else style.warning
    lines = titled(code, paint(code), f"({kind.meaning})", style)
    for number, finding in enumerate(findings):
        lines += ([""] if number else []) + _finding(finding, style)
    return [*lines, *style.wrapped(f"hint: {kind.hint}", "  ", "  ")]


def titled(plain: str, painted: str, remark: str, style: Style) -> list[str]:
    """A title with a remark after it, or below it where one line is too short for both."""
    if len(plain) + 1 + len(remark) <= style.width:
        return [f"{painted} {style.faint(remark)}"]
    return [painted, *(style.faint(line) for line in style.wrapped(remark, "  ", "  "))]


def _finding(finding: Finding, style: Style) -> list[str]:
    lines = [style.bold(line) for line in style.wrapped(finding.text, "  ", "  ")]
    lines.append(style.faint(f"  {finding.id}"))
    lines.append(style.faint(f"  at {seen_from_here(str(finding.place))}"))
    lines += [style.faint(f"  and {seen_from_here(str(place))}") for place in finding.also]
    if finding.variants:
        lines += style.wrapped(f"only with {' or '.join(finding.variants)}", "  ", "    ")
    for detail in finding.details:
        lines += style.wrapped(detail, "  - ", "    ")
    return [*lines, *scenario_as_text(finding.scenario, style), *_stays(finding, style)]


def _stays(finding: Finding, style: Style) -> list[str]:
    """For a scenario that ends in a state in which no further step has to happen."""
    return style.wrapped(STAYS, "  ", "  ") if finding.stays else []


def scenario_as_text(
    told: Sequence[ToldStep], style: Style, breaks: Sequence[int] = ()
) -> list[str]:
    """The steps of a scenario, numbered; of a long one the middle is left out."""
    steps = condensed(told, breaks)
    lines: list[str] = []
    looping = False
    for position, step in enumerate(steps, start=1):
        if len(steps) > LONGEST_SCENARIO and position == HEAD_OF_LONG + 1:
            middle = steps[HEAD_OF_LONG : len(steps) - (LONGEST_SCENARIO - HEAD_OF_LONG)]
            left_out = sum(one.steps for one in middle)
            lines.append(style.faint(f"     … {counted(left_out, 'more step')} in --json …"))
        if _is_shown(position, len(steps)):
            if step.again and not looping:
                lines += _again(steps, step.number, style)
                looping = True
            lines += _step(step, style)
    return lines


def _again(steps: list[ToldStep], shown: int, style: Style) -> list[str]:
    """The line above a loop; if its first steps are left out, it names the step it starts with."""
    begin = next(step.number for step in steps if step.again)
    where = "here" if begin == shown else f"step {begin}"
    return style.wrapped(f"from {where} on, repeating forever:", "  ", "  ")


def _is_shown(number: int, count: int) -> bool:
    tail = count - (LONGEST_SCENARIO - HEAD_OF_LONG)
    return count <= LONGEST_SCENARIO or number <= HEAD_OF_LONG or number > tail


def _step(step: ToldStep, style: Style) -> list[str]:
    lines = style.wrapped(step.text, f"  {step.numbers:>3}. ", "       ")
    if step.changes:
        changed = style.wrapped(", ".join(step.changes), "       ", "       ")
        lines += [style.faint(line) for line in changed]
    return lines


def _requirements(verdict: Verdict, style: Style) -> list[str]:
    """Every requirement with its verdict, and the assumptions of the verdict."""
    judged = verdict.requirements
    if not judged:
        return []
    paints = {HOLDS: style.good, BROKEN: style.error}
    name_width = max(len(one.need.name) for one in judged)
    verdict_width = max(len(one.verdict) for one in judged)
    lines = ["", style.bold("requirements")]
    for one in judged:
        paint = paints.get(one.verdict, style.warning)
        start = f"  {one.need.name:<{name_width}}  {one.verdict:<{verdict_width}}  "
        told = style.wrapped(one.need.sentence, start, " " * len(start))
        lines += [told[0].replace(one.verdict, paint(one.verdict), 1), *told[1:]]
        for line in _remarks(one):
            indent = " " * (name_width + 4)
            lines += [style.faint(text) for text in style.wrapped(line, indent, f"{indent}  ")]
    return lines


def _remarks(judged: Judged) -> list[str]:
    lines = [judged.remark] if judged.remark else []
    if judged.rests_on:
        shown = list(judged.rests_on[:MOST_ASSUMPTIONS])
        left_out = len(judged.rests_on) - len(shown)
        more = [f"{left_out} more in --json"] if left_out else []
        assumed = "; ".join([*shown, *more])
        lines.append(f"assuming that each of these eventually happens: {assumed}")
    return lines


def costs_as_text(verdict: Verdict, style: Style) -> list[str]:
    """What it cost to decide each requirement, in each variant."""
    lines: list[str] = []
    for one in verdict.explored:
        known = [(judged.need.name, judged.cost) for judged in one.requirements if judged.cost]
        if not known:
            continue
        variant = f", {one.variant}" if len(verdict.explored) > 1 else ""
        title = f"costs{variant}"
        lines += ["", *titled(title, style.bold(title), COSTS, style)]
        width = max(len(name) for name, _ in known)
        for name, cost in known:
            shared = f", shared by {cost.shared_by}" if cost.shared_by > 1 else ""
            told = f"{counted(cost.states, 'state')}, {cost.seconds:,.1f} s{shared}"
            lines += style.wrapped(told, f"  {name.ljust(width)}  ", " " * (width + 4))
    return lines


def accepted_as_text(accepted: tuple[AcceptedFinding, ...], style: Style) -> list[str]:
    """The accepted findings, with their reasons."""
    if not accepted:
        return []
    lines = ["", style.bold("accepted")]
    for one in accepted:
        until = f" (until {one.until})" if one.until else ""
        lines += style.wrapped(f"{one.finding.id}: {one.reason}{until}", "  ", "    ")
    return lines


def _modes(verdict: Verdict, style: Style) -> list[str]:
    lines: list[str] = []
    for one in verdict.explored:
        if len(one.modes) > 1:
            variant = f", {one.variant}" if len(verdict.explored) > 1 else ""
            title = f"mode switches{variant}"
            remark = "(fewest steps, from row to column)"
            lines += ["", *titled(title, style.bold(title), remark, style)]
            lines += mode_table(one, style)
    return lines
