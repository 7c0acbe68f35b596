"""The page of a comparison: both charts side by side, in one self-contained file.

It has no script: its security policy (W3C Content Security Policy Level 3) allows its one style
sheet and no loading of anything.
"""

from __future__ import annotations

from modecheck.compare.behaviour import Outcome
from modecheck.draw.stylesheet import stylesheet
from modecheck.model.wording import counted
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
from modecheck.report.page.change_pictures import change_pictures
from modecheck.report.page.document import asset, digest, environment
from modecheck.review.concerns import Standing
from modecheck.review.device_comparison import DeviceComparison
from modecheck.version import __version__

MARKS = {Outcome.SAME: "=", Outcome.DIFFERENT: "≠", Outcome.UNKNOWN: "?"}
STANDINGS = {
    Standing.TOUCHED: ("found", "≠"),
    Standing.UNKNOWN: ("open", "?"),
    Standing.UNDECIDED: ("open", "?"),
    Standing.SAME_BEHAVIOUR: ("clean", "="),
    Standing.FIXED: ("clean", "="),
    Standing.UNTOUCHED: ("clean", "="),
}
"""The CSS class and the sign of each standing."""


def comparison_page(comparison: DeviceComparison) -> str:
    """The page; identical for identical models, bounds and version."""
    style = stylesheet() + asset("look.css") + asset("comparison.css")
    return environment().get_template("comparison.html").render(
        comparison=comparison,
        headline=outcome_in_words(comparison),
        kind=_kind(comparison),
        changes=[
            (SIGNS[one.what], one.what, change_in_words(one), list(facets_in_words(one)))
            for one in comparison.text.changes
        ],
        pairs=list(change_pictures(comparison)),
        broken=comparison.findings.new,
        looks=[(MARKS[one.worst], one, "; ".join(one.sentences()))
               for one in looks_told(comparison.behaviours)],
        reasons=reasons(comparison.behaviours),
        differences=list(differences_told(comparison)),
        concerns=[
            (*STANDINGS[one.standing], one, findings_of_concern(one), concern_in_words(one))
            for one in comparison.retest.concerns
        ],
        remarks=remarks_on_retest(comparison),
        anchors={one.id: f"finding-{n}" for n, one in enumerate(comparison.findings.new)},
        bench=bench_in_words(comparison.retest.bench),
        sizes=_sizes(comparison),
        version=__version__,
        style=style,
        style_digest=digest(style),
    )  # fmt: skip


def _kind(comparison: DeviceComparison) -> str:
    if comparison.broken:
        return "found"
    same = not comparison.different and not comparison.retest.durations
    return "clean" if comparison.complete and same else "open"


def _sizes(comparison: DeviceComparison) -> list[tuple[str, str, str]]:
    rows = []
    for which, origin, verdict in (
        ("old", comparison.old_origin, comparison.old),
        ("new", comparison.new_origin, comparison.new),
    ):
        for one in verdict.explored:
            found = one.exploration
            end = "" if found.complete else f", stopped by {found.stopped_by}"
            variant = f"{one.variant}: " if len(verdict.explored) > 1 else ""
            states = counted(found.state_count, "state")
            rows.append((which, origin.name, f"{variant}{states}{end}"))
    return rows
