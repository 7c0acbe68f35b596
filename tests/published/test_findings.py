"""What check says of the standard machines: what is known to be wrong with them, and no more.

Each model tells under `expect` what is known; the sources stand in the model and, with their marks,
in the other modules beside this one.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from modecheck.checks.explored import Verdict
from tests.cli.running import run
from tests.sweeps import sweep

Checked = Callable[[str], Verdict]

ROOT = Path(__file__).parents[2]
TOO_LARGE = {"cube_2x2x2"}
"""3,674,160 states: for an engine faster than the plain one."""

NAMES = sorted({path.stem for path in (ROOT / "models" / "published").glob("*.yaml")} - TOO_LARGE)


LONG = {"eight_puzzle", "shift_register_16"}


@pytest.mark.parametrize("name", sweep(NAMES, lambda name: name not in LONG))
def test_machine_has_the_known_findings_and_no_others(checked: Checked, name: str) -> None:
    """The findings and the lengths of their shortest scenarios are exactly the expected ones."""
    verdict = checked(name)
    expected = {one.finding: one.steps for one in verdict.device.expected}
    assert {finding.id: finding.steps for finding in verdict.findings} == expected
    assert not verdict.accepted
    assert not verdict.remarks


KNOWN: dict[str, dict[str, int]] = {
    "philosophers_2": {"deadlock:p[1].waiting+p[2].waiting": 2},
    "philosophers_3": {"deadlock:p[1].waiting+p[2].waiting+p[3].waiting": 3},
    "philosophers_left_handed_3": {},
    "philosophers_both_forks_3": {},
    "exclusion_a1": {},
    "exclusion_a2": {"broken-requirement:exclusion": 6},
    "exclusion_a3": {"deadlock:p.looking+q.looking": 4},
    "dekker": {},
    "peterson": {},
    "peterson_atomic": {},
    "peterson_swapped": {"broken-requirement:exclusion": 6},
    "brand_zafiropulo": {
        "unspecified-reception:server.fault.req": 3,
        "unspecified-reception:user.wait.alarm": 3,
    },
    "alternating_bit_1": {},
    "alternating_bit_2": {},
    "alternating_bit_3": {},
    "alternating_bit_broken": {"broken-requirement:right_delivery": 9},
    "alternating_bit_reordered": {"broken-requirement:right_delivery": 15},
    "wolf_goat_cabbage": {"broken-requirement:unsolved": 7},
    "missionaries_3_2": {"broken-requirement:unsolved": 11},
    "missionaries_4_2": {},
    "jugs_3_5": {"broken-requirement:unsolved": 6},
    "jugs_8_5_3": {"broken-requirement:unsolved": 7},
    "fischer_2": {},
    "fischer_3": {},
    "stop_and_wait": {},
    "response_times": {},
}
"""Published verdicts, written down apart from the models, with the lengths where those are known.

Philosophers MC (OEIS A002203, A000129, A000032). Attempts and Dekker: Dijkstra EWD123, Ben-Ari 2006
(MC, the third attempt PC; its 4 steps are C). Peterson: Baier and Katoen 2008 (MC). Messages that
cross: Brand and Zafiropulo 1983 (MC; their 3 steps are C). Alternating bit: Milner 1989 (MC; the 9
steps are C). Missionaries: OEIS A356480 (PC). Fischer's protocol: Abadi and Lamport 1994 (PC). Stop
and wait: D'Argenio and others 1997 (MC). The other puzzles MC.
"""


@pytest.mark.parametrize("name", KNOWN)
def test_machine_has_the_published_verdict(checked: Checked, name: str) -> None:
    """The published verdicts hold whatever a model says that it expects."""
    found = {finding.id: finding.steps for finding in checked(name).findings}
    assert found == KNOWN[name]


def told(tmp_path: Path, name: str, *options: str) -> tuple[int, dict[str, Any]]:
    """The exit code of `modecheck check`, and the result that it writes as JSON."""
    result = tmp_path / "result.json"
    model = ROOT / "models" / "published" / f"{name}.yaml"
    ran = run("check", str(model), "--json", str(result), *options)
    return ran.code, json.loads(result.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("name", "states", "transitions", "layers"),
    [
        ("philosophers_2", 6, 8, [1, 2, 3]),
        ("exclusion_a2", 16, 30, [1, 2, 3, 4, 3, 2, 1]),
        ("exclusion_a3", 15, 26, [1, 2, 3, 4, 3, 2]),
        ("peterson_swapped", 32, 60, [1, 2, 4, 6, 7, 6, 4, 2]),
        ("wolf_goat_cabbage", 10, 20, [1, 1, 1, 2, 2, 1, 1, 1]),
        ("counters_4_4", 256, 1024, [1, 4, 10, 20, 31, 40, 44, 40, 31, 20, 10, 4, 1]),
    ],
)
def test_command_line_tells_the_published_counts(
    tmp_path: Path, name: str, states: int, transitions: int, layers: list[int]
) -> None:
    """States and transitions with marks as in the other modules; layers C but the last two (MC)."""
    code, result = told(tmp_path, name)
    assert (result["states"], result["transitions"]) == (states, transitions)
    assert result["layers"] == layers
    assert result["depth"] == len(layers) - 1
    assert result["complete"]
    assert code == (1 if KNOWN.get(name) else 0)


@pytest.mark.parametrize(
    "name", ["philosophers_3", "exclusion_a3", "brand_zafiropulo", "alternating_bit_broken"]
)
def test_command_line_tells_each_scenario_at_its_published_length(
    tmp_path: Path, name: str
) -> None:
    """The scenario in the JSON has as many steps as the finding says, and as are published."""
    code, result = told(tmp_path, name)
    lengths = {finding["id"]: len(finding["scenario"]) for finding in result["findings"]}
    assert lengths == {finding["id"]: finding["steps"] for finding in result["findings"]}
    assert lengths == KNOWN[name]
    assert code == 1


def test_command_line_says_that_the_cube_is_incomplete(tmp_path: Path) -> None:
    """With a bound the first layers are those of OEIS A079761 (PC), and the result says so."""
    layers = [1, 9, 54, 321, 1847]
    code, result = told(tmp_path, "cube_2x2x2", "--max-states", str(sum(layers)))
    assert result["layers"] == layers
    assert not result["complete"]
    assert code == 3
