"""All families of changes, in the order in which they are listed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeAlias

from modecheck.repair.changes import RepairChange
from modecheck.repair.families import (
    answers,
    carried_values,
    declarations,
    guards,
    link_changes,
    new_timers,
    send_changes,
    siblings,
    storage,
    targets,
    turn_changes,
    waits,
    writes,
)
from modecheck.repair.situation import RepairSituation

Family: TypeAlias = Callable[[RepairSituation], Iterator[RepairChange]]

FAMILIES: dict[str, tuple[str, Family]] = {
    siblings.SIBLING: ("what a part of its kind does", siblings.sibling_changes),
    targets.TO: ("where a rule leads", targets.target_changes),
    targets.IN: ("where a rule applies", targets.source_changes),
    guards.GUARD: ("when a rule is taken", guards.guard_changes),
    send_changes.SEND: ("what a rule sends or signals", send_changes.send_changes),
    carried_values.CARRIED: ("the value of what is sent", carried_values.value_changes),
    writes.WRITE: ("what a rule writes, and in which order", writes.write_changes),
    answers.REPLY: ("what a state discards or defers", answers.reply_changes),
    answers.ANSWER: ("a new answer to an event", answers.answer_changes),
    link_changes.LINK: ("room, policies and condition of a link", link_changes.link_changes),
    storage.STORE: ("what survives a power cut", storage.storage_changes),
    storage.START: ("what a chip starts with", storage.start_changes),
    waits.DURATION: ("how long a rule waits", waits.duration_changes),
    waits.NAMED: ("which timers a rule starts and stops", waits.timer_changes),
    turn_changes.TURN: ("who goes first on a controller", turn_changes.turn_changes),
    declarations.DECLARE: ("what is declared beyond the rules", declarations.declaration_changes),
    new_timers.TIMER: ("a new timer", new_timers.new_timer_changes),
}
"""Each with what it changes, in words, and the function that makes its changes."""
