"""`choose`: ordered branches of one rule, UML's choice (UML 2.5.1, section 14.2.3)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from modecheck.checks.verdict import check
from modecheck.compare.text_changes import text_changes
from modecheck.draw.labels import rule_label
from modecheck.draw.statechart import statechart
from modecheck.engine.choice import EngineName, Search, explore_with
from modecheck.product.composition import compose
from tests.generation.devices import device_from
from tests.stepping import begin

ENGINES: tuple[EngineName, ...] = ("plain", "compiled")

DECIDING = """
device: a hub that decides
{clock}
chips:
  hub:
    variables: {{tries: {{range: [0, 3]}}}}
    states: {{idle: {{rest: true}}, failed: {{rest: true}}}}
    rules: {rules}
    discards: [ping]
actors:
  player: {{states: [near, far], rules: [{{in: near, to: far}}, {{signal: ping}}]}}
"""


def deciding(rules: str, clock: str = "") -> str:
    return DECIDING.format(rules=rules, clock=clock)


CHAIN = (
    "[{name: go, in: idle, %sif: player.near, choose: ["
    "{if: tries < 2, do: tries += 1},"
    "{if: tries == 2, do: tries = 3, to: idle},"
    "{else: true, do: tries = 0, to: failed}]}]"
)
WRITTEN_OUT = (
    "[{name: go, in: idle, %(on)sif: player.near and tries < 2, do: tries += 1},"
    "{name: go_on, in: idle, %(on)sif: player.near and not tries < 2 and tries == 2, do: tries = 3,"
    " to: idle},"
    "{name: end, in: idle, %(on)sif: player.near and not tries < 2 and not tries == 2,"
    " do: tries = 0, to: failed}]"
)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("on", ["", "on: ping, ", "after: 2 ms, "])
@pytest.mark.parametrize("clock", ["", "clock: {tick: 1 ms}"])
def test_branches_are_rules_with_the_negations_of_those_before(
    engine: EngineName, on: str, clock: str
) -> None:
    """The chain written out has the same states, transitions and findings. With a clock the timers
    of rules of their own would be apart, which `test_branches_share_their_time` looks at.
    """
    if clock and "after" in on:
        return
    texts = deciding(CHAIN % on, clock), deciding(WRITTEN_OUT % {"on": on}, clock)
    one, two = (
        explore_with(compose(device_from(text)), Search(engine=engine, threads=1)) for text in texts
    )
    assert (one.state_count, one.transitions) == (two.state_count, two.transitions)
    assert one.layers == two.layers
    assert one.transitions > 8


def test_the_first_branch_that_holds_is_taken_and_nothing_else() -> None:
    """What a branch does is not seen by the conditions: all are judged before."""
    rules = (
        "[{name: go, choose: [{if: tries == 0, do: tries = 1},"
        " {if: tries == 1, do: tries = 2}, {else: true, to: failed}]}]"
    )
    hub = begin(deciding(rules))
    assert "hub go.1" in hub.labels
    assert "hub go.2" not in hub.labels
    later = hub.take("hub go.1")
    assert later.value("hub.tries") == 1
    assert [label for label in later.labels if "hub" in label] == ["hub go.2"]
    assert later.take("hub go.2", "hub go.else").at("hub") == "failed"


def test_without_an_else_the_rule_may_not_be_enabled() -> None:
    """An event goes to the next rule then."""
    rules = (
        "[{name: go, on: ping, choose: [{if: tries == 1, to: failed}]},"
        " {name: other, on: ping, do: tries = 1}]"
    )
    hub = begin(deciding(rules)).take("player any:step")
    assert hub.value("hub.tries") == 1
    assert hub.take("player any:step").at("hub") == "failed"


ROOM = """
device: a hub that waits for room
chips:
  hub:
    states: {idle: {rest: true}, off: {rest: true}}
    rules:
      - {name: go, in: idle, choose: [{if: player.near, send: hello}, {else: true, to: off}]}
  tile: {states: {deaf: {rest: true}}, defers: [hello]}
actors:
  player: {states: [near, far], rules: [{name: leave, in: near, to: far}]}
links:
  down: {from: hub, to: tile, carries: hello, when_full: wait}
