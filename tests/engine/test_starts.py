"""Chips that may start in one of several states, or with one of several values."""

from __future__ import annotations

from dataclasses import replace
from itertools import product as combinations

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.search.exploration import explore
from modecheck.model.errors import InvalidInput
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move, ReplayError
from modecheck.scenario.traces import Trace
from tests.engine.native.test_agreement import assert_same_space
from tests.generation.devices import device_from
from tests.stepping import Moment, begin

FLASH = """
device: flash
chips:
  tile:
    variables:
      layout: {range: [0, 5], start: [4, 1], persistent: true}
      volume: {range: [0, 2], start: any}
      places: {bond: 1, list: 2, start: [any, 1]}
      speed: {one_of: [slow, fast], start: fast}
    states: {off: {rest: true}, on_air: {states: {searching: {}, linked: {rest: true}}}}
    initial: [linked, off]
    rules:
      louder: {in: off, on: louder, do: volume = 2}
      forget: {in: off, on: forget, do: ["layout = 0", "places[0] = 0", "speed = slow"]}
actors:
  player: {states: [here], rules: [{name: turn, signal: [louder]}, {name: erase, signal: [forget]}]}
faults: {power_cut: {chips: [tile], at_most: 1}}
"""
BOTH = [Search(engine="plain"), Search(engine="compiled", threads=2)]


def product_of(text: str) -> Product:
    return compose(device_from(text))


def told_starts(product: Product) -> list[dict[str, int]]:
    """What each field holds, by its name, that may hold one thing or another."""
    names = [field.name for field in product.fields]
    varied = [n for n, field in enumerate(product.fields) if field.starts]
    return [{names[n]: state[n] for n in varied} for state in product.starts]


def test_every_combination_is_a_start() -> None:
    """Of the values and states that are written, in their order: the first ones come first."""
    product = product_of(FLASH)
    names = ("tile.state", "tile.layout", "tile.volume", "tile.places[0]")
    wanted = combinations((2, 0), (4, 1), (0, 1, 2), (0, 1))
    assert told_starts(product) == [dict(zip(names, one, strict=True)) for one in wanted]
    assert product.starts[0] == product.initial


@pytest.mark.parametrize("search", BOTH, ids=["plain", "compiled"])
def test_figures_count_states_and_transitions_alone(search: Search) -> None:
    """Starts are states of depth 0, and starting is no transition."""
    alone = "device: d\nchips: {a: {states: {s: {rest: true}}, variables: {v: %s}}}\n"
    space = explore_with(product_of(alone % "{range: [0, 6], start: any}"), search)
    assert (space.state_count, space.transitions, space.depth) == (7, 0, 0)
    assert list(space.starts) == list(range(7))
    space = explore_with(product_of(alone % "{range: [0, 6], start: 3}"), search)
    assert (space.state_count, space.transitions, space.depth) == (1, 0, 0)


def test_both_engines_start_alike() -> None:
    """States, transitions, layers and failing steps; on one thread and on several."""
    plain = explore(product_of(FLASH))
    for threads in (1, 3):
        how = Search(engine="compiled", threads=threads)
        assert_same_space(plain, explore_with(plain.product, how))


@pytest.mark.parametrize("search", BOTH, ids=["plain", "compiled"])
def test_fewer_states_than_starts_are_incomplete(search: Search) -> None:
    """A bound of states also bounds the starts, and says so."""
    space = explore_with(product_of(FLASH), replace(search, limits=Limits(5)))
    assert not space.complete
    assert space.stopped_by == "the bound of 5 states"
    assert (space.state_count, space.expanded) == (5, 0)


def moment_in(text: str, **held: int) -> Moment:
    """The first start in which fields hold these values; `__` stands for the dot in a name."""
    product = product_of(text)
    wanted = {name.replace("__", "."): value for name, value in held.items()}
    chosen = next(
        state
        for state, told in zip(product.starts, told_starts(product), strict=True)
        if wanted.items() <= told.items()
    )
    return Moment(product, chosen)


