"""What one `exactly_once` costs on a large device, beside exploring its observer's product.

    python -m tests.benchmarks.exactly_once

The device is tandem under so many faults that it has 931,586 states. The requirement is judged as a
check does it, then the product that its observer makes is explored, which alone took longer before.
Both in one run, one after the other: the ratio is what counts.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass

from modecheck.checks.watched import events_of, judge
from modecheck.engine.choice import Search, explore_with
from modecheck.product.composition import compose
from tests.benchmarks.explore import product_of

NAME = "each_note"
TANDEM = """\
device: tandem under many losses
based_on: {folder}/models/tandem/device.yaml
faults:
  power_cut: {{chips: [hub, front_bridge, rear_bridge], at_most: 2}}
  lose: {{links: [front_air, rear_air, usb_up, usb_down], at_most: 4}}
requirements:
  each_note:
    text: The laptop hears each note exactly once, unless it is left meanwhile
    exactly_once: {{sent: hub.note, received: laptop.note}}
    may_lose: while hub.state not in [wired_up, radio_up]
"""
NATIVE = Search(engine="compiled")


@dataclass(frozen=True, slots=True)
class Judging:
    """Seconds and states: of the device, of judging the requirement, of its observer's product."""

    verdict: str
    device_states: int
    states: int
    seconds: float
    product_states: int
    product_seconds: float

    def __str__(self) -> str:
        ratio = self.product_seconds / self.seconds
        return (
            f"exactly_once over {self.device_states:,} states: {self.verdict}, "
            f"{self.states:,} states looked at in {self.seconds:.1f} s; its observer's product: "
            f"{self.product_states:,} states in {self.product_seconds:.1f} s, {ratio:.0f} times"
        )


def measured() -> Judging:
    """Both, on the same explored device. What is compiled once for a product is compiled before."""
    product = product_of(TANDEM.format(folder=os.getcwd()))
    space = explore_with(product, NATIVE, overhearing=events_of(product))
    need = product.device.requirements[NAME]
    list(judge(space, [need], NATIVE, None))
    began = time.perf_counter()
    (judged,) = judge(space, [need], NATIVE, None)
    between = time.perf_counter()
    both = explore_with(compose(product.device, observers=(NAME,)), NATIVE)
    ended = time.perf_counter()
    assert judged.cost is not None
    return Judging(
        judged.verdict, space.state_count, judged.cost.states, between - began,
        both.state_count, ended - between,
    )  # fmt: skip


if __name__ == "__main__":
    print(measured())
