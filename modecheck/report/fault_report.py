"""The fault table for people: what breaks, by how few faults, and what each single one does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.cutsets.breaking import ASKED, Breakable, CutSet
from modecheck.cutsets.effects import (
    KEPT,
    LOST,
    MAY_RETURN,
    RETURNS,
    UNKNOWN,
    Effect,
    Effects,
)
from modecheck.cutsets.fault_table import FaultTable
from modecheck.model.wording import counted, either, listed
from modecheck.report import document_tree as doc
from modecheck.scenario.telling import spelled_or_none

SHORT = {
    KEPT: "it is never left",
    RETURNS: "it is left, and comes back by itself",
    MAY_RETURN: "it may stay away for ever",
    LOST: "from the worst moment it does not come back by itself",
    UNKNOWN: "a step fails on the way, and what follows is unknown",
}
"""What the words in the overview mean."""
BEYOND = "beyond the budgets in the model"
ALONE = "at the worst moment; then no actor acts and nothing else fails)"
SHOWN, FOLDED = "shown", "folded"
"""How scenarios are given: a document folds them away, a terminal cannot."""
WORST = [KEPT, RETURNS, MAY_RETURN, LOST, UNKNOWN]


def fault_report(table: FaultTable, *, scenarios: str = "") -> list[doc.Block]:
    """The report, with the scenarios of minimal cut sets if wanted: `SHOWN`, or `FOLDED` away."""
    return [
        doc.Title(table.counted.declared.name, outcome_in_words(table), _tone(table)),
        *(doc.Paragraph(line) for line in extent_in_words(table)),
        *fault_chapters(table, scenarios=scenarios),
    ]


def fault_chapters(table: FaultTable, *, scenarios: str = "") -> Iterator[doc.Block]:
    """What breaks, and what each fault and each act does."""
    if table.counted.faults or any(one.sets for one in table.breakable):
        yield from _cut_sets(table, scenarios=scenarios)
    if table.stopped_by:
        yield doc.BLANK
        yield doc.Paragraph("single faults were not looked at: incomplete", doc.OPEN)
    yield from _effects(table, table.single, "each single fault", f"(struck {ALONE}")
    if table.people is not None:
        yield from _acts(table)
        yield from _effects(
            table, table.people.effects, "each single act of an actor", f"(done {ALONE}"
        )


def outcome_in_words(table: FaultTable) -> str:
    """The least number of faults that breaks anything, in a few words."""
    if not table.counted.faults:
        return "declares no faults"
    broken = [one for one in table.breakable if one.sets]
    if not broken:
        most = table.counted.in_all
        said = f"nothing breaks by up to {counted(most, 'fault')}"
        return said if table.complete else "incomplete, nothing found so far"
    order = min(one.order for found in broken for one in found.sets)
    said = f"broken by {counted(order, 'fault')}" if order else "broken without any fault"
    return said if table.complete else f"{said} so far, incomplete"


def _tone(table: FaultTable) -> str:
    if table.broken_as_modelled:
        return doc.BAD
    return doc.GOOD if table.complete else doc.OPEN


def extent_in_words(table: FaultTable) -> Iterator[str]:
    """Which faults were counted, and what was explored."""
    known = table.counted
    if known.faults:
        names = listed([fault.name for fault in known.faults])
        yield f"counted: up to {known.most} of each of {names}, and up to {known.in_all} together"
    extent = f"stopped by {table.stopped_by}" if table.stopped_by else "complete"
    variant = f"{known.declared.choices}: " if known.declared.choices else ""
    yield f"{variant}{counted(table.states, 'state')}, {extent}"
    if not known.faults:
        yield "the section 'faults' of a device names what may fail"


def _cut_sets(table: FaultTable, *, scenarios: str) -> Iterator[doc.Block]:
    broken = [one for one in table.breakable if one.sets]
    blocks: list[doc.Block] = []
    for one in broken:
        blocks += _broken(one, table, scenarios=scenarios)
    needs = [one for one in table.breakable if one.need is not None]
    if whole := [one.need.name for one in needs if one.need and not one.sets and not one.remark]:
        said = "not broken" if broken else "broken by none of these sets"
        blocks.append(doc.Paragraph((f"{said}: ", *_codes(whole))))
    for why in dict.fromkeys(one.remark for one in table.breakable if one.remark):
        names = [_name(one) for one in table.breakable if one.remark == why]
        blocks.append(doc.Paragraph((f"incomplete, {why}: ", *_codes(names)), doc.OPEN))
    found = {one.id.partition(":")[0] for one in broken}
    if not table.stopped_by:
        kinds = [code for code in ASKED if code not in found]
        blocks.append(doc.Paragraph(f"no {either(kinds)}", doc.FAINT))
    elif not broken:
        blocks.append(doc.Paragraph(f"nothing found so far, stopped by {table.stopped_by}"))
    remark = "(the smallest sets of faults that break something)"
    yield doc.Chapter("minimal cut sets", tuple(blocks), remark)


def _name(one: Breakable) -> str:
    return one.need.name if one.need is not None else one.id


def _codes(names: Sequence[str]) -> Iterator[str | doc.Fragment]:
    for number, name in enumerate(names):
        yield from (", ",) if number else ()
        yield doc.code(name)


def _broken(one: Breakable, table: FaultTable, *, scenarios: str) -> Iterator[doc.Block]:
    yield doc.Paragraph((doc.code(_name(one), doc.STRONG),), hang=0)
    yield doc.Paragraph(one.text, indent=4, hang=0)
    for cut in one.sets:
        words = _cut_set(cut, table)
        if scenarios == FOLDED and cut.finding.trace is not None:
            yield doc.Fold(doc.Paragraph(words), (doc.Steps(cut.finding.scenario),))
            continue
        yield doc.Item(words, indent=4, hang=0)
        if scenarios and cut.finding.trace is not None:
            yield doc.Steps(cut.finding.scenario)


def _cut_set(cut: CutSet, table: FaultTable) -> doc.Words:
    steps = "" if cut.finding.steps is None else f", in {counted(cut.finding.steps, 'step')}"
    beyond = "" if cut.allowed else f"; {BEYOND}"
    tone = doc.BAD if cut.allowed else doc.OPEN
    told = doc.Fragment(table.counted.told(cut.counts), tone)
    return told, f"{steps}{beyond}"


def _effects(
    table: FaultTable, every: Sequence[Effects], heading: str, remark: str
) -> Iterator[doc.Block]:
    """An overview of all of them, then what is to be said of each."""
    if not every:
        return
    blocks = list(_overview(table, every))
    for one in every:
        notes = tuple(notes_on(one, table))
        if notes:
            blocks.append(doc.BLANK)
            about = f", {one.about}" if one.about else ""
            blocks.append(doc.Paragraph((doc.code(one.name, doc.STRONG), about)))
            blocks += (doc.Item(note, indent=4, hang=0) for note in notes)
    yield doc.Chapter(heading, tuple(blocks), remark)


def _overview(table: FaultTable, every: Sequence[Effects]) -> Iterator[doc.Block]:
    """A row for each, with a word for each mode and for the pairings, and what the words mean."""
    modes = list(table.counted.declared.modes)
    pairings = ["pairings"] if table.counted.declared.pairings else []
    if not modes and not pairings:
        said = "the device declares no mode and no pairing that could be lost"
        yield doc.Paragraph(said, doc.FAINT)
        return
    rows = [("", *modes, *pairings), *(_row(one, modes, pairings) for one in every)]
    used = [word for word in WORST if any(word in row[1:] for row in rows[1:])]
    legend = [f"{word}: {SHORT[word]}" for word in used]
    if any("-" in row for row in rows[1:]):
        legend.append("-: it never happens while the device would keep it")
    yield doc.Grid(tuple(rows))
    yield doc.BLANK
    yield doc.Paragraph("; ".join(legend), doc.FAINT)


def _row(one: Effects, modes: Sequence[str], pairings: Sequence[str]) -> tuple[str, ...]:
    by_name = {effect.name: effect.outcome for effect in one.of("mode")}
    worst = [effect.outcome for effect in one.of("pairing")]
    cells = [by_name.get(mode, "-") for mode in modes]
    if pairings:
        cells.append(max(worst, key=WORST.index) if worst else "-")
    return (one.name, *cells)


def notes_on(one: Effects, table: FaultTable) -> Iterator[doc.Words]:
    """What is noticed of a fault, beyond what the overview says: how each mode or pairing that is
    left comes back, what is lost, and what breaks.
    """
    for effect in one.effects:
        if effect.outcome != KEPT:
            yield (doc.code(effect.name), f" {effect_in_words(effect, table)}")
    if one.lost:
        yield f"takes away {lost_in_words(one)}"
        if needs := needs_losing(one, table):
            yield ("among them is what ", *_codes(needs), " counts")
    if broken := broken_by(one, table):
        yield ("breaks ", *_codes(broken))


def effect_in_words(effect: Effect, table: FaultTable) -> str:
    """How a mode or a pairing is left and comes back."""
    if effect.outcome == RETURNS:
        return f"comes back {_within(effect, table)}"
    if effect.outcome == UNKNOWN:
        return "is unknown: a step fails on the way"
    never = "may stay away" if effect.outcome == MAY_RETURN else "does not come back by itself"
    if not effect.ends:
        return never
    ends = [end or "no mode" for end in effect.ends]
    return f"{never}; the device may then remain in {either(ends)}"


def _within(effect: Effect, table: FaultTable) -> str:
    steps = "after any number of steps"
    if effect.steps is not None:
        steps = f"after at most {counted(effect.steps, 'step')}"
    clock = table.counted.declared.clock
    if clock is None:
        return steps
    if effect.ticks is None:
        return f"{steps}, and any time"
    return f"{steps}, and {spelled_or_none(effect.ticks * clock.tick)}"


def lost_in_words(one: Effects) -> str:
    """Messages by their links."""
    by_link: dict[str, list[str]] = {}
    for link, message in one.lost:
        by_link.setdefault(link, []).append(message)
    return listed([f"{listed(names)} on {link}" for link, names in by_link.items()])


def needs_losing(one: Effects, table: FaultTable) -> list[str]:
    """The requirements that count some of the messages that a fault takes away."""
    device = table.counted.declared
    senders = {(device.links[link].sender, message) for link, message in one.lost}
    receivers = {(device.links[link].receiver, message) for link, message in one.lost}
    return [
        need.name
        for need in device.requirements.values()
        if need.exchange is not None
        and (senders & {*need.exchange.sent} or receivers & {*need.exchange.received})
    ]


def broken_by(one: Effects, table: FaultTable) -> list[str]:
    """What a fault breaks by itself."""
    return [
        _name(found)
        for found in table.breakable
        for cut in found.sets
        if cut.order == 1 and table.counted.told(cut.counts) == one.name
    ]


def _acts(table: FaultTable) -> Iterator[doc.Block]:
    """How often each act is needed for what breaks without a fault."""
    people = table.people
    if people is None or not people.effects:
        return
    blocks: list[doc.Block] = []
    if not people.needed:
        said = "nothing breaks without a fault, whatever actors do"
        so_far = "nothing was found that breaks without a fault"
        blocks.append(doc.Paragraph(said if table.complete else so_far))
    for id_, needed in people.needed.items():
        name = id_.removeprefix("broken-requirement:")
        blocks.append(doc.Paragraph((doc.code(name, doc.STRONG),), hang=0))
        for act, times in needed.items():
            if times != 0:
                often = "at least once" if times == 1 else f"at least {times} times"
                often = often if times else f"more than {counted(people.most, 'time')}"
                blocks.append(doc.Item((doc.code(act), f": {often}"), indent=4))
        if not any(times != 0 for times in needed.values()):
            blocks.append(doc.Item("no act is needed", indent=4))
    if people.unknown:
        said = "incomplete, perhaps needed less often: "
        blocks.append(doc.Paragraph((said, *_codes(people.unknown)), doc.OPEN))
    remark = "(how often each act is needed, when nothing fails and all other acts are free)"
    yield doc.Chapter("what actors have to do", tuple(blocks), remark)
