"""Copies of a chip: their names, what is written for each of them, and what cannot be read."""

from __future__ import annotations

import pytest

from modecheck.model.errors import InvalidInput
from modecheck.model.terms import Constant, InState, Operation
from tests.model.folder import Folder

TILE = (
    "copies: 3, states: {idle: {rest: true}, on: {rest: true}}, variables: {level: {range: [0, 2]}}"
)
DEVICE = f"""\
device: d
chips:
  tile: {{{TILE}, rules: [{{if: hub.here, to: on, send: hello via up}}]}}
  hub: {{states: [here], variables: {{keys: {{bond: 1, list: 3}}}}, discards: [hello]}}
links:
  each tile:
    up: {{from: tile, to: hub, carries: [hello]}}
"""
"""Three tiles, each with a link to the hub."""


def chip_of(body: str, *, beside: str = "") -> str:
    """A device whose tiles have this body, besides their states."""
    return f"device: d\nchips:\n  tile: {{{TILE}, {body}}}\n  hub: {{states: [here]}}\n{beside}"


def test_copies_are_chips_with_numbers_from_one(folder: Folder) -> None:
    """In the place of the chip, in the order of their numbers, all with its place."""
    device = folder.device(DEVICE)
    assert list(device.chips) == ["tile[1]", "tile[2]", "tile[3]", "hub"]
    assert list(device.links) == ["up[1]", "up[2]", "up[3]"]
    assert device.copies == {"tile": ("tile[1]", "tile[2]", "tile[3]")}
    assert len({device.chips[name].place for name in device.copies["tile"]}) == 1


def test_a_computed_number_wraps_around(folder: Folder) -> None:
    """The neighbour on the left of the first is the last."""
    device = folder.device(chip_of("rules: [{if: 'tile[i - 1].on', to: on}]"))
    guards = [device.chips[f"tile[{n}]"].rules[0].guard for n in (1, 2, 3)]
    assert guards == [InState(f"tile[{n}]", frozenset({"on"})) for n in (3, 1, 2)]
    assert device.chips["tile[1]"].rules[0].guard_text == "tile[3].on"


def test_a_copy_can_have_keys_of_its_own(folder: Folder) -> None:
    """What stands under its name is laid over it alone."""
    device = folder.device(
        chip_of("rules: []").replace("  hub:", "  tile[2]: {initial: on}\n  hub:")
    )
    assert [device.chips[name].initial for name in device.copies["tile"]] == ["idle", "on", "idle"]


@pytest.mark.parametrize(
    ("given", "value"),
    [("i", "2"), ("i + 1", "3"), ("i == 2", "true"), ("'tile[i + 1]'", "tile[3]"), ("far", "far")],
)
def test_parameters_are_computed_from_the_number(folder: Folder, given: str, value: str) -> None:
    """`with` of a copy, here that of the second."""
    device = folder.device(
        f"device: d\nchips:\n  tile: {{file: tile.yaml, copies: 3, with: {{p: {given}}}}}\n",
        {
            "tile.yaml": "chip: tile\nparameters: {p: null}\nstates: [idle]\n"
            "rules: [{signal: a, text: 'says {p}'}]\n"
        },
    )
    assert device.chips["tile[2]"].rules[0].phrase == f"says {value}"


def test_each_writes_links_for_some_copies_only(folder: Folder) -> None:
    """A row has two ends: its first unit has no neighbour before it."""
    links = "  each tile if i > 1:\n    chain: {from: tile, to: 'tile[i - 1]', carries: [token]}\n"
    device = folder.device(DEVICE + links)
    ends = {name: (link.sender, link.receiver) for name, link in device.links.items()}
    assert ends["chain[2]"] == ("tile[2]", "tile[1]")
    assert ends["chain[3]"] == ("tile[3]", "tile[2]")
    assert "chain[1]" not in ends


def test_requirements_on_each_copy_name_it(folder: Folder) -> None:
    """In their id, in their sentence and in the condition as it is shown."""
    need = "  each tile:\n    R: {text: 'tile {i} is off', never: 'tile.on and tile[i + 1].on'}\n"
    device = folder.device(DEVICE + "requirements:\n" + need)
    found = device.requirements["R[3]"]
    assert (found.sentence, found.text) == ("tile 3 is off", "tile[3].on and tile[1].on")
    assert list(device.requirements) == ["R[1]", "R[2]", "R[3]"]


def test_requirements_build_on_those_of_the_same_copy(folder: Folder) -> None:
    """And one on the whole device builds on all of them."""
    needs = (
        "requirements:\n  each tile:\n"
        "    R: {text: t, never: tile.on}\n"
        "    Q: {text: t, never: tile.on, builds_on: R}\n"
        "  all: {text: t, never: any(tile.on), builds_on: [R]}\n"
    )
    device = folder.device(DEVICE + needs)
    assert device.requirements["Q[2]"].builds_on == ("R[2]",)
    assert device.requirements["all"].builds_on == ("R[1]", "R[2]", "R[3]")


