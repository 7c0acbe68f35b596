"""Latency, currents and batteries against values worked out by hand; all data invented."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import prod
from pathlib import Path

import pytest

from modecheck.chances.figures import Figures, figures_of
from modecheck.chances.happening_first import happening_first
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput

MODELS = Path(__file__).parents[2] / "models"

LAMP = """\
device: lamp
modes: {dark: lamp.off, light: lamp.on}
chips:
  lamp:
    battery: 100 mAh
    states: {off: {current: 1 mA}, on: {current: 5 mA}}
    rules:
      light: {in: off, after: 30 ms, to: on}
      hush: {in: on, after: [5 ms, 15 ms], to: off}
"""
FATE = """\
device: fate
chips:
  coin:
    states: {up: {}, heads: {rest: true, current: 2 mA}, tails: {rest: true, current: 4 mA}}
    rules: [{in: up, to: heads}, {in: up, weight: 3, to: tails}]
chances:
  heads: {reach: coin.heads}
  flips: {count: taken(coin.up_step), until: coin.heads}
"""


def told(text: str, folder: Path) -> Figures:
    """The figures of a device in this text."""
    path = folder / "device.yaml"
    path.write_text(text, encoding="utf-8")
    return figures_of(read_device(str(path)))


def values(figures: Figures) -> dict[str, object]:
    """Each by its label."""
    return {figure.label: figure.value for figure in figures.figures}


def polled(choice: str) -> dict[str, object]:
    """What is told of the bundled pedal."""
    path = str(MODELS / "chances" / "pedal.yaml")
    return values(figures_of(read_device(path, {"reporting": choice})))


def test_currents_are_means_over_time(tmp_path: Path) -> None:
    """30 ms at 1 mA and 10 ms at 5 mA: 2 mA, and 50 hours of 100 mAh."""
    found = values(told(LAMP, tmp_path))
    assert found["lamp: mean current"] == Fraction(2, 1000)
    assert found["lamp: battery lasts"] == 50
    assert found["lamp in dark: mean current"] == Fraction(1, 1000)
    assert found["lamp in light: battery lasts"] == 20


def test_a_clock_gives_the_same_means(tmp_path: Path) -> None:
    """In ticks of 5 ms it is on for 5, 10 or 15 ms, each as likely as the others."""
    timed = LAMP.replace("modes:", "clock: {tick: 5 ms}\nmodes:")
    found = told(timed, tmp_path)
    assert values(found)["lamp: mean current"] == Fraction(2, 1000)
    assert values(found)["lamp: battery lasts"] == 50


DELAYED = """\
device: a message that takes its time
clock: {tick: 1 ms}
chips:
  foot:
    states: [ready, done]
    rules: [{in: ready, period: 10 ms, send: [press via air], to: done}]
  hub: {states: {here: {rest: true}}, discards: [press]}
links:
  air: {from: foot, to: hub, carries: [press], delay: [1 ms, 3 ms]}
chances:
  way: {latency: sent(foot.press), answer: delivered(hub.press), within: 2 ms}
"""


def test_each_moment_of_a_delay_is_as_likely_as_the_others(tmp_path: Path) -> None:
    """1, 2 or 3 ms: 2 ms in the mean, and later than 2 ms in one of three cases."""
    found = values(told(DELAYED, tmp_path))
    assert found["way (first): mean"] == pytest.approx(0.002)
    assert found["way (first): too late"] == pytest.approx(1 / 3)


RACE = """\
device: three lamps that go on by themselves
clock: {tick: 1 ms}
chips:
  one: {states: [off, on], rules: [{in: off, after: [1 ms, 4 ms], to: on}]}
  two: {states: [off, on], rules: [{in: off, after: [2 ms, 3 ms], to: on}]}
  three: {states: [off, on], rules: [{in: off, after: [0 ms, 5 ms], to: on}]}
chances:
  all: {reach: one.on and two.on and three.on}
  one_first: {reach: one.on and two.off and three.off}
  two_first: {reach: two.on and one.off and three.off}
  three_first: {reach: three.on and one.off and two.off}
"""


def test_timers_that_race_do_not_give_each_other_a_second_chance(tmp_path: Path) -> None:
    """Each moment of each lamp is as likely as its others, whatever the others do: counted out over
    all 48 cases, where of those that go on at the same moment each is the first as often.
    """
    cases = list(product(range(1, 5), range(2, 4), range(6)))
    share = Fraction(1, len(cases))
    first = [Fraction(0)] * 3
    for case in cases:
        earliest = [number for number, moment in enumerate(case) if moment == min(case)]
        for number in earliest:
            first[number] += share / len(earliest)
    found = values(told(RACE, tmp_path))
    assert found["all: mean time"] == share * sum(map(max, cases)) / 1000
    assert [found[f"{name}_first: chance"] for name in ("one", "two", "three")] == first


KICK = """\
device: a lamp that is kicked at once, and then begins anew
clock: {tick: 1 ms}
chips:
  foot: {states: [lifted, down], rules: [{in: lifted, after: 0 ms, signal: kick, to: down}]}
  lamp:
    states: [off, on]
    rules:
      - {in: off, after: [0 ms, 3 ms], to: on}
      - {in: off, on: kick, to: off}