def test_a_chip_restarts_in_each_of_its_ways() -> None:
    """After a power cut: in any initial state, with any start value of what is not persistent."""
    moment = moment_in(FLASH, tile__state=0, tile__layout=1).take("player erase", "player turn")
    cuts = moment.steps["tile power_cut"]
    after = [Moment(moment.product, step.after) for step in cuts if step.after is not None]
    found = {(one.at("tile"), one.value("tile.volume"), one.items("tile.places")) for one in after}
    assert len(cuts) == len(found) == 2 * 3 * 2
    assert found == set(combinations(("linked", "off"), (0, 1, 2), ((0, 1), (1, 1))))
    assert {one.value("tile.layout") for one in after} == {0}, "what is persistent is kept"
    assert {one.value("tile.speed") for one in after} == {1}, "fast, as at the start"


CUT = """
device: torn
chips:
  tile:
    variables:
      layout: {range: [0, 1], persistent: true}
      key: {bond: 1, persistent: true}
      volume: {range: [0, 1], start: any}
    states: {off: {}, on_air: {rest: true}}
    rules:
      - {name: convert, in: off, do: ["key = 1", "layout = 1"], steps: separate, to: on_air}
faults: {power_cut: {chips: [tile]}}
"""


def test_a_cut_in_the_middle_of_a_rule_restarts_in_each_way() -> None:
    """The same label, and each start value behind it."""
    steps = begin(CUT).steps["tile power_cut in convert after key = 1"]
    after = [Moment(compose(device_from(CUT)), step.after) for step in steps if step.after]
    assert [(one.value("tile.key"), one.value("tile.volume")) for one in after] == [(1, 0), (1, 1)]


def test_a_start_is_the_first_step_of_a_scenario() -> None:
    """It says how the device starts, counts as a step that is told, and stands nowhere else."""
    verdict = check([device_from(FLASH + "requirements: {R: {text: t, never: tile.volume == 1}}")])
    finding = next(one for one in verdict.findings if one.id == "broken-requirement:R")
    told = finding.scenario
    assert [step.text for step in told] == [
        "tile starts in linked with layout = 4, volume = 1 and places[0] = none"
    ]
    assert (told[0].changes, told[0].states["tile"]) == ((), "linked")
    trace = finding.trace
    assert trace is not None
    twice = Trace(trace.product, (*trace.moves, *trace.moves))
    with pytest.raises(ReplayError):
        _ = twice.steps


def test_a_single_start_is_no_step() -> None:
    """Scenarios of other devices are as they were."""
    text = FLASH.replace("[4, 1]", "4").replace("start: any", "start: 1")
    text = text.replace("[linked, off]", "on_air").replace("[any, 1]", "[1, 1]")
    verdict = check([device_from(text + "requirements: {R: {text: t, never: tile.volume == 1}}")])
    finding = next(one for one in verdict.findings if one.id == "broken-requirement:R")
    assert (finding.steps, compose(device_from(text)).start_label) == (0, -1)


RUNS = """
device: runs
chips:
  a:
    variables: {v: {range: [0, 3], start: %s}}
    states: {s: {}}
    rules: [{if: v == 1, do: v = 2}, {if: v == 2, do: v = 3}, {if: v == 3, do: v = 2}]
requirements:
  answered: {text: t, whenever: a.v == 1, then: a.v == 3}
  first: {text: t, before: a.v == 3, first: a.v == 1}
  comes: {text: t, possible: a.v == 1}
  back: {text: t, recoverable: a.v == 3}
"""


def broken(starts: str) -> set[str]:
    verdict = check([device_from(RUNS % starts)])
    ids = (finding.id for finding in verdict.findings)
    return {id_.partition(":")[2] for id_ in ids if id_.startswith("broken-requirement")}


def test_requirements_hold_from_every_start() -> None:
    """What is broken from one start is broken; what is possible from one is possible."""
    assert broken("1") == set()
    assert broken("[1, 2]") == {"first"}
    assert broken("2") == {"first", "comes"}
    assert broken("[1, 0]") == {"back"}


def test_observers_judge_each_start() -> None:
    """Also where they follow transitions that are known."""
    device = device_from(RUNS % "[1, 2]")
    verdict = check([device], search=Search(engine="compiled"))
    assert {f.id for f in verdict.findings if f.id.startswith("broken")} == {
        "broken-requirement:first"
    }


