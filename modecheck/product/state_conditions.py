"""Conditions on single states that checks use, as expressions.

Their names: `rests` (every chip in a rest state, every queue empty), `settled` (every chip in a
rest state), `mode:NAME`, `paired:NAME` (both ends hold the same key), `at_odds:NAME` (the ends
differ), `bonded:CHIP.VARIABLE` (that end holds a key), `apart:NAME` (no session), `astray:NAME` (a
session, and the pairing is not selected), `requirement:NAME`, and on a clock `due` (a rule has
come to its latest moment).
"""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.model.parts import Device, PairingEnd, Requirement
from modecheck.model.terms import Happens, parts_of
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Read
from modecheck.product.ir import ChipIR, Queue, TimeIR
from modecheck.product.lowering import Addresses, folded, lowered


def state_conditions(
    device: Device, addresses: Addresses, chips: Sequence[ChipIR], queues: Sequence[Queue]
) -> dict[str, Expression]:
    """Every condition by its name."""
    conditions = {"rests": _rests(chips, queues), "settled": _rests(chips, ())}
    for mode in device.modes.values():
        conditions[f"mode:{mode.name}"] = lowered(mode.when, addresses, mode.place)
    for pairing in device.pairings.values():
        one, two = (_end(end, addresses) for end in pairing.ends)
        same = ApplyIR("==", (one, two))
        conditions[f"paired:{pairing.name}"] = folded(
            "and", (same, ApplyIR("!=", (one, ConstantIR(0))))
        )
        conditions[f"at_odds:{pairing.name}"] = ApplyIR("!=", (one, two))
        if pairing.session is not None and pairing.selected is not None:
            session = lowered(pairing.session, addresses, pairing.place)
            selected = lowered(pairing.selected, addresses, pairing.place)
            conditions[f"apart:{pairing.name}"] = folded("not", (session,))
            astray = folded("and", (session, folded("not", (selected,))))
            conditions[f"astray:{pairing.name}"] = astray
        for end in pairing.ends:
            has_key = ApplyIR("!=", (_end(end, addresses), ConstantIR(0)))
            conditions[f"bonded:{end}"] = has_key
    for need in device.requirements.values():
        if need.condition is not None and not is_watched(need):
            conditions[f"requirement:{need.name}"] = lowered(need.condition, addresses, need.place)
    return conditions


def moments_due(time: TimeIR | None) -> dict[str, Expression]:
    """The condition `due`, where there are rules with a latest moment."""
    if time is None or not time.due:
        return {}
    return {"due": folded("or", tuple(due.holds for due in time.due))}


def is_watched(need: Requirement) -> bool:
    """Whether judging it takes an observer: a condition on single states needs none."""
    if need.pattern in ("possible", "recoverable"):
        return False
    spanned = need.span.kind != "globally"
    return (
        spanned
        or need.pattern not in ("never", "always")
        or any(isinstance(part, Happens) for term in need.terms for part in parts_of(term))
    )


def _end(end: PairingEnd, addresses: Addresses) -> Read:
    return Read(addresses.variables[end.chip, end.variable] + (end.item or 0))


def _rests(chips: Sequence[ChipIR], queues: Sequence[Queue]) -> Expression:
    parts: list[Expression] = []
    for chip in chips:
        if not chip.actor and not all(chip.rests):
            state = Read(chip.state_field)
            tests = tuple(
                ApplyIR("==", (state, ConstantIR(leaf)))
                for leaf, rest in enumerate(chip.rests)
                if rest
            )
            parts.append(folded("or", tests))
    parts += [ApplyIR("==", (Read(queue.slots[0].code), ConstantIR(0))) for queue in queues]
    return folded("and", tuple(parts))
