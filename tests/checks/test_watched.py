"""Requirements about runs, from the text of a device to the verdict, against published formulas.

The formulas are those of Dwyer, Avrunin and Corbett 1999; see tests/published/lassos.py. The
devices are drawn at random: a walker goes from node to node, and at each some of P, Q, R, S hold,
as a state that it is in or as a signal that it gives when it comes there.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.checks.judged import BROKEN, HOLDS, VACUOUS, Judged
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.model.devices import read_device
from modecheck.product.patterns import PATTERNS
from modecheck.scenario.traces import Trace
from tests.generation.devices import device_from
from tests.published.lassos import ATOMS, SCOPES, Lasso, formula

PARTNERS = {"whenever": "then", "before": "first"}


@dataclass(frozen=True, slots=True)
class Walker:
    """Nodes with the letters that hold there (bits), from 0 on; `signals` tells which of the
    letters are raised on the way there, and so never hold at the beginning.
    """

    letters: tuple[int, ...]
    successors: tuple[frozenset[int], ...]
    signals: int
    free: bool

    def holding(self, node: int, *, arriving: bool) -> int:
        """The letters at a moment: on arrival at a node, or while nothing happens there."""
        return self.letters[node] if arriving else self.letters[node] & ~self.signals

    def lasso(self, nodes: tuple[int, ...], back: int) -> Lasso:
        """The run through these nodes, again and again from the place `back` on; from the last one
        on it rests there for ever when `back` is behind the end.
        """
        word = [self.holding(node, arriving=place > 0) for place, node in enumerate(nodes)]
        if back < len(nodes):
            # The loop comes back to a node by a step, even to the one in which all began.
            word += [self.holding(node, arriving=True) for node in nodes[back:]]
            return Lasso(tuple(word), len(nodes))
        word.append(self.holding(nodes[-1], arriving=False))
        return Lasso(tuple(word), len(nodes))

    def text(self) -> str:
        """A device file (JSON is YAML) with every pattern in every scope."""
        every = [name.lower() for name in ATOMS]
        rules: list[dict[str, object]] = [{"if": "false", "signal": every}]
        for node, targets in enumerate(self.successors):
            for target in sorted(targets):
                signalled = [every[bit] for bit in _bits(self.letters[target] & self.signals)]
                rules.append({"in": f"n{node}", "to": f"n{target}", "signal": signalled})
        walker = {"states": {f"n{node}": {"rest": True} for node in range(len(self.letters))}}
        body: dict[str, object] = {**walker, "rules": rules}
        other = {"states": {"s": {"rest": True}}}
        device: dict[str, object] = {"device": "d", "chips": {"walker": body}}
        if self.free:
            device |= {"chips": {"other": other}, "actors": {"walker": body}}
        return json.dumps(device | {"requirements": dict(self._requirements())})

    def _requirements(self) -> Iterator[tuple[str, dict[str, object]]]:
        p, q, r, s = (self._condition(bit) for bit in range(4))
        spans = ("globally", {"before": r}, {"after": q}, {"between": [q, r]})
        scopes: tuple[object, ...] = (*spans, {"after": q, "until": r})
        for pattern in PATTERNS:
            partner = {PARTNERS[pattern]: s} if pattern in PARTNERS else {}
            for name, scope in zip(SCOPES, scopes, strict=True):
                need: dict[str, object] = {"text": "t", pattern: p, "scope": scope, **partner}
                yield f"{pattern}_{name}", need

    def _condition(self, bit: int) -> str:
        if self.signals >> bit & 1:
            return f"signalled({ATOMS[bit].lower()})"
        nodes = [f"n{node}" for node, held in enumerate(self.letters) if held >> bit & 1]
        return f"walker.state in [{', '.join(nodes)}]" if nodes else "false"


def _bits(number: int) -> list[int]:
    return [bit for bit in range(4) if number >> bit & 1]


LETTERS = st.integers(0, 15)


@st.composite
def single_walks(draw: st.DrawFn) -> tuple[Walker, Lasso]:
    """A chip that has to go one way for ever, and its only run."""
    letters = tuple(draw(st.lists(LETTERS, min_size=2, max_size=5)))
    back = draw(st.integers(0, len(letters) - 1))
    successors = (
        *(frozenset({node}) for node in range(1, len(letters))),
        frozenset({back}),
    )
    walker = Walker(letters, successors, draw(LETTERS), free=False)
    return walker, walker.lasso(tuple(range(len(letters))), back)


@st.composite
def free_walks(draw: st.DrawFn) -> Walker:
    """An actor that may go on along any path, or stay."""
    letters = tuple(draw(st.lists(LETTERS, min_size=1, max_size=3)))
    targets = st.frozensets(st.integers(0, len(letters) - 1), max_size=2)
    successors = tuple(draw(targets) for _ in letters)
    return Walker(letters, successors, draw(LETTERS), free=True)


def runs(walker: Walker, longest: int) -> Iterator[Lasso]:
    """The runs whose stem and loop pass no more than so many nodes."""
    waiting: list[tuple[int, ...]] = [(0,)]
    while waiting:
        nodes = waiting.pop()
        yield walker.lasso(nodes, len(nodes))
        for back, node in enumerate(nodes):
            if node in walker.successors[nodes[-1]]:
                yield walker.lasso(nodes, back)
        if len(nodes) < longest:
            waiting += [(*nodes, target) for target in walker.successors[nodes[-1]]]


def judged(walker: Walker) -> dict[str, Judged]:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "device.yaml"
        path.write_text(walker.text(), encoding="utf-8")
        verdict = check([read_device(str(path))], search=Search(engine="plain"))
    return {one.need.name: one for one in verdict.requirements}


def told(walker: Walker, trace: Trace) -> Lasso:
    """The run that a scenario tells; one that ends goes on as it likes, so here it stays."""
    nodes = [0]
    for move in trace.moves:
        assert move.after is not None
        nodes.append(_node(walker, move.after))
    loop = nodes[trace.loop_from :] if trace.loop_from else []
    if not loop:
        return walker.lasso(tuple(nodes), len(nodes))
    word = [walker.holding(node, arriving=place > 0) for place, node in enumerate(nodes)]
    return Lasso(tuple(word), trace.loop_from)


def _node(walker: Walker, state: tuple[int, ...]) -> int:
    """The walker is the only chip that has more than one state."""
    return max(state) if len(walker.letters) > 1 else 0


@given(single_walks())
@settings(max_examples=settings().max_examples)
def test_the_only_run_of_a_device_is_judged_as_its_formula_does(
    drawn: tuple[Walker, Lasso],
) -> None:
    """Every pattern and scope: broken where the published formula does not hold."""
    walker, lasso = drawn
    for name, one in judged(walker).items():
        pattern, _, scope = name.partition("_")
        assert one.verdict in (HOLDS, VACUOUS, BROKEN)
        assert (one.verdict != BROKEN) == formula(pattern, scope, lasso), name


@given(free_walks())
@settings(max_examples=settings().max_examples)
def test_what_is_told_breaks_the_formula_and_nothing_else_does(walker: Walker) -> None:
    """Each scenario is a run on which the formula fails; without one, no short run breaks it."""
    every = {(one.word, one.back): one for one in runs(walker, 4)}
    for name, one in judged(walker).items():
        pattern, _, scope = name.partition("_")
        if one.verdict == BROKEN:
            assert one.finding is not None
            assert one.finding.trace is not None
            assert not formula(pattern, scope, told(walker, one.finding.trace)), name
        else:
            assert all(formula(pattern, scope, lasso) for lasso in every.values()), name


BLINKING = """\
device: a lamp that blinks
chips:
  lamp: {states: [lit, dark], rules: [{in: lit, to: dark}, {in: dark, to: lit}]}
  watcher:
    states: {waiting: {rest: true}, done: {rest: true}}
    rules: [{in: waiting, if: lamp.lit, to: done}]
requirements:
  done: {text: It is done, eventually: watcher.done}
"""
WAITING = """\
device: a hub that need not answer
clock: {tick: 1 ms}
chips:
  hub:
    states: {asked: {rest: true}, answered: {rest: true}}
    rules: [{in: asked, to: answered, fair: none}]
requirements:
  done: {text: It answers, whenever: hub.asked, then: hub.answered}
"""
BESIDE = {
    BLINKING: "before: watcher.done and lamp.dark, first: lamp.dark",
    WAITING: "whenever: hub.asked, then: hub.answered, within: 5 ms",
}
"""Requirements whose observers change, or count, while the lamp blinks and the hub waits."""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize("text", BESIDE)
def test_what_breaks_a_requirement_does_not_depend_on_others(text: str, engine: EngineName) -> None:
    """They are explored together; a loop is told as if each had been explored alone. The devices
    are invented; both break from the first state on.
    """
    both = text + f"  other: {{text: t, {BESIDE[text]}}}\n"
    traces = [
        finding.trace
        for device in (text, both)
        for finding in check([device_from(device)], search=Search(engine=engine)).findings
        if finding.subject == "done" and finding.trace is not None
    ]
    assert traces[0] == traces[1]
    assert traces[0].loop_from == 1
