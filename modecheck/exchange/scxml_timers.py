"""Timers of a chip in SCXML: an event with a delay, which is cancelled if it comes to nothing.

A rule with `after` or `period` waits since its state was entered: entering the state sends the
event, leaving it cancels it. A named timer is sent where a rule starts it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.exchange.quantity_words import delay_text
from modecheck.exchange.scxml_words import EventNames
from modecheck.exchange.xml_elements import XmlElement
from modecheck.model.clocks import spelled
from modecheck.model.parts import Chip
from modecheck.model.phrases import FOREVER
from modecheck.model.times import Duration

WHOLE_CHIP = ""


@dataclass(frozen=True, slots=True)
class TimedRule:
    """What a rule waits for in one of its states, "" being the whole chip: an event, and when."""

    title: str
    state: str
    event: str
    duration: Duration


def timed_rules(chip: Chip, names: EventNames) -> dict[tuple[str, str], TimedRule]:
    """By rule (with all its branches) and state, in document order."""
    found: dict[tuple[str, str], TimedRule] = {}
    for rule in chip.rules:
        if rule.after is None:
            continue
        for state in rule.sources or (WHOLE_CHIP,):
            event = f"{names.after}.{names.token(rule.whole)}" + (f".{state}" if state else "")
            found[rule.whole, state] = TimedRule(rule.whole, state, event, rule.after)
    return found


def timed_by_state(timed: Iterable[TimedRule]) -> dict[str, list[TimedRule]]:
    """What waits in each state, in document order."""
    found: dict[str, list[TimedRule]] = {}
    for one in timed:
        found.setdefault(one.state, []).append(one)
    return found


def send_later(inside: XmlElement, event: str, duration: Duration) -> None:
    """Send an event after a delay, under an id of the same name."""
    latest = ""
    if duration.high != duration.low:
        latest = FOREVER if duration.high is None else spelled(duration.high)
    delay = delay_text(duration.low)
    inside.add("send", event=event, id_=event, delay=delay, chip_latest=latest)
