"""What `modecheck.testing` gives an implementation, and what it tells apart."""

from __future__ import annotations

import random
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from textwrap import dedent

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.product.ir import Reaction
from modecheck.testing import (
    Adapter,
    AdapterError,
    ConformanceRun,
    Delivery,
    Disagreement,
    Event,
    InternalStep,
    Output,
    Restart,
    Sent,
    Sight,
    Signal,
    Signalled,
    TimerExpired,
    conformance,
    run_conformance,
)
from modecheck.testing.conformance_run import NOTHING
from tests.generation.corners import CORNERS
from tests.generation.devices import Drawn, device_from, devices
from tests.models.bundled import SEVERAL_STARTS, stands_for_all
from tests.sweeps import sweep
from tests.testing.model_as_firmware import ModelAsFirmware

MODELS = Path(__file__).parents[2] / "models"
BUNDLED = [
    "starter/device",
    "tandem/device",
    *sorted(
        f"small/{path.stem}"
        for path in MODELS.glob("small/*.yaml")
        if path.stem not in SEVERAL_STARTS
    ),
]

SETTINGS = settings(
    max_examples=150,
    stateful_step_count=30,
    phases=[Phase.generate, Phase.shrink],
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)


def walk(bench: ConformanceRun, seed: int, steps: int = 25) -> None:
    """A random run."""
    choose = random.Random(seed)  # noqa: S311 - no secret
    bench.begin()
    for _ in range(steps):
        bench.take(choose.choice(list(bench.choices)))


def modelled(device: Device) -> Callable[[str], Adapter]:
    """Implementations that do what the model's chips do."""
    product = compose(device)
    return lambda chip: ModelAsFirmware(product, chip)


@given(devices(), st.integers(0, 2**32))
@settings(max_examples=settings().max_examples)
def test_what_a_chip_is_given_is_all_that_it_needs(drawn: Drawn, seed: int) -> None:
    """An implementation that knows only its own rules and what it was given follows its model, in
    random devices with faults, signals in a row, and chips that look at each other.
    """
    device = drawn.read()
    for name in device.chips:
        walk(ConformanceRun(device, name, modelled(device)), seed)
    walk(ConformanceRun(device, list(device.chips), modelled(device)), seed)


@pytest.mark.parametrize(
    "name", sweep(BUNDLED, lambda name: stands_for_all(MODELS / f"{name}.yaml"))
)
def test_bundled_chips_follow_their_models(name: str) -> None:
    """Each chip of the starter, tandem and the small machines by itself, and all at once."""
    device = read_device(str(MODELS / f"{name}.yaml"))
    for seed in range(3):
        for chip in device.chips:
            walk(ConformanceRun(device, chip, modelled(device)), seed)
        walk(ConformanceRun(device, list(device.chips), modelled(device)), seed)


@pytest.mark.parametrize("corner", CORNERS)
def test_corners_follow_their_models(corner: str) -> None:
    """Where a chip answers over two links, hears in the middle of a delivery, or is late."""
    device = device_from(CORNERS[corner])
    for seed in range(20):
        for chip in device.chips:
            walk(ConformanceRun(device, chip, modelled(device)), seed)


def test_an_adapter_that_fails_is_told_with_the_run_so_far() -> None:
    """The error itself stays what it is."""

    class Deaf(Recorder):
        def give(self, event: Event) -> None:  # noqa: ARG002 - as the protocol names it
            raise TimeoutError("the board does not answer")

    bench = ConformanceRun(STARTER, "receiver", lambda _: Deaf())
    bench.begin()
    bench.take("player step")
    with pytest.raises(TimeoutError, match="the board does not answer") as raised:
        bench.take("player plug")
    (note,) = raised.value.__notes__
    assert note.startswith("the adapter of receiver failed after\nthe player steps on the pedal")
    assert note.endswith("given [Signal(name='plugged_in', value=None)]")


def test_an_adapter_is_made_once() -> None:
    """However many runs begin: opening a serial line takes time."""
    made: list[str] = []

    def make(chip: str) -> Adapter:
        made.append(chip)
        return ModelAsFirmware(compose(STARTER), chip)

    bench = ConformanceRun(STARTER, ["pedal", "receiver"], make)
    for seed in range(3):
        walk(bench, seed)
    assert made == ["pedal", "receiver"]


def mutes(rule: int) -> Callable[[Reaction], Reaction]:
    """Sends nothing where a rule sends."""
    return lambda reaction: replace(reaction, sends=()) if reaction.rule == rule else reaction


def stays(rule: int) -> Callable[[Reaction], Reaction]:
    """Goes nowhere where a rule goes to another state."""
    return lambda reaction: replace(reaction, enters=-1) if reaction.rule == rule else reaction


