"""Livelocks: chips that are busy for ever, and those that are not.

The devices are invented; the first two are the classes of rows 1 and 28 of the field notes, read
off public issue threads of open firmware (common practice, no source).
"""

from __future__ import annotations

from textwrap import dedent

import pytest

from modecheck.checks.declared import Evidence
from modecheck.checks.findings import Finding
from modecheck.checks.livelock import find
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search, explore_with
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import device_from

ONE_SIDED_BOND = """
device: bond loop
chips:
  hub:
    variables: {bond: {bond: 1, persistent: true, start: 1}}
    states: {advertising: {}, securing: {}, ready: {rest: true}}
    rules:
      - {in: advertising, on: connect, send: [ask_key via down], to: securing}
      - {in: securing, on: key, if: bond != none, to: ready}
      - {in: securing, on: key, send: [key_missing via down], to: advertising}
      - {in: securing, on: no_key, if: bond == none, do: bond = 1, send: [welcome via down],
         to: ready}
      - {in: securing, on: no_key, send: [key_missing via down], to: advertising}
      - {in: advertising, on: erase, do: bond = none}
    discards: {ready: [connect]}
  host:
    variables: {bond: {bond: 1, persistent: true, start: 1}}
    states: {idle: {rest: true}, connecting: {}, ready: {rest: true}}
    rules:
      - {in: idle, if: hub.advertising, send: [connect via up], to: connecting}
      - {in: connecting, on: ask_key, if: bond != none, send: [key via up], to: ready}
      - {in: connecting, on: ask_key, send: [no_key via up]}
      - {in: connecting, on: welcome, do: bond = 1, to: ready}
      - {on: key_missing, HOST}
    discards: {ready: [ask_key]}
actors:
  player:
    states: [holding, done]
    rules: [{in: holding, if: hub.advertising, signal: [erase], to: done}]
links:
  up: {from: host, to: hub, carries: [connect, key, no_key], capacity: 2}
  down: {from: hub, to: host, carries: [ask_key, key_missing, welcome], capacity: 2}
pairings:
  pair: {ends: [hub.bond, host.bond], forgotten_by: [erase, key_missing]}
"""

ENDLESS_SCAN = """
device: scan
chips:
  pedal:
    variables: {tries: {range: [0, 2]}}
    states: {asleep: {rest: true}, scanning: {}, linked: {rest: true}}
    rules:
      - {in: asleep, on: wake, do: tries = 0, to: scanning}
      - {in: scanning, after: 100 ms, SCAN}
      - {in: scanning, after: 100 ms, if: hub.here, to: linked}
      - {in: scanning, after: 100 ms, if: GIVE_UP, to: asleep}
  hub:
    states: {here: {rest: true}, gone: {rest: true}}
    rules: [{in: here, on: carried_off, to: gone}]
actors:
  player:
    states: [here]
    rules: [{signal: [wake], if: pedal.asleep}, {signal: [carried_off]}]
"""


def product_of(text: str) -> Product:
    return compose(device_from(dedent(text)))


def findings(text: str, engine: EngineName = "plain") -> list[Finding]:
    space = explore_with(product_of(text), Search(engine=engine, threads=1))
    return list(find(Evidence(space)))


def ids(text: str) -> list[str]:
    return [finding.id for finding in findings(text)]


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_a_host_that_keeps_its_key_calls_for_ever(engine: EngineName) -> None:
    """Erased on one side: connect, key missing, drop, retry; both chips are named, once."""
    text = ONE_SIDED_BOND.replace("HOST", "to: idle")
    (found,) = findings(text, engine)
    assert found.id == "livelock:hub+host"
    assert found.trace is not None
    told = found.scenario
    again = " ".join(step.text for step in told if step.again)
    for part in ("sends connect", "sends ask_key", "sends key", "sends key_missing"):
        assert part in again
    assert told[found.trace.loop_from - 2].states == told[-1].states
    assert "the player" in told[0].text


def test_a_host_that_drops_a_missing_key_pairs_anew() -> None:
    """The same devices are clean when the host takes "key missing" for an answer."""
    assert ids(ONE_SIDED_BOND.replace("HOST", "do: bond = none, to: idle")) == []


def scan(scanning: str, give_up: str) -> str:
    return ENDLESS_SCAN.replace("SCAN", scanning).replace("GIVE_UP", give_up)


def test_a_hand_that_scans_for_ever_is_found() -> None:
    """Out of reach it scans and scans; the shortest way is wake, carry off, or the reverse."""
    (found,) = findings(scan("do: tries = 1 - tries", "false"))
    assert (found.id, found.steps) == ("livelock:pedal", 4)
    assert found.trace is not None
    assert found.trace.loop_from == 3


def test_a_hand_that_scans_in_place_waits() -> None:
    """What it does changes nothing: that is no livelock, and where all others rest a deadlock."""
    text = scan("signal: [beacon]", "false")
    assert ids(text) == []
    errors = [one for one in check([device_from(dedent(text))]).findings if one.severity == "error"]
    assert [(one.id, one.steps) for one in errors] == [("deadlock:pedal.scanning", 2)]


def test_a_hand_that_counts_its_tries_is_clean() -> None:
    """A counter is not a loop; and a way out that stays possible is taken in the end."""
    assert ids(scan("if: tries < 2, do: tries = tries + 1", "tries == 2")) == []
    assert ids(scan("signal: [beacon]", "true")) == []


