"""C code does what its chip does, and a slip in it is found."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.firmware.c_source import STYLES
from modecheck.firmware.compiler import SANITIZERS, compiled
from modecheck.firmware.proof import proved
from modecheck.firmware.proof_cases import CasesOf
from modecheck.firmware.random_walks import walked
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from tests.firmware.made import cases_of, files_of, needs_compiler, proof_of
from tests.generation.devices import device_from, rolled
from tests.sweeps import sweep

MODELS = Path(__file__).parents[2] / "models"
STARTER, TANDEM = (str(MODELS / name / "device.yaml") for name in ("starter", "tandem"))

FEW = {"another state", "a timer is not started", "half a guard", "a restart forgets"}
"""Slips that are tried always: each takes a compiler two seconds."""

pytestmark = needs_compiler


@pytest.fixture(scope="module")
def hub() -> CasesOf:
    """The hub of tandem, in the first thousand states of the device."""
    (cases,) = cases_of(read_device(TANDEM), ["hub"], 1_000)
    return cases


@pytest.mark.parametrize("style", STYLES)
def test_the_hub_of_tandem_is_proven(hub: CasesOf, style: str) -> None:
    """Messages, signals, timers, rules without a trigger and restarts: the same in each case."""
    proof = proof_of(hub, style)
    assert proof.holds
    assert proof.failing == 0
    assert all(proof.cases[kind] for kind in ("messages", "signals", "timers", "own rules"))
    assert proof.cases["restarts"]


RESTART = "void hub_restart(hub_t *chip)\n{"
SLIPS = {
    "another state": ("chip->state = HUB_IN_DARK;", "chip->state = HUB_IN_SECURING;"),
    "a write is left out": ("chip->rear_bond = 1;", ""),
    "a stored value is left out": ("hub_store_rear_bond(chip, chip->rear_bond);", ""),
    "a timer is not started": ("hub_timer_begins(chip, HUB_TIMER_NOBODY_CALLS);", ""),
    "a timer goes on": ("hub_timer_ends(chip, HUB_TIMER_STARTED);", ""),
    "a message is not sent": ("hub_send_usb_down_attach(chip);", ""),
    "another signal": ("hub_signal_front_answer(chip);", "hub_signal_rear_answer(chip);"),
    "half a guard": ("if (chip->wants_tablet && chip->front_bond != 0)", "if (chip->wants_tablet)"),
    "the other guard": ("if (chip->tablet_bond == 0)", "if (chip->tablet_bond != 0)"),
    "another answer": ("return HUB_DISCARDED;", "return HUB_DEFERRED;"),
    "a restart forgets": (RESTART, f"{RESTART}\n    chip->front_bond = 0;"),
}  # fmt: skip


@pytest.mark.parametrize("slip", sweep(SLIPS, lambda slip: slip in FEW))
def test_a_slip_in_the_code_is_found(hub: CasesOf, slip: str) -> None:
    """Whatever is written wrongly, the proof says in which case, and what the model does there."""
    right, wrong = SLIPS[slip]
    bench, files = files_of(hub, "switch")
    assert right in files["hub.c"]
    broken = {**files, "hub.c": files["hub.c"].replace(right, wrong)}
    proof = proved(bench, hub, broken)
    assert proof.different
    assert proof.differences[0].model != proof.differences[0].code


def test_code_that_breaks_off_is_a_difference(hub: CasesOf) -> None:
    """A sanitizer that stops the program ends the comparison, and is reported."""
    bench, files = files_of(hub, "switch")
    wrong = "    int zero = 0;\n\n    chip->state = (uint8_t)(1 / zero);"
    begun = "static void hub_do_choose_tablet(hub_t *chip)\n{"
    assert begun in files["hub.c"]
    broken = {**files, "hub.c": files["hub.c"].replace(begun, f"{begun}\n{wrong}")}
    proof = proved(bench, hub, broken)
    assert not proof.holds
    assert "division by zero" in proof.differences[-1].code


def test_walks_take_the_code_through_the_device() -> None:
    """The compiled code takes the place of the chip, and deviates nowhere; with a slip it does."""
    device = read_device(STARTER)
    (cases,) = cases_of(device, ["receiver"])
    bench, files = files_of(cases, "switch")
    assert walked(bench, files, device).deviation == ""
    right, wrong = "RECEIVER_IN_CHANGING;", "RECEIVER_IN_ON_AIR;"
    assert right in files["receiver.c"]
    broken = {**files, "receiver.c": files["receiver.c"].replace(right, wrong)}
    assert "receiver deviates from its model" in walked(bench, broken, device).deviation


def test_walks_let_named_timers_expire() -> None:
    """A timer that rules start and stop expires in a walk as the timer of a rule does."""
    device = read_device(str(MODELS / "small" / "supervised.yaml"))
    (cases,) = cases_of(device, ["hub"])
    bench, files = files_of(cases, "switch")
    assert proved(bench, cases, files).cases["timers"]
    assert walked(bench, files, device).deviation == ""


def test_a_copy_that_reads_other_copies_is_proven() -> None:
    """The number in a copy's name is no index of a list: each neighbour has a reader of its own."""
    device = read_device(str(MODELS / "published" / "philosophers_3.yaml"))
    (cases,) = cases_of(device, ["p[2]"])
    bench, files = files_of(cases, "switch")
    assert bench.readers == ["p_2_reads_p_1_state", "p_2_reads_p_3_state"]
    assert proved(bench, cases, files).holds
    assert walked(bench, files, device).deviation == ""


