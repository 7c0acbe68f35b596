"""How a loop that can be gone for ever is told. The devices are invented."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.running import check

SCANNING = """\
device: endless scan
chips:
  pedal:
    states: {asleep: {rest: true}, scanning: {}, pausing: {}}
    rules:
      wake: {in: asleep, on: pressed, to: scanning, text: wakes up}
      scan: {in: scanning, after: 100 ms, to: pausing, text: looks for its hub}
      pause: {in: pausing, after: 1 s, to: scanning, text: has had its pause}
actors:
  player: {states: [here], rules: [{if: pedal.asleep, signal: [pressed]}]}
"""

LONG = """\
device: long way round
chips:
  pedal:
    variables: {n: {range: [0, 39]}, begun: {range: [0, 9]}}
    states: {asleep: {rest: true}, scanning: {}}
    rules:
      wake: {in: asleep, if: begun == 9, to: scanning, text: wakes up}
      wait: {in: asleep, if: begun < 9, do: begun = begun + 1, text: waits}
      scan: {in: scanning, do: n = n + 1 if n < 39 else 0, text: looks on}
"""


def test_the_loop_stands_under_a_line_of_its_own(tmp_path: Path) -> None:
    """What is done once comes before it, what is done for ever behind it."""
    lines = check(SCANNING, tmp_path).out.splitlines()
    at = lines.index("  from here on, repeating forever:")
    assert "pedal hears pressed" in " ".join(lines[at - 2 : at])
    assert lines[at + 1].startswith("    2. pedal looks for its hub")
    assert lines[at + 2].startswith("    3. pedal has had its pause")


def test_a_loop_whose_beginning_is_left_out_says_where_it_begins(tmp_path: Path) -> None:
    """Of a long scenario the middle is not shown; the line then names the step."""
    lines = check(LONG, tmp_path).out.splitlines()
    at = lines.index("  from step 11 on, repeating forever:")
    assert "more steps in --json" in lines[at - 1]
    assert max(map(len, lines)) <= 80


def test_json_marks_where_the_loop_begins(tmp_path: Path) -> None:
    """`loop_from` is the number of its first step, up to the last one; null without a loop."""
    check(SCANNING, tmp_path, "--json", "out.json")
    (found,) = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))["findings"]
    assert (found["id"], found["loop_from"], found["steps"]) == ("livelock:pedal", 2, 3)
    assert [step["number"] for step in found["scenario"]] == [1, 2, 3]
    assert found["scenario"][0]["states"] == found["scenario"][2]["states"]