def test_a_way_out_that_comes_and_goes_is_not_always_taken() -> None:
    """Weak fairness does not oblige a rule that is enabled in every second state only."""
    text = scan("do: tries = 1 - tries", "tries == 1")
    assert ids(text) == ["livelock:pedal"]
    strong = text.replace("tries == 1, to: asleep", "tries == 1, to: asleep, fair: strong")
    assert ids(strong) == []


TALK = """
device: talk
chips:
  one: {states: {busy: {}, calm: {rest: true}}, rules: [
    {in: busy, on: pong, send: [ping via there]}, {in: busy, on: stop, to: calm},
    {in: busy, on: start, send: [ping via there]}]}
  two: {states: {calm: {rest: true}}, rules: [{in: calm, on: ping, send: [pong via back]}]}
actors:
  player: {states: [new, old], rules: [{in: new, signal: [start], to: old}]}
links:
  there: {from: one, to: two, carries: CARRIED}
  back: {from: two, to: one, carries: [pong, stop]}
"""


def test_talk_without_end_is_a_livelock_and_payload_is_not() -> None:
    """Whether the messages are what the link is there for decides."""
    assert ids(TALK.replace("CARRIED", "[ping]")) == ["livelock:one+two"]
    for kind in ("event", "{kind: state, bool: true}"):
        carried = "{ping: " + kind + "}"
        text = TALK.replace("CARRIED", carried)
        if "bool" in kind:
            text = text.replace("ping via", "ping(true) via")
        assert ids(text) == []


def test_chips_that_take_turns_resting_are_none() -> None:
    """Two heartbeats: at no moment both rest, perhaps, but each comes to rest again and again."""
    beat = (
        "{states: {calm: {rest: true}, busy: {}}, "
        "rules: [{in: calm, to: busy}, {in: busy, to: calm}]}"
    )
    assert ids(f"device: beats\nchips: {{one: {beat}, two: {beat}}}\n") == []


BUSY = """
device: two
chips:
  one: {variables: {n: bool}, states: {calm: {rest: true}, busy: {}}, initial: FIRST, rules: [
    {in: calm, on: push_one, to: busy}, {in: busy, do: n = not n}]}
  two: {variables: {n: bool}, states: {calm: {rest: true}, busy: {}}, initial: FIRST, rules: [
    {in: calm, on: push_two, to: busy}, {in: busy, do: n = not n}]}
actors:
  player: {states: [here], rules: [{signal: [push_one]}, {signal: [push_two]}]}
"""


def test_two_that_have_nothing_to_do_with_each_other_are_two_findings() -> None:
    """A chip that only may be busy at the same time is left out; one that has to be is not."""
    assert ids(BUSY.replace("FIRST", "calm")) == ["livelock:one", "livelock:two"]
    (both,) = findings(BUSY.replace("FIRST", "busy"))
    assert both.id == "livelock:one+two"
    assert both.text == "one and two can loop forever without making progress"


def test_faults_and_people_do_not_keep_anyone_busy() -> None:
    """A loop that needs somebody outside, or a loss, is none of the chips' own."""
    text = """
device: kept busy
chips:
  one:
    variables: {n: bool}
    states: {busy: {}, calm: {rest: true}}
    initial: busy
    rules: [{in: busy, on: push, do: n = not n}]
actors:
  player: {states: [here], rules: [{signal: [push]}]}
"""
    assert ids(text) == []
    assert explore(product_of(text)).transitions > 0


def test_every_loop_told_is_fair_and_comes_back() -> None:
    """Step by step on the interpreter, straight from the definition of weak and strong."""
    text = scan("do: tries = 1 - tries", "tries == 1")
    (found,) = findings(text)
    assert found.trace is not None
    product, trace = product_of(text), found.trace
    before = [product.initial, *(move.after for move in trace.moves)]
    loop = trace.moves[trace.loop_from - 1 :]
    assert before[trace.loop_from - 1] == before[-1]
    states = [move.after for move in loop]
    taken = {move.label for move in loop}
    interpreter = Interpreter(product)
    possible = [{step.label for step in interpreter.steps(s)} for s in states if s is not None]
    for fair in product.fair:
        if not fair.labels & taken:
            enabled = [bool(fair.labels & labels) for labels in possible]
            assert not (any(enabled) if fair.strong else all(enabled))


BESIDE_AN_ERROR = """
device: a hub that searches while somebody may turn a knob too far
modes: {off: hub.off, on: hub.on}
chips:
  hub:
    states: {off: {rest: true}, left: {}, right: {}, on: {rest: true}}
    rules: [{in: off, to: left}, {in: left, to: right}, {in: right, to: left},
            {in: right, if: player.knob == 1, to: on}]
actors:
  player: {variables: {knob: {range: [0, 1]}}, states: [here], rules: [{do: knob = knob + 2 HOW}]}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(("how", "loops"), [("", True), (", fair: weak", False)])
def test_a_step_that_could_fail_hides_no_loop(engine: EngineName, how: str, loops: bool) -> None:
    """In each state the knob can be turned out of its range, but nobody has to turn it: the hub
    searches for ever, with a clock in zero time. If the player must turn it in the end, every run
    ends there.
    """
    text = BESIDE_AN_ERROR.replace(" HOW", how)
    found = {one.id for one in check([device_from(text)], search=Search(engine=engine)).findings}
    assert "out-of-range:player.knob" in found
    assert ("livelock:hub" in found) == loops
    assert ("endless-switch:off" in found) == loops
    timed = f"clock: {{tick: 1 ms, at_once: [chips]}}\n{text}"
    found = {one.id for one in check([device_from(timed)], search=Search(engine=engine)).findings}
    assert ("zeno:hub" in found) == loops
