"""Options: what one variant may claim of the others, and what is told of all together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import variants
from modecheck.model.parts import Device
from tests.generation.devices import Drawn, device_from, devices

EXAMPLES = settings().max_examples
NEVER_SEEN = ("dead-rule", "unreachable-state")


def verdict_on(devices: Sequence[Device]) -> Verdict:
    plain = Search(engine="plain", limits=Limits(states=120))
    verdict = check(devices, search=plain, today=date(2026, 1, 1))
    assume(verdict.complete)
    return verdict


def ids(verdict: Verdict, *codes: str) -> set[str]:
    return {one.id for one in verdict.findings if not codes or one.code in codes}


@pytest.mark.thorough
@given(devices())
@settings(max_examples=EXAMPLES)
def test_one_variant_claims_nothing_that_another_refutes(drawn: Drawn) -> None:
    """What one variant calls dead or unreachable is so in all variants together, unless a step that
    fails in that variant hides it.
    """
    every = drawn.read_every_variant()
    assume(len(every) > 1)
    whole = verdict_on(every)
    together = ids(whole, *NEVER_SEEN)
    for device, one in zip(every, whole.explored, strict=True):
        if one.exploration.failures:
            continue
        assert ids(verdict_on([device]), *NEVER_SEEN) <= together


POLICY = """
device: policy
options: {on_unplug: [stay, fall_back], tries: [0, 2]}
chips:
  hub:
    variables: {front_tries: {range: [0, 2]}}
    states: {wired: {}, radio: {}, dark: {rest: true}}
    rules:
      begin: {in: wired, if: front_tries == 0, do: [front_tries = tries]}
      stays: {in: wired, on: unplugged, if: on_unplug == stay, to: dark}
      falls: {in: wired, on: unplugged, to: radio}
      tires: {in: radio, if: front_tries == 2, to: dark}
      never: {in: dark, on: unplugged, if: front_tries > 2}
  lamp:
    states: {unlit: {rest: true}, lit: {rest: true}}
    rules:
      light: {in: unlit, if: hub.radio, to: lit}
      glow: {in: lit, if: hub.dark and hub.wired, to: unlit}
actors:
  player: {states: {here: {}}, rules: {unplug: {signal: [unplugged]}}}
"""


def variants_of(text: str, **chosen: str) -> list[Device]:
    """Every variant that agrees with the choices."""
    return [
        device_from(text, choice)
        for choice in variants(device_from(text))
        if all(choice[name] == value for name, value in chosen.items())
    ]


def test_all_variants_together_tell_what_is_never_seen() -> None:
    """With every combination explored, a rule is dead only if no variant takes it."""
    verdict = check(variants_of(POLICY))
    assert ids(verdict, *NEVER_SEEN) == {"dead-rule:hub.never", "dead-rule:lamp.glow"}


def test_some_variants_excuse_what_others_may_need() -> None:
    """With some combinations left out, rules and states that hang on them are not called dead."""
    for chosen in ({"on_unplug": "stay"}, {"tries": "0"}, {"on_unplug": "stay", "tries": "0"}):
        claimed = ids(check(variants_of(POLICY, **chosen)), *NEVER_SEEN)
        assert claimed <= {"dead-rule:hub.never", "dead-rule:lamp.glow"}


def test_what_no_choice_touches_is_still_told() -> None:
    """An option somewhere in the device does not silence what has nothing to do with it."""
    text = (
        POLICY
        + "  cat: {states: {asleep: {}, awake: {}}, rules: {wake: {if: false, to: asleep}}}\n"
    )
    claimed = ids(check([device_from(text)]), *NEVER_SEEN)
    assert {"dead-rule:cat.wake", "unreachable-state:cat.awake"} <= claimed


MERGED = """
device: merged
options: {way: [long, short, none_at_all]}
chips:
  hub:
    states: {begin: {rest: true}, between: {rest: true}, end: {}}
    rules:
      step: {in: begin, if: way == long, after: 1 s, to: between}
      on_again: {in: between, if: way == long, after: 1 s, to: end}
      jump: {in: begin, if: way == short, after: 1 s, to: end}
"""


def test_finding_of_several_variants_is_told_once_with_the_shortest_scenario() -> None:
    """A finding names the variants that have it, first the one whose scenario is shown."""
    (finding,) = check(variants_of(MERGED)).findings
    assert (finding.id, finding.steps) == ("deadlock:hub.end", 1)
    assert finding.variants == ("way=short", "way=long")


def test_finding_of_every_variant_names_none() -> None:
    """What all variants have is a fault of the device, whatever is chosen."""
    text = MERGED.replace("long, short, none_at_all", "long, short").replace(
        "begin: {rest: true}", "begin: {}"
    )
    found = {finding.id: finding.variants for finding in check(variants_of(text)).findings}
    assert found == {"deadlock:hub.end": ()}


def test_each_variant_is_explored_by_itself() -> None:
    """The verdict keeps one exploration for each variant, in the order of the choices."""
    verdict = check(variants_of(MERGED))
    assert [one.variant for one in verdict.explored] == ["way=long", "way=short", "way=none_at_all"]
    assert [one.exploration.state_count for one in verdict.explored] == [3, 2, 1]
