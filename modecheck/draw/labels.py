"""What a rule says, in the notation of UML 2.5.1: `trigger [guard] / effects` (section 14.2.4).

A label is a sequence of phrases; each has a role, so that a picture can distinguish triggers from
guards and effects, and break lines between them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.model.keys import keys_of
from modecheck.model.parts import Reply, Rule, State
from modecheck.model.rule_effects import Send

LONGEST_LINE = 34
"""Characters of one line of a label: wide enough for most guards, and three abreast fit a page."""

AT_ANY_TIME = "at any time"
"""The label of a rule without trigger, guard and effects, which only changes the state."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """A part of a label. `role` is "trigger", "guard", "effect", or "remark" for a rule's text."""

    role: str
    text: str


def rule_phrases(rule: Rule) -> tuple[Phrase, ...]:
    """The trigger, the guard and each effect of a rule; missing ones are left out.

    No label is empty, so that no rule is overlooked.
    """
    phrases = []
    trigger = rule_trigger(rule)
    if trigger:
        phrases.append(Phrase("trigger", trigger))
    phrases += [Phrase("guard", f"[{_one_line(text)}]") for text in rule_guards(rule)]
    effects = rule_effects(rule)
    for position, effect in enumerate(effects):
        mark = "" if position else "/ "
        stop = ";" if position < len(effects) - 1 else ""
        phrases.append(Phrase("effect", f"{mark}{effect}{stop}"))
    phrases += [Phrase("effect", mark) for mark in _marks(rule)]
    return tuple(phrases) or (Phrase("trigger", AT_ANY_TIME),)


def rule_guards(rule: Rule) -> Iterator[str]:
    """What has to hold: for a branch the condition of its rule, then its own."""
    if rule.branch is None:
        yield from [rule.guard_text] if rule.guard_text else []
        return
    if rule.branch.given_text:
        yield rule.branch.given_text
    yield branch_guard(rule)


def branch_guard(rule: Rule) -> str:
    """The condition of a branch behind others: `else if` it holds, or `else`."""
    assert rule.branch is not None
    behind = "else if " if rule.branch.before else ""
    return f"{behind}{rule.guard_text}" if rule.guard_text else "else"


def _marks(rule: Rule) -> Iterator[str]:
    """Keys that stand on a chart as they do in the model; truth stands for their first choice."""
    for key in keys_of("rule").values():
        value = getattr(rule, key.attribute) if key.mark else None
        if value:
            yield f"{{{key.name}: {key.schema['enum'][0] if value is True else value}}}"


def rule_trigger(rule: Rule) -> str:
    """The events or the time that trigger a rule; empty for an internal rule."""
    if rule.after:
        return f"{'period' if rule.periodic else 'after'} ({_one_line(rule.after.text)})"
    if rule.expires:
        return f"{rule.expires} expires"
    return ", ".join(str(event) for event in rule.trigger)


def rule_effects(rule: Rule) -> tuple[str, ...]:
    """What a rule does, in the order in which it does it."""
    return (
        *(_one_line(assignment.text) for assignment in rule.assignments),
        # A broadcast is sent once, whatever leads to each receiver.
        *(text for _, text in dict.fromkeys((send.place, _send_text(send)) for send in rule.sends)),
        *(f"signal {_one_line(given.text)}" for given in rule.signalled),
    )


def rule_label(rule: Rule) -> str:
    """The whole label in one line."""
    return " ".join(phrase.text for phrase in rule_phrases(rule))


def mask_phrases(state: State) -> tuple[Phrase, ...]:
    """The activities that a state masks."""
    return (Phrase("trigger", "masks"), Phrase("effect", ", ".join(state.masks)))


def reply_phrases(reply: Reply) -> tuple[Phrase, ...]:
    """`event / defer`, as UML writes deferred events, and `event / (discarded)` beside it."""
    manner = "defer" if reply.manner == "defer" else "(discarded)"
    return (Phrase("trigger", str(reply.event)), Phrase("effect", f"/ {manner}"))


def _send_text(send: Send) -> str:
    """By the name that rules give the link: a broadcast is sent once."""
    return f"send {_one_line(send.text)}"


def _one_line(text: str) -> str:
    return " ".join(text.split())
