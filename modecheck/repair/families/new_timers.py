"""A timer out of a state in which a chip waits: it leads on, sends again, or ends what lasts."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.model.parts import Chip
from modecheck.model.terms import InState, Operation, ReadVariable, Term
from modecheck.repair.changes import Data, RepairChange
from modecheck.repair.situation import RepairSituation, listed
from modecheck.repair.written import WrittenChip

TIMER = "timers"
MOST_DURATIONS = 3
"""Durations that are tried for each new timer of a device with a clock; without one they all mean
the same.
"""


def new_timer_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A new timer in each state; where a chip waits first."""
    for chip in at.entries:
        model = at.chips_of(chip.name)[0]
        names = {one.name for one in at.chips_of(chip.name)}
        waiting = {leaf for name, leaf in at.stuck if name in names}
        for state in chip.states:
            if model.states[state].children:
                continue
            rank = 0.0 if state in waiting else 3.0
            yield from _timers(at, chip, state, rank)
        yield from _ending(at, chip, model)


def _durations(at: RepairSituation, chip: WrittenChip) -> list[str]:
    found = at.durations(chip.name)
    return found[:MOST_DURATIONS] if at.device.clock is not None else found[:1]


def _timers(
    at: RepairSituation, chip: WrittenChip, state: str, rank: float
) -> Iterator[RepairChange]:
    for after in _durations(at, chip):
        for near, effect in _effects(chip, state):
            data: Data = {"in": state, "after": after, **effect}
            words = f"in {state}, {_told(effect)} after {after}"
            yield at.new_rule(TIMER, chip, data, words, rank=rank + near)


def _told(effect: Data) -> str:
    parts = []
    if "send" in effect:
        parts.append(f"sends {listed(effect['send'])}")
    if "signal" in effect:
        parts.append(f"signals {listed(effect['signal'])}")
    if "to" in effect:
        parts.append(f"goes to {listed(effect['to'])}")
    return "it " + " and ".join(parts)


def _effects(chip: WrittenChip, state: str) -> Iterator[tuple[float, Data]]:
    """What the timer may do, with how promising that is: to send again what was sent on the way to
    the state, or elsewhere; to leave for a state that other rules leave for.
    """
    here = [rule for rule in chip.rules if rule.data.get("to") == state]
    again = [text for rule in here for text in rule.words("send")]
    if not again:
        inside = [rule for rule in chip.rules if state in rule.words("in") or not rule.words("in")]
        again = [text for rule in inside for text in rule.words("send")]
    rest = [text for rule in chip.rules for text in rule.words("send")]
    for text in dict.fromkeys(again):
        yield 0.0, {"send": [text]}
    for text in dict.fromkeys(rest):
        if text not in again:
            yield 1.0, {"send": [text]}
    leaving = [
        one.data.get("to") for one in chip.rules if not one.words("in") or state in one.words("in")
    ]
    known = [one for one in dict.fromkeys(leaving) if isinstance(one, str)]
    for other in [*known, *(one for one in chip.states if one not in known)]:
        if other != state:
            yield 0.3 if other in known else 0.8, {"to": other}


def _ending(at: RepairSituation, chip: WrittenChip, model: Chip) -> Iterator[RepairChange]:
    """A timer that makes true what a broken requirement asks for: a variable of the chip is set
    back, on a guard of what holds at the end of the scenario.
    """
    for variable, value in dict.fromkeys(_asked(at, model)):
        kind = model.variables[variable].type
        word = _spelled(kind.kind, kind.spell(value))
        guards = [_unlike(variable, kind.kind, word)]
        guards += [f"{guards[0]} and {held}" for held in _held_at_the_end(at, model)]
        for rank, guard in enumerate(guards):
            data: Data = {
                "after": _durations(at, chip)[0],
                "if": guard,
                "do": [f"{variable} = {word}"],
            }
            words = f"it sets {variable} to {word} after {data['after']}, if {guard}"
            yield at.new_rule(TIMER, chip, data, words, rank=0.05 * rank, all_alike=False)


def _spelled(kind: str, word: str) -> str:
    return {"0": "false", "1": "true"}.get(word, word) if kind == "truth" else word


def _unlike(variable: str, kind: str, word: str) -> str:
    if kind == "truth":
        return f"not {variable}" if word == "true" else variable
    return f"{variable} != {word}"


def _held_at_the_end(at: RepairSituation, model: Chip) -> list[str]:
    return list(
        dict.fromkeys(
            f"{name}.{leaf}"
            for end in at.ends
            for name, leaf in end.items()
            if name != model.name and not at.device.chips[name].actor
        )
    )


def _asked(at: RepairSituation, model: Chip) -> Iterator[tuple[str, int]]:
    """Variables of a chip and the values that broken requirements want them to have."""
    for finding in at.findings:
        need = at.device.requirements.get(finding.subject)
        if need is None or finding.code != "broken-requirement":
            continue
        wanted = [need.response, None if need.pattern == "never" else need.condition]
        for term in wanted:
            if term is not None:
                yield from _values(term, model, truth=True)


def _values(term: Term, model: Chip, *, truth: bool) -> Iterator[tuple[str, int]]:
    if isinstance(term, ReadVariable) and term.chip == model.name and term.index is None:
        if model.variables[term.variable].type.kind == "truth":
            yield term.variable, int(truth)
    elif isinstance(term, Operation) and term.operator == "not":
        yield from _values(term.arguments[0], model, truth=not truth)
    elif isinstance(term, Operation) and term.operator in ("and", "or"):
        for one in term.arguments:
            yield from _values(one, model, truth=truth)
    elif isinstance(term, InState):
        return
