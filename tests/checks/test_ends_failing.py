"""What is said of a requirement where no run without a failing step is left to keep or break it."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml
from hypothesis import assume, event, given

from modecheck.checks.judged import HOLDS, UNDECIDED
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.search import owed_failures
from tests.cli.running import run
from tests.generation.devices import Drawn, as_yaml, device_from, devices
from tests.second_reading.reachability import leading_to
from tests.second_reading.search import TooMany, search
from tests.second_reading.worlds import holds_in

COUNTER = """
device: a counter that runs over
chips:
  mcu:
    variables: {n: {range: [0, 1]}}
    states: {counting: {rest: true}, done: {rest: true}}
    rules:
      counts: {in: counting, do: [n = n + 1]}
      ends: {in: counting, if: n > 1, to: done}
requirements:
  R1: {text: It is done in the end, eventually: mcu.done}
  R2: {text: It can be done, recoverable: mcu.done}
  R3: {text: Each count ends, whenever: mcu.n == 1, then: mcu.done}
  R4: {text: It counts in the end, eventually: mcu.n == 1}
  R5: {text: It can count, recoverable: mcu.n == 1}
"""
ONLY_FAILING = "some runs can only end in a failing step"
PAST_FAILING = "from some state only a failing step might lead there"
UP_TO_FAILING = "only for runs without the step errors listed above"


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize("symmetry", [False, True])
def test_what_no_run_is_left_to_keep_is_undecided(engine: EngineName, symmetry: bool) -> None:
    """The second count leaves the range, and the counter owes it: every fair run fails there, done
    is never reached, and nobody can say that it will. What comes before holds.
    """
    search_ = Search(engine=engine, symmetry=symmetry)
    said = {
        one.need.name: (one.verdict, one.remark)
        for one in check([device_from(COUNTER)], search=search_).requirements
    }
    assert said == {
        "R1": ("undecided", ONLY_FAILING),
        "R2": ("undecided", PAST_FAILING),
        "R3": ("undecided", ONLY_FAILING),
        "R4": ("holds", UP_TO_FAILING),
        "R5": ("holds", UP_TO_FAILING),
    }


def test_it_is_broken_where_a_run_is_left_that_breaks_it() -> None:
    """A counter that owes nothing may stop before it runs over; and one that cannot go on, for ever
    outside the range, has no path.
    """
    free = COUNTER.replace("n = n + 1]", "n = n + 1], fair: none")
    assert verdicts(free) == {
        "R1": "broken", "R2": "undecided", "R3": "broken", "R4": "broken", "R5": "holds",
    }  # fmt: skip


TOGGLE = """
device: a lamp that blinks beside something that fails
chips:
  lamp: {states: [lit, dark], rules: [{in: lit, to: dark}, {in: dark, to: lit}]}
  watcher:
    states: {waiting: {rest: true}, done: {rest: true}}
    rules: {sees: {in: waiting, if: lamp.lit, to: done}}
WHO:
  other:
    variables: {n: {range: [0, 0]}}
    states: [here]
    rules: {runs_over: {HOW, do: n = n + 1}}
requirements:
  R1: {text: The watcher is done in the end, eventually: watcher.done}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    ("who", "how", "expected"),
    [
        ("actors", "fair: none", "broken"),
        ("actors", "fair: weak", "holds"),
        ("  ", "fair: weak", "holds"),
        ("  ", "fair: weak, if: lamp.lit", "broken"),
        ("  ", "fair: strong, if: lamp.lit", "holds"),
    ],
)
def test_a_run_may_go_on_beside_a_step_that_could_fail(
    engine: EngineName, who: str, how: str, expected: str
) -> None:
    """The lamp blinks for ever, and the watcher never looks while it is lit. That is a run without
    a failing step, unless fairness demands that the other one runs over: always, again and again,
    or not at all. Invented.
    """
    text = TOGGLE.replace("HOW", how).replace("WHO:\n", f"{who}:\n" if who.strip() else "")
    found = check([device_from(text)], search=Search(engine=engine)).requirements
    assert [one.verdict for one in found] == [expected]


def test_too_many_states_with_a_failing_step_leave_it_undecided(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each of them is stepped once more, so there is a bound; a smaller one shows what is said."""
    monkeypatch.setattr(owed_failures, "MOST_STEPPED", 1)
    text = TOGGLE.replace("HOW", "fair: none").replace("WHO", "actors")
    (found,) = check([device_from(text)], search=Search(engine="plain")).requirements
    assert (found.verdict, found.remark) == (UNDECIDED, owed_failures.TOO_MANY)


def verdicts(text: str) -> dict[str, str]:
    return {one.need.name: one.verdict for one in check([device_from(text)]).requirements}


def test_every_output_says_so(tmp_path: Path) -> None:
    """The failing step is a finding, so the exit code is 1; accepted, it leaves the run incomplete.
    JUnit has an error for each undecided requirement, with the reason.
    """
    path = tmp_path / "device.yaml"
    known = ("out-of-range:mcu.n", "dead-rule:mcu.ends", "unreachable-state:mcu.done")
    accepted = "accepted:\n" + "".join(
        f"- {{finding: '{n}', reason: it is known}}\n" for n in known
    )
    codes = []
    for text in (COUNTER, COUNTER + accepted):
        path.write_text(text, "utf-8")
        junit = tmp_path / "out.xml"
        result = run("check", str(path), "--no-cache", "--junit", str(junit))
        codes.append(result.code)
        assert result.out.count(ONLY_FAILING) == 2
        assert result.out.count(PAST_FAILING) == 1
        errors = list(ElementTree.parse(junit).iter("error"))  # noqa: S314 - it is our own text
        messages = [one.get("message", "") for one in errors]
        assert sum(ONLY_FAILING in one or PAST_FAILING in one for one in messages) == 3
    assert codes == [1, 3]


@pytest.mark.thorough
@given(devices())
def test_recoverable_is_undecided_where_only_a_failing_step_might_lead_back(drawn: Drawn) -> None:
    """On random devices, by the second reading: broken where some state has no path even if one
    past a failing step counts, undecided where some state has none but such.
    """
    document = yaml.safe_load(drawn.text)
    leaves = [(chip.name, leaf) for chip in drawn.read().chips.values() for leaf in chip.leaves]
    document["requirements"] = {
        f"R{number}": {"text": "It comes back", "recoverable": f"{chip}.state == {leaf}"}
        for number, (chip, leaf) in enumerate(leaves)
    }
    device = Drawn(as_yaml(document), drawn.chosen).read()
    try:
        reached = search(device, 300)
    except TooMany:
        assume(False)
    verdict = check([device], search=Search(engine="plain"))
    said = {one.need.name: one.verdict for one in verdict.requirements}
    for need in device.requirements.values():
        good = [n for n in reached.numbers if holds_in(need.condition, reached.worlds[n])]
        strictly = leading_to(reached, good, past_failures=False)
        perhaps = leading_to(reached, good)
        everywhere = set(reached.numbers)
        wanted = "broken" if perhaps < everywhere else UNDECIDED if strictly < everywhere else HOLDS
        event(wanted)
        assert said[need.name] == wanted
