"""The fault table as JSON, and as CSV: a row for each fault and what it strikes."""

from __future__ import annotations

import csv
import io
from typing import Any

from modecheck.cutsets.breaking import Breakable
from modecheck.cutsets.effects import RETURNS, Effect, Effects
from modecheck.cutsets.fault_table import FaultTable
from modecheck.report.as_json import finding_as_json, notes_as_json
from modecheck.report.fault_report import broken_by, lost_in_words, needs_losing
from modecheck.scenario.telling import spelled_or_none

Json = dict[str, Any]

COLUMNS = (
    "failure mode",
    "part",
    "strikes",
    "name",
    "effect",
    "steps until it is back",
    "time until it is back",
    "remains in",
    "messages taken away",
    "requirements that count them",
    "breaks by itself",
    "severity",
)
"""Those of an analysis of failure modes and effects (IEC 60812); severity is left to people."""


def faults_as_json(table: FaultTable) -> Json:
    """Everything, with all scenarios."""
    known, people = table.counted, table.people
    return {
        "device": known.declared.name,
        "file": known.declared.file,
        "notes": notes_as_json(known.declared),
        "options": dict(known.declared.variant),
        "complete": table.complete,
        "stopped_by": table.stopped_by or None,
        "states": table.states,
        "at_most": known.most,
        "in_all": known.in_all,
        "faults": [fault.name for fault in known.faults],
        "cut_sets": [_breakable(one, table) for one in table.breakable],
        "single_faults": [_effects(one, table) for one in table.single],
        "acts": None
        if people is None
        else {
            "at_most": people.most,
            "needed": people.needed,
            "single": [_effects(one, table) for one in people.effects],
        },
    }


def _breakable(one: Breakable, table: FaultTable) -> Json:
    return {
        "id": one.id,
        "requirement": None if one.need is None else one.need.name,
        "text": one.text,
        "complete": not one.remark,
        "remark": one.remark or None,
        "sets": [
            {
                "faults": {
                    fault.name: count
                    for fault, count in zip(table.counted.faults, cut.counts, strict=True)
                    if count
                },
                "order": cut.order,
                "within_budgets": cut.allowed,
                "finding": finding_as_json(cut.finding),
            }
            for cut in one.sets
        ],
    }


def _effects(one: Effects, table: FaultTable) -> Json:
    return {
        "name": one.name,
        "about": one.about or None,
        "moments": one.moments,
        "effects": [_effect(effect, table) for effect in one.effects],
        "messages_lost": [{"link": link, "message": message} for link, message in one.lost],
        "breaks": broken_by(one, table),
    }


def _effect(one: Effect, table: FaultTable) -> Json:
    return {
        "kind": one.kind,
        "name": one.name,
        "outcome": one.outcome,
        "steps": one.steps,
        "time": _time(one, table) or None,
        "remains_in": [end or None for end in one.ends],
    }


def _time(one: Effect, table: FaultTable) -> str:
    clock = table.counted.declared.clock
    if clock is None or one.ticks is None:
        return ""
    return spelled_or_none(one.ticks * clock.tick)


def faults_as_csv(table: FaultTable) -> str:
    """A row for each fault and each mode or pairing that it strikes."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in (*table.single, *(table.people.effects if table.people else ())):
        kind, _, rest = one.name.partition("(")
        part = rest.rstrip(")") or one.name.partition(".")[0]
        after = (lost_in_words(one) if one.lost else "", *_needs(one, table), "")
        every = one.effects or (Effect("", "", ""),)
        for effect in every:
            writer.writerow((kind, part, *_cells(effect, table), *after))
    return text.getvalue()


def _needs(one: Effects, table: FaultTable) -> tuple[str, str]:
    return ", ".join(needs_losing(one, table)), ", ".join(broken_by(one, table))


def _cells(effect: Effect, table: FaultTable) -> tuple[str, ...]:
    steps = time = ""
    if effect.outcome == RETURNS:
        steps = "no bound" if effect.steps is None else str(effect.steps)
        if table.counted.declared.clock is not None:
            time = _time(effect, table) or "no bound"
    ends = " or ".join(end or "no mode" for end in effect.ends)
    return effect.kind, effect.name, effect.outcome, steps, time, ends
