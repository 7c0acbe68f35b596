"""Shorten a run to a fault.

1. What the fault does not need is left out: observers of other requirements, and idling.
2. A breadth-first search from the initial state, up to a bound of states. If it finds the fault, no
   run is shorter, and the work is done.
3. Otherwise parts of the run are cut: first loops back to a state already passed, then parts
   without which the run still leads to the fault (delta debugging: Zeller & Hildebrandt 2002, cited
   from memory), and what a single chip does between two moments at which its state is equal; all
   replayed on the interpreter, label by label.
4. Then searches with a smaller bound start at states along the run: first towards the fault, then
   from state to state further on. The result is short, but perhaps not the shortest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from modecheck.checks.roaming.finite_tests import composed, watch_list, without_idle_conditions
from modecheck.engine.choice import EngineName
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.search.bounded_search import Searcher
from modecheck.engine.search.walk_targets import AT, STATE, Judge, Run, WalkTarget, is_target
from modecheck.engine.walk_choice import searcher_for
from modecheck.model.parts import Device
from modecheck.product.ir import Product

FROM_START = 200_000
"""States of the search from the initial state: at most about a second in machine code."""
FROM_START_PLAIN = 20_000
"""The same on the interpreter, which takes some seconds."""
ALONG = 20_000
ALONG_PLAIN = 2_000
"""States of each search along the run."""
MOST_SEARCHES = 120
WINDOWS = (64, 16)
"""Numbers of steps that a search along the run tries to replace by fewer."""
MOST_KEPT_STEPS = 4_000
"""States whose steps are cached while a run is cut, since parts of it are replayed repeatedly."""
MOST_REPLAYED = 15_000
"""Steps that are replayed while parts of a run are cut: some seconds."""
MOST_REPLAYED_MORE = 5_000
"""Further steps that are replayed to find detours of single chips."""


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A run through `product`; `shortest` if no shorter one exists."""

    product: Product
    run: Run
    shortest: bool


