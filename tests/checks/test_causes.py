"""Each cause is told once: what follows from another finding is not told again."""

from __future__ import annotations

from textwrap import dedent

from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.model.finding_kinds import KINDS
from tests.generation.devices import device_from
from tests.second_reading.findings import findings_of
from tests.second_reading.search import search


def findings(text: str) -> dict[str, Finding]:
    """The findings of a device by their ids; brute force must find the same, as short."""
    device = device_from(dedent(text))
    found = {finding.id: finding for finding in check([device]).findings}
    lengths = {name: finding.steps for name, finding in found.items() if finding.code != "unused"}
    assert lengths == findings_of(search(device, 2000))
    return found


def test_same_wait_in_many_states_is_one_deadlock() -> None:
    """Deadlocked states in which the same chips wait in the same states have one cause."""
    found = findings("""
        device: one cause
        chips:
          hub: {states: {work: {rest: true}, stuck: {}}, rules: [{in: work, after: 1 s, to: stuck}]}
        actors:
          player:
            variables: {mood: {range: [0, 3]}}
            states: {here: {}}
            rules: [{if: mood < 3, do: [mood += 1]}, {if: mood == 3, do: [mood = 0]}]
    """)
    assert list(found) == ["deadlock:hub.stuck"]
    assert "the same wait occurs in 4 states" in found["deadlock:hub.stuck"].details


TWO = """
device: two waits
chips:
  front:
    states: {idle: {rest: true}, waiting: {}}
    rules: [{in: idle, on: [one, both], to: waiting}]
  rear:
    states: {idle: {rest: true}, waiting: {}}
    rules: [{in: idle, on: [other, both], to: waiting}]
actors:
  player:
    states: {a: {}, b: {}, c: {}, done: {}}
    rules:
      - {in: a, signal: [both], to: done}
      - {in: a, to: b}
      - {in: b, signal: [one], to: %s}
      - {in: %s, to: c}
      - {in: c, signal: [other], to: done}
"""


def test_wait_that_contains_a_smaller_one_is_its_consequence() -> None:
    """Where front alone waits for ever, front and rear waiting together are not told again."""
    found = findings(TWO.replace("on: [other, both]", "on: both") % ("c", "b"))
    assert {name for name in found if name.startswith("deadlock")} == {"deadlock:front.waiting"}


def test_scenario_of_a_deadlock_is_the_shortest_to_any_state_that_has_it() -> None:
    """Both waits together, one step away, show each of the two best."""
    found = findings(TWO % ("done", "b"))
    lengths = {name: f.steps for name, f in found.items() if name.startswith("deadlock")}
    assert lengths == {"deadlock:front.waiting": 1, "deadlock:rear.waiting": 1}


def test_waits_that_never_occur_alone_are_one_deadlock() -> None:
    """Two chips that only ever wait together have one cause, named after both."""
    found = findings("""
        device: together
        chips:
          front:
            states: {idle: {rest: true}, waiting: {}}
            rules: [{in: idle, on: both, to: waiting}]
          rear:
            states: {idle: {rest: true}, waiting: {}}
            rules: [{in: idle, on: both, to: waiting}]
        actors: {player: {states: {here: {}}, rules: [{signal: [both]}]}}
    """)
    assert list(found) == ["deadlock:front.waiting+rear.waiting"]


def test_chip_that_will_end_in_a_told_deadlock_is_not_stuck_as_well() -> None:
    """A chip that can move no more, while others still go on to the deadlock, is not told twice."""
    found = findings("""
        device: last steps
        chips:
          hub: {states: {idle: {rest: true}, stuck: {}}, rules: [{in: idle, after: 1 s, to: stuck}]}
          front:
            states: {one: {}, two: {}, three: {rest: true}}
            rules: [{in: one, after: 1 s, to: two}, {in: two, after: 1 s, to: three}]
    """)
    assert {name: f.steps for name, f in found.items()} == {"deadlock:hub.stuck": 3}


def test_chip_that_is_stuck_while_others_go_on_for_ever_is_told() -> None:
    """Where no deadlock ever comes, the stuck chip is a finding of its own."""
    found = findings("""
        device: for ever
        chips:
          hub: {states: {idle: {rest: true}, stuck: {}}, rules: [{in: idle, after: 1 s, to: stuck}]}
          front:
            states: {idle: {}, busy: {}}
            rules: [{in: idle, after: 1 s, to: busy}, {in: busy, after: 1 s, to: idle}]
    """)
    assert {name: f.steps for name, f in found.items()} == {"stuck-chip:hub.stuck": 1}


