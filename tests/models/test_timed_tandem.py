"""The timed tandem: 1.3 million states, so what is checked here has short windows.

Long times are replaced, and with them the promises that name them; the chips, their rules and all
short times stay. models/README.md tells how large the bundled files are, and how long they take.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

import modecheck
from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.models.bundled import MODELS, TANDEM

TIMED = MODELS / "tandem" / "timed.yaml"
OTHERS = [MODELS / "tandem" / "timed_600_hz.yaml", MODELS / "tandem" / "timed_30_s.yaml"]

SHORT = f"""
device: tandem with short windows
based_on: {TIMED}
chips:
  hub:
    timers: {{supervision: 5 ms}}
    rules: {{started: {{after: 6 ms}}, nobody_calls: {{after: 8 ms}}}}
  laptop:
    rules:
      settled: {{after: 3 ms}}
      configures: {{after: [1 ms, 2 ms]}}
      resumed: {{after: 3 ms}}
      woken: {{after: [2 ms, 4 ms]}}
links: {{tablet_up: {{delay: [0 ms, 2 ms]}}, tablet_down: {{delay: [0 ms, 2 ms]}}}}
requirements:
  tablet_left_in_time: {{within: 9 ms}}
  tablet_missed_in_time: {{within: 5 ms}}
  call_in_time: {{within: 8 ms}}
  laptop_in_time: {{within: 7 ms}}
  tablet_in_time: {{within: 4 ms}}
"""


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Verdict:
    """The verdict on tandem with a clock and short windows, by the compiled engine."""
    path = tmp_path_factory.mktemp("timed") / "device.yaml"
    path.write_text(SHORT, encoding="utf-8")
    return check([read_device(str(path))], search=Search(engine="compiled"))


@pytest.mark.thorough
def test_nothing_is_found(short: Verdict) -> None:
    """Every promise holds to the millisecond, no time stops, nothing spins, no rule is for show."""
    assert short.complete
    assert [finding.id for finding in short.findings] == []
    timed = [one for one in short.requirements if one.need.within is not None]
    assert len(timed) == 8
    assert {one.verdict for one in timed} == {"holds"}


def seconds(device: Device, chip: str, rule: str) -> Fraction:
    """How long a rule waits."""
    (one,) = (one for one in device.chips[chip].rules if one.title == rule)
    assert one.after is not None
    return one.after.low


@pytest.mark.parametrize("path", [TIMED, *OTHERS], ids=lambda path: path.stem)
def test_the_supervision_timeout_is_by_the_rule(path: Path) -> None:
    """Bluetooth Core Vol 6 Part B 4.5.2, for 15 ms and a latency of 4; a hub starts later."""
    hub = read_device(str(path)).chips["hub"]
    timeout = hub.timers["supervision"].duration.low
    assert timeout == modecheck.smallest_supervision_timeout("15 ms", 4)
    assert modecheck.check_supervision_timeout(timeout, "15 ms", 4) == Fraction(1, 100)
    assert seconds(read_device(str(path)), "hub", "started") > timeout


def test_it_stays_the_tandem_without_a_clock() -> None:
    """Laid over it: the same modes, and no rule of the hub but those that are told here is new."""
    timed, plain = read_device(str(TIMED)), read_device(str(TANDEM))
    assert timed.modes.keys() == plain.modes.keys()
    new = {
        (name, rule.title)
        for name, chip in timed.chips.items()
        for rule in chip.rules
        if rule.title not in {one.title for one in plain.chips[name].rules}
    }
    assert new == {
        ("front_switch", "pressed"),
        ("front_switch", "too_short"),
        ("front_switch", "released"),
        ("front_switch", "down_again"),
        ("front_bridge", "asked"),
        ("hub", "poll"),
        ("hub", "last_packet"),
        ("laptop", "settled"),
        ("laptop", "configures"),
        ("laptop", "suspended"),
        ("laptop", "resumed"),
        ("laptop", "woken"),
    }
