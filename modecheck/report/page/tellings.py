"""One step as the page holds it: plain data, which becomes JSON unchanged.

Many transitions of a product read alike, and the page holds each telling once.
"""

from __future__ import annotations

from typing import TypeAlias

from modecheck.draw.shown import shown
from modecheck.engine.reference.happenings import Took
from modecheck.engine.reference.plain import Step
from modecheck.product.ir import Product
from modecheck.scenario.sentences import sentence

LONGEST_SENTENCE = 1200
LONGEST_WORD = 200
"""Characters shown of a telling: names may be of any length."""

Telling: TypeAlias = tuple[str, int, int, str, tuple[int, ...], str]
"""Kind of the step, the link and the chip whose step it is (or -1), its sentence, the rules taken
in it, and why it fails (or nothing)."""


def telling(product: Product, step: Step) -> Telling:
    """What the page holds of a step; equal for steps that read alike."""
    label = product.labels[step.label]
    return (
        label.kind,
        label.queue,
        label.chip,
        shown(sentence(product, step), LONGEST_SENTENCE),
        tuple(one.rule for one in step.happenings if isinstance(one, Took)),
        shown(step.wrong, LONGEST_SENTENCE),
    )
