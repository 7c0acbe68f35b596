"""Rules: where they hold, what sets them off, what they do, and how they are called."""

from __future__ import annotations

import pytest

from modecheck.model.parts import Event, Rule
from modecheck.model.rule_drafts import CONSUMING, EFFECTS
from modecheck.model.terms import Constant, Operation, ReadVariable
from modecheck.model.values import number_type
from modecheck.product.rule_order import rules_at
from tests.model.folder import Folder

BODY = """
    parameters: {{far: down}},
    variables: {{n: {{range: [0, 3]}}, m: {{range: [0, 3]}}, l: {{list: 2, range: [0, 3]}}}},
    states: {{off: {{}}, on: {{states: {{dim: {{}}, bright: {{}}}}}}}},
    rules: {rules}"""


def rules_of(folder: Folder, rules: str) -> tuple[Rule, ...]:
    return folder.chip(BODY.format(rules=rules)).rules


def doing(rule: str) -> str:
    """A rule with these keys, which gives a signal where it would do nothing else."""
    does = any(f"{key}:" in rule.replace("'on'", "on") for key in (*EFFECTS, *CONSUMING))
    return f"{{{rule}}}" if does else f"{{{rule}{', ' * bool(rule)}signal: done}}"


def rule_of(folder: Folder, rule: str) -> Rule:
    return rules_of(folder, f"[{doing(rule)}]")[0]


def told_of(folder: Folder, rule: str) -> str:
    return folder.chip_error(BODY.format(rules=f"[{doing(rule)}]"))


def test_a_rule_that_only_raises_a_signal_holds_everywhere(folder: Folder) -> None:
    """Each key adds something; none but an effect is required."""
    rule = rule_of(folder, "")
    assert (rule.kind, rule.signals) == ("internal", ("done",))
    assert [rule.sources, rule.trigger, rule.assignments, rule.sends] == [()] * 4
    assert [rule.target, rule.guard, rule.after] == [None] * 3
    assert not rule.separate


@pytest.mark.parametrize(
    "rule",
    ["", "in: off", "if: n == 1", "send: ~", "do: []", "text: waits", "fair: weak"],
)
def test_a_rule_that_does_nothing_is_refused(folder: Folder, rule: str) -> None:
    """It would make its chip look as if it could go on."""
    assert "this rule does nothing" in folder.chip_error(BODY.format(rules=f"[{{{rule}}}]"))
    named = folder.chip_error(BODY.format(rules=f"{{idle: {{{rule}}}}}"))
    assert "the rule 'idle' does nothing" in named


@pytest.mark.parametrize(
    "rule", ["'on': hello", "'on': ping", "after: 20 ms", "period: 1 ms", "expires: patience"]
)
def test_a_rule_that_consumes_an_event_does_something(folder: Folder, rule: str) -> None:
    """A message, a signal, or the end of a timer."""
    rules = BODY.format(rules=f"[{{{rule}}}, {{start: patience}}]")
    assert folder.chip(f"timers: {{patience: 1 s}}, {rules}").rules[0]


@pytest.mark.parametrize(
    ("rule", "sources"),
    [
        ("in: off", ("off",)),
        ("in: [off, dim]", ("off", "dim")),
        ("in: [off, off]", ("off",)),
        ("in: on", ("on",)),
        ("in: ~", ()),
    ],
)
def test_a_rule_holds_in_the_states_that_it_names(
    folder: Folder, rule: str, sources: tuple[str, ...]
) -> None:
    """One state or several, each once; without `in` every state."""
    assert rule_of(folder, rule).sources == sources


@pytest.mark.parametrize(
    ("rule", "kind", "trigger"),
    [
        ("'on': hello", "event", (Event("hello"),)),
        ("'on': [hello, ping]", "event", (Event("hello"), Event("ping"))),
        ("'on': hello via up", "event", (Event("hello", "up"),)),
        ("after: 20 ms", "timer", ()),
        ("if: n == 1", "internal", ()),
    ],
)
def test_a_rule_waits_for_an_event_for_time_or_for_nothing(
    folder: Folder, rule: str, kind: str, trigger: tuple[Event, ...]
) -> None:
    """Messages and signals look alike; `via` hears only one link."""
    assert (rule_of(folder, rule).kind, rule_of(folder, rule).trigger) == (kind, trigger)


