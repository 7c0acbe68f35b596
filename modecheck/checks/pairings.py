"""Lost pairings: a bond gone by itself, ends that disagree, no road back to a working pairing."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.checks.roads import Roads
from modecheck.checks.ways import way_over, way_to
from modecheck.engine.exploration import Exploration
from modecheck.model.parts import Pairing, PairingEnd


def find(exploration: Exploration, roads: Roads) -> Iterator[Finding]:
    """Findings of all three forms, at most one of each form for each pairing."""
    for pairing in exploration.product.device.pairings.values():
        yield from _lost(exploration, pairing)
        yield from _one_sided(exploration, pairing)
        yield from _unrecoverable(exploration, roads, pairing)


def _watched_bits(exploration: Exploration, names: tuple[str, ...]) -> int:
    watched = exploration.product.watched_events
    return sum(1 << watched.index(name) for name in names)


def _lost(exploration: Exploration, pairing: Pairing) -> Iterator[Finding]:
    """The first transition by which an end loses its key without a forgetting event."""
    forgetting = _watched_bits(exploration, pairing.forgotten_by)
    ends = {exploration.mark(f"bonded:{end}"): end for end in pairing.ends}
    both = sum(ends)
    for number in range(exploration.expanded):
        before = exploration.marks[number] & both
        if not before:
            continue
        for edge in exploration.edges(number):
            gone = before & ~exploration.marks[exploration.targets[edge]]
            if gone and not exploration.notes[exploration.notes_of[edge]].events & forgetting:
                end = next(end for bit, end in ends.items() if gone & bit)
                yield _lost_finding(exploration, pairing, end, number, edge)
                return


def _lost_finding(
    exploration: Exploration, pairing: Pairing, end: PairingEnd, number: int, edge: int
) -> Finding:
    variable = exploration.product.device.chips[end.chip].variables[end.variable]
    hint = "" if variable.persistent else f"{end} is not persistent"
    return Finding(
        code="lost-bond",
        subject=pairing.name,
        text=f"{end} is gone, and nobody forgot the pairing {pairing.name}",
        place=variable.place,
        way=way_over(exploration, number, edge),
        details=(hint,) if hint else (),
    )


def _one_sided(exploration: Exploration, pairing: Pairing) -> Iterator[Finding]:
    """The shallowest state in which the device rests while the ends differ."""
    wanted = exploration.mark("rests") | exploration.mark(f"at_odds:{pairing.name}")
    for number in range(exploration.expanded):
        if exploration.marks[number] & wanted == wanted and not _busy(exploration, number):
            state = exploration.state(number)
            one, two = (_spelled(exploration, end, state) for end in pairing.ends)
            yield Finding(
                code="one-sided-bond",
                subject=pairing.name,
                text=f"the device rests while {one} and {two}",
                place=pairing.place,
                way=way_to(exploration, number),
            )
            return


def _busy(exploration: Exploration, number: int) -> bool:
    """Whether a chip can still act by itself, without time passing."""
    product = exploration.product
    for edge in exploration.edges(number):
        label = product.labels[exploration.labels[edge]]
        own = label.kind == "rule" and not product.chips[label.chip].actor
        if own and product.rules[label.rule].kind == "internal":
            return True
    return False


def _spelled(exploration: Exploration, end: PairingEnd, state: tuple[int, ...]) -> str:
    for field, value in zip(exploration.product.fields, state, strict=True):
        if field.name == str(end) and field.type is not None:
            key = field.type.spell(value)
            return f"{end} holds {'no key' if key == 'none' else f'key {key}'}"
    raise KeyError(str(end))


def _unrecoverable(exploration: Exploration, roads: Roads, pairing: Pairing) -> Iterator[Finding]:
    """The shallowest state from which every road to equal keys passes a forgetting event."""
    forgetting = _watched_bits(exploration, pairing.forgotten_by)

    def allowed(edge: int) -> bool:
        return not exploration.notes[exploration.notes_of[edge]].events & forgetting

    recovers = roads.leading_to(exploration.where(f"paired:{pairing.name}"), allowed)
    lost = recovers.find(0)
    if lost < 0:
        return
    one, two = (_spelled(exploration, end, exploration.state(lost)) for end in pairing.ends)
    yield Finding(
        code="unrecoverable-pairing",
        subject=pairing.name,
        text=f"{one} and {two}, and no road leads back to a working {pairing.name}",
        place=pairing.place,
        way=way_to(exploration, lost),
    )
