"""Links that do worse than a queue: messages overtake each other, arrive unusable, reach one of
several receivers; and faults that are bounded in a row.
"""

from __future__ import annotations

from math import comb

import pytest

from modecheck.chances.figures import figures_of
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search, explore_with
from modecheck.engine.reference.happenings import Corrupted
from modecheck.engine.search.exploration import explore
from modecheck.engine.zones.untimed import Untimed
from modecheck.engine.zones.zone_clocks import NotZonable
from modecheck.model.errors import InvalidInput
from modecheck.product.composition import compose
from modecheck.scenario.sequence import sequence_of
from modecheck.scenario.traces import trace_to
from tests.documents import examples
from tests.generation.devices import device_from
from tests.second_reading.search import search
from tests.second_reading.worlds import Waiting
from tests.stepping import Moment, begin

ENGINES: tuple[EngineName, ...] = ("plain", "compiled")

RADIO = """
device: radio
chips:
  tile:
    states: [here]
    rules: {{one: {{send: [code(1)]}}, two: {{send: [code(2)]}}, ring: {{send: [ring]}}}}
  hub:
    variables: {{last: {{range: [0, 2]}}}}
    states: [here]
    rules: {{hear: {{on: code, do: [last = value]}}, noise: {{on: corrupted, do: [last = 0]}}}}
    discards: [ring]
links:
  air: {{from: tile, to: hub, carries: {{code: {{range: [1, 2]}}, ring: event}}, {}}}
"""


NOISE = ", noise: {on: corrupted, do: [last = 0]}"


def radio(settings: str, faults: str = "") -> Moment:
    return begin(RADIO.format(f"can: [corrupt], {settings}") + faults)


def lasts(moment: Moment) -> list[int]:
    """What the hub may hear last after the next delivery of a code, in the interpreter's order."""
    steps = moment.steps.get("air to hub hear", [])
    after = [Moment(moment.product, step.after) for step in steps if step.after is not None]
    return [one.value("hub.last") for one in after]


def test_every_message_may_arrive_next() -> None:
    """Where they may overtake each other; else the first alone."""
    sent = ("tile two", "tile one", "tile ring")
    assert lasts(radio("capacity: 3").take(*sent)) == [2]
    unordered = radio("capacity: 3, order: any").take(*sent)
    assert lasts(unordered) == [1, 2]
    assert "air to hub, discarded" in unordered.labels


def test_of_equal_messages_one_arrives() -> None:
    """It does not matter which, and it is one step."""
    moment = radio("capacity: 3, order: any").take("tile one", "tile two", "tile one")
    assert lasts(moment) == [1, 2]


@pytest.mark.parametrize("capacity", [2, 3, 4])
def test_what_waits_without_an_order_is_a_multiset(capacity: int) -> None:
    """Of n places for k kinds of messages there are C(n + k, k) fillings (stars and bars, any
    textbook of combinatorics), and 1 + k + … + k^n of a queue.
    """
    text = RADIO.replace("do: [last = value]", "do: []").format
    for order, fillings in (
        ("any", comb(capacity + 3, 3)),
        ("sent", sum(3**n for n in range(capacity + 1))),
    ):
        link = f"capacity: {capacity}, order: {order}, when_full: wait"
        device = device_from(text(link).replace(NOISE, "").replace("do: []", ""))
        for engine in ENGINES:
            space = explore_with(compose(device), Search(engine=engine, threads=1))
            assert space.state_count == fillings


def test_a_corrupted_message_arrives_as_such() -> None:
    """Its value is gone; it is dropped at the moment in which it is corrupted."""
    moment = radio("capacity: 1").take("tile two")
    step = moment.step("air corrupt")
    assert [one for one in step.happenings if isinstance(one, Corrupted)] == [Corrupted(0, 1, 2)]
    noise = moment.take("air corrupt")
    assert noise.waiting("air") == [Waiting("corrupted", 0, late=False)]
    assert "air corrupt" not in noise.labels
    assert noise.take("air to hub noise").value("hub.last") == 0


def test_each_of_several_messages_may_be_corrupted_or_lost() -> None:
    """Where they may overtake each other; of equal ones only one."""
    faults = "\nfaults: {lose: {links: [air]}, duplicate: {links: [air]}}"
    moment = radio("capacity: 4, order: any", faults).take("tile one", "tile two", "tile one")
    steps = moment.steps
    assert [len(steps[f"air {kind}"]) for kind in ("lose", "duplicate", "corrupt")] == [2, 2, 2]
    ordered = radio("capacity: 4", faults).take("tile one", "tile two", "tile one")
    assert [len(ordered.steps[f"air {kind}"]) for kind in ("lose", "corrupt")] == [1, 1]


def test_a_row_of_losses_ends_with_a_delivery() -> None:
    """Two at the most, and two again after a message has arrived."""
    row = "\nfaults: {lose: {links: [air], at_most_in_a_row: 2}}"
    moment = radio("capacity: 1", row)
    for _ in range(2):
        moment = moment.take("tile ring", "air lose", "tile ring", "air lose", "tile ring")
        assert "air lose" not in moment.labels
        moment = moment.take("air to hub, discarded")


