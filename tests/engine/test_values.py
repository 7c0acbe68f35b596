"""Values: assignments, lists, ranges, conditional expressions, options."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.shared_values import item_of
from modecheck.model.terms import Constant
from modecheck.model.values import product_bounds
from tests.second_reading.worlds import View, worth
from tests.stepping import Moment, begin


def calculate(do: str, *, guard: str = "true") -> Moment:
    """A chip with variables of every type that takes one rule."""
    return begin(f"""
        device: values
        options: {{policy: [stay, leave], fast: [true, false], tries: [2, 1]}}
        chips:
          hub:
            variables:
              a: {{range: [-5, 9], start: 3}}
              b: {{range: [-5, 9], start: 4}}
              ok: bool
              mood: {{one_of: [calm, busy]}}
              bond: {{bond: 3}}
              slots: {{range: [0, 9], list: 3, start: [7, 8, 9]}}
              flags: {{bool: true, list: 2}}
            states: {{idle: {{}}, out: {{states: {{far: {{}}, near: {{}}}}}}}}
            rules: [{{name: go, in: idle, if: "{guard}", do: [{do}]}}]
          front:
            variables: {{level: {{range: [0, 9], start: 5}}}}
            states: {{linked: {{}}, lost: {{}}}}
            rules: []
    """)


@pytest.mark.parametrize(
    ("do", "name", "value"),
    [
        ("a = a + b", "a", 7),
        ("a = a - b - 1", "a", -2),
        ("a = -b", "a", -4),
        ("a = - - b", "a", 4),
        ("a += 2", "a", 5),
        ("a -= 2", "a", 1),
        ("a = a * 2", "a", 6),
        ("a = b - a * 2", "a", -2),
        ("a = -(b + a) // 2", "a", -4),
        ("a = 7 // -2", "a", -4),
        ('"a = -7 % max(b, 1)"', "a", 1),
        ('"a = 7 % min(-b, -1)"', "a", -1),
        ('"a = b * b // 3 % 4 if ok else 9 // max(a, 1) * 2"', "a", 6),
        ('"a = min(a, b, 2)"', "a", 2),
        ('"a = max(a, b)"', "a", 4),
        ("a = 1 if ok else 2", "a", 2),
        ("a = 1 if ok else 2 if b == 4 else 3", "a", 2),
        ("ok = a < b <= 4", "ok", 1),
        ("ok = a < b < 4", "ok", 0),
        ("ok = not ok and b != 3", "ok", 1),
        ("ok = ok or a == 3 and b == 3", "ok", 0),
        ('"ok = a in [1, 2, 3]"', "ok", 1),
        ('"ok = a not in [1, 2, 3]"', "ok", 0),
        ("mood = busy", "mood", 1),
        ("ok = mood == calm", "ok", 1),
        ("bond = 2", "bond", 2),
        ("ok = bond == none", "ok", 1),
        ("ok = front.linked and not front.lost", "ok", 1),
        ("ok = front.state == lost", "ok", 0),
        ("ok = state == idle", "ok", 1),
        ('"ok = state in [far, out]"', "ok", 0),
        ("a = front.level", "a", 5),
        ("ok = policy == stay", "ok", 1),
        ("ok = fast", "ok", 1),
        ("a = tries + 1", "a", 3),
    ],
)
def test_expressions_have_their_values(do: str, name: str, value: int) -> None:
    """Arithmetic, comparisons, words, states and options mean what the language says."""
    assert calculate(do).take("hub go").value(f"hub.{name}") == value


def test_tuple_assignment_takes_values_before_it_writes() -> None:
    """`a, b = b, a` assigns together; two assignments one after the other do not."""
    together = calculate('"a, b = b, a"').take("hub go")
    assert (together.value("hub.a"), together.value("hub.b")) == (4, 3)
    in_order = calculate("a = b, b = a").take("hub go")
    assert (in_order.value("hub.a"), in_order.value("hub.b")) == (4, 4)


def test_items_of_lists_are_read_and_written_by_index() -> None:
    """`slots[i]` is one item, for reading and for writing."""
    moment = calculate('"slots[0] = slots[2]", "slots[a - 2] = 1", "flags[1] = true"').take(
        "hub go"
    )
    assert moment.items("hub.slots") == (9, 1, 9)
    assert moment.items("hub.flags") == (0, 1)


def test_tuple_assignment_can_swap_items() -> None:
    """Items of a list are swapped like variables."""
    moment = calculate('"slots[0], slots[1] = slots[1], slots[0]"').take("hub go")
    assert moment.items("hub.slots") == (8, 7, 9)


@pytest.mark.parametrize(
    ("do", "subject"),
    [
        ("a = a + 7", "hub.a"),
        ("a = a - 9", "hub.a"),
        ("bond = a + 1", "hub.bond"),
        ("a += 9", "hub.a"),
        ('"slots[0] = -1"', "hub.slots"),
        ('"slots[a] = 1"', "hub.slots"),
        ('"slots[a - 4] = 1"', "hub.slots"),
        ('"b = slots[a]"', "hub.slots"),
        ('"b = slots[a - 4]"', "hub.slots"),
    ],
)
def test_value_that_leaves_its_range_is_a_finding(do: str, subject: str) -> None:
    """An assignment that leaves its range, and an index that leaves its list, fail the step."""
    assert calculate(do).failure("hub go") == f"out-of-range:{subject}"


def test_bounds_of_a_range_belong_to_it() -> None:
    """The lowest and the highest value are fine."""
    assert calculate("a = a + 6, b = -b - 1").take("hub go").value("hub.a") == 9


def test_guard_whose_index_fails_is_a_finding() -> None:
    """An index out of its list in a guard is reported, not taken for false."""
    assert calculate("a = 1", guard="slots[a] == 1").failure("hub go") == "out-of-range:hub.slots"


def test_conditions_stop_where_the_answer_is_known() -> None:
    """`and`, `or` and the conditional look no further than they must, as in C."""
    for guard in (
        "ok and slots[a] == 1",
        "a == 3 or slots[a] == 1",
        "true if a == 3 else flags[a]",
    ):
        moment = calculate("a = 1", guard=guard)
        assert ("hub go" in moment.labels) == (not guard.startswith("ok"))


def test_failure_before_a_known_answer_is_still_a_failure() -> None:
    """What an option decides beforehand does not hide an index that fails on the way to it."""
    for guard in ("slots[a] == 1 and policy == leave", "slots[a] == 1 or policy == stay"):
        assert calculate("a = 1", guard=guard).failure("hub go") == "out-of-range:hub.slots"


def test_index_that_fails_in_a_condition_on_the_device_makes_it_false() -> None:
    """A link whose `up_when` cannot be judged is down."""
    moment = begin("""
        device: link
        chips:
          front:
            variables: {i: {range: [0, 2], start: 2}, up: {bool: true, list: 2, start: true}}
            states: {idle: {}}
            rules: [{name: send, send: [hello]}, {name: mend, do: [i = 1]}]
          hub: {states: {idle: {}}, rules: [], discards: [hello]}
        links: {air: {from: front, to: hub, carries: [hello], up_when: "front.up[front.i]"}}
    """)
    assert moment.take("front send").messages("air") == []
    assert moment.take("front mend", "front send").messages("air") == ["hello"]


OPTIONS = """
device: options
options: {on_unplug: [stay, fall_back], retries: [3, 0]}
chips:
  hub:
    variables: {n: {range: [0, 3]}}
    states: {wired: {}, radio: {}, dark: {}}
    rules:
      - {name: fall, in: wired, if: on_unplug == fall_back, to: radio}
      - {name: give_up, in: wired, if: on_unplug == stay and retries == 0, to: dark}
      - {name: again, in: wired, if: n < retries, do: [n = retries]}
