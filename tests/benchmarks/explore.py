"""How fast large products are explored, beside what the machine can do at all.

    python -m tests.benchmarks.explore [NAME ...]

For each product: states and transitions a second, bytes a state, and the ratio to baselines
measured in the same run: the machine's limit (as many prefetched random probes into a table of that
size, nothing else), the plain interpreter, and for octal counters a program written by hand. What
one thread does is measured by its processor time. Figures of a busy machine are worth little all
the same; `python -m tests.benchmarks.threads` tells what more threads bring.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import compiled
from modecheck.engine.native.reach import ReachedStates, reach
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.benchmarks.by_hand import rate_by_hand
from tests.benchmarks.limit import probes_a_second

WARM = Limits(states=100_000)
PLAIN_STATES = 20_000
"""States that the plain interpreter explores for its rate."""


def counters(count: int) -> str:
    """Independent counters modulo 8."""
    body = (
        "{variables: {n: {range: [0, 7]}}, states: [s], rules: [{do: n = n + 1 if n < 7 else 0}]}"
    )
    chips = "\n".join(f"  c{number}: {body}" for number in range(count))
    return f"device: {count} octal counters\nchips:\n{chips}\n"


def philosophers(count: int) -> str:
    """Dining philosophers, left fork first; forks are read off the neighbours' states."""
    chips = []
    for number in range(count):
        left, right = f"p{(number - 1) % count}", f"p{(number + 1) % count}"
        chips.append(
            f"  p{number}:\n"
            "    states: {thinking: {rest: true}, waiting: {}, eating: {}}\n"
            "    rules:\n"
            f"      - {{in: thinking, if: {left}.state != eating, to: waiting}}\n"
            f"      - {{in: waiting, if: {right}.state == thinking, to: eating}}\n"
            "      - {in: eating, to: thinking}\n"
        )
    return f"device: {count} philosophers\nchips:\n{''.join(chips)}"


TANDEM = """\
device: tandem under many faults
based_on: {folder}/models/tandem/device.yaml
faults:
  power_cut: {{chips: [hub, front_bridge, rear_bridge], at_most: 3}}
  reset: {{chips: [charger, laptop, tablet], at_most: 4}}
  lose: {{links: [front_air, rear_air, front_cord, rear_cord, usb_up, usb_down], at_most: 4}}
"""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was measured of one exploration."""

    seconds: float
    states: int
    transitions: int
    slots: int
    bytes: int

    @property
    def rate(self) -> float:
        return self.states / self.seconds


def figures_of(reached: ReachedStates, seconds: float) -> Figures:
    """What to remember of an exploration; its memory is given back."""
    figures = Figures(
        seconds,
        reached.states,
        reached.transitions,
        reached.table.bytes // 8,
        reached.used_bytes,
    )
    reached.give_back()
    return figures


def devices() -> Iterator[tuple[str, str]]:
    """Names and texts of the devices."""
    folder = os.getcwd()
    yield "octal-7", counters(7)
    yield "octal-8", counters(8)
    with open("models/published/cube_2x2x2.yaml", encoding="utf-8") as file:
        yield "cube", file.read()
    yield "philosophers-12", philosophers(12)
    yield "tandem", TANDEM.format(folder=folder)


def product_of(text: str) -> Product:
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "device.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        return compose(read_device(path))


def measured(product: Product, *, repeats: int = 3) -> tuple[Figures, Figures]:
    """The best of some runs with one thread and with two, which take turns: what else the machine
    does meanwhile is the same for both.
    """
    machine = compiled(product, system_actions(product))
    best: dict[int, Figures] = {}
    for threads in (1, 2):  # compiles the kernels
        reach(machine, threads=threads, limits=WARM, reporter=Silent()).give_back()
    for threads in (1, 2) * repeats:
        clock = time.thread_time if threads == 1 else time.perf_counter
        began = clock()
        reached = reach(machine, threads=threads, limits=Limits(), reporter=Silent())
        figures = figures_of(reached, clock() - began)
        if threads not in best or figures.seconds < best[threads].seconds:
            best[threads] = figures
    return best[1], best[2]


def plain_rate(product: Product) -> float:
    """States a second of the plain interpreter, from a part of the product."""
    began = time.thread_time()
    found = explore(product, max_states=PLAIN_STATES)
    return found.expanded / (time.thread_time() - began)


def by_hand(name: str, rate: float) -> str:
    """What a program written by hand does, if it does anything of the kind."""
    kind, _, count = name.partition("-")
    if kind != "octal":
        return ""
    other = rate_by_hand(int(count))
    if other is None:
        return "  written by hand: not measured, as there is no compiler of C++\n"
    return f"  written by hand {other / 1e6:.2f} M states/s: {rate / other:.1f} times as fast\n"


def report(name: str, product: Product) -> None:
    """Print the figures of one product."""
    one, two = measured(product)
    share = max(one.transitions / one.states, 1e-9)
    limit = probes_a_second(one.slots) / share
    plain = plain_rate(product)
    print(f"{name}: {one.states:,} states, {one.transitions:,} transitions, {product.bits} bits")
    print(
        f"  1 thread  {one.rate / 1e6:6.2f} M states/s, "
        f"{one.rate * share / 1e6:6.1f} M transitions/s, {one.seconds:.2f} s, "
        f"{one.bytes / one.states:.1f} bytes a state"
    )
    print(
        f"  2 threads {two.rate / 1e6:6.2f} M states/s, {two.rate / one.rate:.2f} times one thread"
    )
    print(f"  the machine's limit {limit / 1e6:.2f} M states/s: ratio {one.rate / limit:.2f}")
    print(by_hand(name, one.rate), end="")
    print(f"  the plain interpreter {plain:,.0f} states/s: {one.rate / plain:,.0f} times as fast")


def main() -> None:
    """Run the benchmarks that are named, or all."""
    wanted = sys.argv[1:]
    for name, text in devices():
        if not wanted or name in wanted:
            report(name, product_of(text))


if __name__ == "__main__":
    main()
