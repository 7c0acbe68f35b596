"""Whole devices: sections, options and variants, and how errors in one part spare the others."""

from __future__ import annotations

from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.devices import MOST_VARIANTS, variants
from modecheck.model.errors import InvalidInput
from modecheck.model.terms import Constant, Operation
from tests.model.folder import Folder, around

SMALLEST = "device: d\nchips: {hub: {states: [s]}}\n"


def test_the_smallest_device_is_a_chip(folder: Folder) -> None:
    """Everything but a name and a chip with a state may be left out."""
    device = folder.device(SMALLEST)
    assert (device.name, list(device.chips)) == ("d", ["hub"])
    assert not device.links
    assert not device.variant
    assert list(variants(device)) == [{}]


def test_sections_without_content_count_as_absent(folder: Folder) -> None:
    """A key that is written down for later does no harm."""
    sections = "actors: \nlinks: ~\nmodes: {}\npairings: \nfaults: \noptions: \nrequirements: \n"
    text = SMALLEST + sections + "accepted: []\nexpect: \nabout: \nbased_on: \nclock: \n"
    assert folder.device(text).chips.keys() == {"hub"}


def test_pairings_have_two_ends_and_may_be_forgotten(folder: Folder) -> None:
    """Two bonds, and the events that forget on purpose."""
    beside = "pairings: {pair: {ends: [hub.key, tile.bond], forgotten_by: [ping, hello]}}"
    device = folder.device(around("states: [s], variables: {key: {bond: 1}}", beside=beside))
    pairing = device.pairings["pair"]
    assert [str(end) for end in pairing.ends] == ["hub.key", "tile.bond"]
    assert pairing.forgotten_by == ("ping", "hello")


OPTIONS = st.lists(st.integers(1, 4), max_size=4)


@given(sizes=OPTIONS, data=st.data())
def test_variants_are_all_combinations(
    folder: Folder, sizes: list[int], data: st.DataObject
) -> None:
    """As many as the product of the choices, each once, the first choices first."""
    options = "".join(f"  o{n}: {list(range(size))}\n" for n, size in enumerate(sizes))
    device = folder.device(f"{SMALLEST}options:\n{options}")
    found = list(variants(device))
    assert len(found) == prod(sizes)
    assert len({tuple(one.values()) for one in found}) == len(found)
    assert found[0] == device.variant == {f"o{n}": "0" for n in range(len(sizes))}
    chosen = data.draw(st.sampled_from(found))
    assert folder.device(f"{SMALLEST}options:\n{options}", chosen=chosen).variant == chosen


def test_very_many_variants_are_refused(folder: Folder) -> None:
    """A bound with a remedy: choose some."""
    many = "".join(f"  o{n}: [true, false]\n" for n in range(9))
    device = folder.device(f"{SMALLEST}options:\n{many}")
    with pytest.raises(InvalidInput, match=r"have 512 combinations") as caught:
        list(variants(device))
    assert f"at most {MOST_VARIANTS}: choose some with --option" in str(caught.value)


@pytest.mark.parametrize(("choice", "value"), [("stay", 0), ("fall_back", 1)])
def test_an_option_is_a_constant(folder: Folder, choice: str, value: int) -> None:
    """In every expression of the device, with the chosen value."""
    text = around(
        "states: [s], rules: [{if: policy == stay, to: s}]",
        beside="options: {policy: [stay, fall_back]}",
    )
    guard = folder.device(text, chosen={"policy": choice}).chips["hub"].rules[0].guard
    assert guard == Operation("==", (Constant(value), Constant(0)))


