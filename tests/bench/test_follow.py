"""Logs held against a model: what a run makes agrees, what no run makes is refused in its place."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import modecheck.bench.explanations as explanations
from modecheck.bench.explanations import Follower, LogExplanation
from modecheck.bench.log_comparison import AGREES, DISAGREES, INCOMPLETE, compare_log
from modecheck.bench.vocabulary import ColumnError, Vocabulary, Written
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.bench.recording import (
    Row,
    chips_of,
    first_impossible,
    product_of,
    record,
    write_csv,
    write_json_lines,
)
from tests.cli.running import MODELS
from tests.generation.devices import Drawn, devices
from tests.stepping import begin
from tests.sweeps import sweep

SMALL = sorted(f"small/{path.stem}" for path in (MODELS / "small").glob("*.yaml"))
LOGGED = ["starter/device", "published/alternating_bit_1", *SMALL]
FEW = {"starter/device", "published/alternating_bit_1", "small/session", "small/joining"}
MOST_STATES = 400
"""Of random devices, those whose runs the slow way goes through in a second."""


def follow(
    product: Product, rows: Sequence[Row], recorded: Collection[str], **bound: int
) -> LogExplanation:
    """Hold rows against a product, without a file."""
    words = Vocabulary(product)
    lines = [words.line(Written(*(field or "" for field in row))) for row in rows]
    numbers = [n for n, name in enumerate(chips_of(product)) if name in recorded]
    understood = [line for line in lines if not isinstance(line, ColumnError)]
    assert len(understood) == len(lines)
    return Follower(product, numbers, **bound).follow(understood, range(len(understood)))


def some(product: Product, random: Random) -> list[str]:
    """All chips, or all but one or two."""
    names = chips_of(product)
    return random.sample(names, max(1, len(names) - random.choice([0, 0, 1, 2])))


@pytest.mark.parametrize("name", sweep(LOGGED, FEW.__contains__))
@pytest.mark.parametrize("write", [write_csv, write_json_lines])
def test_what_the_interpreter_does_agrees(
    name: str, write: Callable[[Path, Sequence[Row]], str], tmp_path: Path
) -> None:
    """Whatever is recorded of it, and with whatever the lines leave out."""
    product, lines = product_of(name), 0
    for seed in range(6):
        random = Random(seed)  # noqa: S311 - nothing is kept secret with it
        recorded = some(product, random)
        rows = record(product, recorded, 150, random)
        rows = [
            row._replace(
                state=random.choice([row.state, None]), value=random.choice([row.value, None])
            )
            for row in rows
        ]
        lines += len(rows)
        if rows:
            compared = compare_log(product, write(tmp_path / "log", rows), tuple(recorded))
            assert (compared.answer, compared.followed.refused) == (AGREES, None), rows
    assert lines


@pytest.mark.thorough
def test_logs_of_tandem_agree(tmp_path: Path) -> None:
    """The larger device, all of it recorded, and with the hub and a tile left out."""
    product = product_of("tandem/device")
    for seed, left_out in enumerate([set[str](), {"hub", "player"}, {"front_bridge", "tablet"}]):
        recorded = tuple(set(chips_of(product)) - left_out)
        rows = record(product, recorded, 400, Random(seed))  # noqa: S311
        assert len(rows) == 400
        compared = compare_log(product, write_csv(tmp_path / "log", rows), recorded)
        assert compared.answer == AGREES


def spoiled(rows: list[Row], product: Product, random: Random) -> list[Row]:
    """A log with one line changed, dropped, doubled or swapped with the next."""
    at = random.randrange(len(rows))
    how = random.choice(["change", "state", "drop", "swap", "double"])
    if how == "drop":
        return rows[:at] + rows[at + 1 :]
    if how == "swap":
        return rows[:at] + rows[at : at + 2][::-1] + rows[at + 2 :]
    if how == "double":
        return rows[: at + 1] + rows[at:]
    other = random.choice([row for row in rows if row.chip == rows[at].chip])
    leaves = next(chip.leaves for chip in product.chips if chip.name == rows[at].chip)
    changed = other if how == "change" else rows[at]._replace(state=random.choice(leaves))
    return [*rows[:at], changed, *rows[at + 1 :]]


@pytest.mark.parametrize("name", sweep(LOGGED, FEW.__contains__))
def test_a_spoiled_log_is_refused_where_no_run_goes_on(name: str) -> None:
    """At the very line after which a search through all runs finds none either."""
    product, refused = product_of(name), 0
    for seed in range(40):
        random = Random(seed)  # noqa: S311
        recorded = some(product, random)
        rows = record(product, recorded, 30, random)
        if rows:
            bad = spoiled(rows, product, random)
            expected = first_impossible(product, bad, recorded)
            assert follow(product, bad, recorded).refused == expected
            refused += expected is not None
    assert refused >= 3


@given(devices(starts=True), st.randoms(use_true_random=False))
def test_random_devices_and_logs(drawn: Drawn, random: Random) -> None:
    """Both hold for devices that nobody thought of."""
    product = compose(drawn.read())
    assume(explore(product, max_states=MOST_STATES).complete)
    recorded = some(product, random)
    rows = record(product, recorded, 12, random)
    assume(rows)
    assert follow(product, rows, recorded).refused is None
    bad = spoiled(rows, product, random)
    assert follow(product, bad, recorded).refused == first_impossible(product, bad, recorded)


PLUG = [Row("pedal", "plugged_in"), Row("receiver", "plugged_in", "changing")]
HEARD = Row("receiver", "picture via cord", "on_cable", "lifted")


def test_what_would_have_been_allowed_is_told() -> None:
    """All lines that can come, where each chip is, and no others."""
    product = product_of("starter/device")
    found = follow(product, [*PLUG, HEARD, HEARD], chips_of(product))
    assert (found.refused, found.whole, found.most) == (3, True, 1)
    told = {(product.chips[seen.chip].name, seen.event) for seen in found.allowed}
    assert told == {
        ("pedal", "step"), ("pedal", "pulled_out"), ("receiver", "pulled_out"),
    }  # fmt: skip
    assert {name: list(found.states[n]) for n, name in enumerate(chips_of(product))} == {
        "pedal": [1], "receiver": [2], "player": [1],
    }  # fmt: skip


def test_lines_of_one_step_stand_together_in_any_order() -> None:
    """The plug is felt by both chips in one step: nothing of another step comes between."""
    product = product_of("starter/device")
    names = chips_of(product)
    assert follow(product, PLUG[::-1], names).refused is None
    assert follow(product, PLUG[:1], names).refused is None
    step = Row("pedal", "step")
    assert follow(product, [PLUG[0], step, PLUG[1]], names).refused == 1
    assert follow(product, [PLUG[0], step], ["pedal"]).refused is None


TWO_SIGNALS = """\
device: a lamp that hears two signals of one step
chips:
  lamp:
    states: [dark, dim, bright]
    rules:
      one: {in: dark, on: first, to: dim}
      two: {in: dim, on: second, to: bright}