UNITS = """
device: units
chips:
  unit:
    copies: 4
    variables: {bit: {range: [0, 1], start: any}}
    states: {s: {rest: true}}
    rules: [{name: set, if: bit == 0, do: bit = 1}]
requirements: {R: {text: t, never: "unit[1].bit == 1 and unit[2].bit == 0 and unit[3].bit == 1"}}
"""


@pytest.mark.parametrize("search", BOTH, ids=["plain", "compiled"])
def test_units_that_start_alike_are_exchanged(search: Search) -> None:
    """Of four bits only how many are set matters: 5 states of 16. Paths begin in real starts."""
    text = UNITS.partition("requirements")[0]
    how = Search(engine=search.engine, threads=search.threads, symmetry=True)
    space = explore_with(product_of(text), how)
    assert space.state_count == 5
    starts = [space.state(number) for number in space.starts]
    assert sorted(starts) == sorted(space.product.starts)
    verdict = check([device_from(UNITS)], search=how)
    (finding,) = verdict.findings
    assert finding.scenario[0].text == (
        "unit[1] starts with bit = 1; unit[2] starts with bit = 0; unit[3] starts with bit = 1; "
        "unit[4] starts with bit = 0"
    ).replace("; ", ": ", 1)


def test_units_that_start_otherwise_are_not_exchanged() -> None:
    """One of them with one value alone: three are left that are alike."""
    text = UNITS.partition("requirements")[0] + "  unit[2]: {variables: {bit: {start: 1}}}\n"
    space = explore_with(product_of(text), Search(symmetry=True))
    assert space.state_count == 4


def test_paths_begin_in_a_real_start_whatever_stands_for_it() -> None:
    """Every state of a reduced space is reached by steps of the interpreter from a start of it."""
    text = UNITS.partition("requirements")[0]
    space = explore_with(product_of(text), Search(symmetry=True))
    for number in range(space.state_count):
        (label, start), *path = space.path_to(number)
        assert label == space.product.start_label
        state: State = space.state(start)
        assert state in space.product.starts
        for own, after in path:
            step = Interpreter(space.product).step_to(state, own, space.state(after))
            assert step is not None
            state = space.state(after)
        moves = [Move(label, space.state(one)) for label, one in space.path_to(number)]
        assert len(Trace(space.product, tuple(moves)).steps) == len(moves)


MANY = "device: many\nchips: {a: {states: {s: {rest: true}}, variables: {%s}}}\n"


@pytest.mark.thorough
def test_as_many_starts_as_there_may_be() -> None:
    """More than the table of states has room for at first."""
    text = MANY % ", ".join(f"v{n}: {{range: [0, 15], start: any}}" for n in range(4))
    space = explore_with(product_of(text), Search(engine="compiled", threads=2))
    assert (space.state_count, space.transitions, space.depth) == (65_536, 0, 0)


def test_more_starts_are_an_error() -> None:
    """Never silently fewer."""
    text = MANY % ", ".join(f"v{n}: {{range: [0, 16], start: any}}" for n in range(4))
    with pytest.raises(InvalidInput, match="the device can start in 83,521 states"):
        device_from(text)


def test_more_restarts_are_an_error() -> None:
    """Each is a step of its own, of each state; what is persistent does not count."""
    volatile = "v: {range: [0, 64], start: any}"
    text = f"{MANY % volatile}faults: {{power_cut: {{chips: [a]}}}}\n"
    with pytest.raises(InvalidInput, match="a can restart in 65 ways"):
        device_from(text)
    assert len(compose(device_from(text.replace("any}", "any, persistent: true}"))).starts) == 65


TIMER = """
device: timer
clock: {tick: 1 ms}
chips:
  a:
    variables: {v: {range: [0, 1], start: any}}
    timers: {patience: 2 ms}
    states: {s: {rest: true}}
    rules: [{name: begin, start: patience}, {name: end, expires: patience, do: v = 0}]
faults: {reset: {chips: [a]}}
"""


def test_a_restart_stops_timers_whichever_way_it_takes() -> None:
    """In each way, and not in the first one alone."""
    moment = begin(TIMER).take("a begin")
    assert moment.world.runs["a", "patience"] == 0
    after = [Moment(moment.product, one.after) for one in moment.steps["a reset"] if one.after]
    assert [one.world.runs["a", "patience"] for one in after] == [None, None]
