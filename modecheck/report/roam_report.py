"""What random runs have shown, for people. It never states that something holds."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.roaming.finite_tests import LEFT_OUT
from modecheck.checks.roaming.roam import BROKEN, SEEN, Roamed
from modecheck.checks.roaming.seen import SeenSoFar
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.check_report import accepted, findings_counted, remarks
from modecheck.report.showing import finding_blocks

NOTHING = "nothing seen so far, which proves nothing"
MOST_LINES = 12
"""Lines of the table over time; if there are more, the earlier ones are left out."""


def roam_report(roamed: Roamed) -> list[doc.Block]:
    """The report; it never states that something holds."""
    seen = f"{findings_counted(roamed.findings)} seen" if roamed.findings else NOTHING
    return [
        doc.Title(roamed.device.name, seen, doc.BAD if roamed.findings else doc.OPEN),
        *remarks([_walked(roamed), *roamed.remarks]),
        *finding_blocks(roamed.findings),
        *_not_shortest(roamed),
        *_requirements(roamed),
        *accepted(roamed.accepted),
        doc.Chapter(
            "seen over time", (_over_time(roamed), doc.Paragraph(_estimated(roamed), hang=0))
        ),
        doc.BLANK,
        doc.Paragraph(
            f"not checked, since no finite run can show it: {', '.join(LEFT_OUT)}", indent=0
        ),
        *_by_clock(roamed),
    ]


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


def _not_shortest(roamed: Roamed) -> Iterator[doc.Block]:
    names = [finding.id for finding in roamed.findings if finding.id in roamed.longer]
    if names:
        yield doc.BLANK
        yield doc.Paragraph(f"the scenario may not be the shortest: {', '.join(names)}", indent=0)


def _requirements(roamed: Roamed) -> Iterator[doc.Chapter]:
    tones = {BROKEN: doc.BAD, SEEN: doc.GOOD}
    rows = tuple(
        doc.Record(
            (doc.code(need.name), doc.Fragment(said, tones.get(said, doc.FAINT))), need.sentence
        )
        for need, said in roamed.requirements
    )
    if rows:
        heads = ("requirement", "seen", "what it says")
        yield doc.Chapter("requirements", (doc.Records(heads, rows),))


def _over_time(roamed: Roamed) -> doc.Grid:
    """A row after 1, 2, 4, 8, ... rounds, and after the last."""
    heading = ["runs", "steps", "states", "rules", "events in states", "mode switches"]
    totals = ["", "", "", *(f"of {n:,}" for n in _totals(roamed))]
    rows = [heading, totals, *(_row(seen) for seen in roamed.over_time[-MOST_LINES:])]
    columns = len(heading) if roamed.declared.switches else len(heading) - 1
    return doc.Grid(tuple(tuple(row[:columns]) for row in rows), heads=2, figures=True)


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


def _estimated(roamed: Roamed) -> str:
    estimate = roamed.seen.estimate
    counted_so = (
        "" if estimate.exact else "; the number of states is estimated from a sample chosen by hash"
    )
    return (
        f"estimate: about {estimate.in_all:,} states in all (Chao 1984), and about "
        f"{estimate.unseen_share:.2%} of further steps would lead to new ones (Good 1953). There "
        "may be many more: both estimators treat the steps of a run as independent draws, and "
        f"cannot see what lies behind transitions that are rarely taken{counted_so}."
    )


def _by_clock(roamed: Roamed) -> Iterator[doc.Block]:
    """That another run with the same seed may differ, and how to reproduce this one."""
    if roamed.by_clock:
        text = (
            f"time ended this after {counted(roamed.seen.runs, 'run')}: the result may differ next"
        )
        again = "" if roamed.interrupted else f"; --runs {roamed.seen.runs} reproduces this one"
        yield doc.BLANK
        runs = counted(roamed.seen.runs, "run")
        again = "" if roamed.interrupted else f"; --runs {roamed.seen.runs} reproduces this one"
        text = f"time ended this after {runs}: the result may differ next time{again}"
        yield doc.BLANK
        yield doc.Paragraph(text, indent=0)
