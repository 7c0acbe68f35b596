"""Fairness: which steps are assumed to happen eventually.

Unless the model says otherwise, a chip's rule that stays enabled is eventually taken (weak); a
waiting message is eventually delivered (weak) or, where its link can lose any number, is delivered
if it can be infinitely often (strong: the link is fair-lossy); time that can pass does (weak);
actors and faults are never obliged to act. There is one set of steps for each rule, with all its
branches, one for each link and message, and one for ticks.
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
    """The fair sets of a product, rules first; steps without fairness are in none."""
    endless = {f.target for f in faults if f.kind in ("lose", "corrupt") and f.endless}
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
    """The fairness that a rule declares, else its chip, else the default: weak, strong, none, or
    whole, which is weak fairness of all such rules of the chip together.
    """
    chip = device.chips[rule.chip]
    return rule.fair or chip.fair or ("none" if chip.actor else "weak")


def _of_rules(
    device: Device, rules: Sequence[Rule], labels: Mapping[int, set[int]]
) -> Iterator[FairSet]:
    wholes: dict[tuple[str, str], set[int]] = {}
    for number, rule in enumerate(rules):
        if not rule.trigger:  # else taken in the step that brings its event, never in its own
            wholes.setdefault(_taken_as(device, rule), set()).update(labels.get(number, ()))
    seen: set[tuple[str, str]] = set()
    for rule in rules:
        name = _taken_as(device, rule)
        fair = fairness_of(device, rule)
        if wholes.get(name) and fair != "none" and name not in seen:
            seen.add(name)
            taken = name[1] or "one of its rules"
            yield FairSet(f"{rule.chip} takes {taken}", fair == "strong", frozenset(wholes[name]))


def _taken_as(device: Device, rule: Rule) -> tuple[str, str]:
    """What is taken in the end: the rule with all its branches, or any of the chip's rules ("")."""
    return rule.chip, "" if fairness_of(device, rule) == "whole" else rule.whole


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
