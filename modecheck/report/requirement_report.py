"""The requirements of a verdict: those that do not hold first, if there are errors, and what each
verdict assumes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from modecheck.checks.explored import Verdict
from modecheck.checks.judged import BROKEN, HOLDS, Judged
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc

HEADS = ("requirement", "verdict", "what it says")

Notes = Callable[[Judged], Iterator[doc.Paragraph]]


def _nothing(_: Judged) -> Iterator[doc.Paragraph]:
    return iter(())


def requirement_blocks(
    verdict: Verdict, *, in_full: bool = False, more: Notes = _nothing
) -> Iterator[doc.Chapter]:
    """Every requirement with its verdict, and what there is `more` to say of it. Beside errors,
    those that hold are folded away.
    """
    judged = verdict.requirements
    if not judged:
        return
    holding = [one for one in judged if one.verdict == HOLDS]
    others = [one for one in judged if one.verdict != HOLDS]
    common = "" if in_full else _common(holding)
    errors = any(one.severity == "error" for one in verdict.findings)
    blocks: tuple[doc.Block, ...]
    if errors and holding and not in_full:
        hold = _table(holding, common, more=more)
        blocks = (*_table(others, more=more), _folded(holding, hold, others=bool(others)))
    else:
        shown = [*others, *holding] if errors else judged
        blocks = _table(shown, common, in_full=in_full, more=more)
    remark = (doc.Paragraph(f"those that hold: {common}", doc.FAINT),) if common else ()
    yield doc.Chapter(
        "requirements",
        (*blocks, *remark),
        summary=holding_in_words(len(holding), len(judged)),
        folded=len(holding) == len(judged),
    )


def holding_in_words(holding: int, of: int) -> str:
    """How many requirements hold."""
    return f"{holding} of {counted(of, 'requirement')} {'holds' if holding == 1 else 'hold'}"


def _common(holding: Sequence[Judged]) -> str:
    """What limits the verdict on each of several that hold, if it is the same."""
    remarks = {one.remark for one in holding}
    return remarks.pop() if len(remarks) == 1 and len(holding) > 1 else ""


def _folded(holding: Sequence[Judged], table: tuple[doc.Records, ...], *, others: bool) -> doc.Fold:
    count = f"{len(holding):,} {'others ' if others else ''}hold"
    if len(holding) == 1:
        count = f"1 {'other ' if others else ''}holds"
    return doc.Fold(doc.Paragraph(count), table)


def _table(
    judged: Sequence[Judged],
    common: str = "",
    *,
    in_full: bool = False,
    more: Notes,
) -> tuple[doc.Records, ...]:
    rows = []
    for one in judged:
        tone = {HOLDS: doc.GOOD, BROKEN: doc.BAD}.get(one.verdict, doc.OPEN)
        name = one.need.name
        cells = (doc.code(name), doc.Fragment(one.verdict, tone))
        notes = (*more(one), *_notes(one, common, in_full=in_full))
        rows.append(doc.Record(cells, one.need.sentence, notes, f"requirement-{name}"))
    return (doc.Records(HEADS, tuple(rows)),) if rows else ()


def _notes(judged: Judged, common: str, *, in_full: bool) -> Iterator[doc.Paragraph | doc.Fold]:
    if judged.remark and not (judged.verdict == HOLDS and judged.remark == common):
        yield doc.Paragraph(judged.remark, doc.FAINT)
    if judged.rests_on:
        yield _assumptions(judged.rests_on, in_full=in_full)


def _assumptions(rests_on: Sequence[str], *, in_full: bool) -> doc.Paragraph | doc.Fold:
    if len(rests_on) == 1:
        return doc.Paragraph(f"assuming that eventually {rests_on[0]}", doc.FAINT)
    summary = f"assuming {assumptions_counted(rests_on)}"
    if in_full:
        return doc.Paragraph(f"{summary}: {'; '.join(rests_on)}", doc.FAINT)
    return doc.Fold(doc.Paragraph(summary, doc.FAINT), tuple(map(doc.Paragraph, rests_on)))


def assumptions_counted(rests_on: Sequence[str]) -> str:
    """How many fairness assumptions there are."""
    happen = (
        "thing that eventually happens" if len(rests_on) == 1 else "things that eventually happen"
    )
    return f"{len(rests_on):,} {happen}"
