"""Requirements about states: never, always, possible, recoverable."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.checks.ways import Way, way_to
from modecheck.engine.space import Space, first_zero
from modecheck.model.parts import Requirement
from modecheck.product.conditions import is_watched


def find(space: Space) -> Iterator[Finding]:
    """A finding for each requirement that is broken."""
    for need in space.product.device.requirements.values():
        if is_watched(need):
            continue
        if need.pattern in ("never", "always"):
            yield from _invariant(space, need)
        elif need.pattern == "recoverable":
            yield from _recoverable(space, need)
        elif space.complete:
            yield from _possible(space, need)


def not_evaluated(space: Space) -> tuple[str, ...]:
    """The requirements that this version reads and does not evaluate."""
    needs = space.product.device.requirements.values()
    return tuple(need.name for need in needs if is_watched(need))


def _broken(need: Requirement, text: str, way: Way | None = None) -> Finding:
    return Finding(
        code="broken-requirement",
        subject=need.name,
        text=f"{need.sentence}: {text}",
        place=need.place,
        way=way,
    )


def _invariant(space: Space, need: Requirement) -> Iterator[Finding]:
    bit = space.mark(f"requirement:{need.name}")
    bad = space.numbered(bit) if need.pattern == "never" else space.numbered(0, bit)
    number = next(bad, None)
    if number is not None:
        verb = "comes true" if need.pattern == "never" else "does not hold"
        yield _broken(need, f"{need.text} {verb}", way_to(space, number))


def _possible(space: Space, need: Requirement) -> Iterator[Finding]:
    if next(space.numbered(space.mark(f"requirement:{need.name}")), None) is None:
        yield _broken(need, f"{need.text} never comes true")


def _recoverable(space: Space, need: Requirement) -> Iterator[Finding]:
    watched = space.product.watched_events
    without = sum(1 << watched.index(name) for name in need.without)
    recovers = space.roads_to(space.mark(f"requirement:{need.name}"), without_events=without)
    lost = first_zero(recovers)
    if lost is not None:
        text = f"from here no road leads to {need.text}"
        yield _broken(need, text, way_to(space, lost))