def test_effects_stand_in_order(folder: Folder) -> None:
    """Assignments, sends and signals keep the order in which they were written."""
    rule = rule_of(
        folder,
        "do: ['n = 1', 'n, m = m, n', 'm += 1', 'l[n] = 2'], send: [welcome, bye via far], "
        "signal: [one, two], to: on, steps: separate, text: ' greets\\n the tile '",
    )
    n, m = ReadVariable("hub", "n"), ReadVariable("hub", "m")
    assert [entry.values for entry in rule.assignments] == [
        (Constant(1),), (m, n), (Operation("+", (m, Constant(1))),), (Constant(2),),
    ]  # fmt: skip
    assert [[target.variable for target in entry.targets] for entry in rule.assignments] == [
        ["n"], ["n", "m"], ["m"], ["l"],
    ]  # fmt: skip
    assert rule.assignments[3].targets[0].index == n
    assert [send.text for send in rule.sends] == ["welcome via down", "bye via down"]
    assert (rule.signals, rule.target, rule.separate) == (("one", "two"), "on", True)


def test_one_effect_needs_no_brackets(folder: Folder) -> None:
    """A list of one is written as the one."""
    rule = rule_of(folder, "do: n = 1, send: welcome, signal: one")
    assert (len(rule.assignments), len(rule.sends), rule.signals) == (1, 1, ("one",))


def test_value_is_of_the_type_that_the_message_carries(folder: Folder) -> None:
    """A rule may send on what it received."""
    text = """\
        device: d
        chips:
          a: {states: [s], rules: [{send: keys(5)}]}
          b: {states: [s], rules: [{'on': keys, if: value > 4, send: more(value)}]}
          c: {states: [s], discards: [more]}
        links:
          ab: {from: a, to: b, carries: {keys: {range: [2, 5]}}}
          bc: {from: b, to: c, carries: {more: {range: [0, 9]}}}
        """
    device = folder.device(text)
    assert device.links["ab"].carries["keys"].type == number_type(2, 5)
    assert device.chips["b"].rules[0].sends[0].value is not None


def test_names_of_rules_are_unique(folder: Folder) -> None:
    """A name of its own, a key in a mapping, else where and what; repetitions are numbered."""
    unnamed = (
        "[{in: off, 'on': hello}, {in: off, 'on': hello via up}, {after: 1 s, to: on},"
        " {name: own, to: on}, {to: on}]"
    )
    titles = [rule.title for rule in rules_of(folder, unnamed)]
    assert titles == ["off:hello", "off:hello#2", "any:after", "own", "any:step"]
    assert [rule.title for rule in rules_of(folder, "{a: {to: on}, b: {to: on}}")] == ["a", "b"]


