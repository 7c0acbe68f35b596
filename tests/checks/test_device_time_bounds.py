"""Times that are worked out by hand, on invented devices; the sums stand beside them."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from modecheck.checks.deciding import deciders
from modecheck.checks.device_time_bounds import DeviceTimes, Timed, times_of
from modecheck.checks.slack import Slack, SlackSearch, constants_of, moved
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.report.times_report import explored_in_words, slack_in_words
from tests.engine.test_time_bounds import FELT_LATE, RETRIES
from tests.generation.devices import device_from


def timed(times: DeviceTimes, name: str) -> Timed:
    return next(one for one in times.timed if one.name == name)


def ticks(one: Timed) -> tuple[int | None, int | None]:
    """The best and the worst."""
    assert one.best is not None
    assert one.worst is not None
    return one.best.ticks, one.worst.ticks


def decided(times: DeviceTimes, name: str) -> dict[str, tuple[int, int]]:
    """How often and how long each constant ran on the critical path of the worst time."""
    worst = timed(times, name).worst
    assert worst is not None
    return {d.constant.name: (d.times, d.ticks) for d in deciders(times.product, worst.trace)}


CHAIN = """
device: a chain of timers
clock: {tick: 1 ms, at_once: [chips, links]}
chips:
  tile:
    states: {wired: {rest: true}, one: {}, two: {}, radio: {rest: true}}
    rules:
      pull: {in: wired, on: pulled, to: one}
      settle: {in: one, after: 5 ms, to: two, send: [hello via air]}
      tune: {in: radio, period: 2 ms}
      join: {in: two, on: welcome, to: radio}
  hub:
    states: {idle: {}, busy: {}}
    rules:
      begin: {in: idle, on: hello, to: busy}
      answer: {in: busy, after: [10 ms, 20 ms], to: idle, send: [welcome via ether]}
  lamp:
    states: {on: {rest: true}}
    rules: {blink: {in: on, period: 4 ms}}
actors:
  cable: {states: [in_, out], rules: [{in: in_, to: out, signal: [pulled]}]}
links:
  air: {from: tile, to: hub, carries: [hello], delay: [1 ms, 3 ms]}
  ether: {from: hub, to: tile, carries: [welcome]}
modes: {wire: tile.wired, radio: tile.radio}
requirements:
  R1: {text: it joins in time, whenever: signalled(pulled), then: tile.radio, within: 28 ms}
"""


@pytest.fixture(scope="module")
def chain() -> DeviceTimes:
    return times_of(device_from(CHAIN), Search())


def test_a_chain_takes_the_sum_of_its_timers(chain: DeviceTimes) -> None:
    """At least 5 + 1 + 10 ms, and at most 5 + 3 + 20 ms."""
    assert ticks(timed(chain, "wire->radio")) == (16, 28)
    assert ticks(timed(chain, "R1")) == (16, 28)


def test_what_runs_beside_decides_nothing(chain: DeviceTimes) -> None:
    """The critical path has the timers of the chain, each once."""
    assert "lamp.blink" in {one.name for one in constants_of(chain.product)}
    expected = {"hub.answer": (1, 20), "tile.settle": (1, 5), "air delay": (1, 3)}
    assert decided(chain, "wire->radio") == expected


def test_a_switch_that_never_was_has_no_time(chain: DeviceTimes) -> None:
    """Nothing leads back to the wire."""
    one = timed(chain, "radio->wire")
    assert (one.best, one.worst, one.complete) == (None, None, True)


@pytest.mark.parametrize(("within", "verdict"), [(28, "holds"), (27, "broken")])
def test_the_worst_time_is_the_border_of_within(within: int, verdict: str) -> None:
    """The requirement holds with the worst time, and not with a tick less."""
    device = device_from(CHAIN.replace("within: 28 ms", f"within: {within} ms"))
    found = check([device], search=Search())
    assert [judged.verdict for judged in found.requirements] == [verdict]
    assert timed(times_of(device, Search()), "R1").exceeded == (verdict == "broken")


@pytest.fixture(scope="module")
def retries() -> DeviceTimes:
    return times_of(device_from(RETRIES), Search())


def test_a_retry_loop_ends_with_its_retries(retries: DeviceTimes) -> None:
    """Two losses cost 2 + 20 ms each; the third call, 2 ms, is answered in 3 + 3 ms."""
    assert ticks(timed(retries, "wire->radio"))[1] == 2 * 22 + 2 + 6
    assert decided(retries, "wire->radio")["tile.retry"] == (2, 40)


def test_without_an_end_of_losses_it_gives_up_after_the_last_retry() -> None:
    """Four calls, each 2 ms, and each waits for 20 ms."""
    device = device_from(RETRIES.replace(", at_most: 2", ""))
    assert ticks(timed(times_of(device, Search()), "wire->alone")) == (88, 88)


def test_endless_retries_take_for_ever() -> None:
    """Its scenario ends with a loop in which a call is lost, and time passes."""
    text = RETRIES.replace(", at_most: 2", "").replace(
        "if: tries < 3, do: [tries = tries + 1], ", ""
    )
    times = times_of(device_from(text), Search())
    one = timed(times, "wire->radio")
    assert ticks(one)[1] is None
    assert one.worst is not None
    loop = one.worst.trace.moves[one.worst.trace.loop_from - 1 :]
    labels = [times.product.labels[move.label] for move in loop]
    assert sum(label.kind == "tick" for label in labels) == 22
    assert "lose" in [label.kind for label in labels]


def test_what_may_take_any_time_takes_for_ever() -> None:
    """Where chips do not act at once, and nothing counts time, time passes without a tick."""
    text = """