def test_a_row_of_corruptions_ends_with_a_usable_message() -> None:
    """The arrival of what was corrupted does not end it, but ends a row of losses."""
    row = (
        "\nfaults: {corrupt: {links: [air], at_most_in_a_row: 1},"
        " lose: {links: [air], at_most_in_a_row: 1}}"
    )
    moment = radio("capacity: 1", row).take("tile ring", "air lose", "tile ring")
    assert "air lose" not in moment.labels
    moment = moment.take("air corrupt", "air to hub noise", "tile ring")
    assert "air corrupt" not in moment.labels
    assert "air lose" in moment.labels
    assert "air corrupt" in moment.take("air to hub, discarded", "tile ring").labels


def test_the_budget_of_the_run_counts_beside_the_row() -> None:
    """Both have to allow a fault."""
    row = "\nfaults: {lose: {links: [air], at_most: 2, at_most_in_a_row: 1}}"
    moment = radio("capacity: 1", row).take("tile ring", "air lose", "tile ring")
    moment = moment.take("air to hub, discarded", "tile ring", "air lose", "tile ring")
    assert "air lose" not in moment.take("air to hub, discarded", "tile ring").labels


BROADCAST = """
device: broadcast
chips:
  hub:
    variables: {n: {range: [0, 1]}}
    states: [here]
    rules: {tell: {send: SEND, do: [n = 1 - n]}}
  front:
    states: [a, b]
    rules: {hear: {in: a, on: [song, corrupted], to: b}, back: {in: b, to: a}}
  rear:
    states: [a, b]
    rules: {hear: {in: a, on: [song, corrupted], to: b}, back: {in: b, to: a}}
links:
"""
ONE = "  air: {from: hub, to: [front, rear], REST}\n"
TWO = "  air_to_front: {from: hub, to: front, REST}\n  air_to_rear: {from: hub, to: rear, REST}\n"
REST = "capacity: 2, carries: {song: {range: [0, 1]}}, can: [lose, corrupt]"


@pytest.mark.parametrize("full", ["wait", "error", "drop_new", "drop_old"])
def test_a_broadcast_is_a_link_to_each_receiver(full: str) -> None:
    """The same device as with a link, and a send, for each; all or none where the sender waits."""
    rest = f"{REST}, when_full: {full}"
    told = (BROADCAST + ONE).replace("REST", rest).replace("SEND", "[song(n)]")
    each = "[song(n) via air_to_front, song(n) via air_to_rear]"
    apart = (BROADCAST + TWO).replace("REST", rest).replace("SEND", each)
    one, two = (explore(compose(device_from(text))) for text in (told, apart))
    assert (one.layers, one.transitions) == (two.layers, two.transitions)
    assert set(one.failures) == set(two.failures)


def test_a_fault_of_a_broadcast_strikes_each_part() -> None:
    """By the name of the whole; each has a row of its own."""
    row = "faults: {lose: {links: [air], at_most_in_a_row: 1}}"
    text = BROADCAST + ONE.replace("REST", REST.replace(", can: [lose, corrupt]", ""))
    text = text.replace(", corrupted", "") + row
    moment = begin(text.replace("SEND", "[song(0) via air]")).take("hub tell", "air_to_front lose")
    assert "air_to_rear lose" in moment.take("hub tell").labels
    assert "air_to_front lose" not in moment.take("hub tell").labels


def test_a_chart_follows_the_message_that_overtakes() -> None:
    """The journey of each message ends where that message arrives."""
    text = RADIO.format("capacity: 2, order: any").replace(NOISE, "")
    product = compose(device_from(text))
    space = explore(product)
    moments = {n: Moment(product, space.state(n)) for n in range(space.state_count)}
    overtaken = (
        number
        for number, moment in moments.items()
        if moment.value("hub.last") == 2
        and moment.waiting("air")[:1] == [Waiting("code", 1, False)]
    )
    sequence = sequence_of(trace_to(space, next(overtaken)))
    ended = {journey.text: sequence.rows[journey.last].kind for journey in sequence.journeys}
    assert ended == {"code(2)": "arrive", "code(1)": "waits"}


@pytest.mark.parametrize("engine", ENGINES)
def test_both_readings_agree_on_messages_that_overtake(engine: EngineName) -> None:
    """With delays, too: each message takes its own time."""
    text = RADIO.format("capacity: 2, order: any, when_full: wait, delay: [1 ms, 3 ms]").replace(
        NOISE, ""
    )
    device = device_from("clock: {tick: 1 ms}" + text)
    reached = search(device, 3000)
    space = explore_with(compose(device), Search(engine=engine, threads=1))
    assert (space.state_count, space.transitions) == (len(reached.worlds), reached.transitions)


def test_a_lossy_row_makes_a_promise_in_time() -> None:
    """As the guide says: with 35 ms it holds, with 30 ms it does not."""
    (device,) = [one for one in examples("every requirement holds") if one.document == "links.md"]
    for silence, broken in (("35 ms", False), ("30 ms", True)):
        text = device.text.replace("35 ms", silence)
        found = check([device_from(text)]).findings
        assert ("broken-requirement:R1" in {one.id for one in found}) == broken


def test_no_chances_are_told_where_messages_overtake_each_other() -> None:
    """Nothing says how likely that is."""
    device = device_from(RADIO.format("capacity: 2, order: any").replace(NOISE, ""))
    with pytest.raises(InvalidInput, match="may overtake each other"):
        figures_of(device)


def test_zones_refuse_messages_that_overtake_each_other() -> None:
    """With a reason."""
    text = RADIO.format("capacity: 2, order: any").replace(NOISE, "")
    with pytest.raises(NotZonable, match="overtake each other in air"):
        Untimed(compose(device_from("clock: {tick: 1 ms}" + text)))
