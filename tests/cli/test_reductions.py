"""`--reduce`: which reductions were used, and what they leave unsaid, in text and JSON."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.running import MODELS, run

TWINS = str(MODELS / "faulty" / "spoken_while_deaf.yaml")
NO_TWINS = str(MODELS / "starter" / "device.yaml")
RING = str(MODELS / "published" / "philosophers_4.yaml")


def plain_text(text: str) -> str:
    """The words of an output, wherever its lines are broken."""
    return " ".join(text.split())


def test_identical_units_are_named(tmp_path: Path) -> None:
    """The text says that states are counted up to exchange, of which units, and what was not asked;
    findings are the same as without.
    """
    whole, reduced = run("check", TWINS), run("check", TWINS, "--reduce", "symmetry")
    assert reduced.code == whole.code == 1
    words = plain_text(reduced.out)
    assert "states up to exchange of identical units" in words
    assert "each reported by its name: pedal[1] and pedal[2]" in words
    assert "not checked since only part of the product was explored: livelock" in words
    assert "up to exchange" not in whole.out
    assert "incomplete" in words
    assert "complete" not in words.replace("incomplete", "")

    out = tmp_path / "out.json"
    run("check", TWINS, "--reduce", "symmetry", "--json", str(out))
    found = json.loads(out.read_text(encoding="utf-8"))["reductions"]
    assert (found["symmetry"], found["order"]) == (True, False)
    assert found["identical_units"] == [["pedal[1]", "pedal[2]"]]
    assert "livelock" in found["not_asked"]


def test_a_device_without_twins_is_explored_as_a_whole() -> None:
    """Where no units can be exchanged, the text says so, and nothing is left unasked."""
    found = run("check", NO_TWINS, "--reduce", "symmetry")
    assert found.code == 0
    assert "this device has no interchangeable units" in plain_text(found.out)
    assert "nothing found" in found.out
    assert "not checked" not in found.out


def test_one_order_never_says_that_nothing_is_wrong() -> None:
    """Deadlocks are found; without one the result is incomplete, with exit code 3."""
    assert run("check", RING, "--reduce", "order").code == 1
    found = run("check", NO_TWINS, "--reduce", "order")
    assert found.code == 3
    assert "incomplete, nothing found so far" in found.out
    assert "all states explored" in found.out
    assert "complete" not in found.out.replace("incomplete", "")
    words = plain_text(found.out)
    assert "independent steps were explored in one order" in words
    assert "stuck-chip" in words


def test_both_reductions_may_be_asked_for(tmp_path: Path) -> None:
    """The option may be given twice; JSON and text name both."""
    out = tmp_path / "out.json"
    arguments = ("--reduce", "order", "--reduce", "symmetry", "--json", str(out))
    found = run("check", RING, *arguments)
    assert found.code == 1
    assert "each reported by its name: p[1], p[2], p[3] and p[4]" in plain_text(found.out)
    written = json.loads(out.read_text(encoding="utf-8"))["reductions"]
    assert (written["symmetry"], written["order"]) == (True, True)


def test_machine_code_orders_no_steps() -> None:
    """Asked for the compiled engine and one order, the tool says that it cannot."""
    found = run("check", RING, "--reduce", "order", "--engine", "compiled")
    assert found.code == 2
    assert "does not order independent steps" in plain_text(found.err)


def test_an_unknown_reduction_is_an_error() -> None:
    """Only the two that exist are taken."""
    assert run("check", RING, "--reduce", "everything").code == 2


def test_nothing_that_is_left_open_is_called_complete(tmp_path: Path) -> None:
    """All states are explored, and not all is asked: Markdown says so, too."""
    out = tmp_path / "out.md"
    run("check", NO_TWINS, "--reduce", "order", "--markdown", str(out))
    words = plain_text(out.read_text(encoding="utf-8"))
    assert "not checked since only part of the product was explored: " in words
    assert ", complete" not in words