def test_stuck_chip_is_told_beside_a_deadlock_that_it_has_no_part_in() -> None:
    """A deadlock explains only the chips that wait in it."""
    found = findings("""
        device: both
        chips:
          hub: {states: {idle: {rest: true}, stuck: {}}, rules: [{in: idle, on: go, to: stuck}]}
          front:
            states: {idle: {}, awake: {}, busy: {}}
            rules:
              - {in: idle, on: end, to: busy}
              - {in: idle, after: 1 s, to: awake}
              - {in: awake, after: 1 s, to: idle}
        actors:
          player:
            states: {a: {}, b: {}, c: {}}
            rules: [{in: a, signal: [go], to: b}, {in: a, signal: [end], to: c}]
    """)
    assert {name: f.steps for name, f in found.items()} == {
        "deadlock:front.busy": 1,
        "stuck-chip:hub.stuck": 1,
    }


def test_chip_that_rests_is_not_stuck() -> None:
    """Waiting for ever in a rest state is what rest states are for."""
    assert (
        findings("""
        device: resting
        chips:
          hub:
            states: {idle: {}, resting: {rest: true}}
            rules: [{in: idle, after: 1 s, to: resting}]
          front:
            states: {idle: {}, busy: {}}
            rules: [{in: idle, after: 1 s, to: busy}, {in: busy, after: 1 s, to: idle}]
    """)
        == {}
    )


def test_actor_or_fault_that_could_help_makes_no_chip_stuck() -> None:
    """Stuck is a chip that nobody can move, whatever people and faults do."""
    for help_ in ("signal: [kick]", "if: false, signal: [kick]"):
        found = findings(f"""
            device: helped
            chips:
              hub:
                states: {{idle: {{rest: true}}, hung: {{}}}}
                rules: [{{in: idle, after: 1 s, to: hung}}, {{in: hung, on: kick, to: idle}}]
              front:
                states: {{idle: {{}}, busy: {{}}}}
                rules: [{{in: idle, after: 1 s, to: busy}}, {{in: busy, after: 1 s, to: idle}}]
            actors: {{player: {{states: {{here: {{}}}}, rules: [{{{help_}}}]}}}}
        """)
        assert ("stuck-chip:hub.hung" in found) == help_.startswith("if")


def test_future_behind_a_failing_step_is_not_claimed() -> None:
    """A chip whose next step fails is not called stuck: that step is the finding."""
    found = findings("""
        device: unknown
        chips:
          hub:
            variables: {n: {range: [0, 1]}}
            states: {idle: {}}
            rules: [{after: 1 s, if: n < 1, do: [n += 1]}, {after: 1 s, if: n == 1, do: [n += 1]}]
          front:
            states: {idle: {}, busy: {}}
            rules: [{in: idle, after: 1 s, to: busy}, {in: busy, after: 1 s, to: idle}]
    """)
    assert list(found) == ["out-of-range:hub.n"]


def test_failure_of_one_subject_at_two_places_is_one_finding() -> None:
    """Two rules that overflow the same link with the same message are told together."""
    found = findings("""
        device: twice
        chips:
          front:
            states: {idle: {rest: true}, busy: {rest: true}}
            rules:
              - {in: idle, after: 1 s, send: [hello], to: busy}
              - {in: busy, after: 1 s, send: [hello]}
              - {in: busy, after: 2 s, send: [hello]}
          hub: {states: {idle: {rest: true}}, defers: [hello]}
        links: {up: {from: front, to: hub, carries: [hello]}}
    """)
    overflow = found["overflow:up.hello"]
    assert (overflow.steps, overflow.place.line, [place.line for place in overflow.also]) == (
        2,
        8,
        [9],
    )


def test_findings_stand_in_the_order_of_their_kinds_and_lengths() -> None:
    """Errors first, in a fixed order of codes; within a code the shortest scenario first."""
    verdict = check([device_from(TWO % ("done", "b"))])
    order = [(list(KINDS).index(f.code), f.steps or 0, f.id) for f in verdict.findings]
    assert order == sorted(order)


def test_a_rule_that_changes_nothing_is_named_as_such() -> None:
    """Whoever reads that a chip waits for ever sees why the rule that it takes all the time is no
    way out, and is not sent to look for room in a link.
    """
    found = findings("""
        device: polls
        chips: {hub: {states: {on: {}}, rules: {poll: {in: on, after: 1 s}}}}
    """)
    (deadlock,) = found.values()
    assert (deadlock.id, deadlock.steps) == ("deadlock:hub.on", 0)
    assert deadlock.details == ("hub in on can take poll, which changes nothing",)
