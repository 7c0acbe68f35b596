"""The verdict for people: in a few words first, then the findings, the requirements, the modes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, FALLS, HOLDS, UNDECIDED
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.model.clocks import spelled
from modecheck.model.wording import counted, listed
from modecheck.product.composition import with_longest_tick
from modecheck.report import document_tree as doc
from modecheck.report.requirement_report import holding_in_words, requirement_blocks
from modecheck.report.showing import USUAL, Showing, finding_blocks

COSTS = "(states explored and seconds spent to decide it)"


def verdict_report(
    verdict: Verdict, *, costs: bool = False, showing: Showing = USUAL
) -> list[doc.Block]:
    """The report, with what each verdict cost if wanted. A choice of findings leaves out the rest,
    but the title is always about all of them.
    """
    blocks: list[doc.Block] = [
        doc.Title(verdict.device.name, outcome_in_words(verdict), _tone(verdict)),
        *remarks(line for one in verdict.explored for line in exploration_in_words(one)),
        *remarks(verdict.remarks),
        *finding_blocks(verdict.findings, showing),
    ]
    if showing.brief:
        blocks += remarks(_counted(verdict))
    elif not showing.only:
        blocks += [
            *requirement_blocks(verdict, in_full=showing.in_full),
            *accepted(verdict.accepted),
            *_modes(verdict),
        ]
    return [*blocks, *(_costs(verdict) if costs else ())]


def remarks(lines: Iterable[str]) -> Iterator[doc.Paragraph]:
    """Lines below a title."""
    return (doc.Paragraph(line) for line in lines)


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


def exploration_in_words(one: Explored) -> Iterator[str]:
    """What was explored of a variant, and how."""
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
    if reduced.store and not one.exploration.complete:
        yield "the same command goes on from there"
    if reduced.not_asked:
        yield f"not checked {reduced.why_not_asked}: {', '.join(reduced.not_asked)}"


def _counted(verdict: Verdict) -> Iterator[str]:
    """How many requirements hold, which do not, and how many findings are accepted."""
    judged = verdict.requirements
    if judged:
        by_verdict: dict[str, list[str]] = {one: [] for one in (HOLDS, BROKEN, FALLS, UNDECIDED)}
        for one in judged:
            by_verdict.setdefault(one.verdict, []).append(one.need.name)
        holding = len(by_verdict.pop(HOLDS))
        others = (f"; {said}: {', '.join(names)}" for said, names in by_verdict.items() if names)
        yield f"{holding_in_words(holding, len(judged))}{''.join(others)}"
    if verdict.accepted:
        yield counted(len(verdict.accepted), "accepted finding")


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
    return (mode_chapter(verdict, one) for one in verdict.explored if len(one.modes) > 1)


def mode_chapter(verdict: Verdict, one: Explored) -> doc.Chapter:
    """The table of switches of a variant, and what is to be said of them."""
    below = (*switches_in_words(one), *_endings_in_words(one))
    return doc.Chapter(
        f"mode switches{_of_several(verdict, one)}",
        (
            doc.Grid(tuple(map(tuple, mode_rows(one)))),
            *(doc.Item(line, "", hang=2) for line in below),
        ),
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


def _endings_in_words(one: Explored) -> Iterator[str]:
    """How long switches out of each mode can take, and whether messages can be lost in them; a line
    for all modes of which the same is said.
    """
    whole = one.exploration.complete
    modes: dict[str, list[str]] = {}
    for ending in one.endings:
        modes.setdefault(_said_of(ending, complete=whole), []).append(ending.mode)
    return (f"switches out of {listed(names)}: {said}" for said, names in modes.items())


def _said_of(ending: SwitchEnding, *, complete: bool) -> str:
    """A loss that was seen exists; a stopped exploration knows no bound, and not that there is
    none.
    """
    steps = "no upper bound on the number of steps"
    if not complete:
        steps = "how many steps they can take is not known"
    elif ending.at_most is not None:
        plural = "" if ending.at_most == 1 else "s"
        steps = f"at most {ending.at_most} step{plural} of chips and links"
    lost = "" if ending.loss is None else "; messages in flight can be lost"
    return f"{steps}{lost}"


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
