"""A comparison of two devices for people, with the most important part first."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from modecheck.compare.behaviour import Outcome
from modecheck.compare.text_changes import Change
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.check_report import remarks
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
from modecheck.report.trial_report import difference
from modecheck.review.concerns import Concern, Standing
from modecheck.review.device_comparison import DeviceComparison
from modecheck.scenario.traces import Trace

MARKS = {
    Outcome.SAME: doc.Fragment("=", doc.GOOD),
    Outcome.DIFFERENT: doc.Fragment("≠", doc.BAD),
    Outcome.UNKNOWN: doc.Fragment("?", doc.OPEN),
}
TONES = {
    Standing.TOUCHED: doc.BAD,
    Standing.UNKNOWN: doc.OPEN,
    Standing.UNDECIDED: doc.OPEN,
    Standing.SAME_BEHAVIOUR: doc.GOOD,
    Standing.FIXED: doc.GOOD,
    Standing.UNTOUCHED: doc.GOOD,
}


def comparison_report(comparison: DeviceComparison) -> list[doc.Block]:
    """The report: text, findings, behaviour, and what to retest."""
    return [
        title(comparison),
        *remarks(explored_in_words(comparison)),
        changes_in_text(comparison),
        *difference(comparison.findings),
        *consequences(comparison),
    ]


def title(comparison: DeviceComparison) -> doc.Title:
    """The comparison in a few words."""
    same = not comparison.different and not comparison.retest.durations
    tone = doc.GOOD if comparison.complete and same else doc.OPEN
    tone = doc.BAD if comparison.broken else tone
    return doc.Title(comparison.new.device.name, outcome_in_words(comparison), tone)


def explored_in_words(comparison: DeviceComparison) -> Iterator[str]:
    """What was explored of both sides, and what is undecided."""
    for which, origin, verdict in (
        ("old", comparison.old_origin, comparison.old),
        ("new", comparison.new_origin, comparison.new),
    ):
        for one in verdict.explored:
            found = one.exploration
            variant = f"{one.variant}, " if len(verdict.explored) > 1 else ""
            end = "" if found.complete else f", stopped by {found.stopped_by}"
            yield f"{which}: {origin.name}, {variant}{counted(found.state_count, 'state')}{end}"
        if verdict.not_evaluated:
            yield f"{which}: undecided: {', '.join(verdict.not_evaluated)}"


def changes_in_text(comparison: DeviceComparison) -> doc.Chapter:
    """What differs in the text of both."""
    rows = tuple(_change(comparison, change) for change in comparison.text.changes)
    heads = ("change", "part")
    blocks: tuple[doc.Block, ...] = (
        (doc.Records(heads, rows),) if rows else (doc.Paragraph("nothing"),)
    )
    return doc.Chapter("changes in the text of the model", blocks)


def _change(comparison: DeviceComparison, change: Change) -> doc.Record:
    notes = [
        doc.Paragraph((f"{key}: ", *(_from_to(before, after) if before else (after,))))
        for key, before, after in facets_in_words(change)
    ]
    origin = comparison.new_origin if change.new is not None else comparison.old_origin
    place = change.new_place if change.new is not None else change.old_place
    if place is not None:
        at = doc.code(seen_from_here(origin.place(place)))
        notes.append(doc.Paragraph(("at ", at), doc.FAINT, wrapped=False))
    return doc.Record((f"{change.what:<7}",), change_in_words(change), tuple(notes))


def _from_to(before: str, after: str) -> tuple[str | doc.Fragment, ...]:
    return doc.code(before, doc.OLD), " → ", doc.code(after, doc.NEW)


def _as_steps(_: str, trace: Trace) -> doc.Block:
    return doc.Steps(trace.told)


def consequences(
    comparison: DeviceComparison, run: Callable[[str, Trace], doc.Block] = _as_steps
) -> Iterator[doc.Chapter]:
    """What behaves differently, each `run` that shows it as a block, and what to retest."""
    if comparison.behaviours:
        yield _behaviour(comparison, run)
    yield _retest(comparison)


def _behaviour(comparison: DeviceComparison, run: Callable[[str, Trace], doc.Block]) -> doc.Chapter:
    blocks: list[doc.Block] = []
    for look in looks_told(comparison.behaviours):
        variant = f"{look.variant}: " if look.variant else ""
        said = f"{variant}{look.title}: {'; '.join(look.sentences())}"
        blocks.append(doc.Item(said, MARKS[look.worst], hang=2))
    blocks += remarks(reasons(comparison.behaviours))
    for one in differences_told(comparison):
        shown = (run(one.title, one.trace),) if one.trace is not None else ()
        blocks.append(doc.Chapter(one.title, (doc.Paragraph(one.sentence, hang=0), *shown)))
    heading = f"behaviour ({comparison.asked.equivalence.title})"
    return doc.Chapter(heading, tuple(blocks))


def _retest(comparison: DeviceComparison) -> doc.Chapter:
    found = comparison.retest
    rows = tuple(map(_concern, found.concerns))
    below = [doc.Paragraph(line) for line in remarks_on_retest(comparison)]
    bench = "; ".join(bench_in_words(found.bench))
    records = (doc.Records(("concern", "status", "why"), rows),) if rows else ()
    blocks = (*records, *below, doc.Paragraph(f"bench: {bench}"))
    return doc.Chapter("to retest and recertify", blocks)


def _concern(one: Concern) -> doc.Record:
    notes: list[doc.Paragraph] = []
    if one.standing is not Standing.UNTOUCHED:
        for kind, ids in findings_of_concern(one):
            full = [doc.Fragment(id_, code=True, reported=id_ in one.new) for id_ in ids]
            named = [part for id_ in full for part in (", ", id_)]
            notes.append(doc.Paragraph((f"{kind}: ", *named[1:])))
        notes += remarks(concern_in_words(one))
    return doc.Record(
        (one.concern, doc.Fragment(one.standing.value, TONES[one.standing])), "", tuple(notes)
    )
