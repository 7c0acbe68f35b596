"""The map of modes: which switches between them are possible, and in how many steps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

from modecheck.draw.sketch import (
    Arrow,
    Box,
    End,
    LegendEntry,
    Run,
    Sketch,
    SketchTable,
    TextBlock,
    TextLine,
    diagram_frame,
)
from modecheck.draw.typesetting import text_lines
from modecheck.model.parts import Device, Mode

MODES_FRAME = "/modes"
"""The key of the frame around everything; no mode can have this name."""

LONGEST_WAY = 72
"""Characters of a line of a shortest path."""

LONGEST_LINE = 34
"""Characters of a line of a mode's condition."""


class SwitchArrow(Protocol):
    """What is known of switching from one mode to another.

    `direct` switches pass through no third mode; else `via` names the modes in between.
    `steps` is the least number of steps, None if it is unknown or the switch is impossible.
    """

    @property
    def source(self) -> str: ...
    @property
    def target(self) -> str: ...
    @property
    def possible(self) -> bool: ...
    @property
    def direct(self) -> bool: ...
    @property
    def steps(self) -> int | None: ...
    @property
    def via(self) -> tuple[str, ...]: ...


def mode_map(
    device: Device,
    switches: Sequence[SwitchArrow],
    ways: Mapping[tuple[str, str], Sequence[str]] | None = None,
) -> Sketch:
    """The picture of a device's modes and of the switches that were found between them.

    `ways` names the steps of a shortest path from one mode to another.
    """
    order = {name: position for position, name in enumerate(device.modes)}
    direct = [switch for switch in switches if switch.possible and switch.direct]
    arrows = tuple(_switch(switch, order) for switch in direct)
    title = f"modes {device.name}"
    return Sketch(
        name="modes",
        title=f"Modes of {device.name}",
        boxes=tuple(_mode_box(mode) for mode in device.modes.values()),
        arrows=arrows,
        frames=(diagram_frame(MODES_FRAME, title, (), title),),
        samples=tuple(_samples(device, arrows)),
        tables=tuple(_tables(switches, ways or {})),
    )


def _mode_box(mode: Mode) -> Box:
    name = TextBlock((TextLine((Run(mode.name, "name"),)),), centred=True)
    when = TextBlock(text_lines(mode.text, "guard", LONGEST_LINE), centred=True)
    hint = f"mode {mode.name}: {mode.text}"
    return Box(mode.name, "mode", MODES_FRAME, (name, when), hint=hint)


def _switch(switch: SwitchArrow, order: dict[str, int]) -> Arrow:
    key = f"switch-{switch.source}-{switch.target}"
    label = Box(f"{key}/label", "label", MODES_FRAME, (TextBlock((_steps_line(switch),)),))
    hint = f"{switch.source} to {switch.target}: {_steps(switch)}"
    course = "up" if order[switch.target] < order[switch.source] else "down"
    ends = (End(switch.source),), (End(switch.target),)
    return Arrow(key, *ends, label, "switch", "arrow", course, hint)


def _steps_line(switch: SwitchArrow) -> TextLine:
    return TextLine((Run(_steps(switch), "guard"),))


def _steps(switch: SwitchArrow) -> str:
    if switch.steps is None:
        return "steps not known"
    return "1 step" if switch.steps == 1 else f"{switch.steps} steps"


def _samples(device: Device, arrows: tuple[Arrow, ...]) -> Iterator[LegendEntry]:
    if device.modes:
        yield LegendEntry("box", "mode", "mode, and when the device is in it")
    if arrows:
        yield LegendEntry("line", "switch", "direct switch, with its least number of steps")


def _tables(
    switches: Sequence[SwitchArrow], ways: Mapping[tuple[str, str], Sequence[str]]
) -> Iterator[SketchTable]:
    told = [(f"{source} → {target}", ", ".join(steps)) for (source, target), steps in ways.items()]
    if told:
        yield SketchTable("shortest paths", tuple(told), LONGEST_WAY)
    rows = [_row(switch) for switch in switches if not (switch.possible and switch.direct)]
    if rows:
        yield SketchTable("other switches", tuple(rows))


def _row(switch: SwitchArrow) -> tuple[str, ...]:
    name = f"{switch.source} → {switch.target}"
    if not switch.possible:
        return (name, "impossible", "")
    return (name, f"only through {', '.join(switch.via)}", _steps(switch))