@pytest.mark.parametrize(
    ("chosen", "told"),
    [
        ({"polcy": "stay"}, "did you mean 'policy'?"),
        ({"policy": "sty"}, "did you mean 'stay'?"),
        ({"policy": ""}, "the option 'policy' cannot be ''"),
    ],
)
def test_a_choice_must_be_one(folder: Folder, chosen: dict[str, str], told: str) -> None:
    """Options and their choices are named as the device names them."""
    with pytest.raises(InvalidInput) as caught:
        folder.device(SMALLEST + "options: {policy: [stay, fall_back]}\n", chosen=chosen)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("beside", "told"),
    [
        ("options: [a]", "a list cannot be used as options"),
        ("options: {o: []}", "the option 'o' has no choices"),
        ("options: {o: ~}", "the option 'o' has no choices"),
        ("options: {o: [a, a]}", "the option 'o' has the same choice twice"),
        ("options: {o: [a b]}", "'a b' cannot be a choice"),
        ("options: {o: ['']}", "'' cannot be a choice"),
        ("options: {o: [a, 1]}", "'1' cannot be a choice"),
        ("options: {o: [--5]}", "'--5' cannot be a choice"),
        ("options: {o: [[a]]}", "a list cannot be used as a choice"),
        ("options: {o: {a: b}}", "a mapping cannot be used as a choice"),
        ("modes: [a]", "a list cannot be used as modes"),
        ("modes: {m: hub.state == of}", "hub has no state 'of'"),
        ("modes: {m: ~}", "an empty value cannot be used as a condition"),
        ("modes: {m: [a]}", "a list cannot be used as a condition"),
        ("modes: {and: true}", "'and' is a reserved word in expressions"),
        ("modes: {a b: true}", "'a b' cannot be a name in modes"),
        ("pairings: {p: {}}", "the pairing 'p' lacks 'ends'"),
        ("pairings: {p: {ends: [tile.bond]}}", "a pairing with 1 end"),
        ("pairings: {p: {ends: [tile.bond, tile.bond, tile.bond]}}", "a pairing with 3 ends"),
        ("pairings: {p: {ends: [tile.bond, tile.bond]}}", "both ends are tile.bond"),
        ("pairings: {p: {ends: [tile.bond, tle.bond]}}", "did you mean 'tile'?"),
        ("pairings: {p: {ends: [tile.bond, tile.pressed]}}", "'tile.pressed' is not a bond"),
        ("pairings: {p: {ends: [tile.bond, hub]}}", "'hub' is not a bond"),
        ("pairings: {p: {ends: [tile.bond, hub.key], forgotten_by: pong}}", "did you mean 'ping'?"),
        ("clock: {}", "the clock lacks 'tick'"),
        ("clock: {tick: 0 ms}", "a tick of zero length"),
        ("clock: {tick: 1 m}", "'1 m' is not a duration"),
        ("clock: {tick: 1 ms, at_once: [chps]}", "did you mean 'chips'?"),
        ("about: [a]", "a list cannot be used as about"),
        ("actors: [a]", "a list cannot be used as actors"),
        ("actors: {tile: {states: [s]}}", "'tile' is the name of both a chip and an actor"),
        ("lniks: {}", "did you mean 'links'?"),
        ("1: 2", "unknown key '1' in a device file"),
    ],
)
def test_sections_that_are_none_are_told(folder: Folder, beside: str, told: str) -> None:
    """Every section is what it should be, and names what there is."""
    body = "states: ['off'], variables: {key: {bond: 1}}"
    assert told in folder.error(around(body, beside=beside))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("device: d\n", "a device file lacks 'chips'"),
        ("chips: {hub: {states: [s]}}\n", "a device file lacks 'device'"),
        ("device: d\nchips: {}\n", "the device has no chips"),
        ("device: d\nchips:\n", "the device has no chips"),
        ("device: d\nchips: []\n", "a list cannot be used as chips"),
        ("device:\nchips: {hub: {states: [s]}}\n", "an empty value cannot be used as device"),
        ("device: [d]\nchips: {hub: {states: [s]}}\n", "a list cannot be used as device"),
        ("chip: hub\nstates: [s]\n", "is a chip file"),
        ("device: d\nchips: {hub: }\n", "the chip 'hub' has no behaviour"),
        ("device: d\nchips: {hub: [s]}\n", "a list cannot be used as the chip 'hub'"),
        ("device: d\nchips: {1: {states: [s]}}\n", "'1' cannot be a name in chips"),
    ],
)
def test_a_device_has_a_name_and_chips(folder: Folder, text: str, told: str) -> None:
    """A device without chips would have nothing to check."""
    assert any(told in str(error) for error in folder.errors(text))


