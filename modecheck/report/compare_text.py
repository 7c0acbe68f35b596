"""A comparison of two devices as text for people, with the most important part first."""

from __future__ import annotations

from modecheck.compare.behaviour import Outcome
from modecheck.compare.text_changes import Change
from modecheck.model.wording import counted
from modecheck.report.compare_words import (
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
from modecheck.report.style import Style
from modecheck.report.terminal import headline, scenario_as_text
from modecheck.report.trial_text import difference_as_text
from modecheck.review.concerns import Standing
from modecheck.review.device_comparison import DeviceComparison

MARKS = {Outcome.SAME: "=", Outcome.DIFFERENT: "≠", Outcome.UNKNOWN: "?"}


def comparison_as_text(comparison: DeviceComparison, style: Style) -> list[str]:
    """The lines of the report."""
    bad = comparison.broken or comparison.different
    paint = style.error if comparison.broken else style.warning if bad else style.good
    paint = paint if comparison.complete else style.warning
    lines = headline(comparison.new.device.name, outcome_in_words(comparison), paint, style)
    for line in _explored(comparison):
        lines += style.wrapped(line, "  ", "    ")
    lines += _text(comparison, style)
    lines += difference_as_text(comparison.findings, style)
    lines += _behaviour(comparison, style)
    return lines + _retest(comparison, style)


def _explored(comparison: DeviceComparison) -> list[str]:
    lines = []
    sides = (
        ("old", comparison.old_origin, comparison.old),
        ("new", comparison.new_origin, comparison.new),
    )
    for which, origin, verdict in sides:
        for one in verdict.explored:
            found = one.exploration
            variant = f"{one.variant}, " if len(verdict.explored) > 1 else ""
            end = "" if found.complete else f", stopped by {found.stopped_by}"
            states = counted(found.state_count, "state")
            lines.append(f"{which}: {origin.name}, {variant}{states}{end}")
        if verdict.not_evaluated:
            lines.append(f"{which}: undecided: {', '.join(verdict.not_evaluated)}")
    return lines


def _text(comparison: DeviceComparison, style: Style) -> list[str]:
    lines = ["", style.bold("changes in the text of the model")]
    if not comparison.text.changes:
        return [*lines, "  nothing"]
    for change in comparison.text.changes:
        lines += style.wrapped(f"{change.what:<8} {change_in_words(change)}", "  ", " " * 11)
        lines += _facets(change, style)
        origin = comparison.new_origin if change.new is not None else comparison.old_origin
        place = change.new_place if change.new is not None else change.old_place
        if place is not None:
            lines.append(style.faint(f"{' ' * 11}at {seen_from_here(origin.place(place))}"))
    return lines


def _facets(change: Change, style: Style) -> list[str]:
    lines = []
    for key, before, after in facets_in_words(change):
        said = f"{before} → {after}" if before else after
        lines += style.wrapped(f"{key}: {said}", " " * 11, " " * 13)
    return lines


def _behaviour(comparison: DeviceComparison, style: Style) -> list[str]:
    if not comparison.behaviours:
        return []
    title = f"behaviour ({comparison.asked.equivalence.value} bisimulation)"
    lines = ["", style.bold(title)]
    paints = {
        Outcome.SAME: style.good,
        Outcome.DIFFERENT: style.error,
        Outcome.UNKNOWN: style.warning,
    }
    for look in looks_told(comparison.behaviours):
        variant = f"{look.variant}: " if look.variant else ""
        mark = paints[look.worst](MARKS[look.worst])
        said = "; ".join(look.sentences())
        first, *others = style.wrapped(f"{variant}{look.title}: {said}", "    ", "      ")
        lines += [f"  {mark} {first.strip()}", *others]
    for reason in reasons(comparison.behaviours):
        lines += style.wrapped(reason, "  ", "    ")
    for one in differences_told(comparison):
        lines += ["", style.bold(one.title)]
        lines += style.wrapped(one.sentence, "  ", "  ")
        lines += scenario_as_text(one.told, style)
    return lines


def _retest(comparison: DeviceComparison, style: Style) -> list[str]:
    found = comparison.retest
    lines = ["", style.bold("to retest and recertify")]
    paints = {
        Standing.TOUCHED: style.error,
        Standing.UNKNOWN: style.warning,
        Standing.UNDECIDED: style.warning,
        Standing.SAME_BEHAVIOUR: style.good,
        Standing.FIXED: style.good,
        Standing.UNTOUCHED: style.good,
    }
    width = max((len(one.concern) for one in found.concerns), default=0)
    for one in found.concerns:
        lines.append(f"  {one.concern:<{width}}  {paints[one.standing](one.standing.value)}")
        if one.standing is not Standing.UNTOUCHED:
            findings = [f"{title}: {', '.join(ids)}" for title, ids in findings_of_concern(one)]
            for line in (*findings, *concern_in_words(one)):
                lines += style.wrapped(line, " " * (width + 4), " " * (width + 6))
    for line in remarks_on_retest(comparison):
        lines += style.wrapped(line, "  ", "    ")
    lines += style.wrapped("; ".join(bench_in_words(found.bench)), "  bench: ", "    ")
    return lines
