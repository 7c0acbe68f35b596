"""What an overlay file changes, for people: new findings in full, of the others the ids."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.checks.differences import NewVerdict, VerdictDifference, breaks
from modecheck.checks.explored import Verdict
from modecheck.compare.text_changes import text_changes
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.check_report import remarks
from modecheck.report.showing import USUAL, Showing, finding_blocks


def trial_report(
    old: Verdict,
    new: Verdict,
    found: VerdictDifference,
    over: str,
    *,
    showing: Showing = USUAL,
) -> list[doc.Block]:
    """The report on a device with the file `over` laid over it."""
    tone = doc.BAD if found.new else doc.GOOD if found.complete else doc.OPEN
    return [
        doc.Title(f"{old.device.name} with {over}", _outcome(found), tone),
        *remarks((*_figures_of_both(old, new), *_idle(old, new))),
        *(finding_blocks(found.new, showing) if showing.brief else difference(found, showing)),
    ]


def difference(found: VerdictDifference, showing: Showing = USUAL) -> list[doc.Block]:
    """New findings with scenarios, the ids of the others, and changed verdicts of requirements."""
    return [
        *finding_blocks(found.new, showing),
        *_listed("fixed", found.fixed),
        *_listed("not seen again, but not everything was explored", found.unseen),
        *_listed("unchanged", found.unchanged),
        *_requirements(found.requirements),
    ]


def _outcome(found: VerdictDifference) -> str:
    """How many findings are new, fixed and unchanged, in one line."""
    parts = [counted(len(found.new), "new finding") if found.new else "no new findings"]
    parts += [f"{len(found.fixed)} fixed"] if found.fixed else []
    parts += [f"{len(found.unchanged)} unchanged"] if found.unchanged else []
    return ", ".join(parts) + ("" if found.complete else " so far, incomplete")


def _figures_of_both(old: Verdict, new: Verdict) -> Iterator[str]:
    """The sizes of both, and what stopped their exploration."""
    for before, after in zip(old.explored, new.explored, strict=False):
        variant = f"{after.variant}: " if after.variant else ""
        sizes = [counted(one.exploration.state_count, "state") for one in (before, after)]
        yield f"{variant}{sizes[0]} without the file, {sizes[1]} with it"
    for name, verdict in (("without the file", old), ("with the file", new)):
        stops = {one.exploration.stopped_by for one in verdict.explored} - {""}
        yield from (f"{name}: stopped by {stop}" for stop in sorted(stops))
        if verdict.not_evaluated:
            yield f"{name}: undecided: {', '.join(verdict.not_evaluated)}"


def _idle(old: Verdict, new: Verdict) -> Iterator[str]:
    """That the file changes nothing at all: whoever wrote it believes that it does."""
    one, two = (verdict.explored[0].device for verdict in (old, new))
    if not text_changes(one, two).changes:
        yield "the file changes neither the device nor what is required of it"


def _listed(title: str, names: Sequence[str]) -> Iterator[doc.Chapter]:
    if names:
        yield doc.Chapter(title, tuple(doc.Item(doc.code(name), "") for name in names))


def _requirements(changes: Sequence[NewVerdict]) -> Iterator[doc.Chapter]:
    if changes:
        blocks: list[doc.Block] = []
        for one in changes:
            verdicts = doc.Fragment(
                f"{one.before} → {one.after}", doc.BAD if breaks(one) else doc.STRONG
            )
            blocks.append(doc.Item((doc.code(one.name), ": ", verdicts), ""))
            blocks.append(doc.Paragraph(one.sentence, indent=4, hang=0))
        yield doc.Chapter("requirements", tuple(blocks))
