"""A log compared with a device, for people."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.bench.log_comparison import AGREES, DISAGREES, LogComparison
from modecheck.bench.log_lines import spelled
from modecheck.model.errors import UNPRINTABLE
from modecheck.model.wording import counted, listed
from modecheck.report import document_tree as doc
from modecheck.report.check_report import remarks

MOST_ALLOWED = 12
"""Lines shown that the model would have allowed; the JSON has them all."""
LONGEST_SHOWN = 300
"""Characters shown of the refused line itself."""
MOST_STATES = 4
"""Possible states shown for one chip."""


def follow_report(compared: LogComparison) -> list[doc.Block]:
    """The report: whether both agree, or the first line that the model does not allow."""
    refused = compared.followed.refused
    if refused is None:
        said, tone = "agrees with the log", doc.GOOD
    elif compared.answer == DISAGREES:
        said, tone = f"does not allow line {compared.log.rows[refused]:,} of the log", doc.BAD
    else:
        line = f"line {compared.log.rows[refused]:,} of the log"
        said, tone = f"no explanation found for {line}, incomplete", doc.OPEN
    blocks: list[doc.Block] = [
        doc.Title(compared.product.device.name, said, tone),
        *remarks(_about(compared)),
    ]
    if refused is not None:
        blocks += [doc.BLANK, *_refused(compared, refused), doc.BLANK, *_allowed(compared, refused)]
    return blocks


def _about(compared: LogComparison) -> Iterator[str]:
    names = [compared.product.chips[number].name for number in compared.recorded]
    yield f"{counted(len(compared.log.order), 'line')}; recorded: {listed(names)}"
    yield f"at most {counted(compared.followed.most, 'explanation')} at a time"
    if not compared.followed.whole and compared.answer == AGREES:
        yield "not all explanations were followed; one of those followed explains every line"
    elif not compared.followed.whole:
        yield (
            f"not all explanations were followed: stopped by the bound of {compared.bound:,} at a "
            "time (--explanations)"
        )


def _refused(compared: LogComparison, refused: int) -> Iterator[doc.Block]:
    log, followed = compared.log, compared.followed
    line = log.lines[log.order[refused]]
    yield doc.Paragraph(line.said, doc.STRONG)
    yield doc.Paragraph(
        ("at ", doc.code(f"{log.path}:{log.rows[refused]}")), doc.FAINT, wrapped=False
    )
    text = UNPRINTABLE.sub(" ", log.text_of(refused)[:LONGEST_SHOWN])
    yield doc.Verbatim(text)
    then = "by then" if followed.whole else "by then, in an explanation that was followed,"
    for number in sorted({*compared.recorded, line.chip}):
        chip = compared.product.chips[number]
        leaves = [chip.leaves[leaf] for leaf in sorted(followed.states[number])]
        yield doc.Item(f"{then} {chip.name} is in {_either(leaves)}")


def _either(names: list[str]) -> str:
    shown = names[:MOST_STATES]
    more = [f"{len(names) - MOST_STATES} more"] if len(names) > MOST_STATES else []
    return " or ".join([*shown, *more])


def _allowed(compared: LogComparison, refused: int) -> Iterator[doc.Block]:
    allowed = compared.followed.allowed
    # Explanations that were left out may allow more.
    whole = compared.followed.whole
    how = "the model would have allowed" if whole else "the explanations that were followed allow"
    if not allowed:
        yield doc.Paragraph(f"{how} no line of a recorded chip here", hang=0)
        return
    chip = compared.log.lines[compared.log.order[refused]].chip
    nearest = sorted(allowed, key=lambda seen: seen.chip != chip)
    yield doc.Paragraph(how, wrapped=False)
    for seen in nearest[:MOST_ALLOWED]:
        yield doc.Item(spelled(compared.product, seen))
    if len(nearest) > MOST_ALLOWED:
        yield doc.Paragraph(f"and {len(nearest) - MOST_ALLOWED} more in --json", wrapped=False)
