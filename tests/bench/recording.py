"""Logs made by walking the interpreter, and a slow second way to judge a log.

`rows_of` reads a step's lines off its label, its states and the rules that were taken, apart from
what `modecheck.bench` does.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from random import Random
from typing import NamedTuple

from modecheck.engine.reference.happenings import Arrived, Took
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.cli.running import MODELS


class Row(NamedTuple):
    """A line of a log, its time left out. None is written as nothing, and asks for nothing."""

    chip: str
    event: str
    state: str | None = None
    value: str | None = None


def product_of(name: str) -> Product:
    """The product of a bundled model, such as `starter/device`."""
    return compose(read_device(str(MODELS / f"{name}.yaml")))


def chips_of(product: Product) -> list[str]:
    return [chip.name for chip in product.chips]


def rows_of(product: Product, before: State, step: Step, recorded: Collection[str]) -> list[Row]:
    """The lines that a step makes, in the order of what happened."""
    rows = []
    for took in step.happenings:
        if not isinstance(took, Took) or product.chips[took.chip].name not in recorded:
            continue
        event, value = _event(product, before, step, took)
        if event:
            form = product.chips[took.chip]
            rows.append(Row(form.name, event, form.leaves[took.after], value))
    return rows


def _event(product: Product, before: State, step: Step, took: Took) -> tuple[str, str | None]:
    rule, label = product.rules[took.rule], product.labels[step.label]
    if not rule.trigger:
        return (rule.after.text if rule.after is not None else ""), None
    if took.heard >= 0:
        return product.signals[took.heard], None
    if label.kind != "deliver":  # a rule was cut in the middle: the label is the fault's
        arrived = next(one for one in step.happenings if isinstance(one, Arrived))
        queue, code = product.queues[arrived.queue], arrived.message
    else:
        queue, code = product.queues[label.queue], label.message
    message, slot = queue.messages[code - 1], queue.slots[0]
    if message.type is None:
        return message.name, None
    return message.name, message.type.spell(before[slot.value] if slot.value >= 0 else 0)


def record(product: Product, recorded: Collection[str], count: int, random: Random) -> list[Row]:
    """Up to so many lines of a random run; fewer where it makes no more."""
    interpreter, state, rows = Interpreter(product), product.initial, list[Row]()
    known: dict[State, list[tuple[State, list[Row]]]] = {}
    for _ in range(50 * count):
        if state not in known:
            known[state] = [
                (step.after, rows_of(product, state, step, recorded))
                for step in interpreter.steps(state)
                if step.after is not None
            ]
        if not known[state] or len(rows) >= count:
            break
        state, made = random.choice(known[state])
        rows += shuffled(made, random)
    return rows[:count]


def shuffled(rows: list[Row], random: Random) -> list[Row]:
    """The lines of a step as they may stand in a log: those of one chip keep their order."""
    chips = [row.chip for row in rows]
    random.shuffle(chips)
    left = {chip: [row for row in rows if row.chip == chip] for chip in chips}
    return [left[chip].pop(0) for chip in chips]


def write_csv(path: Path, rows: Sequence[Row]) -> str:
    """Write a log as CSV; its name."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time", "chip", "event", "state", "value"])
        writer.writerows(
            [f"{number / 1000:.3f}", *(field or "" for field in row)]
            for number, row in enumerate(rows)
        )
    return str(path)


def write_json_lines(path: Path, rows: Sequence[Row]) -> str:
    """Write a log as JSON lines; its name."""
    with path.open("w", encoding="utf-8") as file:
        for number, row in enumerate(rows):
            said = {key: value for key, value in row._asdict().items() if value is not None}
            file.write(json.dumps({"time": number / 1000, **said}) + "\n")
    return str(path)


def first_impossible(
    product: Product, rows: Sequence[Row], recorded: Collection[str]
) -> int | None:
    """The index of the first line that no run makes, or None: goes through all runs, by pairs of a
    state and how many lines a run has made there.
    """
    interpreter, steps = Interpreter(product), dict[State, list[tuple[State, list[Row]]]]()
    furthest, waiting = 0, [(state, 0) for state in product.first_states]
    seen = set(waiting)
    while waiting:
        state, made = waiting.pop()
        if state not in steps:
            steps[state] = [
                (step.after, rows_of(product, state, step, recorded))
                for step in interpreter.steps(state)
                if step.after is not None
            ]
        for after, written in steps[state]:
            fitting = max(map(len, _fitting(rows[made:], written)))
            furthest = max(furthest, made + fitting)
            pair = (after, made + len(written))
            if fitting == len(written) and pair not in seen:
                seen.add(pair)
                waiting.append(pair)
    return None if furthest >= len(rows) else furthest


def _fitting(rows: Sequence[Row], written: list[Row]) -> Iterator[list[Row]]:
    """Every beginning of `rows` that the lines of a step can make, the empty one included."""
    yield []
    for index, one in enumerate(written):
        first_of_chip = all(earlier.chip != one.chip for earlier in written[:index])
        if rows and first_of_chip and _tells_of(rows[0], one):
            rest = written[:index] + written[index + 1 :]
            yield from ([one, *more] for more in _fitting(rows[1:], rest))


def _tells_of(row: Row, one: Row) -> bool:
    return all(said is None or said == was for said, was in zip(row, one, strict=True))
