"""The machines of the library `transitions` and the interpreter, step by step."""

from __future__ import annotations

import random
import subprocess
import sys
from collections import Counter
from pathlib import Path
from textwrap import dedent

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from transitions.extensions import HierarchicalMachine

import modecheck
from modecheck.engine.reference.happenings import Took
from modecheck.engine.reference.plain import Interpreter, Step
from modecheck.product.evaluation import StepFailed
from modecheck.rigs.rig import ImpossibleStep, Rig
from tests.generation.corners import CORNERS
from tests.generation.devices import Drawn, device_from, devices
from tests.models.bundled import SEVERAL_STARTS, stands_for_all
from tests.second_reading.side_by_side import world_of
from tests.sweeps import sweep

MODELS = Path(__file__).parents[2] / "models"
BUNDLED = [
    "starter/device",
    "tandem/device",
    *sorted(f"small/{path.stem}" for path in MODELS.glob("small/*.yaml")),
    *sorted(f"faulty/{path.stem}" for path in MODELS.glob("faulty/*.yaml")),
]
BUNDLED = [name for name in BUNDLED if Path(name).name not in SEVERAL_STARTS]
STARTER = str(MODELS / "starter" / "device.yaml")


def rig_of(name: str) -> Rig:
    return modecheck.machines(modecheck.load(str(MODELS / f"{name}.yaml")))


class Abreast:
    """A rig and the interpreter, which go on together, and whoever listens to the library."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.interpreter = Interpreter(rig.product)
        self.kinds = Counter[str]()
        self.heard = Counter[str]()
        for name, chip in rig.machines.items():
            chip.machine.after_state_change.append(lambda _, name=name: self.heard.update([name]))

    def go(self, choose: random.Random) -> None:
        """Take one step in both, and compare where they are."""
        steps, product = self.interpreter.steps(self.rig.state), self.rig.product
        possible = self.rig.steps()
        assert [one.label for one in possible] == [product.labels[s.label].text for s in steps]
        leading = [number for number, step in enumerate(steps) if step.after is not None]
        if not leading:
            return
        kinds = [product.labels[step.label].kind for step in steps]
        rare = [number for number in leading if not self.kinds[kinds[number]]]
        number = choose.choice(rare or leading)
        self.kinds[kinds[number]] += 1
        self.heard.clear()
        assert self.rig.take(possible[number]) == steps[number].happenings
        self.compare(steps[number])

    def compare(self, step: Step) -> None:
        """Every machine is where its chip is, and took as many transitions as that took rules."""
        product, state = self.rig.product, step.after
        assert state is not None
        assert self.rig.state == state
        for form in product.chips:
            assert self.rig.machines[form.name].leaf == form.leaves[state[form.state_field]]
        took = (one.chip for one in step.happenings if isinstance(one, Took))
        assert self.heard == Counter(product.chips[chip].name for chip in took)
        for name, waiting in world_of(product, state).waits.items():
            assert self.rig.links[name].messages == tuple(one.message for one in waiting)


@given(devices(), st.integers(0, 2**32))
@settings(max_examples=settings().max_examples)
def test_machines_follow_the_interpreter_on_random_devices(drawn: Drawn, seed: int) -> None:
    """The library enters the states that the interpreter says, and the links hold the same."""
    both, choose = Abreast(modecheck.machines(drawn.read())), random.Random(seed)  # noqa: S311
    for _ in range(20):
        both.go(choose)


@given(devices(timed=True), st.integers(0, 2**32))
@settings(max_examples=settings().max_examples // 2)
def test_machines_follow_the_interpreter_through_time(drawn: Drawn, seed: int) -> None:
    """The same where time is counted."""
    both, choose = Abreast(modecheck.machines(drawn.read())), random.Random(seed)  # noqa: S311
    for _ in range(30):
        both.go(choose)


@pytest.mark.parametrize(
    "name", sweep(BUNDLED, lambda name: stands_for_all(MODELS / f"{name}.yaml"))
)
def test_machines_follow_the_interpreter_on_bundled_devices(name: str) -> None:
    """The starter, tandem, the small machines and the faulty twins, along random walks."""
    rig = rig_of(name)
    initial = rig.state
    for seed in range(3):
        rig.put(initial)
        both, choose = Abreast(rig), random.Random(seed)  # noqa: S311 - no secret
        for _ in range(30 if name != "tandem/device" else 15):
            both.go(choose)


@pytest.mark.parametrize("corner", CORNERS)
def test_machines_follow_the_interpreter_into_corners(corner: str) -> None:
    """In small devices for what random ones seldom come to."""
    rig = modecheck.machines(device_from(CORNERS[corner]))
    initial = rig.state
    for seed in range(20):
        rig.put(initial)
        both, choose = Abreast(rig), random.Random(seed)  # noqa: S311 - no secret
        for _ in range(20):
            both.go(choose)


def test_the_comparison_meets_every_kind_of_step() -> None:
    """Own rules, deliveries, what is discarded, and power cut in the middle of a rule."""
    rig = rig_of("faulty/order_of_two_writes")
    both, choose = Abreast(rig), random.Random(1)  # noqa: S311 - no secret
    initial = rig.state
    for _ in range(40):
        rig.put(initial)
        for _ in range(12):
            both.go(choose)
    assert {"rule", "deliver", "discard", "power_cut", "cut_in_rule", "lose"} <= set(both.kinds)


def test_a_rig_is_driven_by_the_labels_of_its_steps() -> None:
    """Machines and links can be looked at by the names of the model."""
    rig = modecheck.machines(modecheck.load(STARTER))
    assert rig.states == {"pedal": "by_air", "receiver": "on_air", "player": "unplugged"}
    rig.take("player plug")
    assert rig.machines["receiver"].leaf == "changing"
    assert rig.links["cord"].messages == ("picture",)
    assert isinstance(rig.machines["receiver"].machine, HierarchicalMachine)


def test_a_step_that_is_not_possible_is_refused_with_what_is() -> None:
    """And the rig stays where it is."""
    rig = modecheck.machines(modecheck.load(STARTER))
    before = rig.state
    with pytest.raises(ImpossibleStep, match="did you mean 'player plug'"):
        rig.take("player plugg")
    with pytest.raises(ImpossibleStep, match="did you mean 'plugged_in'"):
        rig.signal("plugged")
    assert rig.state == before


LOUD = """
device: loud
chips:
  lamp:
    states: {dark: {rest: true}, lit: {rest: true}}
    rules: {light: {in: dark, on: press, to: lit}, darken: {in: lit, on: press, to: dark}}
  hub:
    variables: {count: {range: [0, 1]}}
    states: {on: {rest: true}}
    rules: {up: {on: press, do: [count += 1]}}
