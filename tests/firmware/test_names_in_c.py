"""Names of a model become names of C, or an error with its place."""

from __future__ import annotations

import pytest

from modecheck.firmware.c_code import CCode
from modecheck.firmware.c_names import CNames, comment, identifier, literal
from modecheck.firmware.c_tables import tables_text
from modecheck.firmware.chip_plan import plan_of
from modecheck.model.errors import InvalidInput
from modecheck.model.places import Place, Source
from tests.firmware.made import cases_of, files_of_plan, needs_compiler, proof_of
from tests.generation.devices import device_from

PLACE = Place(Source("device.yaml", ("chip: hub",)), 1, 1)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("linked", "linked"),
        ("tile[2]", "tile_2"),
        ("ö", "u00f6"),
        ("turn#2", "turn_no_2"),
        ("?", "_"),
    ],
)
def test_a_name_keeps_letters_digits_and_underscores(text: str, plain: str) -> None:
    """All else becomes an underscore or a code."""
    assert identifier(text) == plain


@pytest.mark.parametrize("text", ["*/ int x; /*", "??/", "???/", "a\\", "*\\", 'say "x"'])
def test_text_of_a_model_ends_neither_a_comment_nor_a_string(text: str) -> None:
    """Also not by a trigraph or at the end of a line."""
    assert "*/" not in comment(text)
    assert "??" not in comment(text)
    assert "\\" not in literal(text)
    assert literal(text).count('"') == 2


def test_two_names_that_become_one_are_an_error() -> None:
    """It names both, and the place of the second."""
    names = CNames("hub", PLACE)
    names.constant("in", "a-b", of="state a-b")
    names.constant("in", "a_b", of="state a_b", place=PLACE)
    with pytest.raises(InvalidInput) as found:
        names.need_distinct()
    assert "state a_b and state a-b both become HUB_IN_A_B in C" in str(found.value)
    assert str(found.value).startswith("device.yaml:1:1")


def test_a_chip_without_a_letter_in_front_gets_one() -> None:
    """C reserves what begins with an underscore."""
    assert CNames("_x", PLACE).prefix == "x"
    assert CNames("9", PLACE).prefix == "chip_9"


@pytest.mark.parametrize("chip", ["timer", "clock", "Time", "stdint", "uint8", "stack"])
def test_a_chip_hides_no_header_and_no_type(chip: str) -> None:
    """Its file would be found in place of a header of C, or its type be one of C or POSIX."""
    assert CNames(chip, PLACE).prefix == f"chip_{chip}"


@pytest.mark.parametrize("variable", ["INT8_MAX", "EOF", "errno", "xor", "int", "A"])
def test_a_member_is_no_macro(variable: str) -> None:
    """The header of the chip can be read behind any other."""
    assert CNames("hub", PLACE).member(variable) == f"{variable}_"


def refusal(text: str, chip: str) -> str:
    """Why the names of a chip are refused, or nothing."""
    try:
        CCode(plan_of(device_from(text), chip)).words.claim()
    except InvalidInput as error:
        return str(error)
    return ""


READING = """
device: alike
chips:
  hub:
    variables: {n: bool}
    states: {here: {rest: true}}
    rules: {take: {on: tap, if: a.b_c and not a_b.c, do: n = true}}
  a: {variables: {b_c: bool}, states: {here: {rest: true}}, rules: [{on: tap, do: b_c = true}]}
  a_b: {variables: {c: bool}, states: {here: {rest: true}}, rules: [{on: tap, do: c = true}]}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""
WORDS = """
device: alike
chips:
  hub:
    variables: {air_way: {one_of: [red, green]}}
    states: {here: {rest: true}}
    rules: [{on: way, do: air_way = green}]
  tile: {states: {here: {rest: true}}, rules: [{send: way(red)}]}
links:
  air: {from: tile, to: hub, carries: {way: {one_of: [red, green]}}}