"""


def test_a_branch_that_waits_for_room_keeps_the_others_from_being_tried() -> None:
    """Its condition decides, not whether its link is full."""
    full = begin(ROOM).take("hub go.1")
    assert [label for label in full.labels if label.startswith("hub")] == []
    assert full.take("player leave", "hub go.else").at("hub") == "off"


def test_branches_share_their_time() -> None:
    """One period, whichever branch was taken when it ended: a step each 3 ms."""
    moment = begin(
        deciding(
            "[{name: go, period: 3 ms, choose: [{if: tries == 0, do: tries = 1},"
            " {else: true, do: tries = 0}]}]",
            "clock: {tick: 1 ms}",
        )
    )
    for branch in ("go.1", "go.else", "go.1"):
        for _ in range(3):
            assert f"hub {branch}" not in moment.labels
            moment = moment.take("time goes on")
        assert "time goes on" not in moment.labels
        moment = moment.take(f"hub {branch}")


def test_a_branch_that_stays_restarts_the_timer_of_those_that_leave() -> None:
    """One timer, which goes by itself: a rule that leaves the state still counts from its entry."""
    rules = (
        "[{name: go, in: idle, after: [2 ms, 3 ms], choose: [{if: tries == 0, do: tries = 1},"
        " {else: true, to: failed}]}, {name: last, in: idle, after: [3 ms, 9 ms], to: failed}]"
    )
    stayed = begin(deciding(rules, "clock: {tick: 1 ms}")).take(*["time goes on"] * 2, "hub go.1")
    offered = []
    for _ in range(3):
        offered.append([label for label in stayed.labels if label.startswith("hub")])
        stayed = stayed.take("time goes on")
    assert offered == [[], ["hub last"], ["hub go.else", "hub last"]]


def test_a_period_that_no_branch_takes_begins_again() -> None:
    """As that of a rule whose condition does not hold: the next moment is one period later."""
    rules = "[{name: go, period: 2 ms, choose: [{if: tries == 3, do: tries = 1}, {if: OTHER}]}]"
    for other in ("tries == 2", "player.far"):
        moment = begin(deciding(rules.replace("OTHER", other), "clock: {tick: 1 ms}"))
        later = moment.take(*["time goes on"] * 3)
        if other == "player.far":
            later = later.take("player near:step")
            assert "hub go.2" not in later.labels
            later = later.take("time goes on")
            assert "hub go.2" in later.labels


MISSED = """
device: a pedal that may blink each 2 ms, but not while it plays
clock: {tick: 1 ms}
chips:
  pedal:
    variables: {shown: bool}
    states: {idle: {rest: true}}
    rules:
      blink: {period: [2 ms, 2 ms], if: player.silent, RULE}
actors:
  player:
    states: [playing, silent]
    rules: {stop: {in: playing, to: silent}}
"""
AT_ONCE, IN_BRANCHES = (
    MISSED.replace("RULE", rule)
    for rule in (
        "do: shown = not shown",
        "choose: [{if: shown, do: shown = false}, {else: true, do: shown = true}]",
    )
)


@pytest.mark.parametrize("engine", ENGINES)
def test_branches_of_a_period_add_nothing_to_it(engine: EngineName) -> None:
    """By each engine as many states and transitions as for the same rule without branches."""
    alone, chosen = (
        explore_with(compose(device_from(text)), Search(engine=engine))
        for text in (AT_ONCE, IN_BRANCHES)
    )
    assert (chosen.state_count, chosen.transitions) == (alone.state_count, alone.transitions)
    assert chosen.layers == alone.layers


FAIR = """
device: a choice that is never the same for long
chips:
  hub:
    states: {idle: {}, done: {rest: true}}
    rules:
      - {name: go, in: idle, choose: [{if: lamp.lit, to: done}, {else: true, to: done}]}
  lamp:
    states: {lit: {rest: true}, dark: {rest: true}}
    rules: [{in: lit, to: dark}, {in: dark, to: lit}]
requirements:
  ends: {text: The hub ends, eventually: hub.done}