STARTER = read_device(str(MODELS / "starter" / "device.yaml"))
SPOILT = [
    pytest.param(chip, spoil(number), id=f"{rule.title} {spoil.__name__}")
    for number, rule in enumerate(compose(STARTER).rules)
    for chip in [rule.chip]
    if chip != "player"
    for spoil, concerned in ((mutes, rule.sends), (stays, rule.target))
    if concerned and rule.sources != (rule.target,)
]


@pytest.mark.parametrize(("chip", "spoil"), SPOILT)
def test_every_missing_send_and_step_is_found(
    chip: str, spoil: Callable[[Reaction], Reaction]
) -> None:
    """Each rule of the starter's chips, once without its send and once without its new state."""
    product = compose(STARTER)
    with pytest.raises(Disagreement):
        run_conformance(
            STARTER, chip, lambda name: ModelAsFirmware(product, name, spoil), settings=SETTINGS
        )


class Recorder:
    """An implementation that notes what it is given, and answers what it is told to."""

    def __init__(self, answers: dict[str, list[Output]] | None = None) -> None:
        self.given: list[Event] = []
        self._answers = answers or {}
        self._made: list[Output] = []

    def reset(self) -> None:
        self.given = []

    def give(self, event: Event) -> None:
        self.given.append(event)
        self._made += self._answers.get(type(event).__name__, [])

    def outputs(self) -> list[Output]:
        made, self._made = self._made, []
        return made


RELAY = """
device: relay
chips:
  hub:
    variables: {keep: {bond: 2, persistent: true}, loud: bool}
    states: {calm: {rest: true}, busy: {}}
    rules:
      ask: {in: calm, on: button, if: lamp.lit, signal: [ping], send: [hello(3) via out], to: busy}
      answer: {in: busy, on: pong, do: [loud = true], to: calm}
      tire: {in: busy, after: 20 ms, to: calm}
      think: {in: calm, if: loud, do: [loud = false]}
      hear: {on: word via back}
  lamp:
    states: {dark: {rest: true}, lit: {rest: true}}
    rules:
      light: {in: dark, on: button, to: lit}
      reply: {in: lit, on: ping, signal: [pong], send: [word(true) via back]}
      take: {on: hello}
actors:
  player: {states: [here], rules: {press: {signal: [button]}}}
links:
  out: {from: hub, to: lamp, medium: internal, carries: {hello: {range: [0, 3]}}, when_full: wait}
  back: {from: lamp, to: hub, medium: internal, carries: {word: {bool: true}}, when_full: drop_old}
faults:
  power_cut: {chips: [hub], at_most: 1}
"""


def relay() -> Device:
    return device_from(dedent(RELAY))


def test_an_implementation_is_told_in_the_words_of_its_model() -> None:
    """What it sees, signals also where it does not react, timers, messages with values, power."""
    hub = Recorder({})
    answers = ModelAsFirmware(compose(relay()), "hub")
    hub_and_model = Both(hub, answers)
    bench = ConformanceRun(relay(), "hub", lambda _: hub_and_model)
    bench.begin()
    first = [Sight("lamp.state", "dark"), Sight("out.waiting", ())]
    assert hub.given == first
    for step, events in (
        ("player press", [Signal("button"), Sight("lamp.state", "lit")]),
        ("player press", [Signal("button"), Signal("pong"), Sight("out.waiting", ("hello",))]),
        ("hub think", [InternalStep("think", "calm")]),
        ("back to hub hear", [Delivery("word", "back", True)]),
        ("out to lamp take", [Sight("out.waiting", ())]),
        ("hub power_cut", [Restart("power_cut"), Sight("lamp.state", "lit"), first[1]]),
    ):
        hub.given = []
        bench.take(step)
        assert hub.given == events, step
    assert "hub power_cut" not in bench.choices


def test_signals_that_no_rule_of_the_chip_waits_for_are_not_given() -> None:
    """The receiver does not feel a foot on the pedal."""
    receiver = Recorder()
    bench = ConformanceRun(STARTER, "receiver", lambda _: receiver)
    bench.begin()
    bench.take("player step")
    assert receiver.given == []


def test_a_timer_that_expires_is_told() -> None:
    """With the rule's name, the state, and the time."""
    device = device_from(
        "{device: d, chips: {hub: {states: [on, off], rules: {doze: "
        "{in: on, after: [10 ms, 20 ms], to: off}}}}}"
    )
    recorder = Recorder()
    bench = ConformanceRun(device, "hub", lambda _: recorder)
    bench.begin()
    bench.take("hub doze")
    assert recorder.given == [TimerExpired("doze", "on", "10 ms to 20 ms")]
    assert list(bench.choices) == [NOTHING]
    bench.take(NOTHING)


