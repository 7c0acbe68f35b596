"""All pictures of a device, and their two forms."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from modecheck.checks.coverage import Coverage
from modecheck.checks.explored import Explored
from modecheck.checks.findings import Finding
from modecheck.checks.folding import MODE, Folding, fold
from modecheck.checks.mode_switches import ModeSwitch as FoundSwitch
from modecheck.checks.traffic import Traffic, traffic_of
from modecheck.draw.arrangement import arranged
from modecheck.draw.device_map import device_map, device_map_in
from modecheck.draw.dot_text import dot_text
from modecheck.draw.fold_map import fold_map
from modecheck.draw.mode_map import SwitchArrow, mode_map
from modecheck.draw.sequence_chart import SequenceChart, sequence_svg
from modecheck.draw.sketch import Sketch
from modecheck.draw.statechart import coverage_chart, is_covered, statechart
from modecheck.draw.svg_text import svg_text
from modecheck.model.copies import without_numbers
from modecheck.model.parts import Chip, Device
from modecheck.product.ir import Product
from modecheck.scenario.sequence import sequence_of

LONGEST_FILE_NAME = 80
"""Characters of a picture's name: longer file names are a nuisance in every tool."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture of a device, named by its kind and by what it shows.

    `device`, `device-in-MODE`, `modes`, `chip-CHIP`, `coverage-CHIP`, `fold-PARTS`.
    """

    sketch: Sketch

    @property
    def name(self) -> str:
        """The name of its files, without their extensions."""
        return file_name(self.sketch.name)

    @property
    def title(self) -> str:
        """What it shows, for people."""
        return self.sketch.title

    @property
    def dot(self) -> str:
        """The picture as DOT text, which needs no layout; always the same for the same model."""
        return dot_text(self.sketch)


@dataclass(frozen=True, slots=True)
class ScenarioDrawing:
    """A sequence chart: `scenario-FINDING`, or `switch-MODE-MODE`."""

    chart: SequenceChart

    @property
    def name(self) -> str:
        return file_name(self.chart.name)

    @property
    def title(self) -> str:
        return self.chart.title

    @property
    def dot(self) -> str:
        """None: DOT has neither lanes nor an order from top to bottom."""
        return ""


AnyDrawing: TypeAlias = Drawing | ScenarioDrawing


def drawings(
    device: Device,
    switches: Sequence[SwitchArrow],
    ways: Mapping[tuple[str, str], Sequence[str]] | None = None,
    *,
    every_copy: bool = True,
) -> Iterator[Drawing]:
    """The map of the device, the map of its modes if it has any, and every statechart.

    `switches` says what is known of each ordered pair of modes, `ways` names the steps between
    them. Without `every_copy`, copies of a chip that look alike are drawn once.
    """
    yield Drawing(device_map(device))
    if device.modes:
        yield Drawing(mode_map(device, switches, ways))
    for chip in device.chips.values() if every_copy else _chips_that_differ(device):
        yield Drawing(statechart(chip))


def _chips_that_differ(device: Device) -> Iterator[Chip]:
    """Every chip, but of copies whose charts are the same apart from numbers only the first, which
    says so.
    """
    alike: dict[str, list[str]] = {}
    for names in device.copies.values():
        looks: dict[str, list[str]] = {}
        for name in names:
            look = without_numbers(dot_text(statechart(device.chips[name])))
            alike[name] = looks.setdefault(look, [])
            alike[name].append(name)
    for name, chip in device.chips.items():
        first, *others = alike.get(name, [name])
        if name == first:
            more = " to ".join(dict.fromkeys((others[0], others[-1]))) if others else ""
            yield replace(chip, about=f"{chip.about} The same for {more}.") if others else chip


def every_drawing(
    explored: Explored, findings: Iterable[Finding], folds: Iterable[Sequence[str]] = ()
) -> Iterator[AnyDrawing]:
    """All pictures of a device and of its findings, folded by its modes and by each of `folds`.
    Raises `InvalidInput` for parts that the product cannot be folded by.
    """
    device, space = explored.device, explored.exploration
    chosen = [fold(space, parts) for parts in folds]
    ways = _ways(space.product, explored.switches)
    yield from drawings(device, explored.switches, ways, every_copy=False)
    yield from traffic_drawings(device, traffic_of(space))
    yield from coverage_drawings(device, explored.coverage, complete=space.complete)
    if device.modes:
        yield fold_drawing(fold(space, (MODE,)))
    yield from map(fold_drawing, chosen)
    yield from switch_drawings(explored.switches)
    yield from finding_drawings(findings)


def _ways(
    product: Product, switches: Iterable[FoundSwitch]
) -> dict[tuple[str, str], tuple[str, ...]]:
    """The steps of each possible switch, by its two modes."""
    return {
        (switch.source, switch.target): tuple(
            product.labels[move.label].text
            for move in switch.trace.moves[switch.trace.switch_from :]
        )
        for switch in switches
        if switch.trace is not None
    }


def traffic_drawings(device: Device, traffic: Traffic) -> Iterator[Drawing]:
    """For each reachable mode, the map of the links with what they carry in it."""
    for mode, found in traffic.modes.items():
        if found.states and device.links:
            yield Drawing(device_map_in(device, mode, traffic))


def coverage_drawings(device: Device, coverage: Coverage, *, complete: bool) -> Iterator[Drawing]:
    """The statechart of each chip with a state never reached or a rule never taken, with these
    marked.
    """
    for chip in device.chips.values():
        if not is_covered(chip, coverage):
            yield Drawing(coverage_chart(chip, coverage, complete=complete))


def fold_drawing(folding: Folding) -> Drawing:
    """The map of a folded product."""
    return Drawing(fold_map(folding))


def finding_drawings(findings: Iterable[Finding]) -> Iterator[ScenarioDrawing]:
    """A sequence chart for each finding that has a scenario."""
    for finding in findings:
        if finding.trace is not None:
            scenario = sequence_of(finding.trace, chips=finding.subject.split(".")[:1])
            about = (finding.text, *finding.details)
            chart = SequenceChart(f"scenario-{finding.id}", finding.id, about, scenario)
            yield ScenarioDrawing(chart)


def switch_drawings(switches: Iterable[FoundSwitch]) -> Iterator[ScenarioDrawing]:
    """A sequence chart of a shortest path for each direct switch between two modes."""
    for switch in switches:
        if switch.trace is not None and switch.direct:
            scenario = sequence_of(switch.trace, skipped=switch.trace.switch_from)
            title = f"{switch.source} to {switch.target}"
            about = (f"the shortest path from a state in {switch.source} to {switch.target}",)
            name = f"switch-{switch.source}-{switch.target}"
            yield ScenarioDrawing(SequenceChart(name, title, about, scenario))


def render_svg(drawing: AnyDrawing) -> str:
    """The picture as SVG text: the same bytes for the same model, on every platform.

    Raises NoLayout if the picture is too large, or if it cannot be laid out.
    """
    if isinstance(drawing, ScenarioDrawing):
        return sequence_svg(drawing.chart)
    return svg_text(drawing.sketch, arranged(drawing.sketch, drawing.dot))


def file_name(name: str) -> str:
    """A name that every file system accepts; one that loses characters gets a unique hash."""
    plain = re.sub(r"[^\w.-]+", "-", name.replace("]", ""), flags=re.ASCII)
    if name.isascii() and len(plain) <= LONGEST_FILE_NAME:
        return plain
    return f"{plain[:LONGEST_FILE_NAME]}-{hashlib.sha256(name.encode()).hexdigest()[:8]}"
