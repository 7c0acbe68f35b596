"""Bisimulations by their definitions: the greatest relation, found by striking pairs out.

Shares no code with what it is compared with, and is as slow as it looks.
"""

from __future__ import annotations

from collections.abc import Callable

Triple = tuple[int, str, int]
"""Source, name (empty for a silent step), target."""
Relation = set[tuple[int, int]]


def silently(states: set[int], triples: list[Triple]) -> set[int]:
    """What is reached by silent steps, or none."""
    reached = set(states)
    while True:
        more = {t for s, name, t in triples if s in reached and not name} - reached
        if not more:
            return reached
        reached |= more


def weakly(state: int, name: str, triples: list[Triple]) -> set[int]:
    """What is reached by a weak step of a name; the empty name asks for silent steps, or none."""
    before = silently({state}, triples)
    if not name:
        return before
    return silently({t for s, n, t in triples if s in before and n == name}, triples)


def strong_answer(_: int, q: int, name: str, to: int, triples: list[Triple], r: Relation) -> bool:
    """The other can do the same step."""
    return any(s == q and n == name and (to, t) in r for s, n, t in triples)


def weak_answer(_: int, q: int, name: str, to: int, triples: list[Triple], r: Relation) -> bool:
    """The other can do the same weak step (Milner 1989)."""
    return any((to, t) in r for t in weakly(q, name, triples))


def branching_answer(
    p: int, q: int, name: str, to: int, triples: list[Triple], r: Relation
) -> bool:
    """A silent step is answered by standing still, or q comes silently to a state that is still
    related to p and does the same step there (van Glabbeek & Weijland 1989).
    """
    if not name and (to, q) in r:
        return True
    return any(
        s in silently({q}, triples) and n == name and (p, s) in r and (to, t) in r
        for s, n, t in triples
    )


def goes_on_alone(p: int, q: int, triples: list[Triple], r: Relation) -> bool:
    """Whether p can take silent steps forever through states to none of which a state is related
    that q reaches by one silent step or more. Related states must not: condition D4 of van
    Glabbeek, Luttik & Trčka 2009 (from memory), which is as strong as their other ones. Unlike most
    of those it stays broken when more pairs are struck out.
    """
    further = silently({t for s, name, t in triples if s == q and not name}, triples)
    alone = {x for x in {s for s, _, _ in triples} if not any((x, t) in r for t in further)}
    while True:
        stuck = {
            x
            for x in alone
            if not any(s == x and not name and t in alone for s, name, t in triples)
        }
        if not stuck:
            return p in alone
        alone -= stuck


Answer = Callable[[int, int, str, int, list[Triple], Relation], bool]
ANSWERS: dict[str, Answer] = {
    "strong": strong_answer,
    "divergence": branching_answer,
    "branching": branching_answer,
    "weak": weak_answer,
}


def greatest(count: int, triples: list[Triple], kind: str) -> Relation:
    """All pairs of equivalent states."""
    answer = ANSWERS[kind]
    relation = {(p, q) for p in range(count) for q in range(count)}
    while True:
        bad = {
            (p, q)
            for p, q in relation
            for s, name, t in triples
            if s == p and not answer(p, q, name, t, triples, relation)
        }
        if kind == "divergence":
            bad |= {(p, q) for p, q in relation if goes_on_alone(p, q, triples, relation)}
        if not bad:
            return relation
        relation -= bad | {(q, p) for p, q in bad}