@pytest.mark.parametrize("seed", range(3))
def test_random_chips_are_proven(seed: int) -> None:
    """Whatever a chip can be made of comes out the same in C."""
    _prove_random(seed)


@pytest.mark.thorough
@pytest.mark.parametrize("seed", range(3, 36))
def test_more_random_chips_are_proven(seed: int) -> None:
    """The same for more of them."""
    _prove_random(seed)


def _prove_random(seed: int) -> None:
    device = rolled(seed, timed=bool(seed % 3), starts=False).read()
    names = [chip.name for chip in device.chips.values() if not chip.actor]
    (cases,) = cases_of(device, [names[seed % len(names)]], 200)
    assert proof_of(cases, STYLES[seed % 2]).differences == []


def test_a_value_out_of_range_is_seen_in_a_debug_build() -> None:
    """The model excludes it; code of a model with findings reports it through its hook."""
    device = device_from(COUNTING)
    (cases,) = cases_of(device, ["counter"])
    proof = proof_of(cases, "switch")
    assert proof.holds
    assert proof.failing == 1
    _, files = files_of(cases, "switch")
    assert (
        'COUNTER_WITHIN(chip->n + 1, 0, 3, "n += 1 leaves the range of counter.n")'
        in (files["counter.c"])
    )


COUNTING = """
device: counting
chips:
  counter:
    variables:
      n: {range: [0, 3]}
    states:
      counting: {rest: true}
    rules:
      count: {in: counting, do: n += 1}
"""


POSITION = "hub_on_position(hub_t *chip, int32_t value)"
WRONG_VALUES = {
    "hub_signal_loudness(chip, value);": "hub_signal_loudness(chip, 1);",
    "chip->level = (uint8_t)(value);": "chip->level = 0;",
}
"""What is signalled and what is heard, and slips in them."""


@pytest.mark.parametrize("right", WRONG_VALUES)
def test_the_values_of_signals_are_compared(right: str) -> None:
    """What a function of a signal is given, and what it gives to others."""
    (cases,) = cases_of(read_device(str(MODELS / "small" / "loudness.yaml")), ["hub"])
    bench, files = files_of(cases, "switch")
    assert POSITION in files["hub.h"]
    assert right in files["hub.c"]
    wrong = files["hub.c"].replace(right, WRONG_VALUES[right], 1)
    assert proved(bench, cases, {**files, "hub.c": wrong}).different


MOVING = """
device: moving
chips:
  pointer:
    variables:
      y: {range: [0, 1], list: 2, persistent: true}
      x: {one_of: [red, green, blue]}
    states:
      here: {rest: true}
    rules:
      move: {in: here, do: "y[y[0]] = 1 - y[0]"}
      never: {in: here, if: "x == red and y[1] == 0 and x == blue", do: x = green}
      always: {in: here, if: "x != red or y[1] == 0 or x != blue", do: x = blue}
"""


@pytest.mark.parametrize("style", STYLES)
def test_an_index_that_its_own_item_changes_is_stored_where_it_was(style: str) -> None:
    """What is stored is the item that was written (found among 300 random chips). And conditions
    that never hold, or always do, are no warning for the compiler.
    """
    (cases,) = cases_of(device_from(MOVING), ["pointer"])
    proof = proof_of(cases, style)
    assert proof.differences == []
    assert proof.cases["own rules"]


ENDLESS = """
device: endless
chips:
  hub:
    timers: {patience: [1 us, forever], bedtime: 5000 s}
    states: {dark: {rest: true}, lit: {}}
    rules:
      light: {in: dark, on: tap, to: lit, start: [patience, bedtime]}
      tire: {in: lit, expires: patience, to: dark}
      sleep: {in: lit, expires: bedtime, to: dark}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_a_timer_without_a_latest_moment_is_told_from_a_long_one() -> None:
    """5000 s are more microseconds than 32 bits hold, and so than 4294967295, which meant never."""
    (cases,) = cases_of(device_from(ENDLESS), ["hub"])
    _, files = files_of(cases, "switch")
    assert "#define HUB_TIMER_NO_LATEST UINT64_MAX" in files["hub.h"]
    assert "{1u, HUB_TIMER_NO_LATEST}, /* HUB_TIMER_PATIENCE: 1 us to forever */" in files["hub.c"]
    assert "{5000000000u, 5000000000u}" in files["hub.c"]


FAILING = """
device: failing
clock: {tick: 1 ms}
chips:
  pointer:
    variables: {y: {range: [0, 3], list: 2}, x: {range: [0, 3], start: 3}}
    states: {here: {rest: true}, there: {rest: true}}
    rules:
      wait: {in: here, after: 1 ms, if: "y[x] == 0", to: there}
"""


def test_a_guard_that_fails_when_time_is_up_is_counted() -> None:
    """Its case fails in the model, so that nothing is said of it (found by random chips)."""
    (cases,) = cases_of(device_from(FAILING), ["pointer"])
    proof = proof_of(cases, "switch")
    assert proof.holds
    assert proof.failing


def test_a_compiler_without_sanitizers_is_not_the_code_s_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it accepts and cannot link is told apart from what it refuses."""
    script = tmp_path / "cc"
    accepts = 'case "$*" in *-fsyntax-only*) exit 0;; esac\n'
    script.write_text(f"#!/bin/sh\n{accepts}echo 'cannot find libasan' >&2\nexit 1\n")
    script.chmod(0o755)
    monkeypatch.setenv("CC", str(script))
    with pytest.raises(InvalidInput, match=r"accepts the code(.|\n)*libasan(.|\n)*its libraries"):
        compiled(["hub.c"], str(tmp_path / "bench"), SANITIZERS, folder=str(tmp_path))
