"""What `modecheck cluster-check` prints: in which respects the workers of a cluster agree."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.engine.cluster.agreement import GOOD, UNUSABLE, WARNING, ClusterReport
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc

TONES = {GOOD: doc.GOOD, WARNING: doc.OPEN, UNUSABLE: doc.BAD}
SAID = {
    GOOD: "a check can use it",
    WARNING: "a check can use it; see the warnings",
    UNUSABLE: "a check would refuse it",
}


def worst_of(report: ClusterReport) -> str:
    """The status of the whole."""
    return next((one for one in (UNUSABLE, WARNING) if report.of(one)), GOOD)


def cluster_report(report: ClusterReport, address: str) -> Iterator[doc.Block]:
    """A title, and a row for each respect."""
    worst = worst_of(report)
    yield doc.Title(f"cluster {address}", SAID[worst], TONES[worst])
    workers, threads = len(report.workers), report.threads
    yield doc.Paragraph(f"{counted(workers, 'worker')}, {counted(threads, 'thread')}")
    rows = (
        doc.Record((one.subject, doc.Fragment(one.status, TONES[one.status])), one.told)
        for one in report.agreements
    )
    yield doc.Records(("subject", "status", "what was found"), tuple(rows))
