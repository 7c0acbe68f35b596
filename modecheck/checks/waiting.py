"""Who waits for whom: what could let a chip go on, and where that would have to come from."""

from __future__ import annotations

from modecheck.engine.plain import State
from modecheck.model.parts import Chip, Rule
from modecheck.product.form import Product


def what_it_waits_for(product: Product, state: State, chip: int) -> tuple[str, ...]:
    """A sentence for each thing that would let the chip go on from its state."""
    form = product.chips[chip]
    model = product.device.chips[form.name]
    leaf = form.leaves[state[form.state_field]]
    sentences: dict[str, None] = {}
    for rule in model.rules_at(leaf):
        for sentence in _sentences(product, state, model, rule):
            sentences[sentence] = None
    if not sentences:
        return (f"{form.name} has no rule in {leaf}",)
    return tuple(f"{form.name} in {leaf} waits for {sentence}" for sentence in sentences)


def _sentences(product: Product, state: State, chip: Chip, rule: Rule) -> list[str]:
    if not rule.trigger:
        return [f"{rule.guard_text}" if rule.guard_text else f"room to send in {rule.title}"]
    found = []
    for event in rule.trigger:
        links = [
            link
            for link in product.device.links.values()
            if link.receiver == chip.name
            and event.name in link.carries
            and event.link in (None, link.name)
        ]
        for link in links:
            sender = _place_of(product, state, link.sender)
            found.append(f"{event.name} over {link.name} from {sender}")
        raisers = [
            other.name
            for other in product.device.chips.values()
            if other.name != chip.name and any(event.name in r.raises for r in other.rules)
        ]
        found += [f"{event.name} from {_place_of(product, state, name)}" for name in raisers]
    return found


def _place_of(product: Product, state: State, name: str) -> str:
    """The chip with what it is doing: resting, waiting, or free to act, for an actor."""
    form = next(chip for chip in product.chips if chip.name == name)
    leaf = state[form.state_field]
    if form.actor:
        return f"{name}, who need not act"
    return f"{name}, which {'rests' if form.rests[leaf] else 'waits'} in {form.leaves[leaf]}"