def test_faults_on_copies_concern_all_of_them(folder: Folder) -> None:
    """Unless a number says which."""
    faults = "faults: {power_cut: {chips: [tile]}, lose: {links: ['up[2]'], at_most: 1}}\n"
    device = folder.device(DEVICE + faults)
    assert [group.targets for group in device.faults] == [device.copies["tile"], ("up[2]",)]


def test_a_pairing_can_have_an_item_of_a_list_as_its_end(folder: Folder) -> None:
    """A hub keeps the keys of its tiles in a list, which counts from 0."""
    text = DEVICE.replace("variables: {level", "variables: {bond: {bond: 1}, level")
    pairs = "pairings:\n  each tile:\n    pair: {ends: [tile.bond, 'hub.keys[i - 1]']}\n"
    device = folder.device(text + pairs)
    assert [str(end) for end in device.pairings["pair[3]"].ends] == ["tile[3].bond", "hub.keys[2]"]


def test_functions_over_all_are_written_out(folder: Folder) -> None:
    """Over copies, lists of the device, and what is given, together."""
    modes = (
        "lists: {busy: [tile.on, hub.here]}\n"
        "modes: {m: any(tile.on), n: all(hub.here), c: 'count(busy, hub.here) == 5'}\n"
    )
    found = folder.device(DEVICE + modes).modes
    on = [InState(f"tile[{n}]", frozenset({"on"})) for n in (1, 2, 3)]
    here = InState("hub", frozenset({"here"}))
    assert found["m"].when == Operation("or", tuple(on))
    assert found["n"].when == here
    counted = found["c"].when
    assert isinstance(counted, Operation)
    ones = [Operation("if", (one, Constant(1), Constant(0))) for one in (*on, here, here)]
    assert list(leaves_of(counted.arguments[0])) == ones


@pytest.mark.parametrize(
    ("index", "number"), [("7 % 4", 3), ("(i + 1) % 3 + 1", 3), ("7 // 2", 3), ("(0 - 1) // 2", 2)]
)
def test_numbers_of_copies_are_computed(index: str, number: int, folder: Folder) -> None:
    """With all four kinds of arithmetic, rounded down as everywhere, and wrapped around three."""
    text = f"requirements: {{each tile if i == 1: {{R: {{text: t, never: 'tile[{index}].on'}}}}}}\n"
    (requirement,) = folder.device(DEVICE + text).requirements.values()
    assert f"tile[{number}]" in str(requirement)


def leaves_of(term: object) -> list[object]:
    """What a sum adds up."""
    if isinstance(term, Operation) and term.operator == "+":
        return [leaf for argument in term.arguments for leaf in leaves_of(argument)]
    return [term]


def test_i_is_the_number_of_the_copy_that_is_counted(folder: Folder) -> None:
    """In the parentheses, not outside of them; nested functions begin anew."""
    mode = "modes: {m: 'any(tile.on and tile[i + 1].on and not all(tile.level == i))'}\n"
    found = folder.device(DEVICE + mode).modes["m"].when
    assert isinstance(found, Operation)
    second = found.arguments[1]
    assert isinstance(second, Operation)
    assert second.arguments[:2] == tuple(InState(f"tile[{n}]", frozenset({"on"})) for n in (2, 3))
    inner = second.arguments[2]
    assert isinstance(inner, Operation)
    levels = inner.arguments[0]
    assert isinstance(levels, Operation)
    assert [test.arguments[1] for test in levels.arguments if isinstance(test, Operation)] == [
        Constant(1),
        Constant(2),
        Constant(3),
    ]


