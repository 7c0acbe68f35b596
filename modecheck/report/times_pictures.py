"""The timing diagrams of a device's times, as files: `time-KIND-NAME-best.svg` and `-worst.svg`."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.device_time_bounds import DeviceTimes
from modecheck.draw.gallery import file_name
from modecheck.draw.timing_diagram import TimingDiagram, timing_svg
from modecheck.report.times_report import cells, remarks, told


def time_pictures(times: DeviceTimes) -> Iterator[tuple[str, str]]:
    """Names and texts of the files, two for each time."""
    for one in told(times):
        for word, measured in (("best", one.best), ("worst", one.worst)):
            if measured is None or not measured.trace.moves:
                continue
            name = f"time-{one.kind}-{one.name.replace('->', '-')}-{word}"
            cell = cells(one, times.tick)[word == "worst"]
            about = (
                f"the {word} time: {cell}",
                *(remarks(one, times, places=False) if word == "worst" else ()),
            )
            title = f"{one.kind} {one.title}"
            diagram = TimingDiagram(name, title, about, times.product, measured.trace)
            yield f"{file_name(name)}.svg", timing_svg(diagram)