actors:
  player: {states: [here], rules: {press: {signal: [press]}}}
"""


def test_a_step_that_must_not_happen_is_told_and_not_taken() -> None:
    """The machines stay as they were, whether it comes from inside or from outside."""
    rig = modecheck.machines(device_from(dedent(LOUD)))
    rig.take("player press")
    before = rig.state
    assert [len(step.failures) for step in rig.steps()] == [1]
    with pytest.raises(StepFailed, match="leaves the range of hub"):
        rig.take("player press")
    with pytest.raises(StepFailed, match="leaves the range of hub"):
        rig.signal("press")
    assert rig.state == before


def test_a_signal_from_outside_moves_everybody_who_hears_it() -> None:
    """As if an actor had given it: a rig of hardware can stand in for the person."""
    rig = modecheck.machines(modecheck.load(STARTER))
    rig.signal("plugged_in")
    assert rig.states == {"pedal": "by_cable", "receiver": "changing", "player": "unplugged"}
    assert rig.links["cord"].messages == ()  # nobody has plugged it in: the link is down


def test_callbacks_of_the_library_run_in_steps_that_are_taken_alone() -> None:
    """Asking what is possible tries steps, which nobody must hear of."""
    rig = modecheck.machines(modecheck.load(STARTER))
    heard: list[str] = []
    receiver = rig.machines["receiver"]
    receiver.machine.after_state_change.append(lambda _: heard.append(receiver.leaf))
    rig.steps()
    assert heard == []
    rig.take("player plug")
    assert heard == ["changing"]


def test_without_transitions_the_error_says_what_to_install() -> None:
    """And modecheck itself is imported without it."""
    program = "import sys; sys.modules['transitions'] = None; import modecheck; modecheck.machines"
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert "install it with 'pip install transitions'" in result.stderr


def test_importing_modecheck_imports_nothing_else() -> None:
    """What it offers to programs is loaded when it is asked for."""
    program = (
        "import sys; import modecheck; "
        "print([name for name in sys.modules if name.startswith('modecheck.')])"
    )
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert result.stdout == "[]\n"
    assert not hasattr(modecheck, "nothing")
