"""Where a rule leads, and where it applies: its target and its source states."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.repair.changes import RepairChange, Value
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

TO, IN = "targets", "sources"


def target_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Another target for each rule: states that its siblings lead to first."""
    for chip, rule in at.rules():
        if "choose" in rule.data:
            continue
        now = rule.data.get("to")
        used = [one.data.get("to") for one in chip.rules if _siblings(one, rule)]
        known = [one for one in dict.fromkeys(used) if isinstance(one, str)]
        others = [state for state in chip.states if state not in known]
        for rank, state in enumerate([*known, *others]):
            if state != now:
                yield at.change_rule(
                    TO, rule, {"to": state}, f"{rule.name} leads to {state}",
                    rank=_rank(rule, now) + (0.1 * rank if state in known else 2 + 0.1 * rank),
                )  # fmt: skip
        if now is not None and set(rule.data) & {"do", "send", "signal", "start", "stop", "on"}:
            yield at.change_rule(
                TO, rule, {"to": None}, f"{rule.name} stays in its state", rank=1.0
            )


def _rank(rule: WrittenRule, now: Value) -> float:
    """A rule that has consumed something and stays where it is has more often lost its target."""
    return 0.0 if now is not None or "on" in rule.data else 0.8


def _siblings(one: WrittenRule, rule: WrittenRule) -> bool:
    """Whether two rules belong to the same occasion: an event or a state in common."""
    events = set(one.words("on")) & set(rule.words("on"))
    states = set(one.words("in")) & set(rule.words("in"))
    return one is not rule and bool(events or states or not rule.words("in"))


def source_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A rule that applies in one more state, everywhere, or in one state less."""
    for chip, rule in at.rules():
        if rule.inside or "in" not in rule.data:
            continue
        yield from _one_more(at, chip, rule)
        yield from _fewer(at, rule)


def _one_more(at: RepairSituation, chip: WrittenChip, rule: WrittenRule) -> Iterator[RepairChange]:
    states = rule.words("in")
    inner = {leaf for one in states for leaf in _leaves(at, rule, one)}
    names = [chip.name for chip in at.chips_of(rule.chip)]
    for state in chip.states:
        if state in states or inner.issuperset(_leaves(at, rule, state)):
            continue
        leaves = _leaves(at, rule, state)
        stuck = any((name, leaf) in at.stuck for name in names for leaf in leaves)
        heard = at.comes_to(rule, leaves)
        here = heard or (stuck and ("on" not in rule.data or not at.shown.heard))
        rank = 0.0 if stuck and here else 0.4 if here else 1.5 if stuck else 3.0
        rank += 0.1 * (len(leaves) - 1)
        value: Value = [*states, state]
        words = f"{rule.name} applies in {state}, too"
        # What is wrong happens in the state where the chip waits, not where the rule is taken.
        yield _near(at, rule, {"in": value}, words, rank=rank, here=here or stuck)


def _fewer(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    states = rule.words("in")
    if set(rule.data) & {"on", "after", "period", "expires", "if"}:
        yield at.change_rule(
            IN, rule, {"in": None}, f"{rule.name} applies in every state", rank=2.5
        )
    for state in states if len(states) > 1 else ():
        left: Value = [one for one in states if one != state]
        words = f"{rule.name} does not apply in {state}"
        yield at.change_rule(IN, rule, {"in": left}, words, rank=0.5, fewer=True)


def _near(
    at: RepairSituation,
    rule: WrittenRule,
    keys: dict[str, Value],
    words: str,
    *,
    rank: float,
    here: bool,
) -> RepairChange:
    change = at.change_rule(IN, rule, keys, words, rank=rank)
    if not here:
        return change
    return replace(change, rank=rank)


def _leaves(at: RepairSituation, rule: WrittenRule, state: str) -> tuple[str, ...]:
    known = at.chip_of(rule).states.get(state)
    return known.leaves if known is not None else (state,)
