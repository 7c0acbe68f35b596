"""Livelocks by brute force: parts of the graph in which chips can be busy for ever, fairly."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import networkx as nx

from modecheck.model.parts import Chip, Device, Link, Pairing
from tests.second_reading.deeds import Outcome
from tests.second_reading.search import Reached
from tests.second_reading.steps import SecondReading
from tests.second_reading.worlds import World

Kind = tuple[str, ...]
"""What has to happen in the end: a rule of a chip, the delivery of a message by a link, a tick."""

TIME = "time goes on"


@dataclass(frozen=True)
class Demand:
    kind: Kind
    strong: bool


def livelocks(reached: Reached) -> dict[str, int | None]:
    """Every finding by its id, with the distance of the nearest state of such a part."""
    found: dict[str, int] = {}
    chips = reached.device.chips
    for chip in chips.values():
        rests = [chip.states[leaf].rest for leaf in chip.leaves]
        if chip.actor or not any(rests) or _nearest(reached, chip, set()) is None:
            continue
        still: set[str] = set()
        for other in chips:
            if other != chip.name and _nearest(reached, chip, still | {other}) is not None:
                still.add(other)
        name = "livelock:" + "+".join(other for other in chips if other not in still)
        nearest = _nearest(reached, chip, still)
        assert nearest is not None
        found[name] = min(nearest, found.get(name, nearest))
    return dict(found)


def zeno(reached: Reached) -> dict[str, int | None]:
    """Chips that can go round for ever before a tick, as far as they are not told already."""
    found: dict[str, int | None] = {}
    told: set[str] = set()
    while reached.device.clock is not None and _at_one_moment(reached, told) is not None:
        still = set(told)
        for name in reached.device.chips:
            if _at_one_moment(reached, still | {name}) is not None:
                still.add(name)
        together = [name for name in reached.device.chips if name not in still]
        found["zeno:" + "+".join(together)] = _at_one_moment(reached, still)
        told.add(together[0])
    return found


def _at_one_moment(reached: Reached, still: set[str]) -> int | None:
    """The distance of the nearest part in which all happens without a tick."""
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    graph.add_nodes_from(reached.numbers)
    for number in list(graph):
        for step, target in reached.outcomes[number]:
            own = of_the_device(reached.device, kind_of(reached.device, step))
            if target in graph and own and step.label != TIME and not step.moved & still:
                graph.add_edge(number, target, step=step)
    reading = SecondReading(reached.device)
    stopped = {n for n in graph if reading.holds_time_up(reached.worlds[n])}
    return reached.nearest(fair_parts(reached, graph, through=stopped))


def _nearest(reached: Reached, chip: Chip, still: set[str]) -> int | None:
    """The distance of the nearest part in which a chip is busy while the others stand still."""
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    for number in reached.numbers:
        if not chip.states[reached.worlds[number].at[chip.name]].rest:
            graph.add_node(number)
    for number in list(graph):
        for step, target in reached.outcomes[number]:
            if (
                target in graph
                and target != number
                and not step.moved & still
                and _comes_to_nothing(reached, number, step)
            ):
                graph.add_edge(number, target, step=step)
    return reached.nearest(fair_parts(reached, graph, chip))


def _comes_to_nothing(reached: Reached, number: int, step: Outcome) -> bool:
    device, world, after = reached.device, reached.worlds[number], step.after
    assert after is not None
    kind = kind_of(device, step)
    if not of_the_device(device, kind):
        return False
    if kind[0] == "link" and device.links[kind[1]].carries[kind[2]].payload:
        return False
    return not any(
        _paired(after, pairing) and not _paired(world, pairing)
        for pairing in device.pairings.values()
    )


def _paired(world: World, pairing: Pairing) -> bool:
    one, two = (world.holds[end.chip, end.variable][end.item or 0] for end in pairing.ends)
    return one == two != 0


def kind_of(device: Device, step: Outcome) -> Kind:
    """Which demand a step meets; nothing for what faults do."""
    if step.label == TIME:
        return ("time",)
    for link in device.links.values():
        if step.label.startswith(f"{link.name} to {link.receiver}"):
            return ("link", link.name, step.delivered)
    for chip in device.chips.values():
        for rule in chip.rules:
            if step.label == f"{chip.name} {rule.title}":
                whole = not rule.fair and chip.fair == "whole"
                return ("rule", chip.name, "" if whole else rule.whole)
    return ()


def of_the_device(device: Device, kind: Kind) -> bool:
    """Whether chips, links or time do what meets a demand, not an actor: even one that is fair, and
    must act in the end, is no part of what the device does by itself.
    """
    return bool(kind) and not (kind[0] == "rule" and device.chips[kind[1]].actor)


def demands(device: Device) -> Iterator[Demand]:
    """What the device and time owe."""
    if device.clock is not None:
        yield Demand(("time",), False)
    for chip in device.chips.values():
        for rule in chip.rules:
            fair = rule.fair or chip.fair or ("none" if chip.actor else "weak")
            if fair != "none" and not rule.trigger:
                name = "" if fair == "whole" else rule.whole
                yield Demand(("rule", chip.name, name), fair == "strong")
    for link in device.links.values():
        fair = link.fair or ("strong" if _loses_for_ever(device, link) else "weak")
        for message in link.carries if fair != "none" else ():
            yield Demand(("link", link.name, message), fair == "strong")


def _loses_for_ever(device: Device, link: Link) -> bool:
    for kind, can in (("lose", link.loses), ("corrupt", link.corrupts)):
        groups = [g for g in device.faults if g.kind == kind and link.name in g.targets]
        endless = any(g.at_most is None and g.at_most_in_a_row is None for g in groups)
        if endless or (can and not groups):
            return True
    return False


def fair_parts(
    reached: Reached,
    graph: nx.MultiDiGraph[int],
    chip: Chip | None = None,
    through: set[int] | None = None,
) -> set[int]:
    """The states of all parts that meet every demand, in which the chip (or any) moves, and that go
    through one of these states, if they have to. Nobody demands what would leave
    everything as it is.
    """
    possible = {
        number: {
            kind_of(reached.device, step)
            for step, target in reached.outcomes[number]
            if target != number
        }
        for number in graph
    }
    found: set[int] = set()
    pending = [set(part) for part in nx.strongly_connected_components(graph)]
    while pending:
        part = pending.pop()
        inside = [
            (number, data["step"]) for number, _, data in graph.subgraph(part).edges(data=True)
        ]
        if not any(chip is None or chip.name in step.moved for _, step in inside):
            continue
        if through is not None and not part & through:
            continue
        met = {kind_of(reached.device, step) for number, step in inside}
        open_ = [one for one in demands(reached.device) if one.kind not in met]
        if any(all(one.kind in possible[n] for n in part) for one in open_ if not one.strong):
            continue
        wronged = {n for n in part for one in open_ if one.strong and one.kind in possible[n]}
        if wronged:
            rest = graph.subgraph(part - wronged)
            pending += [set(smaller) for smaller in nx.strongly_connected_components(rest)]
        else:
            found |= part
    return found
