"""The page of a comparison: its report, charts side by side, and scenarios to step through."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.report import document_tree as doc
from modecheck.report.check_report import remarks
from modecheck.report.compare_report import (
    changes_in_text,
    consequences,
    explored_in_words,
    title,
)
from modecheck.report.finding_text import facts_of
from modecheck.report.page.blocks import PageSection
from modecheck.report.page.change_pictures import change_pictures
from modecheck.report.page.document import PageContent, rendered
from modecheck.report.page.index import entry_of
from modecheck.report.page.outline import scenarios_of
from modecheck.report.page.payload import PageData
from modecheck.report.page.playing import Player
from modecheck.report.trial_report import difference
from modecheck.review.device_comparison import DeviceComparison
from modecheck.scenario.traces import Trace

KINDS_OF_VERDICT = {doc.GOOD: "clean", doc.OPEN: "open", doc.BAD: "found"}


def comparison_page(comparison: DeviceComparison) -> str:
    """The page; identical for identical models, bounds and version, seen from the same folder."""
    new, old = comparison.new.explored, comparison.old.explored
    # Scenarios of findings are counted from the new device on.
    spaces = [one.exploration for one in (*new, *old)]
    data = PageData([(space.product.device.choices, space) for space in spaces])
    player = Player(data)

    def run(title: str, trace: Trace) -> doc.Block:
        device = trace.product.device
        side = next(n for n, space in enumerate(spaces) if space.product.device is device)
        return player.played(title, trace, side)

    scenarios = scenarios_of(comparison.new, player)
    first, *rest = (changes_in_text(comparison), *consequences(comparison, run))
    head = title(comparison)
    sections = [
        _section("changes", first),
        PageSection("pictures", "Old and new side by side", tuple(change_pictures(comparison))),
        PageSection("findings", "Findings and requirements", tuple(_findings(comparison))),
        *(_section(f"part-{number}", one) for number, one in enumerate(rest, start=1)),
    ]
    data.index += map(entry_of, comparison.findings.new)
    data.index += ((f"section {one.heading}", one.anchor) for one in sections if one.blocks)
    data.grow()
    content = PageContent(
        eyebrow="Comparison of two models",
        name=head.name,
        about="",
        kind=KINDS_OF_VERDICT[head.tone],
        said=head.said,
        lines=tuple(remarks(explored_in_words(comparison))),
        sections=[one for one in sections if one.blocks],
        scenarios=scenarios,
        reasons={},
    )
    return rendered(content, data, facts_of)


def _section(anchor: str, chapter: doc.Chapter) -> PageSection:
    heading = doc.plain(chapter.heading)
    return PageSection(anchor, heading[:1].upper() + heading[1:], chapter.blocks)


def _findings(comparison: DeviceComparison) -> Iterator[doc.Block]:
    blocks = difference(comparison.findings)
    if blocks:
        yield doc.Paragraph("New findings are reported in full, the others by their ids.")
    yield from blocks
