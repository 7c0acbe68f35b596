"""A step in which several things fail at once names them all, whoever explores it."""

from __future__ import annotations

import pytest

import modecheck
from modecheck.checks.findings import Finding
from modecheck.checks.roaming.roam import Roaming, roam
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.product.composition import compose
from modecheck.product.symmetry import symmetry_of
from modecheck.scenario.sentences import sentence
from tests.generation.devices import device_from
from tests.second_reading.search import search
from tests.stepping import begin

CALLED = """
device: two tiles that one call takes out of range
chips:
  front: &tile
    variables: {heard: {range: [0, 1]}, slots: {list: 2, bool: true}}
    states: {idle: {rest: true}}
    rules:
      count: {on: call, do: [heard = heard + 1]}
      look: {on: ask, if: 'slots[heard + 1]'}
  rear: *tile
  third:
    variables: {heard: {range: [0, 3]}}
    states: {idle: {rest: true}, answered: {rest: true}}
    rules: {count: {on: [call, ask], do: [heard = heard + 1], signal: [answer], to: answered}}
  fourth:
    variables: {n: {range: [0, 1]}}
    states: {idle: {rest: true}}
    rules: {fails: {on: answer, do: [n = n + 1]}}
actors:
  player:
    states: [here]
    rules: {calls: {signal: [call]}, asks: {signal: [ask]}}
"""

SENT = """
device: three messages into full links
chips:
  hub: {states: {idle: {rest: true}}}
actors:
  player:
    variables: {n: {range: [0, 3], start: 3}}
    states: [here]
    rules:
      - {name: sends, send: [ping via one, ping via two, ping via two, ping via three]}
      - {name: counts, do: [n = n + 1, n = n + 2], send: [level(9) via four]}
links:
  one: {from: player, to: hub, carries: [ping], capacity: 4}
  two: {from: player, to: hub, carries: [ping], capacity: 1}
  three: {from: player, to: hub, carries: [ping], when_full: error, up_when: player.n == 3}
  four: {from: player, to: hub, carries: {level: {range: [0, 3]}}}
"""

BOTH = ["out-of-range:front.heard", "out-of-range:rear.heard"]
ASKED = ["out-of-range:front.slots", "out-of-range:rear.slots"]


def test_all_that_hear_a_signal_and_fail_are_named() -> None:
    """Both tiles leave their range, in the order of the chips; what the third raises meanwhile is
    not heard any more, so the fourth does not fail.
    """
    called = begin(CALLED).take("player calls")
    assert called.failure("player calls") == ", ".join(BOTH)


def test_all_whose_guards_fail_are_named_and_the_others_move() -> None:
    """An index out of range in the guards of both; the third takes its rule all the same."""
    moment = begin(CALLED).take("player calls")
    assert moment.failure("player asks") == ", ".join(ASKED)
    assert sentence(moment.product, moment.step("player asks")) == (
        "the player takes asks in here: third hears ask and takes count in answered; "
        "the index of front.slots is outside 0 to 1; the index of rear.slots is outside 0 to 1"
    )


def test_all_messages_that_are_not_queued_are_named() -> None:
    """The second ping does not fit beside the first in a link for one; the last one fits."""
    sent = begin(SENT.replace("ping via two, ping via two", "ping via two, ping via one"))
    moment = sent.take("player sends")
    assert moment.failure("player sends") == "overflow:two.ping, overflow:three.ping"
    twice = begin(SENT)
    assert twice.failure("player sends") == "overflow:two.ping"


def test_a_rule_stops_at_its_first_failure() -> None:
    """Its second write and what it sends would fail, too, and are never looked at."""
    assert begin(SENT).failure("player counts") == "out-of-range:player.n"


@pytest.mark.parametrize("text", [CALLED, SENT], ids=["called", "sent"])
def test_every_explorer_names_the_same(text: str) -> None:
    """The plain and the compiled engine, zones on a clock, representatives of identical units, a
    random walk, and the second reading.
    """
    device = device_from(text)
    wanted = failing(check([device], search=Search(engine="plain")).findings)
    assert failing(check([device], search=Search(engine="compiled")).findings) == wanted
    for engine in ("plain", "compiled"):
        reduced = check([device], search=Search(engine=engine, symmetry=True))
        assert failing(reduced.findings) == wanted
    clocked = device_from(text + "clock: {tick: 1 ms}\n")
    assert failing(check([clocked], search=Search(engine="zones")).findings) == wanted
    reached = search(device, 1000)
    named = {":".join(f) for steps in reached.outcomes for step, _ in steps for f in step.failures}
    assert named == {name for name, _ in wanted}
    seen = roam([device], Roaming(runs=200, seconds=None))
    assert failing(seen.findings) == wanted