"""


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (READING, "variable a_b.c and variable a.b_c both become hub_reads_a_b_c in C"),
        (WORDS, "way of link air as red and variable air_way as red both become HUB_AIR_WAY_RED"),
    ],
)
def test_what_is_read_and_carried_has_a_name_of_its_own(text: str, told: str) -> None:
    """One function for two variables gave both the same value; one constant twice is no C."""
    assert told in refusal(text, "hub")
    assert refusal(text.replace("b_c", "bc").replace("air_way", "way_now"), "hub") == ""


LONG = "a_variable_whose_name_has_fifty_characters_or_more"
OTHERS = f"""
device: others
chips:
  hub:
    variables: {{{LONG}: bool}}
    states: {{here: {{rest: true}}}}
    rules:
      follow: {{on: tap, do: {LONG} = true}}
      other: {{on: TAP, do: {LONG} = false}}
  tile:
    states: {{here: {{rest: true}}}}
    rules: [{{on: a_signal_that_the_hub_does_not_hear_and_that_is_long, signal: [tap, TAP]}}]
actors:
  foot:
    states: [here]
    rules: [{{signal: a_signal_that_the_hub_does_not_hear_and_that_is_long}}]
"""


def test_only_names_that_occur_are_refused() -> None:
    """No function stores a variable that is not persistent, or hears what nobody waits for. Signals
    that differ in capitals are one number where a header has only numbers.
    """
    code = CCode(plan_of(device_from(OTHERS), "hub"))
    code.words.claim()
    with pytest.raises(InvalidInput, match="both become HUB_ON_TAP in C"):
        tables_text(code, [], arrivals_known=True)


ANSWER = """
device: answers
chips:
  hub:
    variables: {cannot: {one_of: [arrive, leave]}}
    states: {here: {rest: true}}
    rules: [{on: tap, do: cannot = leave}]
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_an_answer_of_the_gap_table_is_called_as_no_value() -> None:
    """In a header without functions; code with functions has no such answer."""
    code = CCode(plan_of(device_from(ANSWER), "hub"))
    code.words.claim()
    with pytest.raises(InvalidInput, match="both become HUB_CANNOT_ARRIVE in C"):
        tables_text(code, [], arrivals_known=True)


BODIES = """
device: bodies
chips:
  hub:
    variables: {n: {range: [0, 3]}}
    states:
      outer: {states: {x: {rest: true}, y: {rest: true}}}
      z: {rest: true}
    rules:
      step: {in: [x, z], on: tap, to: y, do: n = 1}
      step_2: {in: y, on: tap, to: x, do: n = 2}
      wait: {in: outer, after: 1 s, to: z}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_a_second_body_of_a_rule_is_called_as_no_other_rule() -> None:
    """What a rule does to timers differs by state, so that it has two functions."""
    words = CCode(plan_of(device_from(BODIES), "hub")).words
    names = [words.do(body) for body in words.plan.bodies]
    assert len(names) == len(set(names)) > len(words.plan.rules)
    assert {"hub_do_step", "hub_do_step_2"} < set(names)


def test_a_chip_without_events_has_no_empty_table() -> None:
    """C has no array without an item."""
    device = device_from("device: still\nchips: {hub: {states: {here: {rest: true}}}}")
    _, files = files_of_plan(plan_of(device, "hub"), "table")
    assert "[]" not in files["hub.c"]
    assert "hub_react" not in files["hub.c"]


ODD = """
device: odd
chips:
  int:
    variables:
      while: {range: [0, 70000], start: 70000}
      least: {range: [-5, 5], start: -5}
    states:
      default: {rest: true}
      case: {}
    rules:
      switch:
        {in: default, if: while > 2, do: while = while - 40000 if least < 0 else while, to: case}
      goto: {in: case, do: "least = max(min(least + 1, 5), -5)", to: default}
"""


@needs_compiler
@pytest.mark.parametrize("style", ["switch", "table"])
def test_keywords_and_wide_values_are_correct_c(style: str) -> None:
    """Variables, states and rules may have the names of C's keywords."""
    (cases,) = cases_of(device_from(ODD), ["int"])
    assert proof_of(cases, style).differences == []
