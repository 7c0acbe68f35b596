"""What a page holds of a step accounts for every message: none appears or vanishes untold."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product
from modecheck.report.page.tellings import telling
from tests.models.bundled import SMALL, TWINS, name_of, verdict_on

COMES, GOES = ("sent", "doubled"), ("arrived", "gone")
CHOSEN = ("accepted_is_not_delivered", "silent_plug", "stale_replay", "update_interrupted")
"""Twins in which messages are sent into links that are down, or are in a link that goes down."""


def lengths(product: Product, state: State) -> list[int]:
    """How many messages wait in each link."""
    return [sum(state[slot.code] > 0 for slot in queue.slots) for queue in product.queues]


@pytest.mark.parametrize(
    "model", [*SMALL, *(one for one in TWINS if one.stem in CHOSEN)], ids=name_of
)
def test_marks_account_for_every_message(model: Path) -> None:
    """In every step of the product, what comes into and goes out of each link makes up what it
    holds after the step.
    """
    space = verdict_on(model).explored[0].exploration
    product, interpreter = space.product, Interpreter(space.product)
    for number in range(space.state_count):
        before = space.state(number)
        for step in interpreter.steps(before):
            if step.after is None:
                continue
            count: Counter[object] = Counter()
            for mark in telling(product, step)[-2]:
                count[mark[1]] += (mark[0] in COMES) - (mark[0] in GOES)
            expected = [held + count[queue] for queue, held in enumerate(lengths(product, before))]
            assert lengths(product, step.after) == expected, step