@pytest.mark.parametrize(
    ("text", "message", "expected"),
    [
        (
            "modes: {m: tile.on}",
            "'tile' stands for tile[1] to tile[3]",
            "one of them, or count(…), any(…), all(…), sum(…)",
        ),
        ("modes: {m: 'tile[4].on'}", "there is no tile[4]", "tile[1] to tile[3]"),
        ("modes: {m: 'tile[0].on'}", "there is no tile[0]", "tile[1] to tile[3]"),
        (
            "modes: {m: 'tile[hub.n].on'}",
            "this is not known when the model is read",
            "numbers and i",
        ),
        (
            "modes: {m: 'tyle[1].on'}",
            "unknown chip 'tyle'",
            "one of hub, tile, tile[1], tile[2], tile[3]",
        ),
        ("modes: {m: 'hub[1].here'}", "'hub' has no copies", "hub.here"),
        (
            "modes: {m: count(tile.level) > 1}",
            "this is a number from 0 to 2",
            "a condition that is true or false",
        ),
        (
            "modes: {m: sum(tile.on) > 1}",
            "this is true or false",
            "a number; 'count' counts conditions",
        ),
        (
            "modes: {m: any(busy)}\nlists: {busy: []}",
            "the list 'busy' has no items",
            "a condition or a number",
        ),
        (
            "modes: {m: busy}\nlists: {busy: [hub.here]}",
            "'busy' is a list",
            "count(busy), any(busy), all(busy), sum(busy)",
        ),
        (
            "modes: {m: number(tile.on)}",
            "there is no function 'number'",
            "min, max, count, any, all, sum; in a requirement also "
            "sent, accepted, delivered, dropped, signalled, taken",
        ),
        (
            "requirements: {each tyle: {R: {text: t, never: hub.here}}}",
            "'tyle' has no copies",
            "'tile'",
        ),
        (
            "requirements: {each: {R: {text: t, never: hub.here}}}",
            "the requirement 'each' lacks 'text'",
            "the key text",
        ),
        (
            "requirements: {each tile if j > 1: {R: {text: t, never: hub.here}}}",
            "this is not known when the model is read",
            "numbers and i",
        ),
        ("modes: {m: 'tile[6 // 0].on'}", "the divisor is 0", "another one"),
        (
            "requirements: {each tile if i % 0 == 1: {R: {text: t, never: hub.here}}}",
            "the divisor is 0",
            "another one",
        ),
        ("faults: {power_cut: {chips: ['tile[7]']}}", "there is no tile[7]", "tile[1] to tile[3]"),
        (
            "pairings: {p: {ends: ['hub.keys[3]', hub.keys]}}",
            "hub.keys has no item 3",
            "an index from 0 to 2",
        ),
        (
            "pairings: {p: {ends: ['hub.keys[1]', hub.keys]}}",
            "'hub.keys' is a list of bonds",
            "an index from 0 to 2",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_place(
    folder: Folder, text: str, message: str, expected: str
) -> None:
    """One error, whatever the number of copies."""
    errors = folder.errors(DEVICE + text + "\n")
    told = [(error.message, error.expected) for error in errors]
    assert (message, expected) in told
    (found,) = [error for error in errors if error.message == message]
    assert found.place is not None


@pytest.mark.parametrize(
    ("chip", "message"),
    [
        ("{copies: 0, states: [a]}", "'0' cannot be used as the number of copies"),
        ("{copies: 65, states: [a]}", "'65' cannot be used as the number of copies"),
        ("{copies: many, states: [a]}", "'many' cannot be used as the number of copies"),
        (
            "{copies: 2, states: [a], variables: {i: bool}}",
            "'i' is the number of the copy and a variable",
        ),
        (
            "{copies: 2, states: [a, i], rules: [{in: a, if: 'true', to: a}]}",
            "'i' is the number of the copy and a state",
        ),
        (
            "{copies: 2, states: [a], rules: [{if: 'tile[i+1].b', to: a}]}",
            "tile[2] has no variable or state 'b'",
        ),
    ],
)
def test_errors_in_a_copy_are_told_once(folder: Folder, chip: str, message: str) -> None:
    """Not once for each copy."""
    errors = folder.errors(f"device: d\nchips: {{tile: {chip}}}\n")
    assert [error.message for error in errors] == [message]


def test_a_key_for_a_copy_that_does_not_exist_is_an_error(folder: Folder) -> None:
    """Of a chip with fewer copies, or with none."""
    text = DEVICE.replace("  hub:", "  tile[4]: {initial: on}\n  hub[1]: {initial: here}\n  hub:")
    messages = [error.message for error in folder.errors(text)]
    assert messages == ["there is no tile[4]", "'hub' has no copies"]


def test_an_overlay_reaches_into_what_is_written_for_each(folder: Folder) -> None:
    """It changes what is there, and reports what it adds; a misspelt name is rejected."""
    files = {"base.yaml": DEVICE}
    over = "device: e\nbased_on: base.yaml\nlinks: {each tile: {up: {capacity: 2}}}\n"
    assert folder.device(over, files).links["up[2]"].capacity == 2
    (error,) = folder.errors(over.replace("up:", "upp:"), files)
    assert error.message == "overlay adds link 'upp' (close to 'up')"
    one = "device: e\nbased_on: base.yaml\nchips: {'tile[3]': {initial: on}}\n"
    device = folder.device(one, files)
    assert [device.chips[name].initial for name in device.copies["tile"]] == ["idle", "idle", "on"]
    assert not device.notes


def test_a_link_without_a_number_needs_one_outside_of_copies(folder: Folder) -> None:
    """The hub must say from which tile, or not say over which link."""
    text = DEVICE.replace("discards: [hello]", "rules: [{on: hello via up}]")
    (error,) = folder.errors(text)
    assert error.message == "'up' is not a link to hub"
    assert error.expected == "one of up[1], up[2], up[3]"


def test_each_inside_of_each_is_refused(folder: Folder) -> None:
    """The inner one would have to mean another tile by the same name."""
    rules = "rules: {each tile: {each tile: {r: {on: hello via up}}}}"
    (error,) = folder.errors(DEVICE.replace("discards: [hello]", rules))
    assert error.message == "'each tile' inside of 'each tile'"


def test_too_many_copies_are_refused(folder: Folder) -> None:
    """The bound is told."""
    with pytest.raises(InvalidInput, match="an integer from 1 to 64"):
        folder.device("device: d\nchips: {tile: {copies: 100, states: [a]}}\n")
