"""What a chip declares: its states and its variables."""

from __future__ import annotations

import pytest

from modecheck.model.parts import State
from modecheck.model.values import TRUTH, ValueType, bond_type, number_type, word_type
from modecheck.model.variables import Variable
from tests.model.folder import Folder

NESTED = """\
    states: {
      off: {rest: true},
      on: {
        about: plays,
        initial: linked,
        states: {searching: {}, linked: {rest: true, states: [quiet, loud]}, lost: },
      },
    }, initial: on"""


def states_of(folder: Folder, body: str) -> dict[str, State]:
    return folder.chip(body).states


def test_states_stand_in_document_order_outer_before_inner(folder: Folder) -> None:
    """A plain list of names is as good as a mapping; nothing under a name is an empty state."""
    states = states_of(folder, NESTED)
    assert list(states) == ["off", "on", "searching", "linked", "quiet", "loud", "lost"]
    assert [state.depth for state in states.values()] == [0, 0, 1, 1, 2, 2, 1]
    assert states["quiet"].parent == "linked"
    assert states["on"].about == "plays"


def test_a_composite_state_has_leaves_and_an_initial_one(folder: Folder) -> None:
    """UML 2.5.1, section 14.2 (from memory): a composite state is entered at its initial state."""
    chip = folder.chip(NESTED)
    on, linked = chip.states["on"], chip.states["linked"]
    assert on.composite
    assert on.children == ("searching", "linked", "lost")
    assert on.leaves == ("searching", "quiet", "loud", "lost")
    assert (on.initial, on.initial_leaf) == ("linked", "quiet")
    assert (linked.initial, linked.initial_leaf) == ("quiet", "quiet")
    assert chip.initial_leaf == "quiet"
    assert chip.leaves == ("off", "searching", "quiet", "loud", "lost")
    assert chip.ancestry("loud") == ("loud", "linked", "on", "")


def test_the_first_state_is_the_initial_one(folder: Folder) -> None:
    """W3C SCXML, section 3.3 (from memory): without `initial` the first in document order."""
    assert folder.chip("states: [off, on]").initial == "off"
    assert folder.chip("states: {off: {states: [a, b]}, on: {}}").initial_leaf == "a"


def test_rest_holds_for_all_states_inside(folder: Folder) -> None:
    """A composite that may last for ever may do so in each of its states."""
    states = states_of(folder, NESTED)
    resting = [name for name, state in states.items() if state.rest]
    assert resting == ["off", "linked", "quiet", "loud"]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("states: {}", "the chip has no states"),
        ("states: []", "the chip has no states"),
        ("rules: []", "the chip has no states"),
        ("states: s", "'s' cannot be used as states"),
        ("states: [[s]]", "a list cannot be used as a state"),
        ("states: {s: [a]}", "a list cannot be used as the state 's'"),
        ("states: {s: x}", "'x' cannot be used as the state 's'"),
        ("states: [s, t, s]", "the state 's' is declared twice, first in line 3"),
        ("states: {s: {states: {s: {}}}}", "the state 's' is declared twice"),
        ("states: [1]", "'1' cannot be the name of a state"),
        ("states: {a-b: {}}", "'a-b' cannot be the name of a state"),
        ("states: [late]", "'late' is a reserved word in expressions"),
        ("states: [Null]", "an empty value cannot be used as a state"),
        ("states: {Null: {}}", "'Null' is a reserved word in YAML"),
        ("states: {True: {}}", "'True' is a reserved word in YAML"),
        ("states: {s: {rest: maybe}}", "'maybe' cannot be used as rest"),
        ("states: {s: {rets: true}}", "did you mean 'rest'?"),
        ("states: {s: {about: [a]}}", "a list cannot be used as about"),
        ("states: {s: {initial: a}}", "unknown state 'a'"),
        ("states: {s: {initial: b, states: [a]}}", "unknown state 'b'"),
        ("states: [s], initial: t", "unknown state 't'"),
        ("states: [s], initial: {s: t}", "a mapping cannot be used as initial"),
        ("states: [s], initial: []", "a list without initial states"),
        ("states: [s, t], initial: [s, u]", "unknown state 'u'"),
        ("states: [s, t], initial: [s, s]", "the initial state 's' is given twice"),
        ("states: {s: {states: [t]}, u: {}}, initial: [t, s]", "s begins there, too"),
        ("states: [s, t], initial: [s, any]", "unknown state 'any'"),
        ("states: {s: {initial: [t], states: [t, u]}}", "a list cannot be used as initial"),
    ],
)
def test_states_that_are_none_are_told(folder: Folder, body: str, told: str) -> None:
    """Names are unique within a chip, and every state is what a state can be."""
    assert told in folder.chip_error(body)


def variable_of(folder: Folder, text: str) -> Variable:
    return folder.chip(f"states: [s], variables: {{v: {text}}}").variables["v"]


