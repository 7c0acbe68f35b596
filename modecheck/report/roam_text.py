"""What random runs have shown, as text for people. It never states that something holds."""

from __future__ import annotations

from itertools import groupby

from modecheck.checks.roaming.finite_tests import LEFT_OUT
from modecheck.checks.roaming.roam import BROKEN, SEEN, Roamed
from modecheck.checks.roaming.seen import SeenSoFar
from modecheck.model.wording import counted
from modecheck.report.style import Style
from modecheck.report.terminal import (
    accepted_as_text,
    findings_counted,
    group_as_text,
    headline,
    titled,
)

NOTHING = "nothing seen so far, which proves nothing"
MOST_LINES = 12
"""Lines of the table over time; if there are more, the earlier ones are left out."""


def roamed_as_text(roamed: Roamed, style: Style) -> list[str]:
    """The lines of the report."""
    lines = [*_headline(roamed, style), *style.wrapped(_walked(roamed), "  ", "    ")]
    lines += [line for text in roamed.remarks for line in style.wrapped(text, "  ", "    ")]
    for code, group in groupby(roamed.findings, key=lambda finding: finding.code):
        lines += ["", *group_as_text(code, list(group), style)]
    lines += _not_shortest(roamed, style)
    lines += _requirements(roamed, style)
    lines += accepted_as_text(roamed.accepted, style)
    lines += ["", *_over_time(roamed, style), *_estimated(roamed, style), *_left_out(style)]
    return [*lines, *_by_clock(roamed, style)]


def _headline(roamed: Roamed, style: Style) -> list[str]:
    name, said, paint = roamed.device.name, NOTHING, style.warning
    if roamed.findings:
        said, paint = f"{findings_counted(roamed.findings)} seen", style.error
    return headline(name, said, paint, style)


def _walked(roamed: Roamed) -> str:
    seen, how = roamed.seen, roamed.how
    variants = f"through {len(roamed.variants)} variants, " if len(roamed.variants) > 1 else ""
    runs, steps = counted(seen.runs, "random run"), f"{counted(seen.steps, 'step')}, "
    if roamed.by_clock:  # listed in the table below
        runs, steps = "random runs", ""
    return (
        f"{runs} of at most {counted(how.depth, 'step')}, {variants}{steps}seed {how.seed}, "
        f"stopped by {roamed.stopped_by}"
    )


def _not_shortest(roamed: Roamed, style: Style) -> list[str]:
    names = [finding.id for finding in roamed.findings if finding.id in roamed.longer]
    if not names:
        return []
    return [
        "",
        *style.wrapped(f"the scenario may not be the shortest: {', '.join(names)}", "", "  "),
    ]


def _requirements(roamed: Roamed, style: Style) -> list[str]:
    if not roamed.requirements:
        return []
    paints = {BROKEN: style.error, SEEN: style.good}
    name_width = max(len(need.name) for need, _ in roamed.requirements)
    said_width = max(len(said) for _, said in roamed.requirements)
    lines = ["", style.bold("requirements")]
    for need, said in roamed.requirements:
        start = f"  {need.name:<{name_width}}  {said:<{said_width}}  "
        told = style.wrapped(need.sentence, start, " " * len(start))
        lines += [told[0].replace(said, paints.get(said, style.faint)(said), 1), *told[1:]]
    return lines


def _over_time(roamed: Roamed, style: Style) -> list[str]:
    """A row after 1, 2, 4, 8, ... rounds, and after the last."""
    declared = roamed.declared
    heading = ["runs", "steps", "states", "rules", "events in states", "mode switches"]
    totals = ["", "", "", *(f"of {n:,}" for n in _totals(roamed))]
    rows = [heading, totals, *(_row(seen) for seen in roamed.over_time[-MOST_LINES:])]
    columns = [n for n in range(len(heading)) if n < len(heading) - 1 or declared.switches]
    widths = {n: max(len(row[n]) for row in rows) for n in columns}
    lines = titled("seen over time", style.bold("seen over time"), "", style)
    for row in rows:
        lines.append("  " + "  ".join(row[n].rjust(widths[n]) for n in columns))
    return [line.rstrip() for line in lines]


def _totals(roamed: Roamed) -> tuple[int, int, int]:
    declared = roamed.declared
    return len(declared.rules), declared.meetings, declared.switches


def _row(seen: SeenSoFar) -> list[str]:
    about = "" if seen.estimate.exact else "~"
    return [
        f"{seen.runs:,}",
        f"{seen.steps:,}",
        f"{about}{seen.estimate.states:,}",
        f"{len(seen.rules):,}",
        f"{len(seen.meetings):,}",
        f"{len(seen.switches):,}",
    ]


def _estimated(roamed: Roamed, style: Style) -> list[str]:
    estimate = roamed.seen.estimate
    counted_so = (
        "" if estimate.exact else "; the number of states is estimated from a sample chosen by hash"
    )
    text = (
        f"estimate: about {estimate.in_all:,} states in all (Chao 1984), and about "
        f"{estimate.unseen_share:.2%} of further steps would lead to new ones (Good 1953). There "
        "may be many more: both estimators treat the steps of a run as independent draws, and "
        f"cannot see what lies behind transitions that are rarely taken{counted_so}."
    )
    return style.wrapped(text, "  ", "  ")


def _left_out(style: Style) -> list[str]:
    return [
        "",
        *style.wrapped(
            f"not checked, since no finite run can show it: {', '.join(LEFT_OUT)}", "", "  "
        ),
    ]


def _by_clock(roamed: Roamed, style: Style) -> list[str]:
    """That another run with the same seed may differ, and how to reproduce this one."""
    if not roamed.by_clock:
        return []
    text = f"time ended this after {counted(roamed.seen.runs, 'run')}: the result may differ next"
    again = "" if roamed.interrupted else f"; --runs {roamed.seen.runs} reproduces this one"
    return ["", *style.wrapped(text + " time" + again, "", "  ")]
