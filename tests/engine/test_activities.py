"""Activities of one controller: who may step, while others could."""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.zones.untimed import Untimed
from modecheck.engine.zones.zone_clocks import NotZonable
from modecheck.product.composition import compose
from tests.generation.devices import device_from
from tests.stepping import begin

ENGINES: tuple[EngineName, ...] = ("plain", "compiled")

DEVICE = """
device: activities
chips:
  task:
    runs_on: mcu
    priority: {urgent}
    states: {{idle: {{rest: true}}, ready: {{}}}}
    rules: {{note: {{in: idle, on: [wake, word], to: ready}}, work: {{in: ready, to: idle}}}}
  loop:
    runs_on: mcu
    states: {{one: {{}}, two: {masks}}}
    rules: {{go: {{in: one, to: two}}, back: {{in: two, {sends} to: one}}}}
  other:
    states: [here]
    rules: {{say: {{send: [word via air]}}}}
actors:
  player: {{states: [here], rules: {{wake: {{signal: [wake]}}}}}}
links:
  air: {{from: other, to: task, carries: [word], when_full: drop_new}}
  box: {{from: loop, to: task, carries: [word], when_full: drop_new}}
"""


def activities(urgent: int = 1, masks: str = "{}", sends: str = "send: [word via box],") -> str:
    return DEVICE.format(urgent=urgent, masks=masks, sends=sends)


def test_a_more_urgent_activity_goes_first() -> None:
    """While it can step, the loop cannot; then it can again."""
    ready = begin(activities()).take("player wake")
    assert "loop go" not in ready.labels
    assert "loop go" in ready.take("task work").labels


def test_equal_priorities_hold_nobody_back() -> None:
    """Either may step."""
    assert {"loop go", "task work"} <= set(begin(activities(urgent=0)).take("player wake").labels)


def test_a_less_urgent_one_waits_for_the_loop() -> None:
    """The priority counts, whoever it is."""
    ready = begin(activities(urgent=-1)).take("player wake")
    assert "loop go" in ready.labels
    assert "task work" not in ready.labels


def test_a_masked_activity_waits_and_holds_nobody_back() -> None:
    """But what it hears, it notes."""
    masked = begin(activities(masks="{masks: [task]}")).take("loop go", "player wake")
    assert masked.at("task") == "ready"
    assert "task work" not in masked.labels
    assert "task work" in masked.take("loop back").labels


def test_a_message_within_the_controller_is_there_at_once() -> None:
    """It has to be taken before the loop goes on; one from elsewhere is on its way."""
    here = begin(activities()).take("loop go", "loop back")
    assert "loop go" not in here.labels
    assert "box to task note" in here.labels
    on_its_way = begin(activities()).take("other say")
    assert {"loop go", "air to task note"} <= set(on_its_way.labels)


def test_what_is_masked_receives_nothing() -> None:
    """Neither from elsewhere nor from the controller itself."""
    masked = begin(activities(masks="{masks: [task]}")).take("other say", "loop go")
    assert "air to task note" not in masked.labels
    assert "air to task note" in masked.take("loop back").labels


TIMED = """
device: timers
clock: {{tick: 1 ms, at_once: [chips]}}
chips:
  tick:
    runs_on: mcu
    priority: 1
    states: [on]
    rules: {{strike: {{period: {period}}}}}
  loop:
    runs_on: mcu
    states: {{away: {{masks: [tick]}}, here: {{rest: true}}}}
    rules:
      come: {{in: away, after: 3 ms, to: here}}
      work: {{in: here, signal: [worked], to: here}}
"""


def test_a_timer_waits_at_its_latest_moment_while_it_is_masked() -> None:
    """Time passes meanwhile; it strikes as soon as it may."""
    moment = begin(TIMED.format(period="2 ms")).take(*["time goes on"] * 3)
    assert "tick strike" not in moment.labels
    assert moment.take("loop come").labels == ["tick strike"]


def test_a_timer_that_need_not_have_expired_holds_nobody_back() -> None:
    """Only at its latest moment."""
    early = begin(TIMED.format(period="[2 ms, 4 ms]")).take(*["time goes on"] * 3, "loop come")
    assert early.labels == ["tick strike", "loop work"]


def test_a_period_whose_branches_are_all_impossible_begins_again() -> None:
    """As that of a rule without branches."""
    text = """
device: period
clock: {tick: 1 ms}
chips:
  hub:
    states: [on]
    variables: {x: bool}
    rules:
      ring: {period: 2 ms, choose: [{if: x, do: x = false}, {if: x and not x, do: x = true}]}
      set: {do: x = true}
"""
    moment = begin(text).take("time goes on", "time goes on")
    assert "time goes on" in moment.labels
    later = moment.take("time goes on", "hub set")
    assert [label for label in later.labels if label.startswith("hub ring")] == []


def test_a_condition_that_fails_can_step() -> None:
    """Into a failing step, for which the loop has to wait."""
    text = (
        activities()
        .replace(
            "states: {idle: {rest: true}",
            "variables: {x: {list: 1, bool: true}, "
            "n: {range: [1, 1]}}\n    states: {idle: {rest: true}",
        )
        .replace("work: {in: ready, to: idle}", "work: {in: ready, if: 'x[n]', to: idle}")
    )
    moment = begin(text).take("player wake")
    assert "loop go" not in moment.labels
    assert moment.failure("task work") == "out-of-range:task.x"


@pytest.mark.parametrize("engine", ENGINES)
def test_starved_activities_are_told(engine: EngineName) -> None:
    """The loop that is more urgent leaves no turn to the task."""
    search = Search(engine=engine)
    findings = check([device_from(activities(urgent=-1, sends=""))], search=search).findings
    details = {line for one in findings if one.code == "stuck-chip" for line in one.details}
    assert "task in ready waits for its turn on mcu" in details


def test_zones_refuse_activities_of_different_urgency() -> None:
    """With a reason."""
    with pytest.raises(NotZonable, match="more urgent activities"):
        Untimed(compose(device_from(TIMED.format(period="2 ms"))))
