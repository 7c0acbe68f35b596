"""The contents of a page, section by section, as plain values for the templates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.draw.shown import shown
from modecheck.model.places import Place
from modecheck.report import document_tree as doc
from modecheck.report.check_report import ending_in_words
from modecheck.report.finding_text import facts_of
from modecheck.report.page.digest import seen_from
from modecheck.report.page.payload import PageData
from modecheck.report.page.pictures import ChartsOfPage
from modecheck.report.page.tellings import LONGEST_SENTENCE
from modecheck.scenario.traces import Trace


@dataclass(frozen=True, slots=True)
class Scenario:
    """A trace as the page shows it; `number` is that of the scripts' scenario.

    The first `begin` steps lead to where it begins; `chart` is its sequence chart. It `stays` if no
    further step has to happen at its end.
    """

    number: int
    begin: int
    stays: bool
    steps: doc.Steps
    chart: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A finding on the page, what is reported of it, and its scenario."""

    finding: Finding
    facts: tuple[doc.Block, ...]
    scenario: Scenario | None


@dataclass(frozen=True, slots=True)
class SwitchCell:
    """A switch in the table of a variant: the text of its cell, a note, and its scenario."""

    source: str
    target: str
    text: str
    note: str
    scenario: Scenario | None


@dataclass(frozen=True, slots=True)
class Switches:
    """The table of switches of one variant; `rows` hold a cell, or None, for each mode.

    `endings` describe how the switches out of each mode end.
    """

    variant: str
    modes: tuple[str, ...]
    endings: tuple[str, ...]
    rows: tuple[tuple[str, tuple[SwitchCell | None, ...]], ...]

    @property
    def cells(self) -> list[SwitchCell]:
        return [cell for _, row in self.rows for cell in row if cell is not None]


@dataclass(frozen=True, slots=True)
class PageOutline:
    """The open findings by code, the accepted ones, and the switches; all with scenarios."""

    groups: tuple[tuple[str, tuple[Entry, ...]], ...]
    accepted: tuple[Entry, ...]
    switches: tuple[Switches, ...]


def outline_of(verdict: Verdict, payload: PageData) -> PageOutline:
    """The outline; every scenario in it is added to the payload."""
    return _Outliner(verdict, payload).outline()


def anchor_of(finding_id: str) -> str:
    """The fragment of a link to a finding: its id, which is stable when the model changes."""
    return "_".join(finding_id.split())


class _Outliner:
    def __init__(self, verdict: Verdict, payload: PageData) -> None:
        self._verdict = verdict
        self._payload = payload
        self._charts = ChartsOfPage()

    def outline(self) -> PageOutline:
        groups = [
            (code, tuple(map(self._entry, findings)))
            for code, findings in groupby(self._verdict.findings, key=lambda one: one.code)
        ]
        accepted = []
        for one in self._verdict.accepted:
            until = f" (until {one.until})" if one.until else ""
            reason = doc.Paragraph((doc.Fragment("Accepted: ", doc.STRONG), f"{one.reason}{until}"))
            accepted.append(self._entry(one.finding, reason))
        switches = [
            self._switches(number, one)
            for number, one in enumerate(self._verdict.explored)
            if len(one.modes) > 1
        ]
        return PageOutline(tuple(groups), tuple(accepted), tuple(switches))

    def _entry(self, finding: Finding, *first: doc.Block) -> Entry:
        facts = (*first, *facts_of(finding, self._place))
        return Entry(finding, facts, self._scenario_of(finding))

    def _place(self, place: Place) -> str:
        return f"{seen_from(self._verdict.device, place.file)}:{place.line}:{place.column}"

    def _scenario_of(self, finding: Finding) -> Scenario | None:
        if finding.trace is None:
            return None
        variants = [one.variant for one in self._verdict.explored]
        own = variants.index(finding.trace.product.device.choices)
        return self._scenario(finding.text, finding.trace, own)

    def _scenario(self, title: str, trace: Trace, variant: int) -> Scenario:
        number = self._payload.add(title, trace, variant)
        steps = doc.Steps(trace.told, (trace.switch_from + 1,))
        chart = self._charts.of(title, trace)
        return Scenario(number, trace.switch_from, trace.stays, steps, chart)

    def _switches(self, number: int, one: Explored) -> Switches:
        known = {(switch.source, switch.target): switch for switch in one.switches}
        modes = tuple(one.modes)
        rows = tuple(
            (source, tuple(self._cell(number, known.get((source, target))) for target in modes))
            for source in modes
        )
        variant = one.variant if len(self._verdict.explored) > 1 else ""
        endings = tuple(ending_in_words(ending) for ending in one.endings)
        return Switches(variant, modes, endings, rows)

    def _cell(self, variant: int, switch: ModeSwitch | None) -> SwitchCell | None:
        if switch is None:
            return None
        text, note = _switch_words(
            switch, complete=self._verdict.explored[variant].exploration.complete
        )
        title = f"From {switch.source} to {switch.target}"
        scenario = (
            self._scenario(title, switch.trace, variant) if switch.trace is not None else None
        )
        return SwitchCell(switch.source, switch.target, text, note, scenario)


def _switch_words(switch: ModeSwitch, *, complete: bool) -> tuple[str, str]:
    if not switch.possible:
        return ("never", "no run gets there") if complete else ("?", "not seen so far")
    steps = f"{switch.steps} step{'' if switch.steps == 1 else 's'}"
    via = "" if switch.direct else f"only through {', '.join(switch.via) or switch.source}"
    return steps, via


def limits_in_words(verdict: Verdict) -> Iterator[tuple[str, str]]:
    """The bounds of the model: the faults with their budgets, and the capacities of links."""
    for group in verdict.device.faults:
        times = "any number of times" if group.at_most is None else f"at most {group.at_most} ×"
        yield (shown(group.name, LONGEST_SENTENCE), times)
    for link in verdict.device.links.values():
        yield (f"link {link.name}", f"holds {link.capacity}; when full: {link.when_full}")