@pytest.mark.parametrize(
    ("text", "type_", "start", "length"),
    [
        ("bool", TRUTH, (0,), 0),
        ("true", TRUTH, (1,), 0),
        ("false", TRUTH, (0,), 0),
        ("{bool: true}", TRUTH, (0,), 0),
        ("{bool: true, start: true}", TRUTH, (1,), 0),
        ("{start: true}", TRUTH, (1,), 0),
        ("{range: [0, 3]}", number_type(0, 3), (0,), 0),
        ("{range: [-3, 3], start: -2}", number_type(-3, 3), (-2,), 0),
        ("{range: [2, 3]}", number_type(2, 3), (2,), 0),
        ("{range: [0x10, 0o21]}", number_type(16, 17), (16,), 0),
        ("{one_of: [idle, busy]}", word_type(("idle", "busy")), (0,), 0),
        ("{one_of: [idle, busy], start: busy}", word_type(("idle", "busy")), (1,), 0),
        ("{one_of: idle}", word_type(("idle",)), (0,), 0),
        ("{bond: true}", bond_type(7), (0,), 0),
        ("{bond: 1, start: 1}", bond_type(1), (1,), 0),
        ("{bond: 2, start: none}", bond_type(2), (0,), 0),
        ("{bond: 2, list: 3}", bond_type(2), (0, 0, 0), 3),
        ("{range: [0, 9], list: 3, start: 4}", number_type(0, 9), (4, 4, 4), 3),
        ("{range: [0, 9], list: 3, start: [1, 2, 3]}", number_type(0, 9), (1, 2, 3), 3),
        ("{bond: 2, list: 2, start: [none, 2]}", bond_type(2), (0, 2), 2),
        ("{bool: true, list: 1}", TRUTH, (0,), 1),
    ],
)
def test_variables_have_a_type_and_a_start(
    folder: Folder, text: str, type_: ValueType, start: tuple[int, ...], length: int
) -> None:
    """By default false, none, the first word, or 0 where that is in range, else the lowest."""
    variable = variable_of(folder, text)
    assert (variable.type, variable.start, variable.length) == (type_, start, length)
    assert not variable.persistent


def test_a_persistent_variable_says_so(folder: Folder) -> None:
    """It keeps its value when the chip's power is cut."""
    assert variable_of(folder, "{bool: true, persistent: true}").persistent


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("~", "an empty value cannot be used as the variable 'v'"),
        ("int", "'int' cannot be used as the variable 'v'"),
        ("[a]", "a list cannot be used as the variable 'v'"),
        ("{}", "'v' has no type"),
        ("{start: 3}", "'v' has no type"),
        ("{bool: true, range: [0, 1]}", "'v' has two types, bool and range"),
        ("{bool: false}", "'false' cannot be used as bool"),
        ("{bool: banana}", "'banana' cannot be used as bool"),
        ("{range: 3}", "'3' cannot be used as a range"),
        ("{range: [0]}", "a list cannot be used as a range"),
        ("{range: [0, 1, 2]}", "a list cannot be used as a range"),
        ("{range: [3, 0]}", "the range [3, 0] has its bounds in the wrong order"),
        ("{range: [0, 1.5]}", "'1.5' cannot be used as a bound"),
        ("{range: [0, '3']}", "'3' cannot be used as a bound"),
        ("{range: [0, [1]]}", "a list cannot be used as a bound"),
        ("{range: [0, 2147483648]}", "an integer of at most 32 bits"),
        ("{range: [0, 3], start: 4}", "a number from 0 to 3"),
        ("{range: [0, 3], start: 99999999999}", "a number from 0 to 3"),
        ("{range: [0, 3], start: true}", "'true' cannot be used as a start"),
        ("{range: [0, 3], start: {a: 1}}", "a mapping cannot be used as a start"),
        ("{range: [0, 3], start: []}", "a list without start values"),
        ("{range: [0, 3], start: [0, 4]}", "a number from 0 to 3"),
        ("{range: [0, 3], start: [1, 1]}", "the start value 1 is given twice"),
        ("{range: [0, 3], start: [0, any]}", "'any' cannot be used as a start"),
        ("{range: [0, 3], start: [[0, 1]]}", "a list cannot be used as a start"),
        ("{range: [0, 70000], start: any}", "any of 70,001 values are too many"),
        ("{range: [0, 3], list: 2, start: [[0, 1]]}", "1 start values for a list of 2"),
        ("{range: [0, 3], list: 2, start: [[0, 1], []]}", "a list without start values"),
        ("{range: [0, 3], list: 9, start: any}", "the device can start in 262,144 states"),
        ("{one_of: []}", "a list without words"),
        ("{one_of: [a, a]}", "a word is given twice"),
        ("{one_of: [a, 1]}", "'1' cannot be a word"),
        ("{one_of: [a, none]}", "'none' is a reserved word in expressions"),
        ("{one_of: {a: b}}", "a mapping cannot be used as a word"),
        ("{one_of: [a, b], start: c}", "one of a, b"),
        ("{bond: false}", "'false' cannot be used as the number of keys"),
        ("{bond: 0}", "an integer from 1 to 7"),
        ("{bond: 8}", "an integer from 1 to 7"),
        ("{bond: 1, start: 2}", "none or a key from 1 to 1"),
        ("{bond: 1, list: 0}", "an integer from 1 to 64"),
        ("{bond: 1, list: 65}", "an integer from 1 to 64"),
        ("{bond: 1, list: 2, start: [1]}", "1 start values for a list of 2"),
        ("{bond: 1, persistent: yes}", "'yes' cannot be used as persistent"),
        ("{bond: 1, stat: 1}", "did you mean 'start'?"),
    ],
)
def test_variables_that_are_none_are_told(folder: Folder, text: str, told: str) -> None:
    """One type, bounds the right way round, a start within them."""
    assert told in folder.chip_error(f"states: [s], variables: {{v: {text}}}")
