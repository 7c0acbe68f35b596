"""A log compared with a device, as text for people."""

from __future__ import annotations

from modecheck.bench.log_comparison import AGREES, DISAGREES, LogComparison
from modecheck.bench.log_lines import RecordableStep, spelled
from modecheck.model.errors import UNPRINTABLE
from modecheck.model.wording import counted, listed
from modecheck.report.style import Style
from modecheck.report.terminal import headline

MOST_ALLOWED = 12
"""Lines shown that the model would have allowed; the JSON has them all."""
LONGEST_SHOWN = 300
"""Characters shown of the refused line itself."""
MOST_STATES = 4
"""Possible states shown for one chip."""


def comparison_as_text(compared: LogComparison, style: Style) -> list[str]:
    """The lines of the report."""
    name, refused = compared.product.device.name, compared.followed.refused
    if refused is None:
        return [*headline(name, "agrees with the log", style.good, style), *_about(compared, style)]
    row = compared.log.rows[refused]
    if compared.answer == DISAGREES:
        said = f"does not allow line {row:,} of the log"
        lines = headline(name, said, style.error, style)
    else:
        said = f"no explanation found for line {row:,} of the log, incomplete"
        lines = headline(name, said, style.warning, style)
    lines += _about(compared, style)
    return [
        *lines,
        "",
        *_refused(compared, refused, style),
        "",
        *_allowed(compared, refused, style),
    ]


def _about(compared: LogComparison, style: Style) -> list[str]:
    names = [compared.product.chips[number].name for number in compared.recorded]
    count, most = len(compared.log.order), compared.followed.most
    told = [
        f"{counted(count, 'line')}; recorded: {listed(names)}",
        f"at most {counted(most, 'explanation')} at a time",
    ]
    if not compared.followed.whole and compared.answer == AGREES:
        told.append("not all explanations were followed; one of those followed explains every line")
    elif not compared.followed.whole:
        told.append(
            f"not all explanations were followed: stopped by the bound of {compared.bound:,} at a "
            "time (--explanations)"
        )
    return [line for text in told for line in style.wrapped(text, "  ", "    ")]


def _refused(compared: LogComparison, refused: int, style: Style) -> list[str]:
    log, followed = compared.log, compared.followed
    line = log.lines[log.order[refused]]
    lines = [style.bold(text) for text in style.wrapped(line.said, "  ", "    ")]
    lines.append(style.faint(f"  at {log.path}:{log.rows[refused]}"))
    text = UNPRINTABLE.sub(" ", log.text_of(refused)[:LONGEST_SHOWN])
    lines += [style.faint(shown) for shown in style.wrapped(text, "  | ", "  | ")]
    then = "by then" if followed.whole else "by then, in an explanation that was followed,"
    for number in sorted({*compared.recorded, line.chip}):
        chip = compared.product.chips[number]
        leaves = [chip.leaves[leaf] for leaf in sorted(followed.states[number])]
        lines += style.wrapped(f"{then} {chip.name} is in {_either(leaves)}", "  - ", "    ")
    return lines


def _either(names: list[str]) -> str:
    shown = names[:MOST_STATES]
    more = [f"{len(names) - MOST_STATES} more"] if len(names) > MOST_STATES else []
    return " or ".join([*shown, *more])


def _allowed(compared: LogComparison, refused: int, style: Style) -> list[str]:
    allowed = compared.followed.allowed
    # Explanations that were left out may allow more.
    whole = compared.followed.whole
    how = "the model would have allowed" if whole else "the explanations that were followed allow"
    if not allowed:
        return style.wrapped(f"{how} no line of a recorded chip here", "  ", "  ")
    chip = compared.log.lines[compared.log.order[refused]].chip

    def nearness(seen: RecordableStep) -> bool:
        return seen.chip != chip

    ordered = sorted(allowed, key=nearness)
    lines = [f"  {how}"]
    for seen in ordered[:MOST_ALLOWED]:
        lines += style.wrapped(spelled(compared.product, seen), "  - ", "    ")
    left_out = len(ordered) - MOST_ALLOWED
    if left_out > 0:
        lines.append(f"  and {left_out} more in --json")
    return lines
