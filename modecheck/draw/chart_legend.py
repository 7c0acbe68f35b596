"""What stands below a statechart: its legend, and the variables of the chip."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.draw.choice_drawing import drawn_choices
from modecheck.draw.sketch import LegendEntry, SketchTable
from modecheck.model.parts import Chip
from modecheck.model.variables import Variable


def chart_legend(chip: Chip) -> Iterator[LegendEntry]:
    states = chip.states.values()
    several = ", one of several" if chip.initials else ""
    yield LegendEntry("box", "start", f"initial state{several}")
    if any(not state.rest and not state.composite for state in states):
        yield LegendEntry(
            "box", "state", "state" if chip.actor else "state that the chip must leave"
        )
    if any(state.rest for state in states):
        yield LegendEntry("box", "rest", "rest state: the chip may wait here forever")
    if drawn_choices(chip):
        meaning = "choice: the first branch whose condition holds is taken"
        yield LegendEntry("box", "choice", meaning)
    if any(state.composite for state in states):
        yield LegendEntry(
            "box", "composite", "composite state: its rules apply in every state inside"
        )
    yield LegendEntry("words", "event [guard] / effects", "trigger, condition, effects")
    if any(rule.phrase for rule in chip.rules):
        yield LegendEntry("remark", "text", "what the rule is for")
    manners = {reply.manner for replies in chip.replies.values() for reply in replies}
    if "defer" in manners:
        yield LegendEntry("words", "event / defer", "the message stays in its link")
    if "discard" in manners:
        yield LegendEntry("words", "event / (discarded)", "the message is removed without effect")


def variable_tables(chip: Chip) -> Iterator[SketchTable]:
    if chip.variables:
        rows = tuple(_variable_row(variable) for variable in chip.variables.values())
        yield SketchTable("variables", rows)


def _variable_row(variable: Variable) -> tuple[str, ...]:
    many = f"list of {variable.length}: " if variable.length else ""
    kept = "survives power loss" if variable.persistent else ""
    return (variable.name, f"{many}{variable.type}", f"starts as {variable.short_start_text}", kept)
