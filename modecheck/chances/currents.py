"""Average currents of each chip that declares some, in the long run and in each mode."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from modecheck.chances.chain import Chain
from modecheck.chances.long_run import Class
from modecheck.chances.solving import Number


@dataclass(frozen=True, slots=True)
class Draw:
    """The mean current of a chip, in amperes, in a mode (or overall, with the empty name), and how
    many hours its battery lasts at that. None if the long run never visits the mode, or if no
    time passes.
    """

    chip: str
    mode: str
    amperes: Number | None
    hours: Number | None


def draws(chain: Chain, classes: list[Class]) -> list[Draw]:
    """The draws of each chip with a current in some state; a state without one draws nothing."""
    times = _times(classes)
    modes = {"": set(times)}
    for mode in chain.product.device.modes:
        holds = chain.holds(f"mode:{mode}")
        modes[mode] = {number for number in times if holds(number)}
    found = []
    for chip in chain.product.chips:
        states = chain.product.device.chips[chip.name].states
        by_leaf = [states[leaf].current for leaf in chip.leaves]
        if not any(current is not None for current in by_leaf):
            continue
        battery = chain.product.device.chips[chip.name].battery
        for mode, numbers in modes.items():
            drawn = {n: by_leaf[chain.states[n][chip.state_field]] or Fraction(0) for n in numbers}
            mean = _mean(times, drawn)
            hours = None if battery is None or not mean else _over(battery, mean)
            found.append(Draw(chip.name, mode, mean, hours))
    return found


def silent_states(chain: Chain) -> tuple[str, ...]:
    """States without a current, of chips that have one in others."""
    return tuple(
        f"{chip.name}.{leaf}"
        for chip in chain.product.device.chips.values()
        if any(state.current is not None for state in chip.states.values())
        for leaf in chip.leaves
        if chip.states[leaf].current is None
    )


def _times(classes: list[Class]) -> dict[int, Number]:
    """The share of time in each state, over all classes; nothing where one has no time."""
    found: dict[int, Number] = {}
    for one in classes:
        if one.time is None:
            return {}
        for number, share in one.time.items():
            if isinstance(share, Fraction) and isinstance(one.chance, Fraction):
                found[number] = share * one.chance
            else:
                found[number] = float(share) * float(one.chance)
    return found


def _mean(times: dict[int, Number], drawn: dict[int, Fraction]) -> Number | None:
    if all(isinstance(times[number], Fraction) for number in drawn):
        total = sum((Fraction(times[number]) for number in drawn), Fraction(0))
        amount = sum((Fraction(times[n]) * ampere for n, ampere in drawn.items()), Fraction(0))
        return amount / total if total else None
    whole = sum(float(times[number]) for number in drawn)
    return sum(float(times[n]) * float(a) for n, a in drawn.items()) / whole if whole else None


def _over(battery: Fraction, mean: Number) -> Number:
    return battery / mean if isinstance(mean, Fraction) else float(battery) / mean