device: a lazy chip
clock: {tick: 1 ms}
chips:
  tile:
    states: {wired: {}, between: {}, radio: {}}
    rules: [{in: wired, after: 1 ms, to: between}, {in: between, to: radio}]
modes: {wire: tile.wired, radio: tile.radio}
"""
    times = times_of(device_from(text), Search())
    one = timed(times, "wire->radio")
    assert ticks(one) == (0, None)
    assert one.worst is not None
    assert one.worst.stands
    at_once = text.replace("{tick: 1 ms}", "{tick: 1 ms, at_once: [chips]}")
    assert ticks(timed(times_of(device_from(at_once), Search()), "wire->radio")) == (0, 0)


PERSON = """
device: a switch that waits for a person
clock: {tick: 1 ms, at_once: [chips]}
chips:
  tile:
    states: {wired: {}, asking: {}, pairing: {}, radio: {}}
    rules:
      pull: {in: wired, on: pulled, to: asking}
      blink: {in: asking, period: 1 ms}
      pair: {in: asking, on: press, to: pairing}
      done: {in: pairing, after: 7 ms, to: radio}
actors:
  cable: {states: [in_, out], rules: [{in: in_, to: out, signal: [pulled]}]}
  player: {states: [there], rules: [{signal: [press]}]}
modes: {wire: tile.wired, radio: tile.radio}
requirements:
  R1: {text: it comes back, whenever: tile.asking, then: tile.radio}
"""


def test_a_person_is_not_the_devices_time() -> None:
    """The clock of a switch begins anew with the press, however often it is pressed afterwards; a
    response waits for the person, too.
    """
    times = times_of(device_from(PERSON), Search())
    assert ticks(timed(times, "wire->radio")) == (7, 7)
    assert ticks(timed(times, "R1")) == (7, None)


def test_a_switch_is_measured_from_the_step_that_asks_for_it() -> None:
    """From pulling the cable it takes 20 ms at best, and none from leaving the mode, which comes
    last. Whatever the player does with a foot meanwhile asks for nothing. Plugging in is felt at
    once: the step that asks for it is the one that does it.
    """
    times = times_of(device_from(FELT_LATE), Search())
    up = timed(times, "wire->radio")
    assert up.asked
    assert up.best is not None
    assert up.best.ticks == 20
    asking = up.best.trace.moves[up.best.trace.switch_from - 1]
    assert times.product.labels[asking.label].text.startswith("cable")
    assert up.worst is not None
    assert up.worst.ticks == 0
    down = timed(times, "radio->wire")
    assert (down.asked, ticks(down)) == (True, (0, 0))


def test_a_switch_that_nobody_asks_for_is_measured_from_leaving() -> None:
    """A timer leaves the mode, and another one enters the next."""
    text = """
device: a tile that goes over by itself
clock: {tick: 1 ms, at_once: [chips]}
chips:
  tile:
    states: {wired: {}, between: {}, radio: {rest: true}}
    rules: [{in: wired, after: 9 ms, to: between}, {in: between, after: 4 ms, to: radio}]