"""


@pytest.mark.parametrize("engine", ENGINES)
def test_fairness_is_owed_by_the_rule_and_not_by_each_branch(engine: EngineName) -> None:
    """Some branch can always be taken, though none of them for long."""
    verdict = check([device_from(FAIR)], search=Search(engine=engine))
    assert [judged.verdict for judged in verdict.requirements] == ["holds"]
    apart = (
        FAIR.replace(
            "{name: go, in: idle, choose: [{if: lamp.lit, to: done}, {else: true, to: done}]}",
            "{in: idle, if: lamp.lit, to: done}, {in: idle, if: not lamp.lit, to: done}",
        )
        .replace("      - {in", "      [{in")
        .replace("to: done}\n  lamp", "to: done}]\n  lamp")
    )
    verdict = check([device_from(apart)], search=Search(engine=engine))
    assert [judged.verdict for judged in verdict.requirements] != ["holds"]


def test_a_requirement_names_a_choice_or_a_branch() -> None:
    """`taken(hub.go)` is any branch, `taken(hub.go.again)` the one of that name."""
    text = deciding(
        "[{name: go, in: idle, choose: [{name: again, if: tries < 1, do: tries += 1},"
        " {else: true, to: failed}]}]"
    )
    for never, steps in (("hub.go", 1), ("hub.go.again", 1), ("hub.go and hub.failed", 2)):
        event, _, rest = never.partition(" and ")
        never = f"taken({event})" + (f" and {rest}" if rest else "")
        wanted = f"{text}requirements: {{R: {{text: not so, never: {never}}}}}\n"
        (finding,) = (
            one for one in check([device_from(wanted)]).findings if one.code == "broken-requirement"
        )
        assert finding.steps == steps


@pytest.mark.parametrize(
    ("branches", "cause"),
    [
        ("{if: tries < 9, do: tries = 1}, {else: true, to: failed}",
         "hub never takes go.else: a branch before it is always chosen there"),
        ("{if: tries < 2, do: tries = 1}, {if: tries == 0, to: failed}",
         "hub never takes go.2: "
         "tries == 0 is never true there unless a branch before it is chosen"),
        ("{if: tries == 3, do: tries = 1}, {else: true, to: failed}",
         "hub never takes go.1: its guard tries == 3 is never true there"),
    ],
)  # fmt: skip
def test_a_branch_that_is_never_taken_is_a_dead_rule(branches: str, cause: str) -> None:
    """With its own place in the file, and the cause."""
    device = device_from(deciding(f"[{{name: go, in: idle, choose: [{branches}]}}]"))
    (dead,) = (one for one in check([device]).findings if one.code == "dead-rule")
    assert dead.text == cause
    assert dead.place is not None
    assert dead.place.text[dead.place.column - 1 :].startswith("{")


def test_labels_say_else_if() -> None:
    """As the trade writes a chain: `[…]`, `[else if …]`, `[else]`."""
    rules = device_from(deciding(CHAIN % "on: ping, ")).chips["hub"].rules
    assert [rule_label(rule) for rule in rules] == [
        "ping [player.near] [tries < 2] / tries += 1",
        "ping [player.near] [else if tries == 2] / tries = 3",
        "ping [player.near] [else] / tries = 0",
    ]


def test_a_statechart_draws_a_diamond() -> None:
    """One arrow to it, with the branches that stay; one from it to each state that is entered."""
    chart = statechart(device_from(deciding(CHAIN % "on: ping, ")).chips["hub"])
    (diamond,) = (box for box in chart.boxes if box.shape == "choice")
    arrows = [a for a in chart.arrows if diamond.key in {e.box for e in (*a.tails, *a.heads)}]
    assert [arrow.rules for arrow in arrows] == [("go.1",), ("go.2",), ("go.else",)]
    assert [arrow.heads[0].box for arrow in arrows] == [diamond.key, "idle", "failed"]
    staying = device_from(deciding("[{on: ping, choose: [{if: tries < 2, do: tries += 1}]}]"))
    assert not any(box.shape == "choice" for box in statechart(staying.chips["hub"]).boxes)


def test_compare_tells_the_branch_that_changed() -> None:
    """And not those behind it, although their conditions depend on it."""
    old = device_from(deciding(CHAIN % ""))
    new = device_from(deciding(CHAIN % "").replace("tries < 2", "tries < 1"))
    changes = text_changes(old, replace(new, file=old.file)).changes
    assert [(change.what, str(change.name)) for change in changes] == [("changed", "hub.go.1")]
    assert changes[0].facets == (("if", "tries < 2", "tries < 1"),)
