"""Signals that trigger other signals: allowed as long as no signal can trigger itself."""

from __future__ import annotations

from collections.abc import Mapping

from modecheck.model.errors import Notebook
from modecheck.model.parts import Chip
from modecheck.model.places import Place


def note_signal_cycle(chips: Mapping[str, Chip], notes: Notebook) -> None:
    """Note a cycle in the graph of signals: an edge from each event of a rule to what it signals.

    Without a cycle every cascade ends, and a step is finite.
    """
    signals: dict[str, dict[str, Place]] = {}
    for chip in chips.values():
        for rule in chip.rules:
            for event in rule.trigger:
                for signal in rule.signals:
                    signals.setdefault(event.name, {}).setdefault(signal, rule.place)
    cycle = _cycle(signals)
    if cycle:
        place = signals[cycle[0]][cycle[1]]
        message = f"signals trigger each other forever: {' → '.join(cycle)}"
        notes.add(message, place, expected="a chain of signals that ends")


def _cycle(signals: Mapping[str, Mapping[str, Place]]) -> list[str]:
    """Some cycle of the graph, its first signal repeated at the end, or nothing."""
    finished: set[str] = set()
    for start in signals:
        path: list[str] = []
        pending = [(start, iter(signals[start]))] if start not in finished else []
        path += [start] if pending else []
        while pending:
            name, following = pending[-1]
            after = next(following, None)
            if after is None:
                finished.add(name)
                pending.pop()
                path.pop()
            elif after in path:
                return [*path[path.index(after) :], after]
            elif after in signals and after not in finished:
                pending.append((after, iter(signals[after])))
                path.append(after)
    return []
