"""A timer that overtakes a shorter one is named, and only where counted time would prevent it."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.clocks import common_measure, durations
from modecheck.model.devices import read_device
from modecheck.model.places import Place, Source
from modecheck.model.times import Clock
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.overtaking import overtaking_in
from modecheck.scenario.replay import Move
from modecheck.scenario.traces import Trace
from tests.cli.running import MODELS
from tests.generation.devices import device_from, rolled

PLACE = Place(Source("device.yaml", ()), 1, 1)

DEVICE = """\
device: two timers
chips:
  hub:
    states: {waiting: {}, over: {rest: true}}
    variables: {quiet: bool}
    timers: {patience: 30 ms}
    rules: {give_up: {in: waiting, after: SLOW, to: over}}
  tile:
    states: {asking: {}, asked: {rest: true}}
    variables: {mute: bool}
    rules: {ask: {in: asking, after: QUICK, to: asked}}
requirements:
  never_late: {text: The tile asks in time, never: hub.over and tile.asking}
"""


def overtaken(folder: Path, text: str) -> Finding | None:
    """The finding of a device that its requirement is broken, if it is."""
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    verdict = check([read_device(str(folder / "device.yaml"))])
    found = [one for one in verdict.findings if one.code == "broken-requirement"]
    return found[0] if found else None


def device(slow: str = "4 s", quick: str = "20 ms", *changes: tuple[str, str]) -> str:
    """The device with these durations, and with some text replaced."""
    text = DEVICE.replace("SLOW", slow).replace("QUICK", quick)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


SHORTER_LATER = (
    ("states: {asking: {}", "states: {resting: {}, asking: {}"),
    ("{ask: {in", "{go: {in: resting, to: asking}, ask: {in"),
)
IF_ASKING = ("in: waiting, after", "in: waiting, if: tile.asking, after")
RETAKEN = (
    ("after: 20 ms, to: asked", "after: 20 ms, do: mute = true"),
    ("tile.asking}", "tile.mute}"),
    ("in: waiting, after", "in: waiting, if: tile.mute, after"),
)
NESTED = (
    ("states: {waiting: {}, over", "states: {waiting: {states: {a: {}, b: {}}}, over"),
    ("{give_up: {in: waiting,", "{inner: {in: a, to: b}, give_up: {in: [waiting, a], if: hub.b,"),
    ("states: {asking: {}", "states: {resting: {}, asking: {}"),
    ("{ask: {in", "{go: {in: resting, if: hub.a, to: asking}, ask: {in"),
)
"""In its outer state the hub has waited from the start."""
GUARDED = (("in: asking, after", "in: asking, if: mute, after"),)
RESTARTED = (("{give_up: {", "{again: {in: waiting, if: not quiet, do: quiet = true, to: waiting}, "
              "give_up: {"),)  # fmt: skip
ACTOR = (("  tile:\n", "actors:\n  tile:\n"),)
NAMED = (
    ("{give_up: {in: waiting, after: 4 s, to: over}}",
     "{begin: {in: waiting, if: not quiet, do: quiet = true, start: [patience]}, "
     "give_up: {in: waiting, expires: patience, to: over}}"),
)  # fmt: skip
UNFAIR_RULE = (("in: asking, after", "in: asking, fair: none, after"),)
UNFAIR_CHIP = (("  tile:\n", "  tile:\n    fair: none\n"),)
INTERRUPTED = (
    ("  tile:\n",
     "  alarm:\n    runs_on: mcu\n    priority: 1\n    fair: none\n"
     "    states: {silent: {}, rung: {rest: true}}\n"
     "    rules: {ring: {in: silent, after: 20 ms, to: rung}}\n"
     "  tile:\n    runs_on: mcu\n"),
)  # fmt: skip
"""At 20 ms the alarm holds the tile back, whose timer stands still, and lets its moment pass."""
LESS_URGENT = (*INTERRUPTED, ("    runs_on: mcu\n    priority: 1\n", "    runs_on: mcu\n"))
BRANCHES = (
    ("after: 4 s, to: over", "after: 4 s, choose: "
     "[{if: not quiet, do: quiet = true, signal: [wake]}, {else: true, to: over}]"),
    ("states: {asking: {}", "states: {resting: {}, asking: {}"),
    ("{ask: {in", "{go: {in: resting, on: wake, to: asking}, ask: {in"),
)  # fmt: skip
"""The one that stays restarts the timer of the other, as the tile's starts."""
STOPPED = (("{ask: {", "{hush: {in: asking, if: not mute, do: mute = true, to: asking}, ask: {"),)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (device(), "in step 1 hub.give_up (4 s) overtakes tile.ask (20 ms)"),
        (device("[21 ms, 1 s]"), "in step 1 hub.give_up (21 ms to 1 s) overtakes tile.ask"),
        (device("[20 ms, 1 s]"), None),
        (device("20 ms", "4 s"), None),
        (device("4 s", "[20 ms, forever]"), None),
        (device("4 s", "20 ms", *SHORTER_LATER), None),
        (device("4 s", "20 ms", *SHORTER_LATER, IF_ASKING), None),
        (device("4 s", "20 ms", *GUARDED), None),
        (device("25 ms", "20 ms", *RETAKEN), None),
        (device("4 s", "20 ms", *NESTED), None),
        (device("4 s", "20 ms", *ACTOR), None),
        (device("30 ms", "20 ms", *UNFAIR_RULE), None),
        (device("30 ms", "20 ms", *UNFAIR_CHIP), None),
        (device("30 ms", "20 ms", *INTERRUPTED), None),
        (device("30 ms", "20 ms", *LESS_URGENT), "in step 1 hub.give_up"),
        (device("4 s", "20 ms", *BRANCHES), "in step 2 hub.give_up.else (4 s) overtakes tile.ask"),
        (device("4 s", "20 ms", *RESTARTED), "in step 1 hub.give_up"),
        (device("4 s", "20 ms", *NAMED), "in step 2 hub.give_up (30 ms) overtakes tile.ask"),
        (device("4 s", "20 ms", *STOPPED), "in step 1 hub.give_up"),
    ],
    ids=["shorter", "interval", "overlap", "longer", "no latest", "never began", "began later",
         "guard false", "retaken", "nested",
         "actor", "unfair rule", "unfair chip", "held back", "not held back", "branches",
         "restarted", "named", "could be stopped"],
)  # fmt: skip
def test_it_is_said_where_the_shorter_one_had_to_come_first(
    text: str, said: str | None, tmp_path: Path
) -> None:
    """It began no later, ends before the other begins to be possible, and was free all the while.
    Neither actors nor rules without fairness are obliged.
    """
    finding = overtaken(tmp_path, text)
    assert finding is not None
    told = [one for one in finding.details if "time is not counted here" in one]
    assert [said is not None and said in one for one in told] == [True] * (said is not None)


