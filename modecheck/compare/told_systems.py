"""A labelled system that knows of each label all that is seen with it.

It is read off a space once. What somebody sees who sees less is the same system with some labels
made one, or made silent. Strong, branching and weak bisimulation are kept by that (they are
congruences for renaming and for hiding; van Glabbeek & Weijland 1989 and Milner 1989, from memory).
So equivalent states may be put together before it is looked at, which leaves far fewer of them: the
answer to every look stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from modecheck.compare.labelled import SILENT, SILENT_NAME, LabelledSystem
from modecheck.compare.refinement import Equivalence, classes_of, quotient
from modecheck.compare.visible import Chosen, Visible, in_order

FAILS = "a step fails"


@dataclass(frozen=True, slots=True)
class SeenStep:
    """All that is seen of a step: of each thing what was chosen and its text. The step begins in
    the modes `before` and ends in those of `after`. One that `fails` must not happen.
    """

    items: tuple[tuple[Chosen, str], ...] = ()
    before: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    fails: bool = False

    def name(self, chosen: frozenset[Chosen], mode: str | None) -> str:
        """What somebody sees who sees this: everywhere, or in a mode and at its borders."""
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
        """What is seen of it by somebody who sees this, in a mode or everywhere."""
        chosen = frozenset(in_order(visible))
        numbers = {SILENT_NAME: SILENT}
        named = (numbers.setdefault(one.name(chosen, mode), len(numbers)) for one in self.told)
        labels = np.array(list(named), np.int32)[self.system.labels]
        fails = np.array([one.fails for one in self.told], bool)[self.system.labels]
        # A failing step leads nowhere: where nobody sees it, it is no step.
        kept = ~fails | (labels != SILENT)
        return replace(
            self.system,
            sources=self.system.sources[kept],
            labels=labels[kept],
            targets=self.system.targets[kept],
            names=tuple(numbers),
        )

    def reduced(self, equivalence: Equivalence) -> ToldSystem:
        """Equivalent states put together. For weak bisimulation these are the branching equivalent
        ones, which are weakly equivalent, too.
        """
        if equivalence is Equivalence.STRONG:
            classes = classes_of(self.system, Equivalence.STRONG)
            return ToldSystem(quotient(self.system, classes, silent_loops=True), self.told)
        classes = classes_of(self.system, Equivalence.BRANCHING)
        return ToldSystem(quotient(self.system, classes), self.told)
