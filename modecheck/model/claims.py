"""What a device file says beside behaviour: findings that are known, questions about chances."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from modecheck.model.places import Place
from modecheck.model.terms import Happens, Term


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A finding that the team accepts, and until when; `named_at` is the place of its id."""

    finding: str
    reason: str
    until: date | None
    place: Place
    named_at: Place


@dataclass(frozen=True, slots=True)
class Expectation:
    """A finding that a faulty twin is known to have, with the length of its shortest scenario;
    `named_at` is the place of its id.
    """

    finding: str
    steps: int | None
    place: Place
    named_at: Place


@dataclass(frozen=True, slots=True)
class Chance:
    """A question about chances. `kind` is reach, count or latency.

    reach asks for the probability that `until` is ever reached, and the mean time to it; count for
    how often `event` happens until then; latency for the time from `event` to `answer`, and the
    probability that it exceeds `within` seconds.
    """

    name: str
    sentence: str
    kind: str
    until: Term | None
    event: Happens | None
    answer: Happens | None
    text: str
    place: Place
    within: Fraction | None = None
