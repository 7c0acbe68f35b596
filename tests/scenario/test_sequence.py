"""A scenario taken apart: every message's journey, every chip's state, against the states."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario import sequence
from modecheck.scenario.replay import Move
from modecheck.scenario.sequence import ScenarioSequence, sequence_of
from modecheck.scenario.traces import Trace, trace_to
from tests.generation.devices import Drawn, device_from, devices

EXAMPLES = settings().max_examples


def wandering(space: PlainExploration, steps: list[int]) -> Trace:
    """A way that takes, in each state, the step that a number picks; a failing one ends it."""
    state, moves = space.product.initial, []
    for pick in steps:
        possible = space.found.interpreter.steps(state)
        if not possible:
            break
        step = possible[pick % len(possible)]
        moves.append(Move(step.label, step.after))
        if step.after is None:
            break
        state = step.after
    return Trace(space.product, tuple(moves))


def states_along(product: Product, trace: Trace) -> list[tuple[int, ...]]:
    return [product.initial, *(move.after for move in trace.moves if move.after is not None)]


@given(devices(), st.lists(st.integers(0, 40), min_size=1, max_size=25))
@settings(max_examples=EXAMPLES)
def test_journeys_and_states_are_those_of_the_product(drawn: Drawn, steps: list[int]) -> None:
    """After each step, as many messages are under way on each link as wait in its queue, and each
    chip's last condition names the state that it is in.
    """
    space = explore(compose(drawn.read()), max_states=1)
    product, trace = space.product, wandering(space, steps)
    told = sequence_of(trace)
    assert len(told.sentences) == len(trace.moves)
    current: dict[int, str] = {}
    fails = any(row.kind == "fail" for row in told.rows)
    for number, state in enumerate(states_along(product, trace)):
        rows = [row for row in told.rows if row.step == number]
        current |= {row.chip: row.words[0] for row in rows if row.kind == "state"}
        for chip_number, chip in enumerate(product.chips):
            assert current[chip_number] == chip.leaves[state[chip.state_field]]
        if number == len(trace.moves) and not fails:
            break
        assert under_way(told, number) == waiting(product, state)
    assert fails == any(move.after is None for move in trace.moves)


def under_way(told: ScenarioSequence, step: int) -> Counter[int]:
    """How many messages each queue has under way when a step is over."""
    return Counter(
        one.queue
        for one in told.journeys
        if told.rows[one.first].step <= step
        and (told.rows[one.last].step > step or told.rows[one.last].kind == "waits")
    )


def waiting(product: Product, state: tuple[int, ...]) -> Counter[int]:
    found = Counter(
        number
        for number, queue in enumerate(product.queues)
        for slot in queue.slots
        if state[slot.code]
    )
    return +found


@given(devices(), st.lists(st.integers(0, 40), min_size=4, max_size=25))
@settings(max_examples=EXAMPLES)
def test_every_row_is_of_a_known_kind_and_says_who(drawn: Drawn, steps: list[int]) -> None:
    """Journeys run forward from lane to lane; nobody outside the chart is named."""
    space = explore(compose(drawn.read()), max_states=1)
    told = sequence_of(wandering(space, steps))
    for row in told.rows:
        named = {chip for chip in (row.chip, row.other) if chip >= 0}
        assert row.step == 0 or named <= set(told.chips)
    for journey in told.journeys:
        assert journey.first <= journey.last
        assert {journey.sender, journey.receiver} <= set(told.chips)
        kinds = (told.rows[journey.first].kind, told.rows[journey.last].kind)
        assert kinds[0] in ("send", "double")
        assert kinds[1] in ("arrive", "gone", "waits")


DEVICE = """
device: told
chips:
  bridge:
    states: [idle, calling]
    rules:
      - {in: idle, after: 20 ms, send: [hello], to: calling, text: calls}
      - {in: calling, send: [hello], to: idle, signal: [ping]}
  hub:
    variables: {guests: {range: [0, 3]}}
    states: [idle, linked]
    rules:
      - {in: idle, on: hello, do: [guests = 1], to: linked}
      - {in: linked, on: hello}
      - {in: linked, on: ping, to: idle}
links:
  air: {from: bridge, to: hub, medium: radio, capacity: 1, carries: [hello], can: [lose],
        when_full: drop_new}
"""


def told(*labels: str, skipped: int = 0, most: int = sequence.MOST_STEPS) -> ScenarioSequence:
    """The sequence of a way that takes the steps with these labels."""
    space = explore(compose(device_from(DEVICE)))
    product, state, moves = space.product, space.product.initial, []
    for label in labels:
        step = next(
            step
            for step in space.found.interpreter.steps(state)
            if product.labels[step.label].text == label
        )
        moves.append(Move(step.label, step.after))
        assert step.after is not None
        state = step.after
    return sequence_of(Trace(product, tuple(moves)), skipped=skipped, most=most)


LABELS = [label.text for label in compose(device_from(DEVICE)).labels]
CALL, AGAIN, LOSE = LABELS[0], LABELS[1], "air lose"


def kinds(found: ScenarioSequence, step: int) -> list[str]:
    return [row.kind for row in found.rows if row.step == step]


def test_a_timer_an_action_a_state_and_a_message() -> None:
    """One step, told in the order in which it happens."""
    found = told(CALL)
    assert kinds(found, 1) == ["timeout", "action", "state", "send", "waits"]
    assert found.journeys[0].text == "hello"


def test_what_the_link_loses_ends_there() -> None:
    """The journey ends in the row that tells of the loss, and no chip moves."""
    found = told(CALL, LOSE)
    assert kinds(found, 2) == ["gone"]
    assert found.rows[found.journeys[0].last].words == ("hello", "lost")


def test_what_a_full_link_drops_never_departs() -> None:
    """The first message still waits; a signal that nobody hears is told, too."""
    found = told(CALL, AGAIN)
    assert kinds(found, 2) == ["state", "action", "unsent", "waits"]
    assert [row.words for row in found.rows if row.kind == "action"][1:] == [
        ("signals ping: no chip reacts",)
    ]
    assert len(found.journeys) == 1


def test_what_was_sent_before_the_chart_begins_is_found() -> None:
    """Skipped steps leave their messages behind, without a sender; steps count from 1."""
    found = told(CALL, LOSE, skipped=1)
    assert [row.step for row in found.rows if row.step] == [1]
    assert found.journeys[0].sender == -1
    assert [row.words[0] for row in found.rows if row.step == 0] == ["calling", "idle"]


def test_only_the_last_steps_of_a_long_way_are_told() -> None:
    """The chart says from which step on."""
    trace = [CALL, LOSE, AGAIN, LOSE] * 2
    whole = told(*trace)
    short = told(*trace, most=3)
    assert short.begin == 5
    assert short.sentences == whole.sentences[5:]
    assert {row.step for row in short.rows} == {0, 6, 7, 8}


def test_a_loop_is_kept_and_standing_still_is_said() -> None:
    """Steps that repeat are marked; where none is left, the chart says that it stays so."""
    space = explore(compose(device_from(DEVICE)))
    trace = trace_to(space, space.state_count - 1)
    assert sequence_of(trace).loop_from is None
    assert sequence_of(replace(trace, loop_from=1)).loop_from == 0
    still = sequence_of(replace(trace, loop_from=len(trace.moves) + 1))
    assert still.loop_from is None
    assert still.rows[-1].kind == "fail"
    assert "stay like this forever" in still.rows[-1].words[0]
