"""Identical units explored once, compared with the full product by the reference interpreter."""

from __future__ import annotations

from math import comb
from pathlib import Path

import pytest
from hypothesis import assume, given, reject, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.gaps import gap_tables
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.contract.space import Limits, ReachGoal
from modecheck.engine.reductions.annotated_quotient import AnnotatedQuotient
from modecheck.engine.search.exploration import PlainExploration
from modecheck.engine.search.explored_space import Exploration
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.product.ir_graph import IRGraph
from modecheck.product.symmetry import symmetry_of
from modecheck.scenario.replay import replay
from tests.generation.copied import Copied, copied_devices
from tests.generation.devices import Drawn, device_from
from tests.generation.twins import twins

MOST_STATES = 800
EXAMPLES = settings().max_examples

pytestmark = pytest.mark.usefixtures("own_cache")


def whole_of(device: Device) -> tuple[Verdict, PlainExploration]:
    verdict = check([device], search=Search(engine="plain", limits=Limits(states=MOST_STATES)))
    space = verdict.explored[0].exploration
    assert isinstance(space, Exploration)
    return verdict, space


def reduced_of(
    device: Device, engine: EngineName, threads: int = 1
) -> tuple[Verdict, AnnotatedQuotient]:
    verdict = check([device], search=Search(engine=engine, symmetry=True, threads=threads))
    space = verdict.explored[0].exploration
    assert isinstance(space, AnnotatedQuotient)
    return verdict, space


def assert_images_are_the_whole(space: AnnotatedQuotient, whole: PlainExploration) -> None:
    """The images of all representatives are all states, each once; and so are their transitions."""
    images: dict[tuple[int, ...], int] = {}
    layers = [0] * len(space.layers)
    transitions = 0
    for number in range(space.state_count):
        own = [space.state(image) for image, _ in space.images(number)]
        assert not images.keys() & set(own)
        images |= dict.fromkeys(own, number)
        layers[space.depth_of(number)] += len(own)
        transitions += len(own) * len(space.edges_from(number))
    assert images.keys() == {whole.state(number) for number in range(whole.state_count)}
    assert layers == whole.layers
    assert transitions == whole.transitions


def assert_same_edges(space: AnnotatedQuotient, whole: PlainExploration) -> None:
    """Every image has the transitions that the interpreter gives its state."""
    numbers = {whole.state(number): number for number in range(whole.state_count)}
    for number in range(space.state_count):
        for image, _ in space.images(number):
            there = numbers[space.state(image)]
            assert space.marks_at(image) & ((1 << len(whole.product.conditions)) - 1) == (
                whole.marks_at(there)
            )
            found = sorted(
                (edge.label, space.state(edge.target), edge.moved)
                for edge in space.edges_from(image)
            )
            wanted = sorted(
                (edge.label, whole.state(edge.target), edge.moved)
                for edge in whole.edges_from(there)
            )
            assert found == wanted


def assert_same_seen(space: AnnotatedQuotient, whole: PlainExploration) -> None:
    """The same coverage, and the same failures."""
    assert space.occupied == whole.occupied
    seen, expected = space.observed, whole.observed
    assert (seen.taken, seen.encounters) == (expected.taken, expected.encounters)
    assert gap_tables(space) == gap_tables(whole)
    assert set(whole.failures) == set(space.failures)


def assert_same_findings(one: Verdict, two: Verdict) -> None:
    """The same findings, by id and length of scenario, and the same switches of modes."""
    left_out = two.explored[0].reduced.not_asked
    ids = [
        {(f.id, f.steps) for f in verdict.findings if f.code not in left_out}
        for verdict in (one, two)
    ]
    assert ids[0] == ids[1]
    switches = [
        [(s.source, s.target, s.possible, s.direct, s.steps) for s in verdict.explored[0].switches]
        for verdict in (one, two)
    ]
    assert switches[0] == switches[1]
    endings = [
        [(e.mode, e.at_most, len(e.loss.moves) if e.loss else None) for e in v.explored[0].endings]
        for v in (one, two)
    ]
    assert endings[0] == endings[1]
    said = [[(j.need.name, j.verdict) for j in v.requirements] for v in (one, two)]
    assert said[0] == said[1]


def assert_real(verdict: Verdict) -> None:
    """Every scenario is a run of the product itself."""
    one = verdict.explored[0]
    ways = [finding.trace for finding in verdict.findings] + [
        switch.trace for switch in one.switches
    ]
    for trace in ways:
        if trace is not None:
            list(replay(compose(one.device), trace.moves))


