"""`modecheck faults` from outside: exit codes, the table, its files."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, run

TWIN = str(MODELS / "faulty" / "volatile_bond.yaml")
HANDSHAKE = str(MODELS / "small" / "handshake.yaml")
STARTER = str(MODELS / "starter" / "device.yaml")
DEAF = str(MODELS / "faulty" / "no_way_back.yaml")


def test_a_fault_that_breaks_something_within_the_budgets_gives_exit_code_1() -> None:
    """The hub's key is volatile, so that one power cut loses it, as `check` finds, too."""
    result = run("faults", TWIN, "--in-all", "1")
    assert result.code == 1
    assert "broken by 1 fault" in result.out
    assert "lost-bond:pair" in result.out
    assert "- power_cut(hub), in 5 steps" in result.out
    assert "lost-bond:pair" in run("check", TWIN).out


def test_a_device_that_survives_all_gives_exit_code_0() -> None:
    """The handshake without the error."""
    result = run("faults", HANDSHAKE, "--in-all", "1")
    assert result.code == 0
    assert "nothing breaks by up to 1 fault" in result.out


def test_scenarios_are_shown_on_request() -> None:
    """The steps that lead there, the fault among them."""
    shown = run("faults", TWIN, "--in-all", "1", "--scenarios").out
    assert "hub loses power" in shown
    assert "hub loses power" not in run("faults", TWIN, "--in-all", "1").out


def test_a_device_without_faults_says_so() -> None:
    """And where they are declared."""
    result = run("faults", STARTER)
    assert result.code == 0
    assert "declares no faults" in result.out
    assert "section 'faults'" in " ".join(result.out.split())


def test_what_people_have_to_do_is_counted() -> None:
    """The deaf receiver needs a cable that was plugged in and pulled out, and a foot: one of each
    at the worst moment is enough.
    """
    said = " ".join(run("faults", DEAF, "--people").out.split())
    assert "- player.plug: at least once - player.pull: at least once" in said
    assert "- player.step: at least once" in said
    assert "player.lift:" not in said.partition("each single act")[0]
    assert "nothing breaks without a fault" in run("faults", STARTER, "--people").out


def test_a_bound_makes_it_incomplete() -> None:
    """Nothing is said to survive of which not all is known."""
    result = run("faults", HANDSHAKE, "--max-states", "50")
    assert result.code == 3
    assert "incomplete" in result.out
    assert "broken by none" not in result.out


def test_the_files_hold_the_table(tmp_path: Path) -> None:
    """JSON has every scenario, CSV a row for each effect with a column for the severity, Markdown
    the report.
    """
    data, rows, text = (tmp_path / f"table.{ending}" for ending in ("json", "csv", "md"))
    run(
        "faults", TWIN, "--in-all", "1", "--people", "--json", str(data), "--csv", str(rows),
        "--markdown", str(text),
    )  # fmt: skip
    table = json.loads(data.read_text(encoding="utf-8"))
    lost = next(one for one in table["cut_sets"] if one["id"] == "lost-bond:pair")
    assert lost["sets"][0]["faults"] == {"power_cut(hub)": 1}
    assert len(lost["sets"][0]["finding"]["scenario"]) == 5
    assert table["acts"]["needed"] == {}
    with rows.open(encoding="utf-8", newline="") as file:
        told = list(csv.DictReader(file))
    hub = next(one for one in told if (one["failure mode"], one["part"]) == ("power_cut", "hub"))
    assert (hub["strikes"], hub["name"], hub["effect"]) == ("pairing", "pair", "lost")
    assert hub["breaks by itself"] == "lost-bond:pair, one-sided-bond:pair"
    assert hub["severity"] == ""
    assert "hub loses power" in text.read_text(encoding="utf-8")


@pytest.mark.parametrize("arguments", [("--at-most", "0"), ("--in-all", "0"), ("--at-most", "x")])
def test_bounds_that_make_no_sense_give_exit_code_2(arguments: tuple[str, ...]) -> None:
    """As with every command."""
    assert run("faults", STARTER, *arguments).code == 2


def test_files_that_cannot_be_written_are_refused_first() -> None:
    """Before anything is explored."""
    result = run("faults", STARTER, "--csv", "nowhere/table.csv")
    assert result.code == 2
    assert "nowhere" in result.err
