"""What a single fault does, or a single act of a person: the columns of a failure modes and effects
analysis (IEC 60812), as far as a model can fill them.

It strikes at the worst moment, but only at one at which the device, left alone, would keep what is
asked for: a mode that the device was about to leave anyway is not lost by a fault. From then on
nobody helps: no actor acts and nothing else fails. How severe an effect is, people judge.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.cutsets.slices import Slice
from modecheck.cutsets.strikes import MessageOn, Strikes, strikes_in
from modecheck.cutsets.unaided import MOST_GOALS, Return, Unaided

KEPT, RETURNS, MAY_RETURN, LOST, UNKNOWN = "kept", "returns", "may return", "lost", "unknown"
"""What becomes of a mode or a pairing: it is never left, comes back in every run, or only in some;
from some moment no run leads back. Unknown: what follows a failing step is not explored.
"""


@dataclass(frozen=True, slots=True)
class Effect:
    """What becomes of a mode or a pairing (`kind`) that a fault strikes. `steps` and `ticks` are
    the most until it is there again, None for no bound; without a clock there are no ticks. `ends`
    are the modes in which the device may remain instead, "" for none.
    """

    kind: str
    name: str
    outcome: str
    steps: int | None = None
    ticks: int | None = None
    ends: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Effects:
    """All effects of one fault or act. Modes that it cannot strike are not among them; `lost` are
    the messages that it takes away by itself, and `moments` how many steps it was found in.
    """

    name: str
    about: str
    moments: int
    effects: tuple[Effect, ...]
    lost: tuple[MessageOn, ...]

    def of(self, kind: str) -> tuple[Effect, ...]:
        """The effects on all modes, or on all pairings."""
        return tuple(one for one in self.effects if one.kind == kind)


@dataclass(frozen=True, slots=True)
class _Goal:
    """A condition that held before, and that a device comes back to or not."""

    kind: str
    name: str

    @property
    def condition(self) -> str:
        return f"mode:{self.name}" if self.kind == "mode" else f"paired:{self.name}"


class EffectSearch:
    """Asks for the effects of what happens to a device in which nothing has failed yet."""

    def __init__(self, unharmed: Slice) -> None:
        self.unharmed = unharmed
        device = unharmed.product.device
        every = [
            *(_Goal("mode", name) for name in device.modes),
            *(_Goal("pairing", name) for name in device.pairings),
        ]
        self._parts = [every[n : n + MOST_GOALS] for n in range(0, len(every), MOST_GOALS)]
        self._keeps: list[list[int]] = []
        for goals in self._parts:
            alone = self._alone(unharmed, goals)
            self._keeps.append(_bits([alone.keeps(n) for n, _ in enumerate(goals)]))

    def effects(self, name: str, about: str, labels: Collection[int], behind: Slice) -> Effects:
        """The effects of steps with these labels, which lead into the slice `behind`."""
        strikes = strikes_in(self.unharmed, labels)
        found: list[Effect] = []
        for goals, keeps in zip(self._parts, self._keeps, strict=True):
            begun = self._alone(behind, goals).begun_at(
                tuple(self._entries(strikes, keeps, behind))
            )
            for number, goal in enumerate(goals):
                back = begun.back_to(number)
                if back is not None:
                    found.append(_effect(goal, back, goals))
        lost = strikes.lost() if strikes.pairs else ()
        return Effects(name, about, len(strikes.pairs), tuple(found), lost)

    def _alone(self, part: Slice, goals: Sequence[_Goal]) -> Unaided:
        return Unaided(part, [part.mark(goal.condition) for goal in goals])

    def _entries(
        self, strikes: Strikes, keeps: Sequence[int], behind: Slice
    ) -> Iterable[tuple[int, int]]:
        """The states in which what has struck leaves the device, with what it kept before."""
        entered: dict[int, int] = {}
        for source, target in strikes.pairs:
            own = keeps[self.unharmed.found.number_here(source)]
            if own:
                number = behind.found.number_here(target)
                entered[number] = entered.get(number, 0) | own
        return entered.items()


def _bits(columns: Sequence[Sequence[int]]) -> list[int]:
    """For each state the goals that it keeps."""
    return [
        sum(bool(flag) << n for n, flag in enumerate(row)) for row in zip(*columns, strict=True)
    ]


def _effect(goal: _Goal, back: Return, goals: Sequence[_Goal]) -> Effect:
    if back.unknown:
        return Effect(goal.kind, goal.name, UNKNOWN)
    if back.stays:
        return Effect(goal.kind, goal.name, KEPT, 0, 0)
    ends = tuple(dict.fromkeys(_ends(back, goals))) if goal.kind == "mode" else ()
    if not back.can_return:
        return Effect(goal.kind, goal.name, LOST, ends=ends)
    if not back.returns:
        return Effect(goal.kind, goal.name, MAY_RETURN, ends=ends)
    return Effect(goal.kind, goal.name, RETURNS, back.steps, back.ticks)


def _ends(back: Return, goals: Sequence[_Goal]) -> Iterator[str]:
    """The modes in which the device may remain."""
    for marks in sorted(back.ends, reverse=True):
        modes = [
            goal.name for n, goal in enumerate(goals) if goal.kind == "mode" and marks >> n & 1
        ]
        yield from modes or [""]
