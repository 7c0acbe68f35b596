"""What one line of a log means, exactly.

A line tells that a *chip* (or an actor) took a rule on an *event*, and to its end:

- the event is a message that reached the chip, a signal that it heard, or a timer that ran out;
- `state` is where the rule left the chip: one of its states, or a composite state around it;
- `value` is what the message carried.

What a line leaves out is not asked. These make no line: internal rules (with neither `on` nor
`after`), messages that are discarded or lost, and rules that a power cut tore. A step that fails is
none that the model allows, so no line can rest on it.

A step of the model is atomic, and may make several lines: one for each recorded chip that took a
rule, and several for a chip that heard several signals. Those of one chip keep their order; those
of different chips come in any order, but no line of another step stands between them.

A log *agrees* when some run of the model, from its start, makes its lines in this order; between
them the run may take any steps that make no line of a recorded chip. A log may end anywhere, also
between two lines of a step. Times are shown, and not judged.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from modecheck.engine.happenings import Arrived, Took
from modecheck.engine.plain import Step
from modecheck.product.ir import Product


class RecordableStep(NamedTuple):
    """What a step lets a recorder write: numbers of the chip and of the leaf it arrived in.

    `link` is empty for signals and timers; a timer's event is its time as the model writes it.
    `value` is spelled as in the model, and None where nothing is carried.
    """

    chip: int
    event: str
    link: str
    value: str | None
    leaf: int


@dataclass(frozen=True, slots=True)
class LogLine:
    """What a line of a log says, in the model's numbers; None where it says nothing.

    `events` are several where a line says no more than `timer`. `said` is the line in words.
    """

    chip: int
    events: tuple[str, ...]
    link: str
    values: frozenset[str] | None
    leaves: frozenset[int] | None
    said: str

    def tells_of(self, seen: RecordableStep) -> bool:
        """Whether the line can have been written for this observation."""
        return (
            self.chip == seen.chip
            and seen.event in self.events
            and (not self.link or self.link == seen.link)
            and (self.values is None or seen.value in self.values)
            and (self.leaves is None or seen.leaf in self.leaves)
        )


def observations(
    product: Product, step: Step, recorded: Collection[int]
) -> tuple[RecordableStep, ...]:
    """What a step lets the recorders of some chips (numbers) write, in the order it happened."""
    return tuple(seen for seen in _observations(product, step) if seen.chip in recorded)


def _observations(product: Product, step: Step) -> Iterator[RecordableStep]:
    arrived: Arrived | None = None
    for happening in step.happenings:
        if isinstance(happening, Arrived):
            arrived = happening
        elif isinstance(happening, Took):
            rule, leaf = product.rules[happening.rule], happening.after
            if happening.heard >= 0:
                event = product.signals[happening.heard]
                yield RecordableStep(happening.chip, event, "", None, leaf)
            elif arrived is not None:
                yield _delivered(product, arrived, happening.chip, leaf)
            elif rule.after is not None:
                yield RecordableStep(happening.chip, rule.after.text, "", None, leaf)


def _delivered(product: Product, arrived: Arrived, chip: int, leaf: int) -> RecordableStep:
    queue = product.queues[arrived.queue]
    message = queue.messages[arrived.message - 1]
    value = None if message.type is None else message.type.spell(arrived.value)
    return RecordableStep(chip, message.name, queue.name, value, leaf)


def spelled(product: Product, seen: RecordableStep) -> str:
    """An observation as a person would say it."""
    chip = product.chips[seen.chip]
    value = "" if seen.value is None else f"({seen.value})"
    over = f" over {seen.link}" if seen.link else ""
    return f"{chip.name}: {seen.event}{value}{over} → {chip.leaves[seen.leaf]}"
