"""What is told of a device by zones, beside what is told tick by tick."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.declared import PRESERVED
from modecheck.checks.every_check import not_asked
from modecheck.checks.explored import Verdict
from modecheck.checks.judged import UNDECIDED
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineUnavailable, Search
from modecheck.engine.contract.space import Limits
from modecheck.engine.zones.zone_clocks import NotZonable
from modecheck.scenario.replay import replay
from tests.cli.running import run
from tests.engine.zones.zonable import zonable
from tests.generation.devices import Drawn, device_from, devices

MOST_STATES = 600
EXAMPLES = 10

RACE = """\
device: two flaps that close a valve
clock: {tick: 1 ms}
chips:
  front:
    states:
      open: {rules: [{after: [20 s, 30 s], to: shut}]}
      shut: {rest: true}
  rear:
    states:
      open: {rules: [{after: [29 s, 40 s], to: shut}]}
      shut: {rest: true}
      burst: {rest: true}
    rules:
      - {in: open, after: 41 s, to: burst}
modes:
  half: front.state == open and rear.state == shut
  burst: rear.state == burst
requirements:
  BOTH: {text: one flap stays open, always: front.state == open or rear.state == open}
  SOON: {text: both shut in the end, whenever: front.state == shut, then: rear.state == shut}
"""


def by(engine: str, drawn: Drawn | None = None, text: str = RACE) -> Verdict:
    """The verdict by one engine, within a bound."""
    device = drawn.read() if drawn is not None else device_from(text)
    bound = MOST_STATES if engine == "plain" else 20 * MOST_STATES
    how = Search(engine=engine, limits=Limits(states=bound))  # type: ignore[arg-type]
    return check([device], search=how)


@pytest.mark.thorough
@settings(max_examples=EXAMPLES)
@given(devices(options=False, timed=True))
def test_zones_tell_what_digital_clocks_tell(drawn: Drawn) -> None:
    """Of all that zones preserve; and each scenario is one that the interpreter really takes."""
    zonable(drawn)
    digital = by("plain", drawn)
    assume(digital.explored[0].exploration.complete)
    zones = by("zones", drawn)
    needs = {one.need.name: one for one in zones.requirements if one.verdict != UNDECIDED}
    assert all(
        one.verdict == needs[one.need.name].verdict
        for one in digital.requirements
        if one.need.name in needs
    )
    told = {one.id: one for one in zones.findings}
    missing = not_asked(PRESERVED["zones"])
    expected = {
        one.id: one
        for one in digital.findings
        if one.code not in missing and (one.code != "broken-requirement" or one.subject in needs)
    }
    assert told.keys() == expected.keys()
    product = zones.explored[0].exploration.product
    for key, one in told.items():
        assert one.text == expected[key].text
        assert one.place.line == expected[key].place.line
        assert (one.trace is None) == (expected[key].trace is None)
        if one.trace is not None:
            list(replay(product, one.trace.moves))


def test_a_race_between_long_timers_takes_a_few_zones() -> None:
    """The two may shut at the same moment, from 29 s to 30 s on, and one is never burst."""
    verdict = by("zones")
    assert {one.id for one in verdict.findings} == {
        "broken-requirement:BOTH",
        "dead-rule:rear.open:after#2",
        "mode-never-reached:burst",
        "unreachable-state:rear.burst",
    }
    assert verdict.explored[0].exploration.state_count < 10
    trace = next(one.trace for one in verdict.findings if one.subject == "BOTH")
    assert trace is not None
    assert len(trace.moves) == 29_000 + 2


def test_what_is_not_asked_of_zones_is_named() -> None:
    """A requirement about runs is undecided, and no loop, no deadlock is looked for."""
    verdict = by("zones")
    assert verdict.not_evaluated == ("SOON",)
    assert not verdict.complete
    assert {"deadlock", "livelock", "zeno", "time-stop"} <= set(
        verdict.explored[0].reduced.not_asked
    )


def test_a_bound_of_zones_says_incomplete() -> None:
    """What lies behind the bound is unknown, and nothing is called dead or never reached."""
    how = Search(engine="zones", limits=Limits(states=2))
    verdict = check([device_from(RACE)], search=how)
    assert verdict.explored[0].exploration.stopped_by == "the bound of 2 states"
    assert not verdict.findings


def test_zones_need_a_clock() -> None:
    """Without one time is abstract, and there is nothing to bound."""
    with pytest.raises(NotZonable, match="its device has no clock"):
        by("zones", text=RACE.replace("clock: {tick: 1 ms}\n", ""))
    with pytest.raises(EngineUnavailable, match="cannot be combined with a reduction"):
        check([device_from(RACE)], search=Search(engine="zones", symmetry=True))


def test_the_command_says_how_time_was_treated(tmp_path: Path) -> None:
    """Zones or digital clocks, and the tick; other commands have no use for zones."""
    path = tmp_path / "race.yaml"
    path.write_text(
        RACE.replace(" s,", " ms,").replace(" s]", " ms]").replace("41 s", "41 ms"),
        encoding="utf-8",
    )
    zones = run("check", str(path), "--engine", "zones")
    assert zones.code == 1
    assert "time: zones, in ticks of 1 ms" in zones.out
    assert "not checked with zones: deadlock" in zones.out
    digital = run("check", str(path), "--engine", "plain")
    assert "time: digital clocks, in ticks of 1 ms" in digital.out
    drawn = run("draw", str(path), "--engine", "zones", "--to", str(tmp_path / "out"))
    assert drawn.code == 2
    assert "zones works with check only" in drawn.err