actors:
  hand: {states: [here], rules: {tap: {signal: [first, second]}}}
"""


def test_lines_of_one_chip_keep_their_order() -> None:
    """A chip that hears two signals in a step cannot have heard the second one first."""
    product = begin(TWO_SIGNALS).product
    rows = [Row("lamp", "first", "dim"), Row("lamp", "second", "bright")]
    assert follow(product, rows, ["lamp"]).refused is None
    assert follow(product, rows[::-1], ["lamp"]).refused == 0


def test_who_is_recorded_matters() -> None:
    """A picture arrives unannounced only where nobody recorded the pedal that sent it."""
    product = product_of("starter/device")
    heard = Row("receiver", "picture", "on_air", "pressed")
    assert follow(product, [heard], ["receiver"]).refused is None
    assert follow(product, [heard], ["receiver", "pedal"]).refused == 0


TIMED = """\
device: a lamp that dims
chips:
  lamp:
    states:
      dark: {rest: true}
      lit: {initial: bright, states: {bright: {}, dim: {}}}
    rules:
      on: {in: dark, on: tap, to: lit}
      dims: {in: bright, after: 5 s, to: dim}
      goes_out: {in: lit, after: [20 s, 30 s], to: dark}
actors:
  hand: {states: [here], rules: {tap: {signal: [tap]}}}
"""


@pytest.mark.parametrize(
    ("event", "state", "refused"),
    [
        ("timer", "", None), ("timer", "dark", None), ("timer", "lit", None), ("5 s", "dim", None),
        ("20 s to 30 s", "dark", None), ("5 s", "dark", 1), ("20 s to 30 s", "lit", 1),
    ],
)  # fmt: skip
def test_composite_states_and_timers_are_understood(
    event: str, state: str, refused: int | None
) -> None:
    """`lit` stands for all states inside it, `timer` for each timer of the chip."""
    product = begin(TIMED).product
    rows = [Row("lamp", "tap", "lit"), Row("lamp", event, state)]
    assert follow(product, rows, ["lamp"]).refused == refused


def test_a_bound_that_is_hit_is_no_refusal(tmp_path: Path) -> None:
    """Where explanations were left out, a line that none of the others explains stays open; a run
    that explains all lines is enough to agree.
    """
    product = product_of("small/handshake")
    rows = record(product, ["hub"], 40, Random(3))  # noqa: S311
    log = write_csv(tmp_path / "log", rows)
    answers = [compare_log(product, log, ("hub",), most=most).answer for most in range(1, 60)]
    assert INCOMPLETE in answers
    assert DISAGREES not in answers
    assert answers[-1] == AGREES
    wrong = [*rows, Row("hub", "ask", "booting")]
    log = write_csv(tmp_path / "wrong", wrong)
    assert compare_log(product, log, ("hub",), most=2).answer == INCOMPLETE
    assert compare_log(product, log, ("hub",)).answer == DISAGREES


@pytest.mark.thorough
def test_forgetting_what_was_computed_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory is bounded: caches begin anew, and the answer stays."""
    product = product_of("small/handshake")
    rows = record(product, ["hub", "tile"], 300, Random(5))  # noqa: S311
    bad = [*rows, Row("hub", "ask", "booting")]
    plain = follow(product, rows, ["hub", "tile"]), follow(product, bad, ["hub", "tile"])
    monkeypatch.setattr(explanations, "MOST_KEPT", 5)
    monkeypatch.setattr(explanations, "MOST_STATES_KEPT", 5)
    again = follow(product, rows, ["hub", "tile"]), follow(product, bad, ["hub", "tile"])
    assert again == plain
    assert plain[0].refused is None
    assert plain[1].refused == len(rows)