class Both:
    """Gives to both, and answers what the second one does."""

    def __init__(self, recorder: Recorder, model: ModelAsFirmware) -> None:
        self._both = (recorder, model)

    def reset(self) -> None:
        for one in self._both:
            one.reset()

    def give(self, event: Event) -> None:
        for one in self._both:
            one.give(event)

    def outputs(self) -> list[Output]:
        return self._both[1].outputs()


def pedal(output: list[Output]) -> ConformanceRun:
    """The starter's pedal that answers one step with these outputs."""
    recorder = Recorder({"Signal": output})
    return ConformanceRun(STARTER, "pedal", lambda _: recorder)


@pytest.mark.parametrize(
    "output",
    [
        [],
        [Sent("picture", "lifted", "air")],
        [Sent("picture", "pressed", "cord")],
        [Sent("picture", "pressed", "air"), Sent("picture", "pressed", "air")],
        [Sent("picture", "pressed", "air"), Signalled("step")],
        [Sent("image", "pressed", "air")],
    ],
)
def test_other_outputs_are_told_apart(output: list[Output]) -> None:
    """Nothing, another value, another link, twice, one too many, an unknown message."""
    bench = pedal(output)
    bench.begin()
    with pytest.raises(Disagreement):
        bench.take("player step")


def test_the_same_outputs_agree() -> None:
    """The message with its value and its link."""
    bench = pedal([Sent("picture", "pressed", "air")])
    bench.begin()
    bench.take("player step")


def test_a_link_has_to_be_named_where_two_carry_the_message() -> None:
    """An adapter that leaves it out is told which there are."""
    bench = pedal([Sent("picture", "pressed")])
    bench.begin()
    with pytest.raises(AdapterError, match="expected one of cord, air"):
        bench.take("player step")


class Standing(Recorder):
    def __init__(self, standing: object) -> None:
        super().__init__()
        self._standing = standing

    def state(self) -> object:
        return self._standing


@pytest.mark.parametrize(
    ("standing", "sentence"),
    [
        ("on_aer", "'on_aer', which is not a state: .* did you mean 'on_air'"),
        ((None, {"sound": True}), "'sound', which is not a variable: .* did you mean 'sounding'"),
    ],
)
def test_words_that_the_model_does_not_know_are_refused(standing: object, sentence: str) -> None:
    """They are an error of the adapter, not a difference, and the nearest name is told."""
    bench = ConformanceRun(STARTER, "receiver", lambda _: Standing(standing))
    with pytest.raises(AdapterError, match=sentence):
        bench.begin()


@pytest.mark.parametrize("standing", ["outer", "inner", None, (None, {"many": [1, 2]})])
def test_an_implementation_may_know_less_than_its_model(standing: object) -> None:
    """A state around the innermost one, no state, some variables; lists as lists."""
    device = device_from(
        "{device: d, chips: {hub: {states: {outer: {states: {inner: {}}}, other: {}}, "
        "variables: {many: {list: 2, range: [0, 3], start: [1, 2]}, rest: bool}}}}"
    )
    ConformanceRun(device, "hub", lambda _: Standing(standing)).begin()
    with pytest.raises(Disagreement):
        ConformanceRun(device, "hub", lambda _: Standing("other")).begin()


def test_an_unknown_chip_is_refused_with_the_nearest_name() -> None:
    """Before any example runs."""
    with pytest.raises(InvalidInput, match="did you mean 'receiver'"):
        conformance(STARTER, ["reciever"], modelled(STARTER))


def test_the_test_case_is_one_that_pytest_collects() -> None:
    """It is named after the device and its chips, and runs as a unit test."""
    machine = conformance(STARTER, "receiver", modelled(STARTER))
    assert machine.__name__ == "StarterReceiver"
    machine.TestCase.settings = settings(SETTINGS, max_examples=5)
    result = machine.TestCase("runTest").run()
    assert result is not None
    assert result.testsRun == 1
    assert result.wasSuccessful()


def test_without_hypothesis_the_error_says_what_to_install() -> None:
    """An adapter alone can be written without it."""
    program = "import sys; sys.modules['hypothesis'] = None\nfrom modecheck.testing import Sent\n"
    command = [sys.executable, "-c", program + "from modecheck.testing import conformance"]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "needs the package hypothesis: install it with 'pip install hypothesis'" in result.stderr
    fine = subprocess.run([sys.executable, "-c", program], check=False)
    assert fine.returncode == 0