def test_all_errors_come_in_one_run(folder: Folder) -> None:
    """One in each part of the device, told in one run, each at its place."""
    text = """\
        device: sample
        chips:
          hub:
            variables: {n: {range: [3, 0]}}
            states: {off: {rest: maybe}, linked: {}}
            rules:
              - {in: linkd, to: off}
              - {in: off, if: tile.state == linkd, to: off}
              - {do: m = 1}
          tile: {file: tile.yaml}
        links: {up: {from: tile, to: hub, carries: [hello], capacity: 99}}
        modes: {wired: hub.of}
        pairings: {pair: {ends: [hub.n]}}
        faults: {lose: {links: [up], at_most: -1}}
        options: {policy: [a, a]}
        requirements: {R1: {text: x}}
        accepted: [{finding: x, reason: y}]
        expect: [{finding: "deadlock:x", steps: x}]
        clock: {tick: 1 year}
        """
    tile = "chip: tile\nstates: [alone, linked]\nrules: [{send: hello, to: alne}]\n"
    marked = [
        (place.line, place.text[place.column - 1 :][: place.width])
        for error in folder.errors(text, {"tile.yaml": tile})
        if (place := error.place) is not None
    ]
    assert sorted(marked) == [
        (3, "alne"), (4, "["), (5, "maybe"), (7, "linkd"), (8, "linkd"), (9, "m"), (11, "99"),
        (12, "hub.of"), (13, "["), (14, "-1"), (15, "policy"), (16, "R1"), (17, "x"), (18, "x"),
        (19, "1 year"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "broken",
    [
        "chips: {hub: {file: nowhere.yaml}, tile: {file: tile.yaml}}",
        "chips: {hub: {states: {}}, tile: {file: tile.yaml}}",
        "chips: {hub: {stats: [s]}, tile: {file: tile.yaml}}",
    ],
)
def test_a_broken_chip_is_not_blamed_on_others(folder: Folder, broken: str) -> None:
    """What others say of it cannot be judged, and is not told as wrong."""
    text = f"""\
device: d
{broken}
links:
  up: {{from: tile, to: hub, carries: [hello]}}
  down: {{from: hub, to: tile, carries: [welcome]}}
modes: {{m: hub.state == linked and hub.ready}}
pairings: {{p: {{ends: [hub.bond, tile.bond], forgotten_by: [hub_button]}}}}
faults: {{power_cut: {{chips: [hub, tile]}}}}
requirements: {{R: {{text: t, recoverable: {{to: hub.ready, without: [hub_button]}}}}}}
"""
    tile = """\
        chip: tile
        variables: {bond: {bond: 1}}
        states: [s]
        rules: [{'on': hub_button, if: hub.ready}, {'on': welcome, send: hello}]
        """
    told = folder.errors(text, {"tile.yaml": tile})
    assert {error.place.line for error in told if error.place} == {2}


@pytest.mark.parametrize(
    ("broken", "mention"),
    [
        ("variables: {n: {range: [3, 0]}}", "if: n == 1 and hub.n == 2"),
        ("variables: {n: int}", "do: n = 1"),
        ("variables: {n: int}", "do: 'n[1] = 1'"),
    ],
)
def test_a_broken_variable_is_not_blamed_on_rules(
    folder: Folder, broken: str, mention: str
) -> None:
    """The declaration is told, and what mentions it cannot be judged."""
    folder.chip_error(f"{broken}, states: [s], rules: [{{{mention}, to: s}}]")


@pytest.mark.parametrize(
    "beside",
    [
        "options: {policy: [a, a]}\nmodes: {m: policy == a}",
        "modes: {m: hub.nowhere}\nrequirements: {R: {text: t, never: m}}",
        "pairings: {p: {ends: [hub.key, tile.bond]}}",
    ],
)
def test_a_broken_declaration_is_not_blamed_on_sections(folder: Folder, beside: str) -> None:
    """One error is told once, where it was made."""
    body = "states: [s]" + (", variables: {key: {bond: 9}}" if "key" in beside else "")
    folder.error(around(body, beside=beside))
