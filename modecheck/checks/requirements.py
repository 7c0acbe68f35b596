"""Requirements about states: never, always, possible, recoverable."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.checks.roads import Roads
from modecheck.checks.ways import Way, way_to
from modecheck.engine.exploration import Exploration
from modecheck.model.parts import Requirement


def find(exploration: Exploration, roads: Roads) -> Iterator[Finding]:
    """A finding for each requirement that is broken."""
    for need in exploration.product.device.requirements.values():
        if need.condition is None:
            continue
        if need.pattern in ("never", "always"):
            yield from _invariant(exploration, need)
        elif need.pattern == "recoverable":
            yield from _recoverable(exploration, roads, need)
        elif exploration.complete:
            yield from _possible(exploration, need)


def not_evaluated(exploration: Exploration) -> tuple[str, ...]:
    """The requirements that this version reads and does not evaluate."""
    needs = exploration.product.device.requirements.values()
    return tuple(need.name for need in needs if need.condition is None)


def _broken(need: Requirement, text: str, way: Way | None = None) -> Finding:
    return Finding(
        code="broken-requirement",
        subject=need.name,
        text=f"{need.sentence}: {text}",
        place=need.place,
        way=way,
    )


def _invariant(exploration: Exploration, need: Requirement) -> Iterator[Finding]:
    bit = exploration.mark(f"requirement:{need.name}")
    bad = bit if need.pattern == "never" else 0
    for number, marks in enumerate(exploration.marks):
        if marks & bit == bad:
            verb = "comes true" if need.pattern == "never" else "does not hold"
            yield _broken(need, f"{need.text} {verb}", way_to(exploration, number))
            return


def _possible(exploration: Exploration, need: Requirement) -> Iterator[Finding]:
    if next(exploration.where(f"requirement:{need.name}"), None) is None:
        yield _broken(need, f"{need.text} never comes true")


def _recoverable(exploration: Exploration, roads: Roads, need: Requirement) -> Iterator[Finding]:
    watched = exploration.product.watched_events
    without = sum(1 << watched.index(name) for name in need.without)

    def allowed(edge: int) -> bool:
        return not exploration.notes[exploration.notes_of[edge]].events & without

    recovers = roads.leading_to(exploration.where(f"requirement:{need.name}"), allowed)
    lost = recovers.find(0)
    if lost >= 0:
        text = f"from here no road leads to {need.text}"
        yield _broken(need, text, way_to(exploration, lost))
