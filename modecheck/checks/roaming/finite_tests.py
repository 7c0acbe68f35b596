"""What a finite run can decide, as a list of tests for a walker, and what it cannot."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import combinations

from modecheck.checks.pairings import acts_at_once
from modecheck.engine.search.walk_targets import WatchList
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.product.observers import automaton_for
from modecheck.product.state_conditions import is_watched

LEFT_OUT = (
    "stuck chips",
    "livelocks",
    "switches that never end",
    "pairings that cannot recover",
    "what is never reached",
)
"""Checks that need all states, or infinite runs."""


def can_go_bad(device: Device, need: Requirement) -> bool:
    """Whether a finite run can break a requirement that needs an observer."""
    return is_watched(need) and bool(automaton_for(device, need).bad)


def decided_early(device: Device, need: Requirement) -> bool:
    """Whether a finite run can break a requirement."""
    if is_watched(need):
        return can_go_bad(device, need)
    return need.pattern in ("never", "always")


def composed(device: Device, observers: Iterable[str]) -> Product:
    """The product with these observers, and with the conditions of states and of observers.

    It never idles, because that would end a walk.
    """
    product = compose(device)
    names = tuple(observers)
    if not names:
        return product
    watched = compose(device, observers=names)
    conditions = product.conditions | watched.conditions
    return replace(watched, conditions=conditions, idle_field=-1)


def without_idle_conditions(product: Product, watched: WatchList) -> tuple[Product, WatchList]:
    """The product with only the conditions that the watch list uses, and the list for it."""
    used = watched.rests | watched.due
    for mark in watched.modes:
        used |= mark
    for pairs in (watched.states, watched.resting, watched.changes):
        for one, two in pairs.values():
            used |= one | two
    for lost, _ in watched.losses.values():
        used |= lost
    kept = {n: c for bit, (n, c) in enumerate(product.conditions.items()) if used >> bit & 1}
    smaller = replace(product, conditions=kept)
    return smaller, watch_list(smaller)


def watch_list(product: Product) -> WatchList:
    """Everything that can be watched for in a product, by its conditions."""
    device = product.device
    bits = {name: 1 << bit for bit, name in enumerate(product.conditions)}
    rests = bits.get("rests", 0)
    resting, losses, changes = {}, {}, {}
    for pairing in device.pairings.values():
        if f"at_odds:{pairing.name}" in bits:
            resting[pairing.name] = (rests | bits[f"at_odds:{pairing.name}"], 0)
        if f"astray:{pairing.name}" in bits:
            changes[pairing.name] = (
                bits[f"apart:{pairing.name}"],
                bits[f"astray:{pairing.name}"],
            )
        forgetting = product.event_bits(pairing.forgotten_by)
        ends = sum(bits.get(f"bonded:{end}", 0) for end in pairing.ends)
        losses[pairing.name] = (ends, forgetting)
    return WatchList(
        states=dict(_state_tests(device, bits)),
        resting=resting,
        losses=losses,
        changes=changes,
        rests=rests,
        due=bits.get("due", 0),
        busy=frozenset(n for n, one in enumerate(product.labels) if acts_at_once(product, one)),
        modes=tuple(bits[f"mode:{name}"] for name in device.modes if f"mode:{name}" in bits),
        groups=tuple(_groups(product)),
        choices=frozenset(n for n, one in enumerate(product.labels) if one.kind == "follow"),
    )


def _state_tests(device: Device, bits: dict[str, int]) -> Iterator[tuple[str, tuple[int, int]]]:
    for one, two in combinations(device.modes, 2):
        yield f"modes:{one}+{two}", (bits[f"mode:{one}"] | bits[f"mode:{two}"], 0)
    for name, bit in bits.items():
        kind, _, rest = name.partition(":")
        if kind == "bad":
            yield name, (bit, 0)
        elif kind == "requirement" and device.requirements[rest].pattern == "always":
            yield name, (0, bit)
        elif kind == "requirement" and device.requirements[rest].pattern in ("never", "possible"):
            yield name, (bit, 0)


def _groups(product: Product) -> Iterator[frozenset[int]]:
    """The labels of each actor, and those of each kind of fault."""
    for number, chip in enumerate(product.chips):
        if chip.actor:
            yield frozenset(
                label
                for label, form in enumerate(product.labels)
                if form.kind == "rule" and form.chip == number
            )
    by_target: dict[tuple[str, int], set[int]] = {}
    for fault in product.faults:
        labels = {fault.label, *fault.cut_labels.values()}
        by_target.setdefault((fault.kind, fault.target), set()).update(labels)
    for labels in by_target.values():
        yield frozenset(labels)
