"""States that are never reached and rules that are never taken: causes, instances, consequences."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

import pytest

from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.model.devices import read_device
from tests.generation.devices import device_from


def findings(text: str, search: Search | None = None) -> dict[str, Finding]:
    verdict = check([device_from(dedent(text))], search=search)
    return {finding.id: finding for finding in verdict.findings}


CAUSES = """
device: causes
chips:
  hub:
    variables: {{n: {{range: [0, 1]}}}}
    states: {{idle: {{rest: true}}}}
    rules:
      {before}
      rare: {{{rule}}}
  front:
    states: {{idle: {{rest: true}}}}
    rules: [{{name: send, send: [hello]}}]
    discards: [echo]
links:
  up: {{from: front, to: hub, carries: [hello, hi], when_full: wait}}
  down: {{from: hub, to: front, carries: [echo]}}
  full: {{from: hub, to: jam, carries: [echo], when_full: wait}}
  other: {{from: hub, to: jam, carries: [echo], when_full: wait}}
"""


def cause(rule: str, before: str = "take: {on: hello}", search: Search | None = None) -> str:
    text = CAUSES.format(rule=rule, before=before)
    text = text.replace("links:", "  jam: {states: {idle: {rest: true}}, defers: [echo]}\nlinks:")
    return findings(text, search)["dead-rule:hub.rare"].text.split(": ", 1)[1]


def test_dead_rule_tells_that_its_event_never_arrives() -> None:
    """Nobody sends it, or not over this link."""
    assert cause("in: idle, on: hi") == "hi never arrives while it is in idle"


def test_dead_rule_tells_that_its_guard_is_never_true() -> None:
    """The event arrives, or none is needed, but the condition never holds."""
    expected = "its guard n == 1 is never true there"
    assert cause("if: n == 1, do: [n = 0]") == expected
    assert (
        cause("on: hello, if: n == 1", before="other: {on: hi}\n      take: {on: hello}")
        == expected
    )


def test_dead_rule_tells_which_rule_stands_before_it() -> None:
    """Its event arrives and its guard holds, but an earlier rule always wins."""
    assert cause("on: hello") == "it is shadowed by take, which comes before it"
    assert cause("on: hello, if: n == 0") == "it is shadowed by take, which comes before it"


ROOMLESS = "send: [echo via full, echo via full]"
"""Two messages, and a link that holds one."""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    ("rule", "before", "wanted"),
    [
        (ROOMLESS, "take: {on: hello}", "link full never has room for it"),
        (
            f"if: n == 0, {ROOMLESS}",
            "take: {on: hello}",
            "link full never has room while its guard n == 0 is true",
        ),
        (f"if: n == 1, {ROOMLESS}", "take: {on: hello, do: [n = 0]}", "its guard n == 1"),
        # Its message waits; another rule takes it before, or behind.
        (f"on: hello, if: n == 0, {ROOMLESS}", "other: {on: hi}", "link full never has room"),
        (f"on: hello, if: n == 0, {ROOMLESS}", "take: {on: hello}", "link full never has room"),
        (f"on: hello, {ROOMLESS}}}\n      take: {{on: hello", "other: {on: hi}", "link full"),
    ],
    ids=["by_itself", "guarded", "never_true", "waits", "taken_before", "taken_behind"],
)
@pytest.mark.usefixtures("own_cache")
def test_dead_rule_tells_that_its_link_never_has_room(
    engine: EngineName, rule: str, before: str, wanted: str
) -> None:
    """Where all else holds, nobody is told that its guard is never true."""
    assert cause(rule, before, Search(engine=engine)).startswith(wanted)


def test_dead_rule_tells_all_links_that_it_waits_for() -> None:
    """Each of them has room now and then."""
    text = cause("send: [echo via full, echo via full, echo via other]")
    assert text == "links full and other never have room at the same time for it"


@pytest.mark.parametrize("engine", ["plain", "compiled", "zones"])
@pytest.mark.usefixtures("own_cache")
def test_dead_rule_that_waits_for_its_time_may_miss_room_alone(engine: EngineName) -> None:
    """Its moment comes, and its guard holds then."""
    text = """
        device: late
        clock: {tick: 1 ms}
        chips:
          hub:
            variables: {n: {range: [0, 1]}}
            states: {idle: {rest: true}, busy: {rest: true}}
            rules:
              - {in: idle, after: 4 ms, to: busy}
              - name: rare
                in: idle
                after: [3 ms, forever]
                if: n == 0
                send: [echo via full, echo via full]
              - {in: busy, after: 4 ms, to: idle}
          jam: {states: {idle: {rest: true}}, defers: [echo]}
        links: {full: {from: hub, to: jam, carries: [echo], when_full: wait}}
    """
    found = findings(text, Search(engine=engine))["dead-rule:hub.rare"]
    assert found.text.endswith(": link full never has room while its guard n == 0 is true")


def test_dead_rule_tells_that_its_time_never_comes() -> None:
    """An earlier timer leaves the state."""
    text = """
        device: late
        clock: {tick: 1 ms}
        chips:
          hub:
            states: {idle: {rest: true}, busy: {rest: true}}
            rules:
              - {in: idle, after: 2 ms, to: busy}
              - {name: rare, in: idle, after: 5 ms, to: busy}
    """
    assert findings(text)["dead-rule:hub.rare"].text.endswith(": it never becomes due there")


def test_rule_in_a_state_that_is_never_reached_is_not_told_as_well() -> None:
    """What follows from an unreachable state is not told again, nor are the states inside it."""
    found = findings("""
        device: consequences
        chips:
          hub:
            states:
              idle: {rest: true}
              lost:
                states: {far: {states: {deep: {}}}, near: {rules: [{if: true, to: near}]}}
                rules: [{on: hi}]
            rules: [{in: near, after: 1 s, to: idle}]
          front: {states: {idle: {rest: true}}, rules: [{signal: [hi]}]}
    """)
    assert list(found) == ["unreachable-state:hub.lost"]


def test_state_inside_a_reached_one_is_told() -> None:
    """Where the composite state is reached, what is never reached inside it is a finding."""
    found = findings("""
        device: inside
        chips:
          hub:
            states: {online: {rest: true, states: {linked: {}, lost: {}}}}
            rules: [{to: linked}]
    """)
    assert list(found) == ["unreachable-state:hub.lost"]


def test_rule_of_an_outer_state_is_alive_if_any_state_inside_takes_it() -> None:
    """A rule is one rule, however many states it serves."""
    assert (
        findings("""
        device: outer
        chips:
          hub:
            states:
              online:
                rest: true
                states: {linked: {rules: [{name: own, on: hi}]}, free: {}}
                rules: [{name: shared, on: hi, to: linked}]
            initial: online
            rules: [{in: linked, after: 1 s, to: free}]
          front: {states: {idle: {rest: true}}, rules: [{signal: [hi]}]}
    """)
        == {}
    )


INSTANCES = """
device: instances
chips:
  front: {file: tile.yaml, with: {busy: %s}}
  rear: {file: tile.yaml, with: {busy: %s}}
"""
TILE = """
chip: tile
parameters: {busy: null}
states: {idle: {rest: true}, working: {rest: true}}
rules: [{name: work, in: idle, if: busy, to: working}]
"""


def instances(folder: Path, left: str, right: str) -> dict[str, Finding]:
    (folder / "tile.yaml").write_text(TILE)
    (folder / "device.yaml").write_text(INSTANCES % (left, right))
    verdict = check([read_device(str(folder / "device.yaml"))])
    return {finding.id: finding for finding in verdict.findings}


def test_what_one_instance_of_a_file_does_is_alive_for_all(tmp_path: Path) -> None:
    """Chips of one file share its rules and states: dead is what no instance does."""
    assert instances(tmp_path, "true", "false") == {}


def test_what_no_instance_does_is_told_once(tmp_path: Path) -> None:
    """Both tiles are named, in one finding for the state and one for the rule."""
    found = instances(tmp_path, "false", "false")
    assert set(found) == {"unreachable-state:front.working", "dead-rule:front.work"}
    assert found["unreachable-state:front.working"].text == "front and rear are never in working"
