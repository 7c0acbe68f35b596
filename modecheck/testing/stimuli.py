"""A step of the device as seen by one of its chips: what it is given, and what the model does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.engine.reference.happenings import Arrived, SignalEmitted, Struck, Took
from modecheck.engine.reference.plain import State, Step
from modecheck.engine.reference.step_draft import Hearing
from modecheck.model.parts import Event as Trigger
from modecheck.product.ir import ChipIR, Field, Product
from modecheck.product.subexpressions import fields_read
from modecheck.testing import adapter as words
from modecheck.testing.adapter import Event, Output, Sight, Value, plain_value

Sights = dict[str, Value | tuple[str, ...]]


class Seat:
    """The place of one chip (number) in a product, seen from inside the chip."""

    def __init__(self, product: Product, chip: int) -> None:
        self.product = product
        self.number = chip
        self.form = product.chips[chip]
        self.model = product.device.chips[self.form.name]
        triggers = {trigger for rule in self.model.rules for trigger in rule.trigger}
        signals = enumerate(product.signals)
        self._heard = {number for number, name in signals if Trigger(name) in triggers}
        read = fields_read_by(self.form)
        self._seen = [
            n for n, field in enumerate(product.fields) if n in read and self._foreign(field)
        ]
        self._queues = [
            queue for queue in product.queues if any(slot.code in read for slot in queue.slots)
        ]

    def _foreign(self, field: Field) -> bool:
        return field.owner >= 0 and field.owner != self.number

    def sights(self, state: Sequence[int]) -> Sights:
        """What the chip's rules can read of other chips."""
        found: Sights = {}
        for number in self._seen:
            field = self.product.fields[number]
            owner = self.product.chips[field.owner]
            if number == owner.state_field:
                found[field.name] = owner.leaves[state[number]]
            else:
                found[field.name] = plain_value(field.type, state[number])
        for queue in self._queues:
            codes = [state[slot.code] for slot in queue.slots if state[slot.code]]
            names = tuple(queue.messages[code - 1].name for code in codes)
            found[f"{queue.name}.waiting"] = names
        return found

    def can_be_given(self, step: Step) -> bool:
        """Neither a failing step nor one in which the chip loses power in the middle of a rule: no
        implementation can be told where to stop.
        """
        label = self.product.labels[step.label]
        cut = label.kind == "cut_in_rule" and label.chip == self.number
        return step.after is not None and not cut

    def given(self, step: Step, before: State) -> list[Event]:
        """What the chip is given in a step that does not fail, in order."""
        after = step.after
        assert after is not None
        seen = self.sights(before)
        events: list[Event] = [*self._own_step(step, before)]
        for queue, delivery in self._deliveries(step):
            now = _without_head(seen, queue)
            events += [*changed(seen, now), delivery]
            seen = now
        for hearing in step.hearings:
            if hearing.signaller != self.number and hearing.signal in self._heard:
                now = self.sights(hearing.seen)
                events += [*changed(seen, now), words.Signal(*self._signal(hearing))]
                seen = now
        for kind in self._strikes(step):
            events.append(words.Restart(kind))
            seen = {}  # it has forgotten what it saw
        return [*events, *changed(seen, self.sights(after))]

    def _own_step(self, step: Step, before: State) -> Iterator[Event]:
        """The chip's own rule, where the step begins with one; it may be that another chip that
        hears its signal is cut short.
        """
        first = next(iter(step.happenings), None)
        if isinstance(first, Took) and first.chip == self.number:
            rule, leaf = self.product.rules[first.rule], self.leaf(before)
            timer = self.model.timers.get(rule.expires)
            duration = timer.duration if timer is not None else rule.after
            if duration is None:
                yield words.InternalStep(rule.title, leaf)
            else:
                yield words.TimerExpired(rule.title, leaf, duration.text)

    def _deliveries(self, step: Step) -> Iterator[tuple[str, Event]]:
        for happening in step.happenings:
            if isinstance(happening, Arrived):
                queue = self.product.queues[happening.queue]
                if queue.receiver == self.number:
                    message = queue.messages[happening.message - 1]
                    value = plain_value(message.type, happening.value)
                    delivery = words.Delivery(message.name, queue.name, value, happening.late)
                    yield queue.name, delivery

    def _strikes(self, step: Step) -> Iterator[str]:
        for happening in step.happenings:
            if isinstance(happening, Struck) and happening.chip == self.number:
                yield happening.kind

    def outputs(self, step: Step) -> list[Output]:
        """What the model's chip sends and signals in a step."""
        found: list[Output] = []
        for send, sent in step.sent:
            queue = self.product.queues[send.queue]
            if queue.sender == self.number:
                message = queue.messages[send.message - 1]
                found.append(words.Sent(message.name, plain_value(message.type, sent), queue.name))
        return found + [
            words.Signalled(*self._signal(happening))
            for happening in step.happenings
            if isinstance(happening, SignalEmitted) and happening.chip == self.number
        ]

    def _signal(self, given: Hearing | SignalEmitted) -> tuple[str, Value]:
        """A signal by its name, with its value."""
        type_ = self.product.signal_types[given.signal]
        return self.product.signals[given.signal], plain_value(type_, given.value)

    def leaf(self, state: State) -> str:
        return self.form.leaves[state[self.form.state_field]]

    def variables(self, state: State) -> dict[str, object]:
        """The chip's variables; a list as a tuple of its items."""
        names = {field.name: n for n, field in enumerate(self.product.fields)}
        found: dict[str, object] = {}
        for variable in self.model.variables.values():
            name = f"{self.form.name}.{variable.name}"
            if variable.length:
                items = (state[names[f"{name}[{n}]"]] for n in range(variable.length))
                found[variable.name] = tuple(plain_value(variable.type, item) for item in items)
            else:
                found[variable.name] = plain_value(variable.type, state[names[name]])
        return found


def changed(old: Sights, new: Sights) -> list[Event]:
    """What can be read now and differs from before."""
    return [Sight(name, value) for name, value in new.items() if old.get(name, ...) != value]


def _without_head(sights: Sights, queue: str) -> Sights:
    """What is seen once the head of a queue is taken: a chip may send to itself."""
    waiting = sights.get(f"{queue}.waiting")
    return sights | {f"{queue}.waiting": waiting[1:]} if isinstance(waiting, tuple) else sights


def fields_read_by(form: ChipIR) -> set[int]:
    """The fields that the rules of a chip read, its own ones included."""
    return {
        field
        for reaction in form.reactions
        for expression in reaction.expressions
        for field in fields_read(expression)
    }