def assert_agreement(device: Device, engine: EngineName) -> None:
    verdict, whole = whole_of(device)
    if not whole.complete:
        return
    reduced, space = reduced_of(device, engine)
    assert_images_are_the_whole(space, whole)
    assert_same_edges(space, whole)
    assert_same_seen(space, whole)
    assert_same_findings(verdict, reduced)
    assert_real(reduced)


@pytest.mark.thorough
@given(twins())
@settings(max_examples=2 * EXAMPLES)
def test_twins_explored_once_are_known_as_well_as_both(drawn: Drawn) -> None:
    """On random devices with two identical units: orbits sum up to the full product, and every
    finding, switch and coverage is that of the full product.
    """
    device = _symmetric(drawn)
    assert_agreement(device, "plain")


@given(twins())
@settings(max_examples=EXAMPLES // 2 if EXAMPLES >= 100 else 2)
def test_the_compiled_engine_reduces_as_well(drawn: Drawn) -> None:
    """The same holds for representatives chosen in machine code, with one thread and with two."""
    device = _symmetric(drawn)
    assert_agreement(device, "compiled")
    one, two = (reduced_of(device, "compiled", threads) for threads in (1, 2))
    assert one[1].layers == two[1].layers
    assert [(f.id, f.trace) for f in one[0].findings] == [(f.id, f.trace) for f in two[0].findings]


def _symmetric(drawn: Drawn) -> Device:
    """The device, if its twins are alike to everybody. Whoever became a twin may have been the only
    one to give a signal.
    """
    try:
        device = drawn.read()
    except InvalidInput:
        reject()
    assume(symmetry_of(compose(device)).generators)
    return device


COUNTERS = """
device: counters
chips:
{chips}
"""
COUNTER = """
  c{number}:
    variables: {{n: {{range: [0, {last}]}}}}
    states: {{counting: {{rest: true}}}}
    rules:
      up: {{if: n < {last}, do: [n = n + 1]}}
      round: {{if: n == {last}, do: [n = 0]}}
"""


def counters(count: int, values: int) -> Device:
    """Counters that know nothing of each other."""
    chips = "".join(COUNTER.format(number=n, last=values - 1) for n in range(count))
    return device_from(COUNTERS.format(chips=chips))


@pytest.mark.parametrize(("count", "values"), [(2, 5), (3, 8), (4, 4), (5, 3), (7, 3)])
@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_identical_counters_are_multisets(count: int, values: int, engine: EngineName) -> None:
    """Of k^n states of n independent counters modulo k, C(n + k - 1, k - 1) remain: the multisets
    of n values out of k (Stanley, Enumerative combinatorics 1, section 1.2; source from memory).
    """
    _, space = reduced_of(counters(count, values), engine)
    assert space.state_count == comb(count + values - 1, values - 1)
    everything = sum(len(list(space.images(number))) for number in range(space.state_count))
    assert everything == values**count


def states_up_to_turning(count: int) -> int:
    """States of philosophers up to turning the table, by Burnside's lemma over the full states."""
    path = f"models/published/philosophers_{count}.yaml"
    whole = check([read_device(path)], search=Search(engine="plain")).explored[0].exploration
    product = whole.product
    places = [chip.state_field for chip in product.chips]
    rows = [[whole.state(n)[place] for place in places] for n in range(whole.state_count)]
    fixed = sum(
        sum(row == row[permutation:] + row[:permutation] for row in rows)
        for permutation in range(len(places))
    )
    return fixed // len(places)


@pytest.mark.parametrize("count", [3, 4, 5, 6])
@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_philosophers_turn_their_table(count: int, engine: EngineName) -> None:
    """Representatives are counted by Burnside's lemma (Stanley, Enumerative combinatorics 2,
    section 7.24; source from memory); the deadlock is found, with its shortest scenario.
    """
    device = read_device(f"models/published/philosophers_{count}.yaml")
    verdict, space = reduced_of(device, engine)
    assert space.state_count == states_up_to_turning(count)
    waiting = "+".join(f"p[{n}].waiting" for n in range(1, count + 1))
    assert [(f.id, f.steps) for f in verdict.findings] == [(f"deadlock:{waiting}", count)]
    assert_real(verdict)


BUNDLED = ["models/small/joining.yaml", "models/faulty/spoken_while_deaf.yaml"]
BUNDLED += [f"models/published/readers_writers_{n}.yaml" for n in (2, 3, 4)]
BUNDLED += ["models/published/philosophers_either_fork_4.yaml"]


@pytest.mark.parametrize("path", BUNDLED, ids=lambda path: Path(path).stem)
@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_bundled_devices_keep_their_findings(path: str, engine: EngineName) -> None:
    """Devices that people wrote, with identical units, are as well known by representatives."""
    assert_agreement(read_device(path), engine)


UNITS = """
device: two tiles and a hub
chips:
  front: &tile
    variables: {bond: {bond: 1, start: 1}}
    states: {on: {rest: true}, off: {rest: true}}
    rules:
      drops: {in: 'on', do: [bond = none], to: 'off'}
  rear: *tile
  hub:
    variables:
      front_bond: {bond: 1, start: 1}
      rear_bond: {bond: 1, start: 1}
      last: {one_of: [nobody, front, rear]}
    states: {up: {rest: true}}
    rules:
      hears_front: {if: front.on, do: [last = front]}
      hears_rear: {if: rear.on, do: [last = rear]}
      forgets_front: {if: front.off, do: [front_bond = none], signal: [gone]}
      forgets_rear: {if: rear.off, do: [rear_bond = none], signal: [gone]}
pairings:
  front_pair: {ends: [front.bond, hub.front_bond]}
  rear_pair: {ends: [rear.bond, hub.rear_bond]}
requirements:
  R1: {text: The front tile stays on, always: front.on}
  R2: {text: The rear tile comes back, recoverable: rear.on}
  R3: {text: Somebody is heard, possible: hub.last == rear}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_what_is_asked_of_one_unit_is_judged_for_it(engine: EngineName) -> None:
    """Variables and values of a third chip are exchanged along with the units; pairings and
    requirements of one unit alone are judged for that unit, as in the full product.
    """
    device = device_from(UNITS)
    assert_agreement(device, engine)
    verdict, space = reduced_of(device, engine)
    assert space.units == (("front", "rear"),)
    assert {f.id for f in verdict.findings} >= {
        "lost-bond:front_pair",
        "lost-bond:rear_pair",
        "unrecoverable-pairing:front_pair",
        "unrecoverable-pairing:rear_pair",
        "broken-requirement:R1",
        "broken-requirement:R2",
    }


def test_units_that_differ_are_not_exchanged() -> None:
    """A variable that starts otherwise, and a mode of one unit alone: each keeps two chips of one
    shape apart.
    """
    tile = UNITS[UNITS.index("front: &tile") + len("front: &tile") : UNITS.index("  rear:")]
    unlike = UNITS.replace("rear: *tile", "rear:" + tile.replace("bond: 1, start: 1", "bond: 1"))
    kept = UNITS.replace("{bond: 1, start: 1}}", "{bond: 1, start: 1, persistent: true}}")
    old = UNITS.replace("rear: *tile", "rear:" + tile.replace("start: 1", "persistent: true"))
    modes = UNITS + "modes: {held: front.on}\n"
    assert symmetry_of(compose(device_from(kept))).generators
    for text in (unlike, modes, old.replace("start: 1}}", "start: 1, persistent: true}}", 1)):
        assert not symmetry_of(compose(device_from(text))).generators
    assert symmetry_of(compose(device_from(UNITS))).generators


def test_a_permutation_that_changes_something_is_refused() -> None:
    """Only what maps all facts of a product to facts is an automorphism: to exchange two chips and
    not what belongs to them is none, and to exchange nothing is one.
    """
    graph = IRGraph(compose(device_from(UNITS)))
    left, right = (graph.atom("chip", number) for number in (0, 1))
    assert graph.images({}) is not None
    assert graph.images({left: right, right: left}) is None


CASCADE = """
device: two answers to one call
chips:
  caller:
    states: [a, b]
    rules:
      - {in: a, after: 1 ms, signal: [call], to: b}
  front:
    states: {idle: {rest: true}}
    rules: [{on: call, signal: [front_answer]}]
  rear:
    states: {idle: {rest: true}}
    rules: [{on: call, signal: [rear_answer]}]
  hub:
    states: {waiting: {rest: true}, front_won: {rest: true}, rear_won: {rest: true}}
    rules:
      - {in: waiting, on: front_answer, to: front_won}
      - {in: waiting, on: rear_answer, to: rear_won}
"""


def test_an_order_of_chips_that_tells_keeps_them_apart() -> None:
    """Two chips that answer one signal with another are heard in the order of the file, so the
    first always wins: exchanging them would show an end that no run has.
    """
    device = device_from(CASCADE)
    assert not symmetry_of(compose(device)).generators


TILES = """\
chips:
  front: &tile
    states: {on: {rest: true}, off: {rest: true}}
    rules: [{in: on, after: 1 ms, to: off}, {in: off, after: 1 ms, to: on}]
  rear: *tile
"""
"""Two tiles that go on and off, at the beginning of a device's chips."""

ORDERED = (
    f"device: rules in turn\n{TILES}"
    + """\
  button:
    states: {up: {rest: true}}
    rules: [{after: 1 ms, signal: [press]}]
  hub:
    states: {deaf: {rest: true}, hears_front: {rest: true}, hears_rear: {rest: true}}
    rules:
      - {on: press, if: front.on, to: hears_front}
      - {on: press, if: rear.on, to: hears_rear}
      - {on: press, to: deaf}
"""
)

TORN = (
    f"device: writes one after the other\n{TILES}"
    + """\
  hub:
    variables:
      of_front: {bool: true, persistent: true}
      of_rear: {bool: true, persistent: true}
    states: {up: {rest: true}}
    rules:
      - {after: 1 ms, do: [of_front = front.on, of_rear = rear.on], steps: separate}
faults:
  power_cut: {chips: [hub], at_most: 1}
"""
)

COPIED = (
    f"device: one variable follows the other\n{TILES}"
    + """\
  hub:
    variables: {of_front: bool, of_rear: bool}
    states: {up: {rest: true}}
    rules:
      - {after: 1 ms, if: front.on, do: [of_front = true]}
      - {after: 1 ms, if: rear.on, do: [of_rear = true]}
      - {after: 1 ms, do: [of_front = of_rear, of_rear = of_front]}
"""
)


@pytest.mark.parametrize("text", [ORDERED, TORN, COPIED], ids=["in turn", "torn", "copied"])
def test_an_order_in_a_chip_that_tells_keeps_units_apart(text: str) -> None:
    """Rules that are tried in turn, writes between which a power cut may strike, and writes that
    read what was written before have an order that an exchange would turn round.
    """
    assert not symmetry_of(compose(device_from(text))).generators


def test_writes_without_an_order_do_not() -> None:
    """Where no power cut can strike between two writes, either may come first."""
    whole = TORN[: TORN.index("faults:")]
    device = device_from(whole)
    assert symmetry_of(compose(device)).generators
    assert_agreement(device, "plain")


ONCE = """
device: what one unit cannot take back
chips:
  front: &tile
    states: {fresh: {rest: true}, spent: {rest: true}, busy: {rest: true}}
    rules:
      starts: {in: fresh, after: 1 ms, to: busy}
      stops: {in: busy, after: 1 ms, to: fresh}
      spends: {in: busy, after: 1 ms, if: other.free, to: spent}
  rear: *tile
  other:
    states: {free: {rest: true}, taken: {rest: true}}
    rules:
      takes: {in: free, if: front.spent or rear.spent, to: taken}
requirements:
  R1: {text: The front tile can be fresh again, recoverable: front.fresh}
  R2: {text: The front tile can be spent, recoverable: front.spent}
  R3: {text: The rear tile is used, possible: rear.spent and front.busy}
  R4: {text: The rear tile is not spent beside a busy one, never: rear.spent and front.busy}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_paths_are_permuted_with_the_units(engine: EngineName) -> None:
    """A path back to what one unit was is not one to what its twin was: the tile that is spent is
    followed by name through all exchanges.
    """
    device = device_from(ONCE)
    assert_agreement(device, engine)
    verdict, space = reduced_of(device, engine)
    whole, _ = whole_of(device)
    numbers = space.can_reach(ReachGoal(space.mark("requirement:R1")))
    for number in range(space.state_count):
        for image, _ in space.images(number):
            left = space.state(image)[0]
            assert bool(numbers[image]) == (left != 1), space.state(image)
    broken = {f.id: f.steps for f in verdict.findings if f.code == "broken-requirement"}
    assert broken == {f.id: f.steps for f in whole.findings if f.code == "broken-requirement"}
    assert broken["broken-requirement:R1"] == 2


SUMS = """
device: tiles that share a budget
chips: {{{tiles}}}
requirements: {{budget: {{text: never too many, never: {condition}}}}}
"""
TILE = """{{
  variables: {{x: {{range: [0, 2]}}}},
  states: {{idle: {{rest: true}}, busy: {{}}}},
  rules: {{
    go: {{in: idle, if: "{guard}", do: [x = x + 1], to: busy}},
    back: {{in: busy, do: [x = 0], to: idle}},
  }}}}"""


def tiles_that_look_at_all(count: int, guard: str, condition: str) -> Device:
    """Equal tiles, each of which may go when a guard on all of them holds."""
    names = [f"t{number}" for number in range(count)]
    tiles = ", ".join(f"{name}: {TILE.format(guard=guard)}" for name in names)
    return device_from(SUMS.format(tiles=tiles, condition=condition))


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    "guard",
    [
        "t0.x + t1.x + t2.x < 2",
        "t0.x + (t1.x + t2.x) < 2",
        "max(t0.x, max(t1.x, t2.x)) < 1",
        "min(min(t0.x, t1.x), t2.x) == 0",
        "t0.idle and t1.idle and t2.idle",
        "t0.idle or (t1.idle or t2.idle)",
        "3 == t0.x + t1.x + t2.x + 3",
    ],
)
def test_a_condition_that_adds_units_up_does_not_tell_them_apart(
    guard: str, engine: EngineName
) -> None:
    """Three of three are found, however the operands are bracketed, and reduced equals whole."""
    device = tiles_that_look_at_all(3, guard, "t0.x + t1.x + t2.x > 1")
    _, space = reduced_of(device, engine)
    assert space.units == (("t0", "t1", "t2"),)
    assert space.units_stopped_by == ""
    assert_agreement(device, engine)


def test_what_is_asked_of_a_sum_in_part_is_asked_of_every_part() -> None:
    """A condition on two of three units is turned to the other pairs, with its sum put together."""
    device = tiles_that_look_at_all(3, "t0.x + t1.x + t2.x < 2", "t0.x + t1.x + 1 > 2")
    assert_agreement(device, "plain")
    assert_agreement(device, "compiled")


def test_eight_units_that_are_added_up_are_all_named() -> None:
    """All eight, whose states are multisets; exploring every one of 2 ** 8 apart is not needed."""
    names = [f"t{number}" for number in range(8)]
    device = tiles_that_look_at_all(8, f"{' + '.join(f'{n}.x' for n in names)} < 8", "t0.x > 1")
    _, space = reduced_of(device, "plain")
    assert space.units == (tuple(names),)
    assert space.state_count == 9


HOLDERS = """
device: tiles of which one holds the hub
chips:
{tiles}
  hub:
    variables: {{holder: {{one_of: [nobody, {values}]}}}}
    states: {{on: {{rest: true}}}}
    rules: {{{takes}, free: {{on: free, do: [holder = nobody]}}}}
"""


def holders(count: int) -> Device:
    """Tiles that a value of the hub names, so that an exchange has to rename values, too."""
    names = [f"t{number}" for number in range(count)]
    tile = (
        "  {0}: {{states: {{idle: {{rest: true}}, busy: {{}}}}, rules: {{"
        "go: {{in: idle, if: hub.holder == nobody, signal: [take_{0}], to: busy}}, "
        "back: {{in: busy, signal: [free], to: idle}}}}}}"
    )
    take = "take_{0}: {{on: take_{0}, do: [holder = h_{0}]}}"
    return device_from(
        HOLDERS.format(
            tiles="\n".join(tile.format(name) for name in names),
            values=", ".join(f"h_{name}" for name in names),
            takes=", ".join(take.format(name) for name in names),
        )
    )


@pytest.mark.parametrize(
    ("engine", "count"),
    [
        ("plain", 6),
        pytest.param("compiled", 6, marks=pytest.mark.thorough),
        pytest.param("plain", 8, marks=pytest.mark.thorough),
        pytest.param("compiled", 8, marks=pytest.mark.thorough),
    ],
)
def test_units_beyond_a_bound_are_said_to_be_left_out(engine: EngineName, count: int) -> None:
    """Of six units that values name, 6! exchanges are too many to try, as are 8! of eight: those
    that are left out make the search incomplete, and the findings stay those of the whole. Five are
    few enough.
    """
    verdict, space = reduced_of(holders(count), engine)
    assert len(space.units[0]) < count
    assert "128" in space.units_stopped_by
    assert verdict.explored[0].reduced.units_stopped_by == space.units_stopped_by
    assert_agreement(holders(count), engine)
    _, few = reduced_of(holders(5), engine)
    assert (len(few.units[0]), few.units_stopped_by) == (5, "")


NECKLACE = """
device: beads on a ring
chips:
  bead:
    copies: {count}
    states: {{dark: {{rest: true}}, lit: {{rest: true}}}}
    rules:
      flip: {{in: dark, to: lit}}
      back: {{in: lit, to: dark}}
      between: {{in: dark, if: {beside}, to: lit}}
"""
BOTH = "'bead[i - 1].lit and bead[i + 1].lit'"
ONE = "'bead[i + 1].lit'"


@pytest.mark.parametrize(
    ("beside", "count", "states"),
    [
        (BOTH, 5, 8), (BOTH, 6, 13), (BOTH, 7, 18), (ONE, 5, 8), (ONE, 6, 14), (ONE, 7, 20),
    ],
)  # fmt: skip
@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_copies_on_a_ring_are_turned_and_turned_over(
    beside: str, count: int, states: int, engine: EngineName
) -> None:
    """Two-coloured bracelets, if no bead tells left from right, else necklaces (OEIS A000029 and
    A000031, both from memory; the latter by Burnside's lemma).
    """
    device = device_from(NECKLACE.format(count=count, beside=beside))
    _, space = reduced_of(device, engine)
    assert space.state_count == states
    assert space.units == (device.copies["bead"],)


def test_copies_in_any_order_are_sorted() -> None:
    """Four tiles at a hub that counts them: every exchange of neighbours is proposed and holds."""
    device = device_from(NECKLACE.format(count=4, beside="count(bead.lit) == 2"))
    product = compose(device)
    assert [one.chips for one in symmetry_of(product).generators] == [
        (1, 0, 2, 3),
        (0, 2, 1, 3),
        (0, 1, 3, 2),
    ]


@pytest.mark.thorough
@given(copied_devices())
@settings(max_examples=max(EXAMPLES // 5, 5), deadline=None)
def test_random_copies_are_explored_once(drawn: Copied) -> None:
    """Whatever is proposed, the images of the representatives are the whole."""
    device = drawn.short.read()
    assume(symmetry_of(compose(device)).generators)
    whole, space = whole_of(device)
    assume(space.complete)
    reduced, quotient = reduced_of(device, "plain")
    assert_images_are_the_whole(quotient, space)
    assert_same_findings(whole, reduced)


KEYS = """
device: keys
signals: {{key: {{range: [1, {most}]}}}}
chips:
  one: {{states: [a], rules: [{{signal: [key({one})]}}]}}
  two: {{states: [a], rules: [{{signal: [key({two})]}}]}}
  lock:
    variables: {{held: {{range: [0, 3]}}}}
    states: {{a: {{rest: true}}}}
    rules: [{{on: key, {guard}do: [held = value]}}]
"""
"""Invented: two that each give a key, which a lock keeps."""


@pytest.mark.parametrize(
    ("one", "two", "most", "guard", "found"),
    [
        (1, 1, 3, "", 1),
        (1, 2, 1, "", 0),
        (1, 2, 3, "", 1),
        (1, 2, 3, "if: value != held, ", 1),
        (1, 2, 3, "if: value < 3, ", 0),
        (1, 3, 3, "if: value > held, ", 0),
    ],
)
def test_values_of_signals_tell_units_apart(
    one: int, two: int, most: int, guard: str, found: int
) -> None:
    """Unless they are mere names, which the exchange of the units exchanges, too."""
    text = KEYS.format(one=one, two=two, most=most, guard=guard)
    assert len(symmetry_of(compose(device_from(text))).generators) == found


WIDE = """
device: two counters of milliseconds
signals: {at: {range: [0, 2000000000]}}
chips:
  one: &counter
    variables: {since: {range: [0, 2000000000]}}
    states: {idle: {rest: true}, marked: {rest: true}}
    rules: {hears: {in: idle, on: at, do: since = value, to: marked}}
  two: *counter
  watch:
    states: {running: {rest: true}}
    rules: {tells: {if: "one.idle or two.idle", signal: at(2000000000)}}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_ranges_may_be_as_long_as_they_like(engine: EngineName) -> None:
    """A value of a long range is a number, not a name that could be exchanged for another: to list
    all of them would take for ever. The counters are still identical.
    """
    (explored,) = check([device_from(WIDE)], search=Search(engine=engine, symmetry=True)).explored
    assert explored.reduced.units == (("one", "two"),)
