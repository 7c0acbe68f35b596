"""Which parts of a device a scenario depends on: where only others are changed, it stays as it is.

These are more than the parts that do something in it. A step that fails names only what is wrong: a
rule that could not be carried out, or that could not hear a signal, does not appear in it. Of rules
for one event the first with room in its links is taken, so that one without room decides, too. And
where a device stands still, or goes round for ever, whatever can step or waits for room counts: it
decides whether the device has to go on.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.checks.waiting import waiting_for_room
from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Doubled,
    Dropped,
    Happening,
    SignalEmitted,
    Struck,
    Took,
)
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.copies import unnumbered
from modecheck.model.parts import Event, Rule
from modecheck.product.ir import Label, Product
from modecheck.repair.written import WrittenDevice
from modecheck.scenario.traces import Trace

Part = tuple[str, str]
"""A part that a change is about, as in `modecheck.repair.changes.RepairChange.about`."""


def used_in(finding: Finding, written: WrittenDevice) -> set[Part]:
    """The parts that the scenario of a finding depends on, if it has one."""
    trace = finding.trace
    if trace is None:
        return set()
    parts, used = _Parts(trace.product, written), set[Part]()
    for one in trace.steps:
        used.update(parts.of_step(one.step))
    interpreter = Interpreter(trace.product)
    for state in _standing(trace, at_its_end=finding.code == "deadlock"):
        for step in interpreter.steps(state):
            used.update(parts.of_step(step))
        used.update(parts.of_waiting(state))
    return used


def _standing(trace: Trace, *, at_its_end: bool) -> list[State]:
    """The states of its loop, or the last one."""
    states = [trace.product.initial]
    states += [one.after for one in trace.moves if one.after is not None]
    if trace.loop_from:
        return states[trace.loop_from - 1 :]
    return states[-1:] if at_its_end else []


class _Parts:
    """The parts of one product, as they are written."""

    def __init__(self, product: Product, written: WrittenDevice) -> None:
        self._product, self._written = product, written

    def of_step(self, step: Step) -> Iterator[Part]:
        """What the step is made of, and what was tried, or left out for want of room."""
        for what in step.happenings:
            yield from self._in(what)
        for rule in rules_of_the_occasion(self._product, step):
            links = [self._product.device.links[send.link] for send in rule.sends]
            if step.failures or any(link.when_full == "wait" for link in links):
                yield from self._of_rule(rule)
                yield from (("", unnumbered(link.called)) for link in links)

    def of_waiting(self, state: State) -> Iterator[Part]:
        """Rules that wait for room, and the links that have none."""
        for chip, _ in enumerate(self._product.chips):
            for rule, queue in waiting_for_room(self._product, state, chip):
                yield from self._of_rule(self._product.rules[rule])
                yield self._link(queue)

    def _in(self, what: Happening) -> Iterator[Part]:
        rule = rule_in(self._product, what)
        if rule is not None:
            yield from self._of_rule(rule)
        if isinstance(what, Struck):
            yield from _names(self._product.chips[what.chip].name, "")
        if isinstance(what, Accepted | Arrived | Dropped | Doubled | Corrupted):
            yield self._link(what.queue)

    def _link(self, queue: int) -> Part:
        name = self._product.queues[queue].name
        return "", unnumbered(self._product.device.links[name].called)

    def _of_rule(self, rule: Rule) -> Iterator[Part]:
        where = self._written.rule(rule)
        if where is not None:
            yield where.chip, where.name
        yield from _names(rule.chip, unnumbered(rule.whole))


def rules_of_the_occasion(product: Product, step: Step) -> Iterator[Rule]:
    """The rule that begins a step, and all that wait for the same message, signal or timer."""
    label, rules = product.labels[step.label], product.rules
    own = rules[label.rule] if label.rule >= 0 else None
    timer = (own.chip, own.expires) if own is not None and own.expires else None
    signals = {one.signal for one in step.happenings if isinstance(one, SignalEmitted)}
    heard = {Event(product.signals[one]) for one in signals}
    message = _message(product, label)
    for rule in rules:
        delivered = message & {(rule.chip, event) for event in rule.trigger}
        timed = timer == (rule.chip, rule.expires)
        if rule is own or timed or delivered or heard & set(rule.trigger):
            yield rule


def _message(product: Product, label: Label) -> set[tuple[str, Event]]:
    """To which chip what is delivered, as its rules may call it."""
    if label.queue < 0 or not label.message:
        return set()
    queue = product.queues[label.queue]
    name, chip = queue.messages[label.message - 1].name, product.chips[queue.receiver]
    return {(chip.name, Event(name)), (chip.name, Event(name, queue.name))}


def rule_in(product: Product, what: Happening) -> Rule | None:
    """The rule that is taken, or cut off in the middle."""
    if isinstance(what, Took | Struck) and what.rule >= 0:
        return product.rules[what.rule]
    return None


def _names(chip: str, name: str) -> Iterator[Part]:
    """A part of a copy may be written for it alone, or for all."""
    yield from ((chip, name), (unnumbered(chip), name))