actors:
  player: {states: [there], variables: {foot: {bool: true}}, rules: [{do: [foot = not foot]}]}
modes: {wire: tile.wired, radio: tile.radio}
"""
    one = timed(times_of(device_from(text), Search()), "wire->radio")
    assert (one.asked, ticks(one)) == (False, (4, 4))


PAIRED = """
device: a session that is lost and found
clock: {tick: 1 ms, at_once: [chips]}
chips:
  tile:
    states: {on_air: {}, gone: {}, searching: {}}
    variables: {key: {bond: true}}
    rules:
      begin: {in: on_air, after: [30 ms, 40 ms], to: gone}
      notice: {in: gone, after: 20 ms, to: searching}
      found: {in: searching, after: [4 ms, 9 ms], to: on_air}
  hub:
    states: {here: {}}
    variables: {key: {bond: true}}
    rules: []
pairings:
  radio: {ends: [tile.key, hub.key], session: tile.on_air, selected: 'true'}
"""


def test_a_reconnection_lasts_from_the_loss_until_it_is_there_again() -> None:
    """It takes 20 ms to notice, and 4 to 9 ms to find it."""
    times = times_of(device_from(PAIRED), Search())
    assert ticks(timed(times, "radio")) == (24, 29)


def test_what_was_not_explored_is_incomplete() -> None:
    """A bound that is hit makes every time incomplete."""
    device = device_from(CHAIN)
    times = times_of(device, Search(limits=Limits(states=20)))
    assert not times.complete
    assert not any(one.complete for one in times.timed)
    assert {one.stopped_by for one in times.timed} == {"the bound of 20 states"}


def alone(text: str) -> str:
    """The chain without what runs beside it."""
    beside = (
        "      tune: {in: radio, period: 2 ms}\n",
        "    rules: {blink: {in: on, period: 4 ms}}\n",
    )
    for line in beside:
        assert line in text
        text = text.replace(line, "")
    return text


def slack_of(device: Device, most: int = 400) -> dict[tuple[str, str], Slack]:
    found = SlackSearch(device, Search(), most).all()
    assert found.complete == all(one.known for one in found.every)
    return {(one.constant.name, one.need): one for one in found.every}


@pytest.mark.thorough
def test_slack_is_what_the_requirement_leaves() -> None:
    """It allows 31 ms, and takes 28: each timer of the chain can grow by 3 ms, and shrink to 0."""
    device = device_from(alone(CHAIN).replace("within: 28 ms", "within: 31 ms"))
    found = slack_of(device)
    for name, now in (("hub.answer", 10), ("tile.settle", 5), ("air delay", 1)):
        one = found[name, "R1"]
        assert one.known
        assert one.explored.every
        assert one.holds == tuple(range(now + 4))
        assert one.broken == tuple(range(now + 4, max(9 * now, now + 16) + 1))


def test_a_bound_of_explorations_is_told() -> None:
    """What was not tried is not said to hold."""
    found = slack_of(device_from(CHAIN), most=2)
    assert any(not one.known for one in found.values())
    tried = {length for one in found.values() for length in one.explored.lengths}
    assert len(tried) <= 2 + len(found)


TWO_DOORS = """
device: two doors that are never open together
clock: {tick: 1 ms, at_once: [chips]}
chips:
  a:
    states: {s0: {}, s1: {}, s2: {rest: true}}
    rules: {begin: {in: s0, after: 2 ms, to: s1}, end: {in: s1, after: 1 ms, to: s2}}
  b:
    states: {w: {}, open: {}, done: {rest: true}}
    rules: {unlock: {in: w, after: 8 ms, to: open}, lock: {in: open, after: 1 ms, to: done}}
requirements:
  R1: {text: never both at once, never: a.s1 and b.open}
