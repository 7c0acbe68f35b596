"""What names in expressions mean, and whether types fit."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.parts import Rule
from modecheck.model.scopes import DECIMAL, option_value
from modecheck.model.terms import (
    FALSE,
    TRUE,
    Constant,
    InState,
    IsLate,
    Operation,
    Payload,
    ReadVariable,
    Term,
)
from modecheck.model.values import TRUTH
from tests.model.folder import Folder, around

Guard = Callable[[str], Term]

BODY = """
    parameters: {{peer: tile, limit: 3, side: front, loaded: retries}},
    variables: {{
      retries: {{range: [0, 3]}}, ready: bool, bond: {{bond: true}}, mood: {{one_of: [idle, busy]}},
      slots: {{list: 3, range: [0, 9]}}, low: {{range: [-5, -1]}}, linked: bool,
    }},
    states: {{off: {{}}, on: {{initial: dim, states: [dim, bright]}}, fresh: {{}}}},
    rules: [{{{rule}, signal: done}}]"""
BESIDE = "options: {on_unplug: [stay, fall_back], speed: [1, 10], fast: [true, false]}\n"

RETRIES = ReadVariable("hub", "retries")
READY = ReadVariable("hub", "ready")


def rule_of(folder: Folder, rule: str) -> Rule:
    """The hub's rule in a device with states, variables, parameters and options of all kinds."""
    return folder.chip(BODY.format(rule=rule), beside=BESIDE).rules[0]


def equal(left: Term, right: Term) -> Term:
    return Operation("==", (left, right))


@pytest.mark.parametrize(
    ("text", "term"),
    [
        ("true", TRUE),
        ("ready", READY),
        ("not ready", Operation("not", (READY,))),
        ("retries == 3", equal(RETRIES, Constant(3))),
        ("retries == limit", equal(RETRIES, Constant(3))),
        ("loaded == 1", equal(RETRIES, Constant(1))),
        ("3 == retries", equal(Constant(3), RETRIES)),
        ("ready == true", equal(READY, TRUE)),
        ("mood == busy", equal(ReadVariable("hub", "mood"), Constant(1))),
        ("idle == mood", equal(ReadVariable("hub", "mood"), Constant(0))),
        ("bond == none", equal(ReadVariable("hub", "bond"), Constant(0))),
        ("none == bond", equal(Constant(0), ReadVariable("hub", "bond"))),
        ("bond == tile.bond", equal(ReadVariable("hub", "bond"), ReadVariable("tile", "bond"))),
        ("slots[2] == 1", equal(ReadVariable("hub", "slots", Constant(2)), Constant(1))),
        ("slots[retries] == 1", equal(ReadVariable("hub", "slots", RETRIES), Constant(1))),
        ("state == off", InState("hub", frozenset({"off"}))),
        ("off == state", InState("hub", frozenset({"off"}))),
        ("state == on", InState("hub", frozenset({"dim", "bright"}))),
        ("state != on", Operation("not", (InState("hub", frozenset({"dim", "bright"})),))),
        ("state in [off, bright]", InState("hub", frozenset({"off", "bright"}))),
        ("tile.state == alone", InState("tile", frozenset({"alone"}))),
        ("peer.state == alone", InState("tile", frozenset({"alone"}))),
        ("peer.state in [linked]", InState("tile", frozenset({"fresh", "old"}))),
        ("tile.linked", InState("tile", frozenset({"fresh", "old"}))),
        ("tile.pressed", ReadVariable("tile", "pressed")),
        ("linked", ReadVariable("hub", "linked")),
        ("side == front", TRUE),
        ("side == rear", FALSE),
        ("on_unplug == stay", equal(Constant(0), Constant(0))),
        ("speed == 10", equal(Constant(1), Constant(10))),
        ("fast", TRUE),
        ("retries in [1, 2]", Operation("or", tuple(equal(RETRIES, Constant(n)) for n in (1, 2)))),
        ("retries in [1]", equal(RETRIES, Constant(1))),
        (
            "low < -retries",
            Operation("<", (ReadVariable("hub", "low"), Operation("neg", (RETRIES,)))),
        ),
        ("ready if ready else false", Operation("if", (READY, READY, FALSE))),
    ],
)
def test_names_mean_what_the_language_says(folder: Folder, text: str, term: Term) -> None:
    """Variables, words, states, other chips, parameters and options, in the order of look-up."""
    assert rule_of(folder, f'if: "{text}"').guard == term


@pytest.mark.parametrize(
    ("text", "term"),
    [
        ("value == 2", equal(Payload(), Constant(2))),
        (
            "late or value > retries",
            Operation("or", (IsLate(), Operation(">", (Payload(), RETRIES)))),
        ),
    ],
)
def test_a_rule_that_hears_a_message_can_speak_of_it(folder: Folder, text: str, term: Term) -> None:
    """`value` is what it carries, `late` whether it is of an older session."""
    assert rule_of(folder, f'on: keys, if: "{text}"').guard == term


