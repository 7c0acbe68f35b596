"""Time stops: a rule has reached its latest time and cannot be taken, and no chip or link moves.

A rule is due when its own condition holds; it can still be kept from being taken by a full link
that makes its sender wait. States in which the same rules are due have one cause.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.model.wording import listed
from modecheck.scenario.traces import trace_to


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
            state = space.state(number)
            due = (one.rule for one in time.due if interpreter.condition(one.holds, state))
            stopped.setdefault(tuple(due), []).append(number)
    for rules, states in stopped.items():
        yield _finding(space, rules, states)


def _finding(space: Space, rules: tuple[int, ...], states: list[int]) -> Finding:
    named = [space.product.rules[rule] for rule in rules]
    titles = [f"{rule.chip}.{rule.title}" for rule in named]
    details = [_reason(space, rule, states[0]) for rule in rules]
    if len(states) > 1:
        details.append(f"the same happens in {len(states):,} states")
    return Finding(
        code="time-stop",
        subject="+".join(titles),
        text=f"{listed(titles)} must be taken now but cannot be",
        place=named[0].place,
        trace=trace_to(space, states[0]),
        details=tuple(details),
        also=tuple(rule.place for rule in named[1:]),
    )


def _reason(space: Space, number: int, at: int) -> str:
    rule, state = space.product.rules[number], space.state(at)
    full = [
        queue.name
        for queue in space.product.queues
        if queue.when_full == "wait"
        and any(send.link == queue.name for send in rule.sends)
        and state[queue.slots[-1].code]
    ]
    where = (
        f"{listed(full)} {'are' if len(full) > 1 else 'is'} full" if full else "it is not enabled"
    )
    return f"{rule.chip}.{rule.title} has reached its latest time, but {where}"


CHECK = Check("time-stop", Needs.PATHS, find, doing="looking for states in which time stops")
