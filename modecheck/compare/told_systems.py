"""A labelled system whose labels hold everything that is visible in a step.

It is read off a space once. An observer who sees less sees the same system with some labels merged
or made silent. That preserves strong, branching and weak bisimulation (they are congruences for
renaming and for hiding; van Glabbeek & Weijland 1989 and Milner 1989, from memory). With explicit
divergence it does, too: where an infinite run becomes silent, an equivalent state answers
infinitely many of its steps, or stands still from some step on; then the rest of the run was silent
and among equivalent states before, so that state could go on silently, too. So equivalent states
can be merged before any look, which leaves far fewer of them without changing the answer to any
look.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from modecheck.compare.labelled import SILENT, SILENT_NAME, LabelledSystem
from modecheck.compare.refinement import Equivalence, classes_of, quotient
from modecheck.compare.visible import FAILS, Chosen, Visible, in_order


@dataclass(frozen=True, slots=True)
class SeenStep:
    """Everything visible in a step: each item is what was chosen, with its text. The step begins in
    the modes `before` and ends in the modes `after`. A step that `fails` must not happen.
    """

    items: tuple[tuple[Chosen, str], ...] = ()
    before: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    fails: bool = False

    def name(self, chosen: frozenset[Chosen], mode: str | None) -> str:
        """What an observer of `chosen` sees: everywhere, or in a mode and at its borders."""
        texts = []
        if mode is None or mode in self.before:
            texts = [text for one, text in self.items if one in chosen]
            texts += [FAILS] if self.fails else []
        if mode in self.after - self.before:
            texts.append(f"enters {mode}")
        elif mode in self.before - self.after:
            texts.append(f"leaves {mode}")
        return " + ".join(sorted(texts))


@dataclass(frozen=True, slots=True)
class ToldSystem:
    """Label `i` of the system is what `told[i]` says; the first is that of silent steps. Failing
    steps stand last.
    """

    system: LabelledSystem
    told: tuple[SeenStep, ...]

    def looked_at(self, visible: Visible, mode: str | None = None) -> LabelledSystem:
        """The system as seen by an observer of `visible`, in a mode or everywhere."""
        chosen = frozenset(in_order(visible))
        numbers = {SILENT_NAME: SILENT}
        named = (numbers.setdefault(one.name(chosen, mode), len(numbers)) for one in self.told)
        labels = np.array(list(named), np.int32)[self.system.labels]
        fails = np.array([one.fails for one in self.told], bool)[self.system.labels]
        # A failing step has no target: where it is invisible, it is dropped.
        kept = ~fails | (labels != SILENT)
        return replace(
            self.system,
            sources=self.system.sources[kept],
            labels=labels[kept],
            targets=self.system.targets[kept],
            names=tuple(numbers),
        )

    def reduced(self, equivalence: Equivalence) -> ToldSystem:
        """Equivalent states merged. For weak bisimulation these are the branching equivalent
        ones, which are weakly equivalent, too.
        """
        if equivalence is Equivalence.WEAK:
            equivalence = Equivalence.BRANCHING
        classes = classes_of(self.system, equivalence)
        return ToldSystem(quotient(self.system, classes, equivalence), self.told)
