"""Chances and expected values against published ones, as exact fractions.

Knuth & Yao 1976 (a die of coins), Feller 1968 chapter XIV (gambler's ruin), the geometric
distribution, and craps; all recalled from memory and reproduced by brute force (MC). Herman 1990,
with the mean rounds of McIver & Morgan 2005, from memory.
"""

from __future__ import annotations

from fractions import Fraction
from math import prod
from pathlib import Path

import pytest

from modecheck.chances.chain import chain_of
from modecheck.chances.figures import figures_of
from modecheck.chances.reaching import Hits, HittingFigures, reached
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose_for_chances
from tests.generation.devices import device_from

MODELS = Path(__file__).parents[2] / "models" / "published" / "chances"


def told(model: str, question: str) -> HittingFigures:
    """What is told of a question that ends in a state."""
    (found,) = told_of_each_start(read_device(str(MODELS / f"{model}.yaml")), question).starts
    return found


def told_of_each_start(device: Device, question: str) -> Hits:
    asked = compose_for_chances(device)
    chain = chain_of(asked.product)
    event = device.chances[question].event
    goal = chain.holds(f"until:{question}")
    assert chain.complete
    return reached(chain, goal, asked.bits[event] if event else 0)


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
    assert float(rich.starts[0].chance) == pytest.approx(0.5, abs=1e-9)
    assert over.starts[0].steps == pytest.approx(250_000)


def test_retransmission_is_geometric() -> None:
    """A quarter is lost, and four sends at most are made."""
    assert told("retransmission", "sends").events == Fraction(85, 64)
    assert told("retransmission", "gives_up").chance == Fraction(1, 256)


def test_craps_is_nearly_fair() -> None:
    """The shooter wins with 244/495."""
    assert told("craps", "wins").chance == Fraction(244, 495)


RING = (MODELS / "herman_ring.yaml").read_text(encoding="utf-8")
IN_TURN = RING.replace("if: 'seen", "if: '(i == 1 or cell[i - 1].done) and seen")
"""The same with fewer states: coins are thrown one after the other."""


def gaps(bits: tuple[int, ...]) -> list[int]:
    """How far it is from each token to the next one."""
    tokens = [n for n in range(len(bits)) if bits[n] == bits[n - 1]]
    return [
        (b - a) % len(bits) or len(bits)
        for a, b in zip(tokens, tokens[1:] + tokens[:1], strict=True)
    ]


@pytest.mark.parametrize(("cells", "slowest"), [(3, Fraction(4, 3)), (5, Fraction(16, 5))])
def test_a_ring_stabilizes_in_the_published_mean_time_from_each_start(
    cells: int, slowest: Fraction
) -> None:
    """One token: at once. Three tokens with gaps a, b, c: 4abc/N rounds. No start takes longer."""
    device = device_from(IN_TURN.replace("copies: 5", f"copies: {cells}"))
    found = told_of_each_start(device, "one_token")
    product = compose_for_chances(device).product
    places = [n for n, field in enumerate(product.fields) if field.name.endswith("bit")]
    assert len(places) == cells
    assert len(found.starts) == 2**cells
    for state, hit in zip(product.first_states, found.starts, strict=True):
        apart = gaps(tuple(state[place] for place in places))
        assert hit.chance == 1
        if len(apart) == 1:
            assert hit.seconds == 0
        elif len(apart) == 3:
            assert float(hit.seconds or 0) == pytest.approx(4 * prod(apart) / cells)
    assert max(float(hit.seconds or 0) for hit in found.starts) == pytest.approx(float(slowest))


def test_the_figures_of_a_ring_are_those_of_its_starts() -> None:
    """The least and the most of all starts, and one figure where all agree."""
    figures = {one.label: one.value for one in figures_of(device_from(RING)).figures}
    assert figures["one_token: chance"] == 1
    assert figures["one_token: mean time, least of all starts"] == 0
    assert figures["one_token: mean time, most of all starts"] == pytest.approx(3.2)
