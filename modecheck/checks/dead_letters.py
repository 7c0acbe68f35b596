"""Dead letters: messages that some step sends and that never arrive in any reachable state.

Each time they are dropped on the way, or they wait in a link that is never up again. Variants are
judged together, as for rules that are never taken. A message that is sent only in steps that fail
is none, and neither is one whose arrival makes a step fail.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterator, Mapping, Sequence
from typing import TypeAlias

from modecheck.checks.coverage import event_name, leaves_of
from modecheck.checks.declared import Check, Needs
from modecheck.checks.explored import Explored
from modecheck.checks.findings import Finding
from modecheck.checks.never_seen import seen_in
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.model.parts import Rule
from modecheck.scenario.traces import Trace, trace_over

MOST_STATES = 300_000
"""States examined for a step that sends it, about ten seconds; then there is no scenario."""

Letter: TypeAlias = tuple[str, str]
"""A link and a message."""


def _find(explored: Sequence[Explored]) -> Iterator[Finding]:
    """A finding for each message of a link, with a shortest scenario to a step that sends it."""
    device, coverage, excused = seen_in(explored)
    sent: dict[Letter, list[Rule]] = defaultdict(list)
    for chip in device.chips.values():
        for rule in chip.rules:
            if (chip.name, rule.title) in coverage.taken:
                for send in rule.sends:
                    sent[send.link, send.message].append(rule)
    arrived = {letter for one in explored for letter in _arrivals(one.exploration)}
    dead = {
        letter: rules
        for letter, rules in sent.items()
        if letter not in arrived and letter[1] not in excused.events
    }
    for (link, message), trace in _sendings(explored, dead).items():
        first, *others = dead[link, message]
        yield Finding(
            code="dead-letter",
            subject=f"{link}.{message}",
            text=f"{first.chip} sends {message} over {link}, where it never arrives",
            place=first.place,
            trace=trace,
            also=tuple(rule.place for rule in others),
        )


def _arrivals(space: Space) -> Iterator[Letter]:
    product = space.product
    for met in space.observed.encounters:
        yield event_name(product, met.queue, met.event)
    for sighting in space.failures.values():
        label = product.labels[sighting.label]
        if label.kind in ("deliver", "discard"):
            yield event_name(product, label.queue, label.message)


def _sendings(
    explored: Sequence[Explored], dead: Mapping[Letter, Sequence[Rule]]
) -> dict[Letter, Trace | None]:
    """A shortest trace to a step that sends each, where some step does."""
    found: dict[Letter, Trace | None] = {}
    for one in explored if dead else ():
        for letter, trace in _sendings_in(one.exploration, dead):
            known = found.get(letter)
            if known is None or (trace is not None and len(trace.moves) < len(known.moves)):
                found[letter] = trace
    return found


def _sendings_in(
    space: Space, dead: Mapping[Letter, Sequence[Rule]]
) -> Iterator[tuple[Letter, Trace | None]]:
    """Breadth first, over every image of a state where identical units are exchanged."""
    product, wanted = space.product, set(dead)
    interpreter, senders = Interpreter(product), _senders(space, dead)
    seen, waiting = set(space.starts), deque(space.starts)
    while waiting and wanted and len(seen) < MOST_STATES:
        number = waiting.popleft()
        state, edges = space.state(number), space.edges_from(number)
        may_send = any(state[field] in leaves for field, leaves in senders.items())
        for step in interpreter.steps(state) if may_send else ():
            sent = {event_name(product, send.queue, send.message) for send, _ in step.sent}
            for letter in sorted(sent & wanted) if step.after is not None else ():
                wanted.remove(letter)
                taken = (edge for edge in edges if edge.label == step.label)
                edge = next(edge for edge in taken if space.state(edge.target) == step.after)
                yield letter, trace_over(space, number, edge)
        fresh = dict.fromkeys(edge.target for edge in edges if edge.target not in seen)
        seen.update(fresh)
        waiting.extend(fresh)
    if waiting:
        yield from ((letter, None) for letter in sorted(wanted))


def _senders(space: Space, dead: Mapping[Letter, Sequence[Rule]]) -> dict[int, set[int]]:
    """The fields of the chips that send them, with the leaves in which they can."""
    chips = {chip.name: chip for chip in space.product.chips}
    found: dict[int, set[int]] = defaultdict(set)
    for rule in (rule for rules in dead.values() for rule in rules):
        form, chip = chips[rule.chip], space.product.device.chips[rule.chip]
        found[form.state_field].update(map(form.leaves.index, leaves_of(chip, rule)))
    return found


CHECK = Check("dead-letter", Needs.PATHS, across=_find)