@pytest.mark.parametrize(
    ("rule", "marked", "message", "advice"),
    [
        ("if: reday", "reday", "unknown name 'reday'", "did you mean 'ready'?"),
        ("if: retries", "retries", "this is a number from 0 to 3", "true or false"),
        ("if: retries and ready", "retries", "this is a number from 0 to 3", "true or false"),
        ("if: ready < 1", "ready", "this is true or false", "a number"),
        ("if: mood == bsuy", "bsuy", "unknown name 'bsuy'", "did you mean 'busy'?"),
        ("if: mood == ready", "mood == ready", "cannot equal true or false", "the same type"),
        ("if: retries == red", "red", "unknown name 'red'", "one of"),
        ("if: hub", "hub", "'hub' is a chip", "hub.state == …"),
        ("if: hbu.state == off", "hbu.state", "unknown chip 'hbu'", "did you mean 'hub'?"),
        ("if: hub.state == of", "of", "this chip has no state", "did you mean 'off'?"),
        ("if: state == 3", "3", "not the name of a state", "a state of hub"),
        ("if: state", "state", "a state can only be compared", "state == …"),
        ("if: hub.state", "hub.state", "a state can only be compared", "state == …"),
        ("if: tile.lnked", "tile.lnked", "no variable or state 'lnked'", "did you mean 'linked'?"),
        ("if: a.b.c", "a.b.c", "'a.b.c' has too many dots", "chip.variable"),
        ("if: slots == 1", "slots", "'slots' is a list", "slots[index]"),
        ("if: 'ready[0]'", "ready[0]", "'ready' is not a list", "ready"),
        ("if: 'slots[3] == 1'", "slots[3]", "there is no item 3", "from 0 to 2"),
        ("if: 'slots[-1] == 1'", "slots[-1]", "there is no item -1", "from 0 to 2"),
        ("if: 'slots[ready] == 1'", "ready", "this is true or false", "a number"),
        ("if: late", "late", "'late' needs a message", "a rule with 'on'"),
        ("'on': ping, if: value == 1", "value", "the event carries no value", "with a value"),
        ("if: ready if retries else ready", "retries", "this is a number", "true or false"),
        ("if: 1 == (1 if ready else mood)", "mood", "this is one of idle, busy", "a number"),
        ("do: mood = 1", "1", "this is a number", "one of idle, busy"),
        ("do: ready = 1", "1", "this is a number", "true or false"),
        ("do: retries = true", "true", "this is true or false", "a number from 0 to 3"),
        ("do: bond = red", "red", "unknown name 'red'", "none"),
        (
            "do: tile.pressed = true",
            "tile.pressed",
            "can write only its own variables",
            "of this chip",
        ),
        ("do: retires = 1", "retires", "this chip has no variable", "'retries'?"),
        ("do: slots = 1", "slots", "'slots' is a list", "slots[index]"),
    ],
)
def test_what_does_not_fit_is_marked(
    folder: Folder, rule: str, marked: str, message: str, advice: str
) -> None:
    """The error stands at the name that does not fit, and tells what would."""
    told = folder.error(around(BODY.format(rule=rule), beside=BESIDE))
    _, line, mark, expected = told.splitlines()
    assert message in told
    assert advice in expected
    assert line[mark.index("▔") : mark.rindex("▔") + 1] == marked


def test_a_parameter_is_put_in_place_once(folder: Folder) -> None:
    """A value that is itself the name of a parameter is not replaced again."""
    text = """\
        device: d
        chips:
          hub:
            parameters: {near: far, far: 2}
            variables: {near_by: bool}
            states: [s]
            rules: [{if: near.state == t and far.state == t, to: s}]
          far: {states: [t]}
        """
    told = folder.error(text.replace("far: 2", "far: away"))
    assert "unknown chip 'away'" in told


@pytest.mark.parametrize("text", ["--5", "²", "9" * 5000, "-", "", "1.5", "é", "a b"])
def test_odd_parameters_are_no_numbers(folder: Folder, text: str) -> None:
    """What only looks like a number is an unknown name, and not a crash."""
    body = f'parameters: {{n: "{text}"}}, states: [s], rules: [{{if: n == 1, to: s}}]'
    assert "device.yaml:3:" in folder.chip_error(body)


@given(choices=st.lists(st.integers(-99, 99), min_size=1, max_size=5, unique=True), data=st.data())
def test_options_of_integers_are_numbers(choices: list[int], data: st.DataObject) -> None:
    """The chosen one is a constant, within a range that holds them all."""
    chosen = data.draw(st.sampled_from(choices))
    option = option_value(tuple(map(str, choices)), str(chosen))
    assert option.value == chosen
    assert (option.type.low, option.type.high) == (min(choices), max(choices))


def test_options_of_words_are_words() -> None:
    """Truth values are truth values, anything else is a word."""
    assert option_value(("false", "true"), "true").value == 1
    assert option_value(("false", "true"), "true").type == TRUTH
    words = option_value(("stay", "fall_back"), "fall_back")
    assert words.type.spell(words.value) == "fall_back"


@pytest.mark.parametrize("text", ["--5", "²", "٣", "", "-", "1" * 11, "1e3", "+1"])
def test_decimals_are_plain(text: str) -> None:
    """Only an optional minus and ASCII digits make a number."""
    assert DECIMAL.fullmatch(text) is None
