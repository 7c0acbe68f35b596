"""The sections of the page of a verdict, as blocks of the document tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.gaps import gap_tables
from modecheck.cutsets.fault_table import FaultTable
from modecheck.model.parts import Chip, Link
from modecheck.report import document_tree as doc
from modecheck.report.check_report import mode_chapter, time_in_words
from modecheck.report.fault_report import (
    FOLDED,
    extent_in_words,
    fault_chapters,
    outcome_in_words,
)
from modecheck.report.gap_report import gap_report
from modecheck.report.page.blocks import PageSection, ShownPicture, WalkStart
from modecheck.report.page.digest import digest_of
from modecheck.report.page.pictures import Picture, pictures_of
from modecheck.report.page.playing import Player
from modecheck.report.page.requirement_notes import notes_on
from modecheck.report.requirement_report import requirement_blocks
from modecheck.report.showing import finding_blocks
from modecheck.version import __version__

NO_REQUIREMENTS = doc.Paragraph("The device file declares none.")
ASSUMED_BY_ALL = doc.Paragraph(
    "All of them also assume what is listed under “What was explored”: the budgets of faults, and "
    "that the model is accurate.",
    doc.FAINT,
)


def sections_of(
    verdict: Verdict, player: Player, faults: FaultTable | None = None
) -> list[PageSection]:
    """All of them, findings before requirements where there are any."""
    pictures = pictures_of(verdict)
    reasons = reasons_of(verdict)
    chapters = requirement_blocks(verdict, more=lambda one: notes_on(one, reasons))
    needs = [block for chapter in chapters for block in chapter.blocks]
    needs.append(ASSUMED_BY_ALL if needs else NO_REQUIREMENTS)
    requirements = PageSection(
        "requirements", "Requirements", tuple(needs), len(verdict.requirements)
    )
    findings = PageSection("findings", "Findings", tuple(_findings(verdict)), len(verdict.findings))
    first = [findings, requirements] if verdict.findings else [requirements, findings]
    found = [
        *first,
        PageSection(
            "modes", "Modes", tuple(_modes(verdict, pictures, player)), len(verdict.device.modes)
        ),
        PageSection("faults", "Faults survived", tuple(_faults(faults))),
        PageSection("walk", "Free walk", tuple(_walks(verdict)), scripted=True),
        PageSection(
            "chips", "Chips and links", tuple(_chips(verdict, pictures)), len(verdict.device.chips)
        ),
        PageSection("never-seen", "Never reached", tuple(_never_reached(pictures))),
        PageSection("gaps", "Gap table", tuple(_gaps(verdict))),
        PageSection("explored", "What was explored", tuple(_explored(verdict))),
        PageSection("files", "The model’s files", tuple(_files(verdict))),
    ]
    return [one for one in found if one.blocks]


def _faults(table: FaultTable | None) -> Iterator[doc.Block]:
    if table is not None:
        said = outcome_in_words(table)
        yield doc.Paragraph(f"{said[:1].upper()}{said[1:]}.", doc.STRONG)
        yield from (doc.Paragraph(line) for line in extent_in_words(table))
        yield from fault_chapters(table, scenarios=FOLDED)


def anchor_of(finding_id: str) -> str:
    """The fragment of a link to a finding: its id, which is stable when the model changes."""
    return "_".join(finding_id.split())


def _findings(verdict: Verdict) -> Iterator[doc.Block]:
    if not verdict.findings:
        yield doc.Paragraph("None." if verdict.complete else "None so far: incomplete.")
    yield from finding_blocks(verdict.findings)
    if verdict.accepted:
        accepted = tuple(finding_blocks([one.finding for one in verdict.accepted]))
        yield doc.Chapter("accepted", accepted, "These occur, and have been accepted.")


def reasons_of(verdict: Verdict) -> dict[str, doc.Paragraph]:
    """Why findings are accepted, by their ids."""
    reasons = {}
    for one in verdict.accepted:
        until = f" (until {one.until})" if one.until else ""
        said = (doc.Fragment("Accepted: ", doc.STRONG), f"{one.reason}{until}")
        reasons[one.finding.id] = doc.Paragraph(said)
    return reasons


def scenarios_of(verdict: Verdict, player: Player) -> dict[str, tuple[doc.Block, ...]]:
    """The scenario of each finding, by its id."""
    variants = [one.variant for one in verdict.explored]

    def scenario(finding: Finding) -> tuple[doc.Block, ...]:
        if finding.trace is None:
            return ()
        own = variants.index(finding.trace.product.device.choices)
        return (player.played(finding.text, finding.trace, own),)

    every = (*verdict.findings, *(one.finding for one in verdict.accepted))
    return {one.id: scenario(one) for one in every}


def _modes(
    verdict: Verdict, pictures: dict[str, list[Picture]], player: Player
) -> Iterator[doc.Block]:
    yield from _figures(pictures.get("modes", []), "Map of the modes")
    for mode in verdict.device.modes:
        label = f"Links that carry traffic in mode {mode}"
        yield from _figures(pictures.get(f"device-in-{mode}", []), label, f"links in mode {mode}")
    for number, one in enumerate(verdict.explored):
        if len(one.modes) > 1:
            chapter = mode_chapter(verdict, one)
            runs = tuple(_switches(number, one, player))
            yield replace(chapter, blocks=(*chapter.blocks, *runs), folded=None)


def _switches(number: int, one: Explored, player: Player) -> Iterator[doc.Block]:
    """A shortest run of each switch."""
    for switch in one.switches:
        if switch.trace is None:
            continue
        title = f"From {switch.source} to {switch.target}"
        played = player.played(title, switch.trace, number)
        steps = f"{switch.steps} step{'' if switch.steps == 1 else 's'}"
        anchor = "" if number else f"switch-{switch.source}-{switch.target}"
        yield doc.Chapter(title, (played,), summary=f"{title}: {steps}", folded=True, anchor=anchor)


def _walks(verdict: Verdict) -> Iterator[doc.Block]:
    yield doc.Paragraph(
        "Choose each next step yourself, from the start or from any state of a scenario, and see "
        "where it leads."
    )
    for number, one in enumerate(verdict.explored):
        yield WalkStart(number, one.variant if len(verdict.explored) > 1 else "")


def walks_in_words(verdict: Verdict, player: Player) -> list[str]:
    """How much of each variant can be walked; known when the walks have grown."""
    said = []
    for one, walk in zip(verdict.explored, player.data.walks, strict=True):
        every = one.exploration.state_count
        said.append(
            f"all {every:,} states can be walked."
            if walk.held >= every
            else f"{walk.held:,} of {every:,} states have their next steps on this page: those of "
            "the scenarios, and those nearest to them and to the start."
        )
    return said


def _chips(verdict: Verdict, pictures: dict[str, list[Picture]]) -> Iterator[doc.Block]:
    device = verdict.device
    yield from _figures(pictures["device"], "Map of chips and links")
    for chip in device.chips.values():
        about = (doc.Paragraph(chip.about),) if chip.about else ()
        drawn = _figures(pictures[f"chip-{chip.name}"], f"Statechart of {chip.name}")
        kind = "actor" if chip.actor else "chip"
        blocks = (*about, *drawn)
        yield doc.Chapter(doc.code(chip.name), blocks, kind, anchor=f"chip-{chip.name}")
    if device.links:
        heads = ("link", "from", "to", "medium", "carries")
        yield doc.Chapter("links", (doc.Records(heads, tuple(map(_link, device.links.values()))),))
    if signals := signals_of(verdict):
        rows = tuple(
            doc.Record(
                (doc.code(name), ", ".join(givers)),
                ", ".join(hearers) or "no chip",
                anchor=f"signal-{name}",
            )
            for name, (givers, hearers) in signals.items()
        )
        yield doc.Chapter("signals", (doc.Records(("signal", "given by", "heard by"), rows),))


def _link(link: Link) -> doc.Record:
    holds = f"holds {link.capacity}; when full: {link.when_full}; when down: {link.when_down}"
    up = (doc.Paragraph(("up when ", doc.code(link.up_text))),) if link.up_text else ()
    return doc.Record(
        (doc.code(link.name), doc.code(link.sender), doc.code(link.receiver), link.medium),
        ", ".join(link.carries),
        (doc.Paragraph(holds, doc.FAINT), *up),
        anchor=f"link-{link.name}",
    )


def signals_of(verdict: Verdict) -> dict[str, tuple[list[str], list[str]]]:
    """Each signal with the chips that give it, and those that hear it."""
    found: dict[str, tuple[list[str], list[str]]] = {}
    for chip in verdict.device.chips.values():
        for side, names in enumerate(_signals(chip)):
            for name in names:
                found.setdefault(name, ([], []))[side].append(chip.name)
    return {name: sides for name, sides in sorted(found.items()) if sides[0]}


def _signals(chip: Chip) -> tuple[dict[str, None], dict[str, None]]:
    """What a chip gives, and what it hears, in the order of its rules."""
    given = {signal: None for rule in chip.rules for signal in rule.signals}
    heard = {event.name: None for rule in chip.rules for event in rule.trigger if not event.link}
    return given, heard


def _never_reached(pictures: dict[str, list[Picture]]) -> Iterator[doc.Block]:
    unseen = {key: one for key, one in pictures.items() if key.startswith("coverage-")}
    if unseen:
        yield doc.Paragraph(
            "States and rules that were never reached are dashed, and labelled as such."
        )
    for key, drawn in unseen.items():
        chip = key.removeprefix("coverage-")
        yield from _figures(drawn, f"Statechart of {chip} with what was never reached", chip)


def _figures(drawn: list[Picture], label: str, heading: str = "") -> Iterator[ShownPicture]:
    """Pictures of one thing; where variants differ, each says for which of them it is."""
    for one in drawn:
        choices = f"with {' or '.join(one.choices)}" if len(drawn) > 1 else ""
        yield ShownPicture(one, label, f"{heading} {choices}".strip())


def _gaps(verdict: Verdict) -> Iterator[doc.Block]:
    several = len(verdict.explored) > 1
    for number, one in enumerate(verdict.explored):
        tables = gap_report(gap_tables(one.exploration), one.exploration.stopped_by)
        if number:
            tables = [replace(t, anchor="") if isinstance(t, doc.Chapter) else t for t in tables]
        yield from (doc.Chapter(f"with {one.variant}", tuple(tables)),) if several else tables


def _explored(verdict: Verdict) -> Iterator[doc.Block]:
    heads = ("options", "states", "transitions", "depth", "bits per state", "outcome")
    yield doc.Records(heads, tuple(map(_figures_of, verdict.explored)))
    yield doc.Paragraph("No reduction was used: every state was explored individually.")
    if options := verdict.device.options.values():
        said = "; ".join(f"{one.name} ({', '.join(one.choices)})" for one in options)
        yield doc.Paragraph(
            f"Options of the device: {said}. Combinations that are not in the table were not "
            "explored."
        )
    rows = []
    for group in verdict.device.faults:
        times = "any number of times" if group.at_most is None else f"at most {group.at_most} ×"
        rows.append(doc.Record((group.name,), times))
    table = doc.Records(("fault", "how often"), tuple(rows))
    time = time_in_words(verdict.explored[0])
    counted = f"Time: {time}." if time else "Time is not counted: a timer may expire at any moment."
    yield doc.Chapter(
        "bounds of the model",
        (
            *((table,) if rows else ()),
            doc.Paragraph(
                "A fault that is not listed does not happen in the model. Actors may act at any "
                f"moment, but are never obliged to. {counted}"
            ),
        ),
    )


def _figures_of(one: Explored) -> doc.Record:
    found = one.exploration
    figures = (found.state_count, found.transitions, found.depth, found.product.bits)
    outcome = ": every reachable state was visited" if found.complete else ""
    extent = one.extent if found.complete else f"incomplete: {one.extent}"
    return doc.Record((one.variant or "none", *(f"{n:,}" for n in figures)), f"{extent}{outcome}")


def _files(verdict: Verdict) -> Iterator[doc.Block]:
    digest = digest_of(verdict.device)
    yield doc.Paragraph(("SHA-256 of the list of files: ", doc.code(digest.whole)))
    rows = tuple(doc.Record((doc.code(path),), doc.code(one)) for path, one in digest.files)
    yield doc.Records(("file", "SHA-256"), rows)
    yield doc.Paragraph(
        "The list is what sha256sum prints for these files in the device file’s folder. Made by "
        f"modecheck {__version__}.",
        doc.FAINT,
    )
