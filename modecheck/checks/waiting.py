"""Which chip waits for which: what would let a chip go on, and where it would come from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.parts import Chip, Rule
from modecheck.product.evaluation import StepFailed
from modecheck.product.ir import Product
from modecheck.product.rule_order import condition_of, rules_at


def who_waits_for_whom(product: Product, state: State, chips: Iterable[int]) -> Iterator[str]:
    """What each of these chips waits for; where that is room in a link, also what the receiver of
    the link waits for, and so on.
    """
    order = list(chips)
    for chip in order:  # grows during the loop
        yield from what_it_waits_for(product, state, chip)
        full = {queue for _, queue in waiting_for_room(product, state, chip)}
        receivers = (product.queues[queue].receiver for queue in sorted(full))
        order += (one for one in dict.fromkeys(receivers) if one not in order)


def what_it_waits_for(product: Product, state: State, chip: int) -> tuple[str, ...]:
    """A sentence for each thing that would let the chip go on from its state."""
    form = product.chips[chip]
    model = product.device.chips[form.name]
    leaf = form.leaves[state[form.state_field]]
    in_place = _taken_in_place(product, state, chip)
    full: dict[str, list[str]] = {}
    for number, queue in waiting_for_room(product, state, chip):
        room = f"room in link {product.queues[queue].name}, which is full"
        full.setdefault(product.rules[number].title, []).append(room)
    if Interpreter(product).is_held_back(chip, state):
        return (f"{form.name} in {leaf} waits for its turn on {model.runs_on}",)
    sentences: dict[str, None] = {}
    for rule in rules_at(model, leaf):
        if rule.title in in_place:
            sentences[f"can take {rule.title}, which changes nothing"] = None
            continue
        found = full.get(rule.title) or _sentences(product, state, model, rule)
        sentences |= dict.fromkeys(f"waits for {sentence}" for sentence in found)
    if not sentences:
        return (f"{form.name} has no rule in {leaf}",)
    return tuple(f"{form.name} in {leaf} {sentence}" for sentence in sentences)


def _taken_in_place(product: Product, state: State, chip: int) -> set[str]:
    """The rules that the chip can take by itself, and that lead to the very state again."""
    steps = Interpreter(product).steps(state)
    labels = (product.labels[step.label] for step in steps if step.after == state)
    rules = (label.rule for label in labels if label.kind == "rule" and label.chip == chip)
    return {product.rules[rule].title for rule in rules}


def waiting_for_room(product: Product, state: State, chip: int) -> list[tuple[int, int]]:
    """The rules (numbers) of a chip that wait for room, each with a link (number) that is full."""
    try:
        return list(Interpreter(product).waiting_for_room(state, chip))
    except StepFailed:
        return []  # a guard fails: that is a finding of its own


def _sentences(product: Product, state: State, chip: Chip, rule: Rule) -> list[str]:
    if not rule.trigger:
        if rule.expires and not condition_of(rule):
            return [f"its timer {rule.expires}, which is not running"]
        given = rule.branch.given_text if rule.branch is not None else ""
        if _has_else(chip, rule) and rule.guard is not None:
            return []  # what the choice waits for is said once, for its last branch
        wanted = " and ".join(text for text in (given, rule.guard_text) if text)
        return [wanted or f"its turn to take {rule.title}"]
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
        signallers = [
            other.name
            for other in product.device.chips.values()
            if other.name != chip.name and any(event.name in r.signals for r in other.rules)
        ]
        found += [f"{event.name} from {_place_of(product, state, name)}" for name in signallers]
    return found


def _has_else(chip: Chip, rule: Rule) -> bool:
    """Whether the rule is a branch of a choice that always has one."""
    if rule.branch is None:
        return False
    return any(one.whole == rule.whole and one.guard is None for one in chip.rules)


def _place_of(product: Product, state: State, name: str) -> str:
    """The chip with what it is doing: resting, waiting, or free to act, for an actor."""
    form = next(chip for chip in product.chips if chip.name == name)
    leaf = state[form.state_field]
    if form.actor:
        return f"{name}, who may never do so"
    return f"{name}, which {'rests' if form.rests[leaf] else 'waits'} in {form.leaves[leaf]}"
