"""What a device owes: which steps happen in the end where they stay possible.

Unless the model says otherwise, a chip's rule that stays enabled is taken in the end (weak), a
message that waits is delivered in the end (weak) or, where its link can lose any number, if it
waits again and again (strong: the link is fair-lossy); time that can go on does (weak); actors and
faults owe nothing. There is one set of steps for each rule, one for each link and message, and one
for ticks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from modecheck.model.parts import Device, Rule
from modecheck.product.ir import FairSet, FaultIR, Label, MessageIn, Queue


def fair_sets(
    device: Device,
    rules: Sequence[Rule],
    queues: Sequence[Queue],
    faults: Sequence[FaultIR],
    labels: Sequence[Label],
) -> tuple[FairSet, ...]:
    """The sets of a product, rules first; those that owe nothing are left out."""
    endless = {f.target for f in faults if f.kind == "lose" and f.budget < 0}
    of_rules: dict[int, set[int]] = {}
    of_messages: dict[MessageIn, set[int]] = {}
    for number, label in enumerate(labels):
        if label.kind == "rule":
            of_rules.setdefault(label.rule, set()).add(number)
        elif label.kind in ("deliver", "discard"):
            of_messages.setdefault((label.queue, label.message), set()).add(number)
    ticks = frozenset(number for number, label in enumerate(labels) if label.kind == "tick")
    return (
        *_of_rules(device, rules, of_rules),
        *_of_links(device, queues, endless, of_messages),
        *([FairSet("time goes on", False, ticks)] if ticks else []),
    )


def fairness_of(device: Device, rule: Rule) -> str:
    """What a rule, else its chip says, or what goes without saying: weak, strong or none."""
    chip = device.chips[rule.chip]
    return rule.fair or chip.fair or ("none" if chip.actor else "weak")


def _of_rules(
    device: Device, rules: Sequence[Rule], labels: Mapping[int, set[int]]
) -> Iterator[FairSet]:
    for number, rule in enumerate(rules):
        if rule.trigger:
            continue  # taken in the step that brings the message or the signal, never in its own
        fair = fairness_of(device, rule)
        if number in labels and fair != "none":
            name = f"{rule.chip} takes {rule.title}"
            yield FairSet(name, fair == "strong", frozenset(labels[number]))


def _of_links(
    device: Device,
    queues: Sequence[Queue],
    endless: set[int],
    labels: Mapping[MessageIn, set[int]],
) -> Iterator[FairSet]:
    for number, queue in enumerate(queues):
        fair = device.links[queue.name].fair or ("strong" if number in endless else "weak")
        for code, message in enumerate(queue.messages, start=1):
            own = labels.get((number, code))
            if own and fair != "none":
                name = f"{queue.name} delivers {message.name}"
                yield FairSet(name, fair == "strong", frozenset(own))