def failing(findings: tuple[Finding, ...]) -> set[tuple[str, int | None]]:
    codes = ("out-of-range", "overflow")
    return {(one.id, one.steps) for one in findings if one.code in codes}


def test_a_rig_names_them_all() -> None:
    """The step is possible, and taking it raises an error that tells both."""
    rig = modecheck.machines(device_from(CALLED))
    rig.take("player calls")
    (step,) = (one for one in rig.steps() if one.label == "player calls")
    assert [f"{one.code}:{one.subject}" for one in step.failures] == BOTH
    with pytest.raises(Exception, match=r"range of front\.heard; .*range of rear\.heard"):
        rig.take("player calls")


IN_TURN = """
device: two counts in one rule
chips:
  front: &tile
    states: {up: {rest: true}, down: {rest: true}}
    rules: {presses: {in: up, to: down}, lifts: {in: down, to: up}}
  rear: *tile
  hub:
    variables: {of_front: {range: [0, 1]}, of_rear: {range: [0, 1]}}
    states: {up: {rest: true}}
    rules:
      counts: {do: [of_front = MOST if front.down else 0, of_rear = MOST if rear.down else 0]}
"""


@pytest.mark.parametrize("most", [1, 2], ids=["fits", "can fail"])
def test_writes_that_can_fail_keep_their_order(most: int) -> None:
    """A rule stops at its first failure, so which of two tiles is counted first tells them apart:
    they are exchanged only where neither write can fail.
    """
    device = device_from(IN_TURN.replace("MOST", str(most)))
    assert bool(symmetry_of(compose(device)).generators) == (most == 1)


WITHOUT_ROOM = """
device: a call that a hub answers over two full links
chips:
  front: &tile {states: {up: {rest: true}}, rules: {hears: {on: ping}}}
  rear: *tile
  hub:
    states: {up: {rest: true}}
    rules: {answers: {HOW, send: [ping via to_front, ping via to_rear]}}
actors: {player: {states: [here], rules: {calls: {signal: [call]}}}}
links:
  to_front: {from: hub, to: front, carries: [ping], capacity: 1, when_full: wait}
  to_rear: {from: hub, to: rear, carries: [ping], capacity: 1, when_full: wait}
"""


@pytest.mark.parametrize(("how", "fails"), [("after: 1 ms", False), ("on: call", True)])
def test_links_without_room_keep_their_order_where_that_fails(how: str, fails: bool) -> None:
    """A signal heard without room names the first link that is full; a rule that waits names none,
    so that its links may be exchanged.
    """
    device = device_from(WITHOUT_ROOM.replace("HOW", how))
    assert bool(symmetry_of(compose(device)).generators) != fails


CUT = """
device: power that fails while somebody else fails, too
chips:
  hub:
    variables: {n: {range: [0, 0]}}
    states: {up: {rest: true}}
    rules: {fails: {on: call, do: [n = n + 1]}}
  tile:
    variables: {a: {bool: true, persistent: true}, b: {bool: true, persistent: true}}
    states: {up: {rest: true}}
    rules: {writes: {on: call, do: [a = true, b = true], steps: separate}}
actors: {player: {states: [here], rules: {calls: {signal: [call]}}}}
faults: {power_cut: {chips: [tile], at_most: 1}}
"""


def test_a_cut_strikes_beside_a_failure_whatever_the_order_of_chips() -> None:
    """The hub fails in the step, whether the power of the tile fails in it or not."""
    for text in (CUT, turned(CUT)):
        moment = begin(text)
        assert moment.labels == [
            "player calls",
            "tile power_cut in writes after a = true",
            "tile power_cut",
        ]
        for label in moment.labels[:2]:
            assert moment.failure(label) == "out-of-range:hub.n"
        spaces = [
            check([device_from(text)], search=Search(engine=engine)).explored[0].exploration
            for engine in ("plain", "compiled")
        ]
        assert [one.failures[("out-of-range", "hub.n")].count for one in spaces] == [3, 3]


def turned(text: str) -> str:
    """The same device with its chips the other way round."""
    hub, tile = text.index("  hub:"), text.index("  tile:")
    return (
        text[:hub]
        + text[tile : text.index("actors:")]
        + text[hub:tile]
        + text[text.index("actors:") :]
    )
