"""What has changed since the last run, in a few lines above the report of this one."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.differences import VerdictDifference, breaks, difference
from modecheck.checks.explored import Verdict
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc


class LastRun:
    """Remembers the last verdict on each of several devices, by their number."""

    def __init__(self) -> None:
        self._verdicts: dict[int, Verdict] = {}

    def since(self, verdict: Verdict, number: int = 0) -> list[doc.Block]:
        """What has changed since the last run, if there was one; this is the last one now."""
        old = self._verdicts.get(number)
        self._verdicts[number] = verdict
        return list(since_report(difference(old, verdict))) if old is not None else []


def since_report(found: VerdictDifference) -> Iterator[doc.Block]:
    """New findings and those that are gone, by their ids, and changed requirements."""
    gone = [*found.fixed, *found.unseen]
    counts = {"new": len(found.new), "fixed": len(found.fixed), "not seen": len(found.unseen)}
    said = [f"{count:,} {name}" for name, count in counts.items() if count]
    changed = [one for one in found.requirements if one.before != one.after]
    said += [f"{counted(len(changed), 'requirement')} changed"] if changed else []
    summary = ", ".join(said) if said else "nothing has changed"
    tone = doc.BAD if found.new else doc.GOOD if gone else ""
    yield doc.Paragraph(("since the last run: ", doc.Fragment(summary, tone)), indent=0)
    yield from (doc.Item(doc.code(one.id), doc.Fragment("+", doc.BAD)) for one in found.new)
    yield from (doc.Item(doc.code(id_), doc.Fragment("−", doc.GOOD)) for id_ in gone)
    for one in changed:
        verdicts = doc.Fragment(f"{one.before} → {one.after}", doc.BAD if breaks(one) else "")
        yield doc.Item((doc.code(one.name), ": ", verdicts), "")
    yield doc.BLANK
