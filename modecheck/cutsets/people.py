"""What actors do to a device: the effects of each act, and how often each is needed to break it."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.cutsets.breaking import Breakable
from modecheck.cutsets.counted_acts import acts_of, counted_act, labels_of
from modecheck.cutsets.effects import Effects, EffectSearch
from modecheck.cutsets.fault_counting import FaultCounting
from modecheck.engine.choice import Search
from modecheck.engine.contract.phases import phase
from modecheck.engine.search.exploration import Reporter
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class People:
    """The effects of each single act; and for what breaks without a fault, by its id, how often
    each act is `needed` at least, None for more than `most` times. What is in `unknown` may be
    needed less often: a bound was hit.
    """

    effects: tuple[Effects, ...]
    needed: dict[str, dict[str, int | None]]
    most: int
    unknown: tuple[str, ...] = ()


def people_of(
    device: Device,
    asked: EffectSearch,
    breakable: tuple[Breakable, ...],
    most: int,
    search: Search,
    reporter: Reporter | None,
) -> People:
    """What actors do. `breakable` says what breaks without a fault, and so by acts alone."""
    acts, effects = list(acts_of(device)), []
    for act in acts:
        with phase(f"effects of {act.name}"):
            labels = labels_of(asked.unharmed.product, act)
            effects.append(asked.effects(act.name, act.about, labels, asked.unharmed))
    broken = [one.id for one in breakable if one.least == 0]
    needed: dict[str, dict[str, int | None]] = {id_: {} for id_ in broken}
    unknown = []
    for act in acts if broken else ():
        with phase(f"how often {act.name} is needed"):
            counting = FaultCounting(counted_act(device, act, most), search, reporter)
        known = {one.id: one for one in counting.breakable}
        if not counting.space.complete or any(known[id_].remark for id_ in broken if id_ in known):
            unknown.append(act.name)
        for id_ in broken:
            needed[id_][act.name] = known[id_].least if id_ in known else None
    return People(tuple(effects), needed, most, tuple(unknown))
