"""What one line of a log means, exactly.

A line records that a *chip* (or an actor) took a rule on an *event*, and completed it:

- the event is a message that reached the chip, a signal that it heard, or a timer that expired;
- `state` is where the rule left the chip: one of its states, or a composite state around it;
- `value` is what the message or the signal carried.

What a line leaves out is not checked. These write no line: internal rules (with neither `on` nor
`after`), messages that are discarded or lost, and rules interrupted by a power cut. The model does
not allow a step that fails, so no line can come from one.

A step of the model is atomic, and may write several lines: one for each recorded chip that took a
rule, and several for a chip that heard several signals. Those of one chip keep their order; those
of different chips come in any order, but no line of another step stands between them.

A log *agrees* if some run of the model, from its start, writes its lines in this order; between
them the run may take any steps that write no line of a recorded chip. A log may end anywhere, even
between two lines of a step. Times are shown, but not checked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from modecheck.engine.reference.happenings import Arrived, Took
from modecheck.engine.reference.plain import Step
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
    """The content of a log line, in the model's numbers; None for what it leaves out.

    There are several `events` if a line says just `timer`. `said` is the line in words.
    """

    chip: int
    events: tuple[str, ...]
    link: str
    values: frozenset[str] | None
    leaves: frozenset[int] | None
    said: str

    def tells_of(self, seen: RecordableStep) -> bool:
        """Whether this observation may have produced the line."""
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
                type_ = product.signal_types[happening.heard]
                value = None if type_ is None else type_.spell(happening.value)
                yield RecordableStep(happening.chip, event, "", value, leaf)
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
    """An observation in words."""
    chip = product.chips[seen.chip]
    value = "" if seen.value is None else f"({seen.value})"
    over = f" over {seen.link}" if seen.link else ""
    return f"{chip.name}: {seen.event}{value}{over} → {chip.leaves[seen.leaf]}"
