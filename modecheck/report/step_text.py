"""An interactive walk, as text: what a step changed, the current state, and the next steps."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.bench.manual_walk import ManualWalk
from modecheck.engine.reference.plain import State
from modecheck.model.wording import counted, listed
from modecheck.product.ir import Product, Queue
from modecheck.report.style import Style
from modecheck.scenario.replay import Replayed
from modecheck.scenario.sentences import changes, message_text, sentence
from modecheck.scenario.telling import ToldStep, condensed

EMPTY = "nothing"
MOST_STARTS_SHOWN = 16
"""Of more starts the first are listed; each can be taken by its number."""


def moment_as_text(walk: ManualWalk, style: Style) -> list[str]:
    """The last step with what it changed, the current state, and the steps that are possible."""
    last = walk.last
    lines = [] if last is None else ["", *taken_as_text(walk, last, style)]
    return [*lines, *place_as_text(walk, style), *choices_as_text(walk, style)]


def taken_as_text(walk: ManualWalk, taken: Replayed, style: Style) -> list[str]:
    """A step, and everything that it changed."""
    product, step = walk.product, taken.step
    painted = style.bold if step.after is not None else style.error
    start = f"step {len(walk)}: "
    lines = [painted(line) for line in style.wrapped(sentence(product, step), start, "  ")]
    if step.after is None:
        return [*lines, *style.wrapped("the step fails; there is no state after it", "  ", "  ")]
    told = changed(product, taken.before, step.after) or ["nothing changes"]
    return [
        *lines,
        *(style.faint(line) for one in told for line in style.wrapped(one, "  ", "    ")),
    ]


def changed(product: Product, before: State, after: State) -> list[str]:
    """The states, variables and queues that differ: `name was → is`."""
    moved = [
        f"{chip.name} {chip.leaves[was]} → {chip.leaves[is_]}"
        for chip in product.chips
        for was, is_ in [(before[chip.state_field], after[chip.state_field])]
        if was != is_
    ]
    queued = [
        f"{queue.name} {was} → {is_}"
        for number, queue in enumerate(product.queues)
        for was, is_ in [(_waiting(product, number, before), _waiting(product, number, after))]
        if was != is_
    ]
    return [
        ", ".join(part) for part in (moved, list(changes(product, before, after)), queued) if part
    ]


def place_as_text(walk: ManualWalk, style: Style) -> list[str]:
    """Modes, the states of all chips, and the messages in flight."""
    product, state = walk.product, walk.state
    at = "at the start" if not len(walk) else f"after {counted(len(walk), 'step')}"
    at += f" and {walk.time}" if walk.time not in ("", "0") else ""
    modes = f", in {listed([f'mode {mode}' for mode in walk.modes])}" if walk.modes else ""
    if product.device.modes and not walk.modes:
        modes = ", in no mode"
    lines = ["", style.bold(f"{at}{modes}")]
    lines += style.wrapped(", ".join(_states(product, state)), "  ", "  ")
    waiting = [
        f"{queue.name}: {_waiting(product, number, state)}"
        for number, queue in enumerate(product.queues)
        if state[queue.slots[0].code]
    ]
    return [
        *lines,
        *(line for text in waiting for line in style.wrapped(f"over {text}", "  ", "    ")),
    ]


def _states(product: Product, state: State) -> Iterator[str]:
    for chip in product.chips:
        yield f"{chip.name} {chip.leaves[state[chip.state_field]]}"


def choices_as_text(walk: ManualWalk, style: Style) -> list[str]:
    """The steps that can be taken, numbered from 1."""
    if walk.failed:
        return style.wrapped("nothing can follow a step that fails; 'back' undoes it", "  ", "  ")
    steps = walk.choices()
    if not steps:
        return style.wrapped("no step is possible here", "  ", "  ")
    lines = []
    starts = sum(walk.product.labels[step.label].kind == "start" for step in steps)
    last = len(steps) - max(starts - MOST_STARTS_SHOWN, 0)
    for number, step in enumerate(steps[:last], start=1):
        told = style.wrapped(sentence(walk.product, step), f"  {number:>3}  ", "       ")
        paint = style.error if step.after is None else str
        lines += [paint(line) for line in told]
        if step.after is None:
            lines.append(style.error("       (fails)"))
    if last < len(steps):
        text = f"{last + 1:,} to {len(steps):,} are further starts"
        lines += style.wrapped(text, "       ", "       ")
    return lines


def variables_as_text(walk: ManualWalk, style: Style) -> list[str]:
    """The value of every variable, and how often each fault may still occur."""
    product, state = walk.product, walk.state
    lines = []
    for field, value in zip(product.fields, state, strict=True):
        if field.type is not None:
            lines.append(f"{field.name} {field.type.spell(value)}")
    for fault in product.faults:
        for number in (fault.budget, fault.row):
            left = f"{product.fields[number].name}: {state[number]} left"
            lines += [] if number < 0 or left in lines else [left]
    text = ", ".join(lines) or "there are no variables"
    return [*place_as_text(walk, style), *style.wrapped(text, "  ", "  ")]


def trace_as_text(told: list[ToldStep], style: Style) -> list[str]:
    """All steps of the walk so far."""
    lines = [] if told else ["no step has been taken"]
    for step in condensed(told):
        lines += style.wrapped(step.text, f"  {step.numbers:>3}. ", "       ")
        shown = style.wrapped(", ".join(step.changes), "       ", "       ")
        lines += [style.faint(line) for line in shown]
    return lines


def _waiting(product: Product, number: int, state: State) -> str:
    """The messages in a queue, head first."""
    queue: Queue = product.queues[number]
    found = []
    for slot in queue.slots:
        if state[slot.code]:
            value = state[slot.value] if slot.value >= 0 else None
            late = "late " if slot.late >= 0 and state[slot.late] else ""
            found.append(f"{late}{message_text(product, number, state[slot.code], value)}")
    return ", ".join(found) or EMPTY
