"""Scenarios that a page shows: each as text and chart, and as data for the scripts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from modecheck.report import document_tree as doc
from modecheck.report.page.blocks import Playable
from modecheck.report.page.payload import PageData
from modecheck.report.page.pictures import ChartsOfPage
from modecheck.scenario.telling import ToldStep
from modecheck.scenario.traces import Trace


@dataclass(frozen=True, slots=True)
class Player:
    """Every scenario made here is added to the data of the page."""

    data: PageData
    charts: ChartsOfPage = field(default_factory=ChartsOfPage)

    def played(
        self, title: str, trace: Trace, variant: int, told: Sequence[ToldStep] = ()
    ) -> Playable:
        """A trace of the variant with a number, told in its own words unless others are given."""
        return Playable(
            number=self.data.add(title, trace, variant),
            title=title,
            steps=doc.Steps(told or trace.told, (trace.switch_from + 1,)),
            begin=trace.switch_from,
            stays=trace.stays,
            chart=self.charts.of(title, trace),
        )
