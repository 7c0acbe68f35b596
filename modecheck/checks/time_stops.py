"""Time stops: a rule has reached its latest time and cannot be taken, and no chip or link moves.

A rule is due when its own condition holds; it can still be kept from being taken by a full link
that makes its sender wait. States in which the same rules are due have one cause.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.parts import Rule
from modecheck.model.wording import listed
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace, trace_to


def find(evidence: Evidence) -> Iterator[Finding]:
    """A finding for each set of rules that stop time, the nearest first."""
    space = evidence.space
    time, product = space.product.time, space.product
    if time is None or not time.due:
        return
    interpreter, mark = Interpreter(product), space.mark("due")
    stopped: dict[tuple[int, ...], list[int]] = {}
    for number in space.quiescent(0):
        if space.marks_at(number) & mark:
            stopped.setdefault(rules_due(interpreter, space.state(number)), []).append(number)
    for states in stopped.values():
        first = states[0]
        trace = trace_to(space, first)
        yield finding_of(product, space.state(first), trace, count=len(states))


def rules_due(interpreter: Interpreter, state: State) -> tuple[int, ...]:
    """The numbers of the rules that have to be taken in a state before time goes on."""
    time, holds = interpreter.product.time, interpreter.condition
    assert time is not None
    return tuple(due.rule for due in time.due if holds(due.holds, state))


def finding_of(product: Product, state: State, trace: Trace, *, count: int = 1) -> Finding:
    """The finding of the rules that stop time in `state`, at the end of `trace`, and in `count`
    states in all.
    """
    named = [product.rules[rule] for rule in rules_due(Interpreter(product), state)]
    titles = [f"{rule.chip}.{rule.title}" for rule in named]
    details = [_reason(product, rule, state) for rule in named]
    if count > 1:
        details.append(f"the same happens in {count:,} states")
    return Finding(
        code="time-stop",
        subject="+".join(titles),
        text=f"{listed(titles)} must be taken now but cannot be",
        place=named[0].place,
        trace=trace,
        details=tuple(details),
        also=tuple(rule.place for rule in named[1:]),
    )


def _reason(product: Product, rule: Rule, state: State) -> str:
    full = [
        queue.name
        for queue in product.queues
        if queue.when_full == "wait"
        and any(send.link == queue.name for send in rule.sends)
        and state[queue.slots[-1].code]
    ]
    where = (
        f"{listed(full)} {'are' if len(full) > 1 else 'is'} full" if full else "it is not enabled"
    )
    return f"{rule.chip}.{rule.title} has reached its latest time, but {where}"


CHECK = Check("time-stop", Needs.PATHS, find, doing="looking for states in which time stops")
