"""What is wrong with a device, by brute force on everything that can be reached.

Every finding by its id, with the length of its shortest scenario (None where it has none, and for
an endless switch; for a livelock, the shortest way to where a loop can begin). The future behind a
step that must not happen is unknown, so it counts as one in which all is well.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from modecheck.model.parts import Chip, Pairing, Requirement, Rule, State
from tests.second_reading.clocks import Clocks
from tests.second_reading.endless_switches import endless_switches
from tests.second_reading.livelocks import livelocks, zeno
from tests.second_reading.modes import findings_of_modes
from tests.second_reading.reachability import leading_to
from tests.second_reading.search import Reached
from tests.second_reading.steps import SecondReading, wants_now
from tests.second_reading.worlds import World, holds_in

Cause = frozenset[tuple[str, str]]
Expected = dict[str, int | None]


def findings_of(reached: Reached) -> Expected:
    """Every finding but those about declarations that nothing uses."""
    found: Expected = {}
    for part in (_deadlocks, _stuck_chips, _failures, _pairings, findings_of_modes, _requirements):
        found |= part(reached)
    found |= livelocks(reached) | endless_switches(reached) | zeno(reached) | _time_stops(reached)
    return found | _unreachable(reached) | _dead_rules(reached) | _dead_letters(reached)


OF_STATES = ("never", "always", "possible", "recoverable")
"""Patterns of requirements that single states and paths decide."""


def rests(reached: Reached, world: World) -> bool:
    """Every chip is in a rest state and every link is empty; actors may be anywhere."""
    chips = [chip for chip in reached.device.chips.values() if not chip.actor]
    resting = all(chip.states[world.at[chip.name]].rest for chip in chips)
    return resting and not any(world.waits.values())


def deadlocked(reached: Reached) -> dict[int, Cause]:
    """The worlds in which nothing goes on by itself and the device does not rest, and who waits."""
    return {
        number: _cause(reached, reached.worlds[number])
        for number in reached.numbers
        if not goes_on(reached, number)
        and not rests(reached, reached.worlds[number])
        and not due_in(reached, reached.worlds[number])
    }


def goes_on(reached: Reached, number: int) -> bool:
    """Whether a chip, a link or time leads on to another world, or into the unknown; or round and
    round in this one while time waits for it.
    """
    return any(
        step.unprompted and (target != number or step.first)
        for step, target in reached.outcomes[number]
    )


def due_in(reached: Reached, world: World) -> list[str]:
    """The rules that have to be taken now: not those of an activity that gives way to others."""
    if reached.device.clock is None:
        return []
    reading = SecondReading(reached.device)
    return [
        f"{chip.name}.{rule.title}"
        for chip, rule in Clocks(reached.device).at_latest(world)
        if wants_now(chip, rule, world) and not reading.gives_way(world, chip)
    ]


def _time_stops(reached: Reached) -> Expected:
    stopped: dict[str, list[int]] = {}
    order = [
        f"{chip.name}.{rule.title}" for chip in reached.device.chips.values() for rule in chip.rules
    ]
    for number in reached.numbers:
        due = due_in(reached, reached.worlds[number])
        if due and not goes_on(reached, number):
            name = "+".join(sorted(due, key=order.index))
            stopped.setdefault(f"time-stop:{name}", []).append(number)
    return {name: reached.nearest(numbers) for name, numbers in stopped.items()}


def _cause(reached: Reached, world: World) -> Cause:
    chips = [chip for chip in reached.device.chips.values() if not chip.actor]
    waiting = {(c.name, world.at[c.name]) for c in chips if not c.states[world.at[c.name]].rest}
    heads = {(link, queue[0].message) for link, queue in world.waits.items() if queue}
    return frozenset(waiting or heads)


def reported(causes: Iterable[Cause]) -> set[Cause]:
    """The causes of deadlock that contain no other one whole."""
    known = set(causes)
    return {cause for cause in known if not any(other < cause for other in known)}


def _deadlocks(reached: Reached) -> Expected:
    causes = deadlocked(reached)
    order = [*reached.device.chips, *reached.device.links]
    found: Expected = {}
    for cause in reported(causes.values()):
        parts = sorted(cause, key=lambda part: order.index(part[0]))
        subject = "+".join(f"{name}.{where}" for name, where in parts)
        containing = [number for number, other in causes.items() if cause <= other]
        found[f"deadlock:{subject}"] = reached.nearest(containing)
    return found


def _stuck_chips(reached: Reached) -> Expected:
    causes = deadlocked(reached)
    told = reported(causes.values())
    found: Expected = {}
    for chip in reached.device.chips.values():
        moving = [
            number
            for number in reached.numbers
            if any(
                chip.name in step.moved and target != number
                for step, target in reached.outcomes[number]
            )
        ]
        free = leading_to(reached, moving)
        for leaf in [leaf for leaf in chip.leaves if not chip.actor and not chip.states[leaf].rest]:
            ends = [
                number
                for number, cause in causes.items()
                if any((chip.name, leaf) in one and one <= cause for one in told)
            ]
            ending = leading_to(reached, ends) if ends else set()
            stuck = [
                number
                for number in reached.numbers
                if reached.worlds[number].at[chip.name] == leaf and number not in free | ending
            ]
            if stuck:
                found[f"stuck-chip:{chip.name}.{leaf}"] = reached.nearest(stuck)
    return found


def _failures(reached: Reached) -> Expected:
    found: dict[str, int] = {}
    for number in reached.numbers:
        for outcome, _ in reached.outcomes[number]:
            for failure in outcome.failures:
                steps = reached.depths[number] + 1
                name = ":".join(failure)
                found[name] = min(steps, found.get(name, steps))
    return dict(found)


def _pairings(reached: Reached) -> Expected:
    found: Expected = {}
    for pairing in reached.device.pairings.values():
        found |= {
            f"{code}:{pairing.name}": steps
            for code, steps in (
                ("lost-bond", _lost_bond(reached, pairing)),
                ("one-sided-bond", reached.nearest(_one_sided(reached, pairing))),
                ("unrecoverable-pairing", reached.nearest(_unrecoverable(reached, pairing))),
                ("usurped-session", _usurped(reached, pairing)),
            )
            if steps is not None
        }
    return found


def keys_of(world: World, pairing: Pairing) -> list[int]:
    return [world.holds[end.chip, end.variable][end.item or 0] for end in pairing.ends]


def _lost_bond(reached: Reached, pairing: Pairing) -> int | None:
    lengths = [
        reached.depths[number] + 1
        for number in reached.numbers
        for step, target in reached.outcomes[number]
        if target >= 0 and not step.events & set(pairing.forgotten_by)
        for before, after in zip(
            keys_of(reached.worlds[number], pairing),
            keys_of(reached.worlds[target], pairing),
            strict=True,
        )
        if before and not after
    ]
    return min(lengths, default=None)


def _one_sided(reached: Reached, pairing: Pairing) -> Iterator[int]:
    internal = {
        f"{chip.name} {rule.title}"
        for chip in reached.device.chips.values()
        for rule in chip.rules
        if not chip.actor and rule.kind == "internal"
    }
    for number in reached.numbers:
        one, two = keys_of(reached.worlds[number], pairing)
        enabled = {step.label for step, target in reached.outcomes[number] if target != number}
        if one != two and rests(reached, reached.worlds[number]) and not enabled & internal:
            yield number


def _unrecoverable(reached: Reached, pairing: Pairing) -> list[int]:
    paired = []
    for number in reached.numbers:
        one, two = keys_of(reached.worlds[number], pairing)
        if one == two != 0:
            paired.append(number)
    forgetting = begun(reached, pairing.forgotten_by)
    helpers = {
        f"{name} {rule.title}"
        for name in pairing.recovers_without
        for rule in reached.device.chips[name].rules
    }
    recovering = leading_to(
        reached,
        paired,
        lambda step: not step.events & forgetting and not helpers & {step.label},
    )
    return [number for number in reached.numbers if number not in recovering]


def begun(reached: Reached, names: Iterable[str]) -> set[str]:
    """What is noted of a step in which somebody gives one of these signals or sends one of these
    messages. To receive one is none of them.
    """
    messages = {message for link in reached.device.links.values() for message in link.carries}
    return {f"{name} is sent" if name in messages else name for name in names}


def _usurped(reached: Reached, pairing: Pairing) -> int | None:
    """How soon a session can begin in a step after which the pairing is not the selected one."""
    if pairing.session is None:
        return None
    lengths = [
        reached.depths[number] + 1
        for number in reached.numbers
        for _, target in reached.outcomes[number]
        if target >= 0
        and not holds_in(pairing.session, reached.worlds[number])
        and holds_in(pairing.session, reached.worlds[target])
        and not holds_in(pairing.selected, reached.worlds[target])
    ]
    return min(lengths, default=None)


def _requirements(reached: Reached) -> Expected:
    found: Expected = {}
    for need in reached.device.requirements.values():
        if need.pattern not in OF_STATES:
            continue  # runs are read in tests/checks and tests/published
        broken, steps = _broken(reached, need)
        found |= {f"broken-requirement:{need.name}": steps} if broken else {}
    return found


def _broken(reached: Reached, need: Requirement) -> tuple[bool, int | None]:
    good = [n for n in reached.numbers if holds_in(need.condition, reached.worlds[n])]
    if need.pattern == "possible":
        return not good, None
    if need.pattern == "recoverable":
        barred = begun(reached, need.without)
        good = list(leading_to(reached, good, lambda step: not step.events & barred))
    bad = (
        [n for n in reached.numbers if n in good]
        if need.pattern == "never"
        else [number for number in reached.numbers if number not in set(good)]
    )
    return bool(bad), reached.nearest(bad)


def _occupied(reached: Reached, chip: Chip) -> set[str]:
    return {world.at[chip.name] for world in reached.worlds}


def _unreachable(reached: Reached) -> Expected:
    found: Expected = {}
    for chip in reached.device.chips.values():
        occupied = _occupied(reached, chip)

        def seen(state: State, there: set[str] = occupied) -> bool:
            return bool(set(state.leaves) & there)

        for state in chip.states.values():
            if not seen(state) and (state.parent is None or seen(chip.states[state.parent])):
                found[f"unreachable-state:{chip.name}.{state.name}"] = None
    return found


def _dead_rules(reached: Reached) -> Expected:
    taken = {rule for steps in reached.outcomes for step, _ in steps for rule in step.taken}
    return {
        f"dead-rule:{chip.name}.{rule.title}": None
        for chip in reached.device.chips.values()
        for rule in chip.rules
        if (chip.name, rule.title) not in taken and _occupied(reached, chip) & _leaves(chip, rule)
    }


def _dead_letters(reached: Reached) -> Expected:
    """Sent in some step that does not fail, and never at the head of a link that delivers it."""
    sent: Expected = {}
    for number in reached.numbers:
        for step, target in reached.outcomes[number]:
            for link, message in sorted(step.sent) if target >= 0 else ():
                sent.setdefault(f"{link}.{message}", reached.depths[number] + 1)
    reading, chips = SecondReading(reached.device), reached.device.chips
    arrived = {
        f"{link.name}.{world.waits[link.name][place].message}"
        for world in reached.worlds
        for link in reached.device.links.values()
        if not reading.gives_way(world, chips[link.receiver])
        for place in reading.here(world, link)
    }
    return {f"dead-letter:{name}": steps for name, steps in sent.items() if name not in arrived}


def _leaves(chip: Chip, rule: Rule) -> set[str]:
    inside = {leaf for source in rule.sources for leaf in chip.states[source].leaves}
    return inside if rule.sources else set(chip.leaves)