def test_inner_rules_come_first_then_document_order(folder: Folder) -> None:
    """The innermost state is asked first, as in SCXML, section 3.13 (from memory)."""
    body = """
        states: {
          on: {states: {dim: {rules: {inner: {to: on}}}, bright: {}}, rules: {outer: {to: on}}},
        },
        rules: {anywhere: {to: on}, named: {in: dim, to: on}, wide: {in: [on, bright], to: on}}"""
    chip = folder.chip(body)
    assert [rule.title for rule in rules_at(chip, "dim")] == [
        "inner", "named", "outer", "wide", "anywhere",
    ]  # fmt: skip
    assert [rule.title for rule in rules_at(chip, "bright")] == ["wide", "outer", "anywhere"]


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("in: of", "did you mean 'off'?"),
        ("in: {a: b}", "a mapping cannot be used as a state"),
        ("in: []", "an empty list cannot be used as 'in'"),
        ("to: linked", "unknown state 'linked'"),
        ("to: tile.linked", "'tile.linked' is a state of another chip"),
        ("to: [on]", "a list cannot be used as a target"),
        ("'on': []", "an empty list cannot be used as 'on'"),
        ("'on': helo", "unknown event 'helo'"),
        ("'on': welcome", "unknown event 'welcome'"),
        ("'on': hello via ap", "'ap' is not a link to hub"),
        ("'on': bye via up", "'up' does not carry 'bye'"),
        ("'on': hello up", "'hello up' is not an event"),
        ("'on': {a: b}", "a mapping cannot be used as an event"),
        ("after: 20", "'20' has no unit (20 ms?)"),
        ("after: soon", "'soon' is not a duration"),
        ("after: []", "an empty list cannot be used as 'after'"),
        ("after: [2 s, 1 s]", "the latest time is before the earliest"),
        ("after: [1 s, 2 s, 3 s]", "more than two durations"),
        ("'on': hello, after: 1 s", "for both an event and time"),
        ("send: helo", "no link from hub carries 'helo'"),
        ("send: bye", "several links carry 'bye'"),
        ("send: hello via up", "'up' is a link from tile, not from hub"),
        ("send: welcome via donw", "did you mean 'down'?"),
        ("send: hello via down", "'down' does not carry 'hello'"),
        ("send: welcome(1)", "'welcome' carries no value"),
        ("send: {a: b}", "a mapping cannot be used as a send"),
        ("do: {a: b}", "a mapping cannot be used as an assignment"),
        ("do: n", "no value is assigned"),
        ("signal: [a b]", "'a b' cannot be the name of a signal"),
        ("signal: {a: b}", "a mapping cannot be used as a signal"),
        ("signal: none", "'none' is a reserved word in expressions"),
        ("steps: seperate", "did you mean 'separate'?"),
        ("if: [n]", "a list cannot be used as a condition"),
        ("text: [a]", "a list cannot be used as text"),
        ("name: [a]", "a list cannot be used as name"),
        ("name: 3", "'3' cannot be the name of a rule"),
        ("fi: n == 1", "unknown key 'fi' in a rule"),
    ],
)
def test_rules_that_are_none_are_told(folder: Folder, rule: str, told: str) -> None:
    """Every error in a rule is told once, with what was expected."""
    text = told_of(folder, rule)
    assert told in text
    assert text.count("▔") > 0
    assert "expected" in text or "did you mean" in text


@pytest.mark.parametrize(
    ("rules", "told"),
    [
        ("x", "'x' cannot be used as rules"),
        ("[x]", "'x' cannot be used as a rule"),
        ("[~]", "an empty value cannot be used as a rule"),
        ("[[a]]", "a list cannot be used as a rule"),
        ("{r: ~}", "there is no rule 'r' to remove"),
        ("{r: [a]}", "a list cannot be used as the rule 'r'"),
        ("{a-b: {}}", "'a-b' cannot be the name of a rule"),
    ],
)
def test_lists_of_rules_hold_rules(folder: Folder, rules: str, told: str) -> None:
    """A list of rules, or a mapping of named ones."""
    assert told in folder.chip_error(BODY.format(rules=rules))


def test_a_rule_inside_a_state_has_no_in(folder: Folder) -> None:
    """It stands where it holds."""
    told = folder.chip_error("states: {s: {rules: [{in: s, to: s}]}}")
    assert "this rule is inside 's', so it cannot have 'in'" in told


def test_a_value_is_compared_with_its_like(folder: Folder) -> None:
    """The tile's `keys` carries a number."""
    told = folder.chip_error("states: [s], rules: [{'on': keys, if: value == true}]")
    assert "a number from 0 to 3 cannot equal true or false" in told


def test_a_message_with_a_value_is_sent_with_one(folder: Folder) -> None:
    """Nothing is sent by default."""
    text = """\
        device: d
        chips: {a: {states: [s], rules: [{send: keys}]}, b: {states: [s], discards: [keys]}}
        links: {ab: {from: a, to: b, carries: {keys: {bool: true}}}}
        """
    assert "expected keys(value)" in folder.error(text)
