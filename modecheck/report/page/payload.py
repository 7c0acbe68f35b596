"""The data for the scripts of a page: the parts of each variant, its walk, and the scenarios."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from modecheck.draw.shown import shown
from modecheck.engine.contract.space import Space
from modecheck.model.values import ValueType
from modecheck.product.ir import Field, Product, Queue
from modecheck.report.page.page_walks import PageWalk, WalkLimits
from modecheck.report.page.tellings import LONGEST_WORD
from modecheck.scenario.traces import Trace

Json = dict[str, Any]


@dataclass(slots=True)
class PageData:
    """Scenarios are added first, so that their states are held; then the walks grow. `variants` are
    explorations with their names, `index` what a search finds: a text, and the anchor of its place.
    """

    variants: list[tuple[str, Space]]
    walks: list[PageWalk] = field(init=False)
    scenarios: list[Json] = field(default_factory=list)
    index: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.walks = [PageWalk(space.product) for _, space in self.variants]

    def add(self, title: str, trace: Trace, variant: int) -> int:
        """Add a scenario, a trace of the variant with this number; returns its number."""
        trodden = self.walks[variant].lay(trace)
        self.scenarios.append(
            {
                "title": shown(title, LONGEST_WORD),
                "variant": variant,
                "loop": trace.loop_from,
                "path": [[step.telling, step.state] for step in trodden],
            }
        )
        return len(self.scenarios) - 1

    def grow(self) -> None:
        """Let the walks grow, each as far as its share of the page allows."""
        room, count = WalkLimits(), len(self.walks)
        share = WalkLimits(states=max(room.states // count, 1), size=room.size // count)
        for walk in self.walks:
            walk.grow(share)

    def as_json(self) -> str:
        """JSON for a script element: no `<` in it can close that element."""
        pairs = zip(self.variants, self.walks, strict=True)
        variants = [_variant(name, space, walk) for (name, space), walk in pairs]
        return in_script({"variants": variants, "scenarios": self.scenarios, "index": self.index})


def in_script(data: object) -> str:
    """Compact JSON without the characters that are special in HTML."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _variant(name: str, space: Space, walk: PageWalk) -> Json:
    product = space.product
    return {
        "name": shown(name, LONGEST_WORD),
        "states": space.state_count,
        "held": walk.held,
        "fields": [_field(each) for each in product.fields],
        "chips": [
            {
                "name": form.name,
                "actor": form.actor,
                "field": form.state_field,
                "leaves": list(form.leaves),
                "around": [_ancestry(product, form.name, leaf) for leaf in form.leaves],
            }
            for form in product.chips
        ],
        "queues": [_queue(queue) for queue in product.queues],
        "rules": [
            [chip, shown(rule.title, 1000)]
            for rule, chip in zip(product.rules, product.rule_chips, strict=True)
        ],
        "modes": list(product.device.modes),
        "timed": product.device.clock is not None,
        "budgets": [
            [left, product.fields[left].name]
            for fault in product.faults
            for left in (fault.budget, fault.row)
            if left >= 0
        ],
        "walk": {
            "states": walk.states,
            "steps": [0 if steps is None else steps for steps in walk.steps],
            "tellings": list(walk.tellings),
        },
    }


def _field(each: Field) -> Json:
    """`chip` only for variables, which readers see by name and value."""
    if each.type is None or each.owner < 0:
        return {"start": each.start}
    return {"start": each.start, "chip": each.owner, "name": each.name, **_values(each.type)}


def _values(kind: ValueType) -> Json:
    return {"low": kind.low, "words": [shown(word, LONGEST_WORD) for word in kind.words]}


def _queue(queue: Queue) -> Json:
    return {
        "name": queue.name,
        "from": queue.sender,
        "to": queue.receiver,
        "slots": [[slot.code, slot.value, slot.late] for slot in queue.slots],
        "messages": [
            {"name": one.name, **(_values(one.type) if one.type is not None else {})}
            for one in queue.messages
        ],
    }


def _ancestry(product: Product, chip: str, leaf: str) -> list[str]:
    return [name for name in product.device.chips[chip].ancestry(leaf)[1:] if name]