@pytest.mark.parametrize("clock", ["clock: {tick: 10 ms}\n", "clock: {tick: 5 ms}\n"])
def test_the_line_that_is_shown_judges_it(clock: str, tmp_path: Path) -> None:
    """With it, the longer timer never overtakes: the requirement holds."""
    finding = overtaken(tmp_path, device())
    assert finding is not None
    assert "'clock: {tick: 10 ms}'" in finding.details[-1]
    assert overtaken(tmp_path, device() + clock) is None


@pytest.mark.parametrize(
    "changes", [ACTOR, UNFAIR_RULE, UNFAIR_CHIP, INTERRUPTED], ids=["actor", "rule", "chip", "held"]
)
def test_where_nothing_is_said_a_run_with_a_clock_may_do_the_same(
    changes: tuple[tuple[str, str], ...], tmp_path: Path
) -> None:
    """Time passes the latest moment of what is not obliged, or is held back then."""
    clock = "clock: {tick: 10 ms}\n"
    assert overtaken(tmp_path, device("30 ms", "20 ms") + clock) is None
    assert overtaken(tmp_path, device("30 ms", "20 ms", *changes) + clock) is not None


def still_possible(product: Product, labels: Sequence[str]) -> bool:
    """Whether a device with a clock can take these steps, with time passing between them: a search
    through all its states, which shares nothing with what it is compared with.
    """
    interpreter = Interpreter(product)
    states: set[State] = {product.initial}
    for label in labels:
        reached, pending = set(states), list(states)
        while pending:
            for step in interpreter.steps(pending.pop()):
                own = product.time is not None and step.label == product.time.label
                if own and step.after is not None and step.after not in reached:
                    reached.add(step.after)
                    pending.append(step.after)
        states = {
            step.after or state
            for state in reached
            for step in interpreter.steps(state)
            if product.labels[step.label].text == label
        }
    return bool(states)


def test_no_run_with_a_clock_takes_the_steps_of_such_a_scenario() -> None:
    """Of a faulty twin: up to the step that is named none does, and before it some does."""
    device = read_device(str(MODELS / "faulty" / "serves_only_what_it_began.yaml"))
    seen = 0
    for finding in check([device]).findings:
        found = overtaking_in(finding.trace) if finding.trace is not None else None
        if found is None:
            continue
        seen += 1
        tick = common_measure(one for each in durations(device) for one in each.moments)
        counted = replace(device, clock=Clock(tick, frozenset(), PLACE))
        labels = [step.label for step in finding.scenario]
        product = compose(counted)
        assert still_possible(product, labels[: found.step - 1])
        assert not still_possible(product, labels[: found.step])
    assert seen


def walked(product: Product, seed: int, steps: int = 14) -> Trace:
    """A random run."""
    chance = random.Random(seed)  # noqa: S311 - not for secrets
    interpreter, state, moves = Interpreter(product), product.initial, list[Move]()
    for _ in range(steps):
        possible = [step for step in interpreter.steps(state) if step.after is not None]
        if not possible:
            break
        step = chance.choice(possible)
        assert step.after is not None
        moves.append(Move(step.label, step.after))
        state = step.after
    return Trace(product, tuple(moves))


@pytest.mark.parametrize(
    "seeds", [range(30), pytest.param(range(30, 600), marks=pytest.mark.thorough)]
)
def test_of_random_devices_no_run_with_a_clock_overtakes_either(seeds: range) -> None:
    """Power cuts, nested states, restarted and named timers: whatever is said to overtake cannot
    happen where time is counted.
    """
    seen = 0
    for seed in seeds:
        counted = replace(device_from(rolled(seed, timed=True).text), requirements={})
        assert counted.clock is not None
        counted = replace(counted, clock=replace(counted.clock, at_once=frozenset()))
        untimed, timed = compose(replace(counted, clock=None)), compose(counted)
        trace = walked(untimed, seed)
        found = overtaking_in(trace)
        if found is None:
            continue
        seen += 1
        labels = [untimed.labels[move.label].text for move in trace.moves[: found.step]]
        assert not still_possible(timed, labels), seed
    assert seen > len(seeds) // 4
