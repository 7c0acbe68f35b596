"""Laws of composition, each held on random devices. They are always on."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import yaml
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits, Space
from modecheck.engine.reference.happenings import Struck, Took
from modecheck.engine.reference.plain import Interpreter
from modecheck.product.rule_order import rules_at
from modecheck.product.state_layout import layout_of
from tests.generation.devices import Drawn, as_yaml, devices

MOST_STATES = 200
EXAMPLES = settings().max_examples


def verdict_on(drawn: Drawn, *, most: int = MOST_STATES) -> Verdict:
    plain = Search(engine="plain", limits=Limits(states=most))
    verdict = check([drawn.read()], search=plain, today=date(2026, 1, 1))
    assume(verdict.complete)
    return verdict


def space_of(verdict: Verdict) -> Space:
    return verdict.explored[0].exploration


def changed(drawn: Drawn, document: dict[str, Any]) -> Drawn:
    return Drawn(as_yaml(document), drawn.chosen)


def findings_in(verdict: Verdict) -> dict[str, int | None]:
    """The findings with their lengths; of subjects such as `a.x+b.y` the order is taken away."""
    found = {}
    for finding in verdict.findings:
        parts = sorted(finding.subject.split("+"))
        found[f"{finding.code}:{'+'.join(parts)}"] = finding.steps
    return found


def without_names_of_livelocks(verdict: Verdict) -> dict[str, int | None]:
    """The findings with their lengths; of livelocks only whether there are any."""
    found = findings_in(verdict)
    loops = {key for key in found if key.startswith("livelock:")}
    return {key: found[key] for key in found.keys() - loops} | dict.fromkeys(
        ["livelock"] * bool(loops)
    )


def sizes_of(verdict: Verdict) -> tuple[int, int, list[int]]:
    space = space_of(verdict)
    return space.state_count, space.transitions, space.layers


@given(devices(cascades=False), st.data())
@settings(max_examples=EXAMPLES)
def test_order_of_chips_does_not_matter(drawn: Drawn, data: st.DataObject) -> None:
    """Chips, actors and links in another order: the same counts, layers and findings.

    Not so where several hearers of one signal give signals, or fail, in the same step: then those
    that stand first in the device are heard first. Where several smallest sets of chips can loop,
    the order of the file decides which is reported: of a livelock only that there is one is law.
    """
    document = yaml.safe_load(drawn.text)
    for section in ("chips", "actors", "links"):
        names = data.draw(st.permutations(list(document.get(section, {}))))
        if names:
            document[section] = {name: document[section][name] for name in names}
    one, two = verdict_on(drawn), verdict_on(changed(drawn, document))
    assert sizes_of(one) == sizes_of(two)
    if not space_of(one).failures:
        assert without_names_of_livelocks(one) == without_names_of_livelocks(two)


@given(devices())
@settings(max_examples=EXAMPLES)
def test_names_do_not_matter(drawn: Drawn) -> None:
    """Chips of other names make the same product, and the findings bear the new names."""
    names = {"hub": "zebra", "front": "yak", "rear": "xerus", "player": "wolf", "cable": "viper"}

    def renamed(text: str) -> str:
        return re.sub(r"[^\W\d]\w*", lambda word: names.get(word[0], word[0]), text)

    one, two = verdict_on(drawn), verdict_on(Drawn(renamed(drawn.text), drawn.chosen))
    assert sizes_of(one) == sizes_of(two)
    assert {renamed(finding.id) for finding in one.findings} == {f.id for f in two.findings}


@given(devices())
@settings(max_examples=EXAMPLES)
def test_idle_chip_changes_nothing(drawn: Drawn) -> None:
    """A chip that rests and does nothing leaves counts, layers and findings as they are."""
    document = yaml.safe_load(drawn.text)
    document["chips"]["bystander"] = {"states": {"idle": {"rest": True}}}
    one, two = verdict_on(drawn), verdict_on(changed(drawn, document))
    assert sizes_of(one) == sizes_of(two)
    assert findings_in(one) == findings_in(two)


@given(devices())
@settings(max_examples=EXAMPLES)
def test_unused_link_changes_nothing(drawn: Drawn) -> None:
    """A link over which nobody sends changes nothing but that it is told to be unused."""
    document = yaml.safe_load(drawn.text)
    document.setdefault("links", {})["spare"] = {
        "from": "hub", "to": "front", "carries": {"nothing": {"range": [-3, 3]}},
        "capacity": 2, "can": ["lose", "duplicate"], "when_full": "wait",
    }  # fmt: skip
    one, two = verdict_on(drawn), verdict_on(changed(drawn, document))
    assert sizes_of(one) == sizes_of(two)
    assert findings_in(two) == findings_in(one) | {"unused:spare": None}


@given(devices())
@settings(max_examples=EXAMPLES)
def test_independent_chip_multiplies_the_product(drawn: Drawn) -> None:
    """A ring of three states beside a device of s states and t transitions: 3 s and 3 (s + t)."""
    document = yaml.safe_load(drawn.text)
    ring = [{"in": a, "to": b} for a, b in (("a", "b"), ("b", "c"), ("c", "a"))]
    document["chips"]["ring"] = {"states": ["a", "b", "c"], "rules": ring}
    one = space_of(verdict_on(drawn, most=120))
    two = space_of(verdict_on(changed(drawn, document), most=360))
    assert two.state_count == 3 * one.state_count
    assert two.transitions == 3 * (one.state_count + one.transitions)
    assert set(two.failures) == set(one.failures)


@given(devices())
@settings(max_examples=EXAMPLES)
def test_runs_of_the_product_are_runs_of_each_chip(drawn: Drawn) -> None:
    """A chip changes its state only by its own rules, each taken where it holds, or by a fault that
    brings it back to its initial state.
    """
    space = space_of(verdict_on(drawn, most=150))
    product, interpreter = space.product, Interpreter(space.product)
    models = [product.device.chips[form.name] for form in product.chips]
    for number in range(space.state_count):
        state = space.state(number)
        for step in interpreter.steps(state):
            places = [f.leaves[state[f.state_field]] for f in product.chips]
            for happening in step.happenings:
                if isinstance(happening, Took):
                    chip, rule = models[happening.chip], product.rules[happening.rule]
                    leaves = product.chips[happening.chip].leaves
                    assert places[happening.chip] == leaves[happening.before]
                    assert rule in rules_at(chip, leaves[happening.before])
                    if rule.target is not None:
                        places[happening.chip] = chip.states[rule.target].initial_leaf
                    assert places[happening.chip] == leaves[happening.after]
                elif isinstance(happening, Struck):
                    places[happening.chip] = models[happening.chip].initial_leaf
            if step.after is not None:
                after = [form.leaves[step.after[form.state_field]] for form in product.chips]
                assert after == places


@given(devices())
@settings(max_examples=EXAMPLES)
def test_packing_is_injective_on_reachable_states(drawn: Drawn) -> None:
    """Every reachable state keeps its ranges, and no two have one packed form."""
    space = space_of(verdict_on(drawn))
    fields = space.product.fields
    layout = layout_of(fields)
    states = [space.state(number) for number in range(space.state_count)]
    packed = {layout.pack(state) for state in states}
    assert len(packed) == len(set(states)) == space.state_count
    assert max(packed) < 1 << space.product.bits
    for state in states:
        assert layout.unpack(layout.pack(state)) == state
        for field, value in zip(fields, state, strict=True):
            assert field.low <= value <= field.high
