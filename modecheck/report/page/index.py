"""What the search of a page finds: everything that has a name, and where it stands on the page."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.draw.shown import shown
from modecheck.model.parts import Chip
from modecheck.report.page.outline import anchor_of, signals_of

LONGEST = 300
"""Characters of an entry."""


def index_of(verdict: Verdict) -> Iterator[tuple[str, str]]:
    """Entries with the anchors of their places, the gravest first."""
    device = verdict.device
    for text, anchor in (
        *map(entry_of, verdict.findings),
        *(entry_of(one.finding) for one in verdict.accepted),
        *(
            (f"requirement {one.need.name}: {one.need.sentence}", f"requirement-{one.need.name}")
            for one in verdict.requirements
        ),
        *((f"mode {mode}", "modes") for mode in device.modes),
        *(
            (f"switch {one.source} to {one.target}", f"switch-{one.source}-{one.target}")
            for one in verdict.explored[0].switches
            if one.trace is not None
        ),
        *(entry for chip in device.chips.values() for entry in _chip(chip)),
        *((f"link {name}", f"link-{name}") for name in device.links),
        *(
            (f"message {message} over {link.name}", f"link-{link.name}")
            for link in device.links.values()
            for message in link.carries
        ),
        *((f"signal {name}", f"signal-{name}") for name in signals_of(verdict)),
    ):
        yield shown(text, LONGEST), shown(anchor, LONGEST)


def entry_of(finding: Finding) -> tuple[str, str]:
    """A finding is found by its id and its sentence."""
    return f"finding {finding.id}: {finding.text}", anchor_of(finding.id)


def _chip(chip: Chip) -> Iterator[tuple[str, str]]:
    """A chip with its states and rules, all at its statechart, and its gap table."""
    place = f"chip-{chip.name}"
    yield f"{'actor' if chip.actor else 'chip'} {chip.name}: {chip.about}", place
    for state in chip.states:
        if state:
            yield f"state {chip.name}.{state}", place
    for rule in chip.rules:
        said = f": {rule.phrase}" if rule.phrase else ""
        yield f"rule {chip.name}.{rule.title}{said}", place