"""
"""Invented: slack that is not monotone. The one door is open from 2 to 3 ms, the other one from 8
to 9; later, the first one meets the second one, and later still it is behind it.
"""


def test_where_a_requirement_breaks_in_between_every_length_is_told() -> None:
    """Open at n ms, the first door closes at n + 1: it meets the second one, which is open from 8
    to 9 ms, for n = 7, 8 and 9 and never again.
    """
    begin = slack_of(device_from(TWO_DOORS))["a.begin", "R1"]
    assert begin.explored.every
    assert (begin.explored.lowest, begin.explored.highest) == (0, 18)
    assert begin.broken == (7, 8, 9)
    assert begin.holds == (*range(7), *range(10, 19))
    tick = Fraction(1, 1000)
    assert explored_in_words(begin, tick) == "explored: every length from 0 to 18 ms, tick by tick"
    said = "broken at 7 ms to 9 ms; holds at 0 to 6 ms, 10 ms to 18 ms"
    assert slack_in_words(begin, tick) == said


def test_where_not_every_length_is_explored_nothing_is_said_of_the_others() -> None:
    """With few explorations only points are tried: none of them meets the other door, and no range
    is told that was not gone through.
    """
    begin = slack_of(device_from(TWO_DOORS), most=40)["a.begin", "R1"]
    assert not begin.explored.every
    assert begin.holds == begin.explored.lengths == (0, 1, 2, 3, 4, 6, 10, 18)
    said = "explored: the lengths 0 to 4 ms, 6 ms, 10 ms, 18 ms; nothing is known about others"
    assert explored_in_words(begin, Fraction(1, 1000)) == said


@pytest.mark.thorough
def test_each_length_is_judged_as_the_device_with_it_is() -> None:
    """The slack of every constant, beside a check of a file in which it is written so."""
    for (name, _), one in slack_of(device_from(TWO_DOORS)).items():
        rule = name.partition(".")[2]
        for length in one.explored.lengths:
            other = re.sub(rf"(\b{rule}: {{in: \w+, after:) \d+ ms", rf"\1 {length} ms", TWO_DOORS)
            (judged,) = check([device_from(other)]).requirements
            assert (judged.verdict == "broken") == (length in one.broken), (name, length)


def test_a_constant_is_moved_wherever_it_is_used() -> None:
    """Both ends move, and nothing else does."""
    device = device_from(CHAIN)
    constants = {one.name: one for one in constants_of(compose(device))}
    other = moved(device, constants["hub.answer"], 3)
    durations = {one.name: one.duration for one in constants_of(compose(other))}
    answer = durations.pop("hub.answer")
    assert (answer.low, answer.high) == (Fraction(13, 1000), Fraction(23, 1000))
    before = {name: one.duration for name, one in constants.items() if name != "hub.answer"}
    assert durations == before
    assert replace(other, chips=device.chips, links=device.links) == device


def test_responses_together_take_as_long_as_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether requirements share an exploration changes nothing."""
    text = CHAIN + "  R2: {text: the hub is heard, whenever: hub.busy, then: tile.radio}\n"
    together = times_of(device_from(text), Search())
    monkeypatch.setattr("modecheck.checks.together.FEWEST_TOGETHER", 1)
    monkeypatch.setattr("modecheck.checks.together.MOST_TOGETHER", 0)
    alone_ = times_of(device_from(text), Search())
    expected = [("R1", (16, 28)), ("R2", (10, 20))]
    for times in (together, alone_):
        found = [(one.name, ticks(one)) for one in times.timed if one.kind == "response"]
        assert found == expected


POLLED = """
device: a switch that is polled
clock: {tick: 1 ms, at_once: [chips, links]}
chips:
  tile:
    states: {idle: {rest: true}, closing: {}, told: {rest: true}}
    rules:
      feel: {in: idle, on: press, to: closing}
      settle: {in: closing, after: 5 ms, signal: [pressed], to: told}
  hub:
    states: {idle: {}}
    variables: {news: {range: [0, 2]}}
    rules:
      note: {on: pressed, if: news == 0, do: [news = 1]}
      poll: {in: idle, period: 2 ms, do: [news = 2 if news == 1 else news]}
actors:
  foot: {states: [up, down], rules: [{in: up, to: down, signal: [press]}]}
requirements:
  R1: {text: it is heard, whenever: signalled(press), then: hub.news == 2}
"""


def test_a_poll_decides_no_more_than_its_last_period() -> None:
    """The switch bounces for 5 ms, and then waits for the poll for 2 at most."""
    times = times_of(device_from(POLLED), Search())
    assert ticks(timed(times, "R1")) == (5, 7)
    assert decided(times, "R1") == {"tile.settle": (1, 5), "hub.poll": (1, 2)}
