"""What a rule does besides entering a state: it assigns, sends and signals."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.model.places import Place
from modecheck.model.terms import Term


@dataclass(frozen=True, slots=True)
class Target:
    """A variable that is assigned; with `index`, an item of a list."""

    variable: str
    index: Term | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """Variables of one chip that are assigned simultaneously."""

    targets: tuple[Target, ...]
    values: tuple[Term, ...]
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Send:
    """A message put into a link."""

    message: str
    value: Term | None
    link: str
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class GivenSignal:
    """A signal that a rule gives, with its value if its declaration says that it carries one."""

    signal: str
    value: Term | None
    text: str
    place: Place