"""


def test_options_are_constants_of_the_variant() -> None:
    """The first value of an option is its default; a choice makes another device."""
    assert begin(OPTIONS).labels == ["hub again"]
    assert begin(OPTIONS, on_unplug="fall_back").labels == ["hub fall", "hub again"]
    assert begin(OPTIONS, retries="0").labels == ["hub give_up"]
    assert begin(OPTIONS, on_unplug="fall_back", retries="0").labels == ["hub fall"]


def test_rules_of_other_choices_are_not_in_the_product() -> None:
    """A guard that options make false is folded away when the device is composed."""
    product = begin(OPTIONS).product
    steps = {r.rule for chip in product.chips for leaf in chip.steps for r in leaf}
    assert [product.rules[rule].title for rule in sorted(steps)] == ["again"]


TABLE = """
device: a table
constants: {most: 3, gains: [0, 3, 6, 12], odd: [false, true], calm: true}
chips:
  hub:
    constants: {steps: [5, 4], most: 2}
    variables:
      step: {range: [0, 3]}
      level: {range: [0, 12]}
      far: {range: [0, most], start: most}
      ok: bool
    states: {idle: {}}
    rules:
      - name: up
        do: [step = (step + 1) % 4, "level = gains[step]", "ok = odd[step % 2] and calm"]
  front:
    variables: {far: {range: [0, most], start: most}}
    states: {s: {}}
    rules: [{name: down, do: ["far = (hub.steps[1] + far) % (most + 1)"]}]
"""


def test_a_constant_table_is_read_by_an_index() -> None:
    """At each index its item; a constant of a chip hides that of the device."""
    moment = begin(TABLE)
    assert (moment.value("hub.far"), moment.value("front.far")) == (2, 3)
    seen = []
    for _ in range(4):
        moment = moment.take("hub up")
        seen.append((moment.value("hub.level"), moment.value("hub.ok")))
    assert seen == [(3, 1), (6, 0), (12, 1), (0, 0)]
    assert moment.take("front down").value("front.far") == (4 + 3) % 4


@given(st.lists(st.integers(-9, 9), min_size=1, max_size=70), st.integers(-5, 5))
def test_a_table_becomes_a_shallow_decision_tree(values: list[int], first: int) -> None:
    """Whatever it holds, and wherever the index begins."""
    world = begin("{device: d, chips: {hub: {states: [s]}}}").world
    for number, value in enumerate(values):
        term = item_of(values, Constant(first + number), first)
        assert worth(term, View("", world, world)) == value


@given(st.integers(-40, 40), st.integers(-40, 40), st.sampled_from(["*", "//", "%"]))
def test_bounds_hold_the_results_of_products(one: int, two: int, operator: str) -> None:
    """The bounds of a single value are that value, and wider ones hold it."""
    if operator != "*" and not two:
        return
    result = {"*": one * two, "//": one // (two or 1), "%": one % (two or 1)}[operator]
    for wider in (0, 1, 7):
        low, high = product_bounds(operator, (one - wider, one + wider), (two - wider, two + wider))
        assert low <= result <= high
    if operator != "%":
        assert product_bounds(operator, (one, one), (two, two)) == (result, result)
