"""Who waits for ever, under which assumption of fairness: verdicts of the literature.

Sources: Dijkstra, Cooperating sequential processes (EWD123), 1965, and Ben-Ari, Principles of
concurrent and distributed programming, 2006, chapter 3 (first attempt, Dekker); Baier and Katoen,
Principles of model checking, 2008 (Peterson); Bartlett, Scantlebury, Wilkinson 1969 and Milner 1989
(alternating bit); Dijkstra, EWD310, 1971 (philosophers). The marks are explained in conftest.py;
what is marked C was counted by brute force before this tool existed.

Fairness sets are given here by name, whatever the defaults are: a rule that is in none may stay
untaken for ever.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from modecheck.product.ir import FairSet, Product
from tests.generation.devices import device_from

Assume = Callable[[Product], tuple[FairSet, ...]]

ANSWERED = "answered"


def waits_for_ever(text: str, assume: Assume) -> bool:
    """Whether some fair run breaks the requirement `answered`."""
    product = compose(device_from(text), observers=[ANSWERED])
    space = explore(replace(product, fair=assume(product)))
    assert space.complete
    pending = space.mark(f"alive:{ANSWERED}")
    return space.fair_loop(LoopQuery(wanted=pending)).loop is not None


def rules(*titles: str, strong: bool = False, but: tuple[str, ...] = ()) -> Assume:
    """A set for each rule of these titles, or of all others than `but`."""

    def assumed(product: Product) -> tuple[FairSet, ...]:
        chosen = [
            (rule, frozenset(n for n, label in enumerate(product.labels) if label.rule == number))
            for number, rule in enumerate(product.rules)
            if (rule.title in titles or not titles) and rule.title not in but
        ]
        return tuple(FairSet(f"{r.chip} {r.title}", strong, own) for r, own in chosen if own)

    return assumed


def receptions(*links: str, strong: bool) -> Assume:
    """A set for each of these links: whatever it delivers."""

    def assumed(product: Product) -> tuple[FairSet, ...]:
        found = []
        for name in links:
            (number,) = (n for n, queue in enumerate(product.queues) if queue.name == name)
            own = (
                n
                for n, label in enumerate(product.labels)
                if label.kind in ("deliver", "discard") and label.queue == number
            )
            found.append(FairSet(name, strong, frozenset(own)))
        return tuple(found)

    return assumed


def both(*parts: Assume) -> Assume:
    return lambda product: tuple(one for part in parts for one in part(product))


def nothing(_: Product) -> tuple[FairSet, ...]:
    return ()


def on_top_of(models: Path, model: str, whenever: str, then: str) -> str:
    """A bundled machine with one more requirement."""
    return (
        f"device: a requirement more\nbased_on: {models / model}.yaml\nrequirements:\n"
        f"  {ANSWERED}: {{text: It is answered, whenever: {whenever}, then: {then}}}\n"
    )


def philosopher(name: str, first: str, second: str) -> str:
    """One who may think for ever, gets hungry, takes the fork towards `first`, then the other.

    A fork is taken by whoever holds it: towards a neighbour, that one's state tells.
    """
    return (
        f"  {name}:\n"
        "    states: {thinking: {rest: true}, hungry: {}, one: {}, eating: {}}\n"
        "    rules:\n"
        "      get_hungry: {in: thinking, to: hungry}\n"
        f"      take_first: {{in: hungry, if: {first}, to: one}}\n"
        f"      take_second: {{in: one, if: {second}, to: eating}}\n"
        "      put_both: {in: eating, to: thinking}\n"
    )


def table(count: int, left_handed: Iterable[int], hungry: int) -> str:
    """Philosophers in a ring; the fork on the left is shared with the one before."""

    def free(owner: int, side: str) -> str:
        """Whether a neighbour does not hold the fork on that side of its own."""
        name = f"p{owner}"
        holds_first = f"{name}.state == one" if (owner in left_handed) == (side == "right") else ""
        holding = f"{name}.state == eating" + (f" or {holds_first}" if holds_first else "")
        return f"not ({holding})"

    chips = []
    for number in range(count):
        left = free((number - 1) % count, "right")
        right = free((number + 1) % count, "left")
        order = (right, left) if number in left_handed else (left, right)
        chips.append(philosopher(f"p{number}", *order))
    who = f"p{hungry}.state"
    return (
        f"device: {count} philosophers\nchips:\n{''.join(chips)}requirements:\n"
        f"  {ANSWERED}: {{text: It eats, whenever: {who} == hungry, then: {who} == eating}}\n"
    )


def states_of(text: str) -> PlainExploration:
    return explore(compose(device_from(text)))


THINKING_MAY_LAST = ("get_hungry",)
WEAKLY = rules(but=THINKING_MAY_LAST)
STRONGLY = rules(strong=True, but=THINKING_MAY_LAST)


@pytest.mark.parametrize(("count", "states"), [(3, 42), (4, 150)])
def test_hungry_philosophers_have_the_counted_size(count: int, states: int) -> None:
    """42 and 150 states with one left-handed (C)."""
    assert states_of(table(count, [0], 0)).state_count == states


@pytest.mark.parametrize("count", [3, 4])
@pytest.mark.parametrize("assume", [WEAKLY, STRONGLY], ids=["weak", "strong"])
def test_hungry_philosophers_starve_when_all_take_the_same_side(count: int, assume: Assume) -> None:
    """Weak or strong: nobody eats in the deadlock (C, for some philosopher; all by symmetry)."""
    assert all(waits_for_ever(table(count, [], who), assume) for who in range(count))


@pytest.mark.parametrize("count", [3, 4])
def test_one_left_handed_philosopher_needs_strong_fairness(count: int) -> None:
    """Fails under weak fairness, holds under strong (C); that each one can starve has no source."""
    assert all(waits_for_ever(table(count, [0], who), WEAKLY) for who in range(count))
    assert not any(waits_for_ever(table(count, [0], who), STRONGLY) for who in range(count))


REQUEST = {
    "exclusion_a1": "p.state == waiting",
    "dekker": "p.state == line_1",
    "peterson": "p.state == flagged",
    "peterson_atomic": "p.state == waiting",
}
IDLE_MAY_LAST = ("ask", "announce")


def process(models: Path, model: str) -> str:
    return on_top_of(models, model, REQUEST[model], "p.state == critical")


@pytest.mark.parametrize("strong", [False, True])
def test_the_first_attempt_starves(models: Path, strong: bool) -> None:
    """The other may stay idle, and with it the turn, even under strong fairness (MC)."""
    assume = rules(strong=strong, but=("ask",))
    assert waits_for_ever(process(models, "exclusion_a1"), assume)


def test_the_first_attempt_serves_whoever_alternates(models: Path) -> None:
    """If both have to ask again and again there is no starvation (by hand, no source)."""
    assert not waits_for_ever(process(models, "exclusion_a1"), rules())


@pytest.mark.parametrize("strong", [False, True])
def test_dekker_starves_nobody(models: Path, strong: bool) -> None:
    """No starvation, and weak fairness is enough (MC)."""
    assume = rules(strong=strong, but=("ask",))
    assert not waits_for_ever(process(models, "dekker"), assume)


def test_dekker_needs_some_fairness(models: Path) -> None:
    """Without any, a process need not be run at all (by hand, no source)."""
    assert waits_for_ever(process(models, "dekker"), nothing)


@pytest.mark.parametrize("model", ["peterson", "peterson_atomic"])
def test_peterson_starves_nobody_under_weak_fairness(models: Path, model: str) -> None:
    """Baier and Katoen 2008 (MC): weak fairness is enough, and some is needed."""
    idle = IDLE_MAY_LAST if model == "peterson" else ("announce", "ask")
    assert not waits_for_ever(process(models, model), rules(but=idle))
    assert waits_for_ever(process(models, model), nothing)


SENDER_AND_RECEIVER = ("put_zero", "put_one", "timeout", "hand_over_0", "confirm")


def alternating_bit(models: Path) -> str:
    return on_top_of(models, "alternating_bit_1", "signalled(taken_0)", "signalled(delivered_0)")


def test_alternating_bit_loses_for_ever_without_fairness(models: Path) -> None:
    """First row: "accepted leads to delivered" fails without fairness (C)."""
    assert waits_for_ever(alternating_bit(models), nothing)


def test_alternating_bit_loses_for_ever_under_weak_fairness(models: Path) -> None:
    """Second row: weak fairness on everything does not help, since a loss disables arrival (C)."""
    weak = both(rules(*SENDER_AND_RECEIVER), receptions("data", "acks", strong=False))
    assert waits_for_ever(alternating_bit(models), weak)


def test_alternating_bit_delivers_when_channels_are_fair_lossy(models: Path) -> None:
    """Third row: holds under strong fairness of both receptions, weak of the rest (C)."""
    fair = both(rules(*SENDER_AND_RECEIVER), receptions("data", "acks", strong=True))
    assert not waits_for_ever(alternating_bit(models), fair)


def test_alternating_bit_needs_both_ends_to_go_on(models: Path) -> None:
    """Strong receptions alone are not enough, the weak sets are needed, too (no source)."""
    alone = receptions("data", "acks", strong=True)
    assert waits_for_ever(alternating_bit(models), alone)
    for left_out in ("timeout", "hand_over_0", "confirm"):
        rest = tuple(title for title in SENDER_AND_RECEIVER if title != left_out)
        assert waits_for_ever(alternating_bit(models), both(rules(*rest), alone))


def test_defaults_are_those_of_a_fair_lossy_link(models: Path) -> None:
    """What this tool assumes unless told otherwise makes the protocol deliver."""
    assert not waits_for_ever(alternating_bit(models), lambda product: product.fair)
    strong = {one.name for one in compose(device_from(alternating_bit(models))).fair if one.strong}
    assert strong == {"data delivers zero", "data delivers one", "acks delivers ack"}
