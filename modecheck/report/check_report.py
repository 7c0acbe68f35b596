"""The verdict for people: in a few words first, then the findings, the requirements, the modes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, HOLDS, Judged
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.model.clocks import spelled
from modecheck.model.wording import counted, listed
from modecheck.product.composition import with_longest_tick
from modecheck.report import document_tree as doc

COSTS = "(states explored and seconds spent to decide it)"
MOST_ASSUMPTIONS = 4
"""Assumptions listed with a verdict; the JSON has them all."""


def verdict_report(verdict: Verdict, *, costs: bool = False) -> list[doc.Block]:
    """The report, with what each verdict cost if wanted."""
    return [
        doc.Title(verdict.device.name, outcome_in_words(verdict), _tone(verdict)),
        *remarks(line for one in verdict.explored for line in _explored(one)),
        *remarks(verdict.remarks),
        *grouped(verdict.findings),
        *_requirements(verdict),
        *accepted(verdict.accepted),
        *_modes(verdict),
        *(_costs(verdict) if costs else ()),
    ]


def remarks(lines: Iterable[str]) -> Iterator[doc.Paragraph]:
    """Lines below a title."""
    return (doc.Paragraph(line) for line in lines)


def grouped(findings: Iterable[Finding]) -> Iterator[doc.Findings]:
    """Findings by their kind."""
    for kind, group in groupby(findings, key=lambda finding: finding.code):
        yield doc.Findings(kind, tuple(group))


def _tone(verdict: Verdict) -> str:
    return doc.BAD if verdict.findings else doc.GOOD if verdict.complete else doc.OPEN


def outcome_in_words(verdict: Verdict) -> str:
    """The verdict in a few words. An incomplete one says so, whatever was found."""
    if verdict.findings:
        so_far = "" if verdict.complete else " so far, incomplete"
        return f"{findings_counted(verdict.findings)}{so_far}"
    return "nothing found" if verdict.complete else "incomplete, nothing found so far"


def findings_counted(findings: Sequence[Finding]) -> str:
    """How many errors and warnings there are."""
    errors = sum(finding.severity == "error" for finding in findings)
    numbers = ((errors, "error"), (len(findings) - errors, "warning"))
    return " and ".join(f"{n} {noun}{'' if n == 1 else 's'}" for n, noun in numbers if n)


def _explored(one: Explored) -> Iterator[str]:
    found, reduced = one.exploration, one.reduced
    variant = f"{one.variant}: " if one.variant else ""
    noun = "zone" if reduced.zones else "state"
    exchanged = " up to exchange of identical units" if reduced.units else ""
    yield (
        f"{variant}{counted(found.state_count, noun)}{exchanged}, "
        f"{counted(found.transitions, 'transition')}, depth {found.depth}, {one.extent}"
    )
    if one.device.clock is not None:
        yield f"time: {time_in_words(one)}"
    yield from _reduced(one)


def time_in_words(one: Explored) -> str:
    """How time was treated in a few words; nothing for a device without a clock."""
    device = with_longest_tick(one.device) if one.reduced.time_acceleration else one.device
    if device.clock is None:
        return ""
    kind = "zones" if one.reduced.zones else "digital clocks"
    waits = (
        "; ticks in which nothing can happen are taken in one step"
        if one.reduced.time_acceleration
        else ""
    )
    return f"{kind}, in ticks of {spelled(device.clock.tick)}{waits}"


def _reduced(one: Explored) -> Iterator[str]:
    """Which reductions were used, and what that means for the report."""
    reduced = one.reduced
    if reduced.units:
        units = "; ".join(map(listed, reduced.units))
        yield f"identical units, explored once, and each reported by its name: {units}"
    elif reduced.units is not None and not reduced.units_stopped_by:
        yield "this device has no interchangeable units"
    if reduced.units_stopped_by:
        yield (
            f"incomplete search for symmetry: stopped by {reduced.units_stopped_by}; other "
            "identical units, if there are any, were explored separately"
        )
    if reduced.order:
        yield "independent steps were explored in one order only, which preserves every deadlock"
    if reduced.not_asked:
        why = "with zones" if reduced.zones else "since only part of the product was explored"
        yield f"not checked {why}: {', '.join(reduced.not_asked)}"


def _requirements(verdict: Verdict) -> Iterator[doc.Chapter]:
    """Every requirement with its verdict, and the assumptions of the verdict."""
    judged = verdict.requirements
    if not judged:
        return
    holding = sum(one.verdict == HOLDS for one in judged)
    rows = doc.Records(("requirement", "verdict", "what it says"), tuple(map(_requirement, judged)))
    holds = "holds" if holding == 1 else "hold"
    summary = f"{holding} of {counted(len(judged), 'requirement')} {holds}"
    folded = holding == len(judged)
    yield doc.Chapter("requirements", (rows,), summary=summary, folded=folded)


def _requirement(judged: Judged) -> doc.Record:
    tone = {HOLDS: doc.GOOD, BROKEN: doc.BAD}.get(judged.verdict, doc.OPEN)
    notes = tuple(doc.Paragraph(line, doc.FAINT) for line in _assumed(judged))
    cells = (doc.code(judged.need.name), doc.Fragment(judged.verdict, tone))
    return doc.Record(cells, judged.need.sentence, notes)


def _assumed(judged: Judged) -> Iterator[str]:
    if judged.remark:
        yield judged.remark
    if judged.rests_on:
        shown = list(judged.rests_on[:MOST_ASSUMPTIONS])
        left_out = len(judged.rests_on) - len(shown)
        more = [f"{left_out} more in --json"] if left_out else []
        yield f"assuming that each of these eventually happens: {'; '.join([*shown, *more])}"


def accepted(findings: Sequence[AcceptedFinding]) -> Iterator[doc.Chapter]:
    """The accepted findings, with their reasons."""
    if findings:
        lines = []
        for one in findings:
            until = f" (until {one.until})" if one.until else ""
            lines.append(doc.Item((doc.code(one.finding.id), f": {one.reason}{until}"), "", hang=2))
        summary = counted(len(lines), "accepted finding")
        yield doc.Chapter("accepted", tuple(lines), summary=summary, folded=True)


def _modes(verdict: Verdict) -> Iterator[doc.Chapter]:
    for one in verdict.explored:
        if len(one.modes) > 1:
            rows = tuple(map(tuple, mode_rows(one)))
            below = (*switches_in_words(one), *map(ending_in_words, one.endings))
            yield doc.Chapter(
                f"mode switches{_of_several(verdict, one)}",
                (doc.Grid(rows), *(doc.Item(line, "", hang=2) for line in below)),
                "(fewest steps, from row to column)",
                folded=True,
            )


def _of_several(verdict: Verdict, one: Explored) -> str:
    return f", {one.variant}" if len(verdict.explored) > 1 else ""


def mode_rows(one: Explored) -> list[list[str]]:
    """The table of mode switches: the modes in the first row, then a row for each mode."""
    names = list(one.modes)
    switches = {(switch.source, switch.target): switch for switch in one.switches}
    whole = one.exploration.complete
    cells = {pair: _cell(switch, complete=whole) for pair, switch in switches.items()}
    return [["", *names], *([row, *(cells.get((row, to), "·") for to in names)] for row in names)]


def switches_in_words(one: Explored) -> list[str]:
    """What each asterisk in the table means: the switches that pass through another mode."""
    return [
        f"* {switch.source} to {switch.target} only through {', '.join(switch.via) or 'itself'}"
        for switch in one.switches
        if switch.possible and not switch.direct
    ]


def ending_in_words(ending: SwitchEnding) -> str:
    """How long switches out of a mode can take, and whether messages can be lost in them."""
    steps = "no upper bound on the number of steps"
    if ending.at_most is not None:
        plural = "" if ending.at_most == 1 else "s"
        steps = f"chips and links take at most {ending.at_most} step{plural}"
    lost = "" if ending.loss is None else "; messages in flight can be lost"
    return f"after {ending.mode}: {steps}{lost}"


def _cell(switch: ModeSwitch, *, complete: bool) -> str:
    """Fewest steps; a stopped exploration cannot say what never happens."""
    if not switch.possible:
        return "never" if complete else "?"
    return f"{switch.steps}" if switch.direct else f"{switch.steps}*"


def _costs(verdict: Verdict) -> Iterator[doc.Chapter]:
    """What it cost to decide each requirement, in each variant."""
    for one in verdict.explored:
        rows = []
        for judged in one.requirements:
            if cost := judged.cost:
                shared = f", shared by {cost.shared_by}" if cost.shared_by > 1 else ""
                said = f"{counted(cost.states, 'state')}, {cost.seconds:,.1f} s{shared}"
                rows.append(doc.Record((doc.code(judged.need.name),), said))
        if rows:
            records = doc.Records(("requirement", "cost"), tuple(rows))
            yield doc.Chapter(f"costs{_of_several(verdict, one)}", (records,), COSTS)