chances:
  shines: {reach: lamp.on}
"""


def test_a_timer_that_is_started_again_is_asked_again(tmp_path: Path) -> None:
    """Anew from 0 to 3 ms, 3/2 in the mean, unless it went on before the kick: in 1/2 * 1/4."""
    found = values(told(KICK, tmp_path))
    assert found["shines: mean time"] == Fraction(7, 8) * Fraction(3, 2) / 1000


@pytest.mark.parametrize("count", [1, 3, 8, 9])
def test_what_happens_first_is_as_likely_as_all_is_likely(count: int) -> None:
    """Something happens, or nothing does; and one that always happens is never asked in vain."""
    chances = [Fraction(1, number + 2) for number in range(count)]
    found = list(happening_first(chances))
    assert sum(chance for *_, chance in found) == 1 - prod(1 - chance for chance in chances)
    assert all(first not in before for first, before, _ in found)
    for _, before, chance in happening_first([Fraction(1), *chances]):
        assert 0 not in before or not chance


def test_where_it_can_end_counts_by_its_chance(tmp_path: Path) -> None:
    """One of two parts that are never left: 1/4 of 2 mA and 3/4 of 4 mA. A missing weight is
    told.
    """
    figures = told(
        FATE.replace("taken(coin.up_step)", "signalled(go)").replace(
            "{in: up, to: heads}", "{in: up, signal: go, to: heads}"
        ),
        tmp_path,
    )
    found = values(figures)
    assert found["heads: chance"] == Fraction(1, 4)
    assert found["flips: mean count"] is None
    assert found["coin: mean current"] == Fraction(7, 2000)
    assert (figures.classes, figures.assumed) == (2, 1)


def test_polling_waits_for_its_turn() -> None:
    """Steps fall on 8 slots alike, 1 of 20 pictures is lost: 4.5 + 8/19 ms in the mean; later than
    10 ms are 6/8 of the first losses and 2/8 of the second.
    """
    found = polled("polled")
    assert found["heard: mean"] == pytest.approx((4.5 + 8 / 19) / 1000)
    assert found["heard: too late"] == pytest.approx(0.05 * 6 / 8 + 0.0025 * 2 / 8)
    assert found["pedal: mean current"] == (Fraction(9000) + 7 * 12) / 8 / 10**6


def test_reporting_is_heard_at_once_and_draws_less() -> None:
    """19 of 20 at once, nearly all others 1 ms later."""
    found = polled("by_itself")
    assert found["heard: median"] == 0
    assert found["heard: 99 % within"] == pytest.approx(0.001)
    assert found["pedal: mean current"] < polled("polled")["pedal: mean current"] / 50  # type: ignore[operator]


def test_a_bound_tells_nothing(tmp_path: Path) -> None:
    """An incomplete chain has no numbers."""
    path = tmp_path / "device.yaml"
    path.write_text(LAMP, encoding="utf-8")
    figures = figures_of(read_device(str(path)), 1)
    assert not figures.complete
    assert figures.figures == ()


TWO_STARTS = (
    FATE.replace("states: {up", "initial: [up, heads]\n    states: {up")
    .replace("taken(coin.up_step)", "signalled(go)")
    .replace("{in: up, to: heads}", "{in: up, signal: go, to: heads}")
)
ANYHOW = TWO_STARTS.replace(", current: 2 mA", "").replace(", current: 4 mA", "")


def test_each_start_counts_for_itself(tmp_path: Path) -> None:
    """From `heads` there is nothing to toss; the mean exists for one of the starts only."""
    found = values(told(ANYHOW, tmp_path))
    assert found["heads: chance, least of all starts"] == Fraction(1, 4)
    assert found["heads: chance, most of all starts"] == 1
    assert "heads: mean steps" not in found
    assert found["flips: mean count"] is None


def test_bounds_hold_for_all_starts(tmp_path: Path) -> None:
    """The choice without a weight may be avoided, but not the start `heads`."""
    path = tmp_path / "device.yaml"
    path.write_text(ANYHOW.replace(", weight: 3", ""), encoding="utf-8")
    found = values(figures_of(read_device(str(path)), bounds=True))
    assert found["heads: least chance"] == 0
    assert found["heads: greatest chance"] == 1


def test_a_mean_over_all_time_needs_one_start(tmp_path: Path) -> None:
    """Currents, of which nobody knows in which part the device ends."""
    with pytest.raises(InvalidInput, match="no mean over all time is known of that"):
        told(TWO_STARTS, tmp_path)
