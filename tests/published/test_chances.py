"""Chances and expected values against published ones, as exact fractions.

Knuth & Yao 1976 (a die of coins), Feller 1968 chapter XIV (gambler's ruin), the geometric
distribution, and craps; all recalled from memory and reproduced by brute force (MC).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from modecheck.chances.chain import chain_of
from modecheck.chances.reaching import HittingFigures, reached
from modecheck.model.devices import read_device
from modecheck.product.composition import compose_for_chances

MODELS = Path(__file__).parents[2] / "models" / "published" / "chances"


def told(model: str, question: str) -> HittingFigures:
    """What is told of a question that ends in a state."""
    device = read_device(str(MODELS / f"{model}.yaml"))
    asked = compose_for_chances(device)
    chain = chain_of(asked.product)
    event = device.chances[question].event
    goal = chain.holds(f"until:{question}")
    found = reached(chain, goal, asked.bits[event] if event else 0)
    assert chain.complete
    assert found.exact
    return found


@pytest.mark.parametrize("face", ["one", "two", "three", "four", "five", "six"])
def test_a_die_of_coins_is_fair(face: str) -> None:
    """Each face has a chance of 1/6."""
    assert told("die", face).chance == Fraction(1, 6)


def test_a_die_takes_eleven_thirds_coins() -> None:
    """In the mean."""
    assert told("die", "thrown").steps == Fraction(11, 3)


def test_a_gambler_is_ruined() -> None:
    """With 9/19 for each round, 5 of 10 at the beginning."""
    assert told("ruin", "rich").chance == Fraction(59049, 159049)
    assert told("ruin", "over").steps == Fraction(204755, 8371)


def test_a_fair_game_of_many_rounds_is_solved_sparsely(tmp_path: Path) -> None:
    """N=1000, i=500: 1/2, and i(N-i) = 250000 rounds (Feller 1968, from memory)."""
    text = (MODELS / "ruin.yaml").read_text(encoding="utf-8")
    text = text.replace("10], start: 5", "1000], start: 500")
    text = text.replace("< 10", "< 1000").replace("== 10", "== 1000")
    path = tmp_path / "device.yaml"
    path.write_text(text.replace("9/19", "1/2").replace("10/19", "1/2"), encoding="utf-8")
    asked = compose_for_chances(read_device(str(path)))
    chain = chain_of(asked.product)
    rich, over = (reached(chain, chain.holds(f"until:{name}")) for name in ("rich", "over"))
    assert not rich.exact
    assert 0 < over.residual < 1e-6
    assert float(rich.chance) == pytest.approx(0.5, abs=1e-9)
    assert over.steps == pytest.approx(250_000)


def test_retransmission_is_geometric() -> None:
    """A quarter is lost, and four sends at most are made."""
    assert told("retransmission", "sends").events == Fraction(85, 64)
    assert told("retransmission", "gives_up").chance == Fraction(1, 256)


def test_craps_is_nearly_fair() -> None:
    """The shooter wins with 244/495."""
    assert told("craps", "wins").chance == Fraction(244, 495)