class Shrinker:
    """Shortens runs through one variant of a device."""

    def __init__(self, device: Device, *, engine: EngineName) -> None:
        self._device = device
        self._engine = engine
        self._ready: dict[str, tuple[Searcher, Judge]] = {}

    def shrunk(self, walked: Product, target: WalkTarget, run: Run) -> Shrunk:
        """A short run to what was seen at the end of a run through the product that was walked."""
        searcher, _ = self._for(target)
        product = searcher.product
        bound = FROM_START if searcher.quick else FROM_START_PLAIN
        if not product.starts:
            return self._begun(product, product.initial, walked, target, run, bound)
        (_, begun), *rest = run
        assert begun is not None, "a run begins with a start"
        number = walked.starts.index(begun)
        state, walked = product.starts[number], walked.begun_in(begun)
        share = max(bound // len(product.starts), 1)
        found = self._begun(product.begun_in(state), state, walked, target, rest, share)
        # From another start a shorter run may lead there.
        whole = [(product.start_label, state), *found.run]
        return Shrunk(product, whole, shortest=found.shortest and not found.run)

    def _begun(
        self,
        product: Product,
        initial: State,
        walked: Product,
        target: WalkTarget,
        run: Run,
        bound: int,
    ) -> Shrunk:
        """The same for a run from the only initial state."""
        searcher, judge = self._for(target)
        shortest = searcher.nearest(initial, target, bound=bound)
        if shortest is not None and _shows(product, judge, target, shortest):
            return Shrunk(product, shortest, shortest=True)
        cutting = _Cutting(product, judge, target)
        short = cutting.cut(_as_run_of(product, walked, run))
        along = _Along(searcher, product, target, ALONG if searcher.quick else ALONG_PLAIN)
        shorter = cutting.cut(along.shortened(short))
        if _shows(product, judge, target, shorter):
            short = shorter
        return Shrunk(product, short, shortest=False)

    def _for(self, target: WalkTarget) -> tuple[Searcher, Judge]:
        """What searches in the product with the one observer that the sight needs, if any."""
        needed = target.kind == STATE and target.name.startswith("bad:")
        name = target.name.split(":")[1] if needed else ""
        if name not in self._ready:
            product = composed(self._device, [name] if name else [])
            product, watched = without_idle_conditions(product, watch_list(product))
            searcher = searcher_for(product, watched, engine=self._engine)
            self._ready[name] = (searcher, Judge(product, watched, Interpreter(product)))
        return self._ready[name]


def _shows(product: Product, judge: Judge, target: WalkTarget, run: Run) -> bool:
    """Whether a run, taken on the interpreter, ends with what is wanted."""
    interpreter, state = Interpreter(product), product.initial
    seen = [(found, -1) for found in judge.in_state(state)] if not run else []
    for label, after in run:
        steps = interpreter.steps(state)
        number = next(
            (n for n, step in enumerate(steps) if (step.label, step.after) == (label, after)), None
        )
        if number is None:
            return False
        seen = [one for one in judge.in_steps(state, steps) if one[1] == number]
        if after is not None:
            state = after
    if not run or run[-1][1] is not None:
        seen += [one for one in judge.in_steps(state, interpreter.steps(state)) if one[1] == -1]
    return any(is_target(found, target) for found, _ in seen)


def _as_run_of(product: Product, walked: Product, run: Run) -> Run:
    """A run through the walked product as one through a product with fewer observers."""
    kept = _fields_kept(product, walked)
    texts: dict[str, list[int]] = {}
    for number, form in enumerate(product.labels):
        texts.setdefault(form.text, []).append(number)
    interpreter, state, found = Interpreter(product), product.initial, []
    for label, after in run:
        labels = texts.get(walked.labels[label].text, [])
        goal = None if after is None else tuple(after[field] for field in kept)
        if not labels or goal == state:
            continue
        steps = interpreter.steps(state)
        step = next((s for s in steps if s.label in labels and s.after == goal), None)
        if step is None:
            continue
        found.append((step.label, step.after))
        state = step.after if step.after is not None else state
    return found


def _fields_kept(product: Product, walked: Product) -> list[int]:
    numbers = {field.name: number for number, field in enumerate(walked.fields)}
    # Observers' fields, and those after them, are at other positions with other observers.
    first = min((observer.field for observer in product.observers), default=len(product.fields))
    return [
        numbers[field.name] if number >= first else number
        for number, field in enumerate(product.fields)
    ]


class _Cutting:
    """Leaves out what is not needed, on the interpreter."""

    def __init__(self, product: Product, judge: Judge, target: WalkTarget) -> None:
        self._initial = product.initial
        self._owners = [field.owner for field in product.fields]
        self._judge = judge
        self._sight = target
        self._interpreter = Interpreter(product)
        self._steps: dict[State, list[Step]] = {}
        self._left = 0

    def cut(self, run: Run) -> Run:
        """A part of the run, or of one with some of its labels, that still shows the fault."""
        self._left = MOST_REPLAYED
        short = self._without_parts(run)
        self._left = MOST_REPLAYED_MORE
        return self._without_own_detours(short)

    def _without_parts(self, run: Run) -> Run:
        """Without halves, fourths, ... of the run, as long as that can be done."""
        short = self._replayed([label for label, _ in run]) or run
        parts = 2
        while len(short) > 1 and parts <= len(short) and not self._tired:
            size = -(-len(short) // parts)
            for begin in range(0, len(short), size):
                if self._tired:
                    return short
                left = [label for label, _ in (*short[:begin], *short[begin + size :])]
                found = self._replayed(left)
                if found is not None and len(found) < len(short):
                    short, parts = found, max(2, parts - 1)
                    break
            else:
                if size == 1:
                    break
                parts = min(len(short), 2 * parts)
        return short

    def _without_own_detours(self, run: Run) -> Run:
        """Without what chips do alone between two moments in which they are the same, although
        others went on meanwhile; the longest such detours first.
        """
        rest = self._own_detours(run)
        while rest and not self._tired:
            detour = rest.pop(0)
            left = [label for number, (label, _) in enumerate(run) if number not in detour]
            found = self._replayed(left)
            if found is not None and len(found) < len(run):
                run, rest = found, self._own_detours(found)
        return run

    def _own_detours(self, run: Run) -> list[frozenset[int]]:
        """For each chip, and every two moments in which it is the same, its own steps between."""
        states = [self._initial, *(after for _, after in run if after is not None)]
        own: dict[int, list[int]] = {}
        for number, (before, after) in enumerate(pairwise(states)):
            changed = {self._owners[n] for n in range(len(before)) if before[n] != after[n]}
            if len(changed) == 1:
                own.setdefault(changed.pop(), []).append(number)
        found: set[frozenset[int]] = set()
        for owner, numbers in own.items():
            fields = [n for n, one in enumerate(self._owners) if one == owner]
            there = [tuple(states[number][n] for n in fields) for number in numbers]
            for begin, end in combinations(range(len(numbers)), 2):
                if there[begin] == there[end]:
                    found.add(frozenset(numbers[begin:end]))
        return sorted(found, key=lambda one: (-len(one), sorted(one)))

    @property
    def _tired(self) -> bool:
        return self._left <= 0

    def _replayed(self, labels: Sequence[int]) -> Run | None:
        """What becomes of these labels, without those that are not possible where they stand, and
        without detours; up to where the fault shows.
        """
        state, run = self._initial, Run()
        passed = {state: 0}
        for label in (*labels, None):
            steps = self._expanded(state)
            self._left -= 1
            for target, number in self._judge.in_steps(state, steps):
                if is_target(target, self._sight):
                    last = [(steps[number].label, steps[number].after)] if number >= 0 else []
                    return [*run, *last]
            step = next((s for s in steps if s.label == label and s.after is not None), None)
            if step is None or step.after is None:
                continue
            state = step.after
            run.append((step.label, state))
            if state in passed:
                for _, gone in run[passed[state] :]:
                    if gone is not None and gone != state:
                        passed.pop(gone, None)
                del run[passed[state] :]
            else:
                passed[state] = len(run)
        return None

    def _expanded(self, state: State) -> list[Step]:
        known = self._steps.get(state)
        if known is None:
            known = self._interpreter.steps(state)
            if len(self._steps) < MOST_KEPT_STEPS:
                self._steps[state] = known
        return known


class _Along:
    """Bounded searches from states along a run."""

    def __init__(
        self, searcher: Searcher, product: Product, target: WalkTarget, bound: int
    ) -> None:
        self._searcher = searcher
        self._product = product
        self._sight = target
        self._bound = bound
        self._left = MOST_SEARCHES

    def shortened(self, run: Run) -> Run:
        """The run with a shorter end, and with shorter paths between states on it."""
        run = self._nearer_end(run)
        before = len(run) + 1
        while len(run) < before and self._left > 0:
            before = len(run)
            for window in WINDOWS:
                run = self._straightened(run, window)
        return run

    def _search(self, start: State, wanted: WalkTarget) -> Run | None:
        self._left -= 1
        return self._searcher.nearest(start, wanted, bound=self._bound)

    def _nearer_end(self, run: Run) -> Run:
        """From further and further before the end, as long as the fault is found."""
        states = list(_states(self._product, run))
        tail = 2
        while tail <= len(run) and self._left > 0:
            begin = len(run) - tail
            found = self._search(states[begin], self._sight)
            if found is None:
                break
            if len(found) < tail:
                run = [*run[:begin], *found]
                states = list(_states(self._product, run))
            tail *= 2
        return run

    def _straightened(self, run: Run, window: int) -> Run:
        begin = 0
        while begin < len(run) - 1 and self._left > 0:
            end = min(begin + window, len(run))
            while run[end - 1][1] is None:
                end -= 1
            states = list(_states(self._product, run))
            goal = WalkTarget(AT, pattern=tuple(enumerate(states[end])))
            found = self._search(states[begin], goal)
            if found is not None and len(found) < end - begin:
                run = [*run[:begin], *found, *run[end:]]
            begin += max(1, window // 2)
        return run


def _states(product: Product, run: Run) -> Iterator[State]:
    """The states of a run, the initial one first."""
    yield product.initial
    for _, after in run:
        if after is not None:
            yield after
