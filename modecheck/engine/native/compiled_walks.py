"""Walks and searches in machine code: those of `engine.walking` and `engine.bounded_search`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.native.bounded_search_kernels import NOWHERE, nearest
from modecheck.engine.native.code_notes import observed_in
from modecheck.engine.native.frame import FAILED, RECORD_EXTRA, NotCompilableError
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.walk_kernels import (
    Archive,
    Code,
    Found,
    Tests,
    WalkBuffers,
    steps_of,
    walk,
)
from modecheck.engine.native.walk_sample import (
    HALVINGS,
    KEPT,
    OFFERED,
    ONCE,
    STEPS,
    TWICE,
    resettle,
)
from modecheck.engine.reference.plain import State
from modecheck.engine.reference.system_actions import own_fields, system_actions
from modecheck.engine.search.walk_targets import (
    AT,
    CHANGE,
    DEADLOCK,
    LOSS,
    RESTING,
    STATE,
    TIME_STOP,
    Run,
    WalkTarget,
    WatchList,
    failing_target,
    waiting_pattern,
)
from modecheck.engine.search.walking import DEADLOCKS, MOST_KEPT, WORD, Tally, features_of
from modecheck.product.ir import Product

MOST_RECORDS = 1 << 16
"""Steps of a state that the numbers in a path can tell apart."""
FIRST_TABLE = 1 << 16
COMPILED_LOOKS = 16_000_000
"""Looks that a walker has in a second, about; measured, and rather too few than too many."""

Masks = NDArray[np.uint64]


class _Watching:
    """A compiled product and what is watched in it, as the kernels want it."""

    def __init__(self, product: Product, watched: WatchList) -> None:
        self.machine = compiled(product, system_actions(product))
        if self.machine.most_records > MOST_RECORDS:
            raise NotCompilableError("a state has too many steps to walk through it")
        self.product = product
        self.words = self.machine.layout.words
        self.code = _code(self.machine)
        self.targets: list[WalkTarget] = [
            *(WalkTarget(STATE, name) for name in watched.states),
            *(WalkTarget(RESTING, name) for name in watched.resting),
            *(WalkTarget(LOSS, name) for name in watched.losses),
            *(WalkTarget(CHANGE, name) for name in watched.changes),
            WalkTarget(TIME_STOP),
        ]
        failing = [failing_target(one.code, one.subject) for one in self.machine.failures]
        self.targets += dict.fromkeys(failing)
        failures = [self.targets.index(target) for target in failing]
        self.tests = _tests(self.machine, watched, failures, len(self.targets))

    def found(self, depth: int) -> Found:
        """Room for paths to everything that is watched."""
        count = len(self.targets) + DEADLOCKS
        return Found(
            lengths=np.full(count, -1, np.int64),
            paths=np.zeros((count, depth + 1), np.uint16),
            deadlocks=np.zeros(DEADLOCKS, np.uint64),
        )

    def packed(self, state: State) -> Masks:
        return np.array(self.machine.layout.pack(state), np.uint64)

    def run(self, start: State, picked: Iterable[int]) -> Run:
        """The run from a state that takes these records."""
        width, run = self.words + RECORD_EXTRA, []
        words = self.packed(start)
        for number in picked:
            steps_of(self.code, words)
            record = self.code.records[number * width : (number + 1) * width].copy()
            label = int(record[self.words])
            after = None
            if not label & FAILED:
                words = record[: self.words]
                after = self.machine.layout.unpack(words.tolist())
            run.append((label & 0xFFFFFFFF, after))
        return run


def _code(machine: CompiledProduct) -> Code:
    width = machine.layout.words + RECORD_EXTRA
    return Code(
        successors=np.uint64(machine.successors),
        marks=np.uint64(machine.marks),
        seen=np.zeros(len(machine.seen) + 64, np.uint8),
        records=np.zeros((machine.most_records + 1) * width, np.uint64),
        hashes=np.zeros(machine.most_records + 1, np.uint64),
        words=machine.layout.words,
    )


def _pairs(rows: Iterable[tuple[int, int]]) -> Masks:
    return np.array(list(rows), np.uint64).reshape(-1, 2)


def _own(machine: CompiledProduct) -> Masks:
    """The bits of a state's words that are not an observer's."""
    masks = [0] * machine.layout.words
    for field in own_fields(machine.product):
        place = machine.layout.places[field]
        masks[place.word] |= place.mask << place.shift
    return np.array(masks, np.uint64)


def _tests(
    machine: CompiledProduct, watched: WatchList, failures: list[int], targets: int
) -> Tests:
    product = machine.product
    group = np.full(len(product.labels), -1, np.int64)
    for number, labels in enumerate(watched.groups):
        group[list(labels)] = number
    busy = np.zeros(len(product.labels), np.uint8)
    busy[list(watched.busy)] = 1
    chooses = np.zeros(len(product.labels), np.uint8)
    chooses[list(watched.choices)] = 1
    return Tests(
        states=_pairs(watched.states.values()),
        resting=_pairs(watched.resting.values()),
        losses=_pairs(watched.losses.values()),
        changes=_pairs(watched.changes.values()),
        failures=np.array(failures, np.int64),
        first_deadlock=targets,
        rests=np.uint64(watched.rests),
        due=np.uint64(watched.due),
        modes=np.array(watched.modes, np.uint64),
        group=group,
        busy=busy,
        own=_own(machine),
        chooses=chooses,
        groups=len(watched.groups),
    )


def _archive(product: Product, depth: int, words: int) -> Archive:
    features = features_of(product, depth)
    slots = features.cells_first + features.cells
    return Archive(
        counts=np.zeros(slots, np.int64),
        lengths=np.full(slots, -1, np.int64),
        modes=np.full(slots, -1, np.int64),
        states=np.zeros((slots, words), np.uint64),
        paths=np.zeros((slots, depth // 2 + 1), np.uint16),
        fields=np.array(features.fields, np.uint64).reshape(-1, 4),
        masks=np.array(features.masks, np.uint64),
        leaves=np.array(features.leaves, np.uint64),
        cells_first=features.cells_first,
        cells=features.cells,
    )


class CompiledWalker:
    """Walks in machine code. Raises `NotCompilableError` when a product is too large for it."""

    def __init__(
        self,
        product: Product,
        watched: WatchList,
        *,
        seed: int,
        depth: int,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self._watching = _Watching(product, watched)
        self.product = product
        self._seed, self._depth = np.uint64(seed & WORD), depth
        self._archive = _archive(product, depth, self._watching.words)
        self._found = self._watching.found(depth)
        self._looked_at = np.zeros(self._found.lengths.size, np.bool_)
        self._told: set[WalkTarget] = set()
        self._most_table = 2 * most_kept
        self._table = np.zeros(min(FIRST_TABLE, self._most_table), np.uint64)
        self._counters = np.zeros(8, np.int64)
        self._taken = np.zeros(len(product.labels), np.int64)
        self._switches = np.zeros((max(1, len(watched.modes)),) * 2, np.int64)
        self._room = WalkBuffers(
            dice=np.zeros(1, np.uint64),
            held=np.zeros(max(1, len(watched.groups)), np.uint8),
            path=np.zeros(depth + 1, np.uint16),
            state=np.zeros(self._watching.words, np.uint64),
        )
        self._starts = np.array([*map(self._watching.packed, product.first_states)], np.uint64)
        self._runs = 0
        self._runs = self._go_on(0)  # has the kernel loaded, or compiled the first time

    def walk(self, runs: int) -> None:
        """So many walks more."""
        end = self._runs + runs
        while self._runs < end:
            self._runs = self._go_on(end)
            if self._runs < end:
                self._make_room()

    def _go_on(self, end: int) -> int:
        """Walk up to number `end`, or until there must be more room; the number that comes next."""
        following: int = walk(
            self._watching.code,
            self._watching.tests,
            self._archive,
            self._found,
            self._table,
            self._counters,
            self._taken,
            self._switches,
            self._room,
            self._starts,
            self._seed,
            self._runs,
            end,
            self._depth,
            self._table.size // 2,
        )
        return following

    def _make_room(self) -> None:
        """Grow the table, or where it must not grow let go of half."""
        size = min(2 * self._table.size, self._most_table)
        if size == self._table.size:
            self._counters[HALVINGS] += 1
        new = np.zeros(size, np.uint64)
        resettle(self._table, new, self._counters)
        self._table = new

    @property
    def tally(self) -> Tally:
        """How far it has come."""
        steps, kept, once, twice, halvings = (
            int(self._counters[place]) for place in (STEPS, KEPT, ONCE, TWICE, HALVINGS)
        )
        return Tally(int(self._runs), steps, kept, once, twice, halvings, self._looks)

    @property
    def _looks(self) -> int:
        return int(self._counters[OFFERED] + self._counters[STEPS] * len(self._archive.fields))

    @property
    def work(self) -> float:
        """Seconds that it takes to come so far, about."""
        return self._looks / COMPILED_LOOKS

    @property
    def observed(self) -> Observed:
        """Rules taken and encounters met in the steps of all states visited."""
        return observed_in(self._watching.machine, self._watching.code.seen)

    @property
    def switches(self) -> dict[tuple[int, int], int]:
        """How often the walks came from one mode to another."""
        places = zip(*(axis.tolist() for axis in np.nonzero(self._switches)), strict=True)
        return {(one, two): int(self._switches[one, two]) for one, two in places}

    def new_targets(self) -> dict[WalkTarget, Run]:
        """What was seen since this was asked for the last time, and never before."""
        found: dict[WalkTarget, Run] = {}
        known = self._watching.targets
        for number in np.flatnonzero((self._found.lengths >= 0) & ~self._looked_at).tolist():
            self._looked_at[number] = True
            length = int(self._found.lengths[number])
            picked = self._found.paths[number, :length].tolist()
            run = self._run(picked)
            target = known[number] if number < len(known) else self._deadlock(run)
            if target not in self._told and (target not in found or len(run) < len(found[target])):
                found[target] = run
        self._told |= found.keys()
        return found

    def _run(self, path: list[int]) -> Run:
        """The run of a path, which tells where it begins if there are several starts."""
        if not self.product.starts:
            return self._watching.run(self.product.initial, path)
        number, *picked = path
        start = self.product.starts[number]
        return [(self.product.start_label, start), *self._watching.run(start, picked)]

    def _deadlock(self, run: Run) -> WalkTarget:
        last = run[-1][1] if run else self.product.initial
        assert last is not None
        return WalkTarget(DEADLOCK, pattern=waiting_pattern(self.product, last))


class CompiledSearcher:
    """Searches in machine code."""

    quick = True

    def __init__(self, product: Product, watched: WatchList) -> None:
        self._watching = _Watching(product, watched)
        self.product = product
        self._archive = _archive(product, 2, self._watching.words)

    def nearest(self, start: State, wanted: WalkTarget, *, bound: int) -> Run | None:
        """A shortest run from `start` to what is wanted."""
        words = self._watching.words
        states = np.zeros(bound * words, np.uint64)
        states[:words] = self._watching.packed(start)
        came, picked = np.zeros(bound, np.int64), np.zeros(bound, np.int64)
        masks, values = self._masks(wanted.pattern)
        targets = [n for n, target in enumerate(self._watching.targets) if target == wanted]
        if not targets and wanted.kind not in (AT, DEADLOCK):
            return None  # the product has no such failing step, or does not watch for it
        number, last = nearest(
            self._watching.code,
            self._watching.tests,
            self._archive,
            self._watching.found(2),
            np.array(targets, np.int64),
            masks,
            values,
            wanted.kind == DEADLOCK,
            states,
            came,
            picked,
            np.zeros(2 * bound, np.uint32),
            np.zeros(1, np.uint16),
        )
        if number == NOWHERE:
            return None
        path = [int(last)] if last >= 0 else []
        while number:
            path.append(int(picked[number]))
            number = came[number]
        return self._watching.run(start, path[::-1])

    def _masks(self, pattern: Sequence[tuple[int, int]]) -> tuple[Masks, Masks]:
        """What a pattern leaves of the words of a state, and what that must be."""
        masks, values = [0] * self._watching.words, [0] * self._watching.words
        for field, value in pattern:
            place = self._watching.machine.layout.places[field]
            masks[place.word] |= place.mask << place.shift
            values[place.word] |= (value - place.low) << place.shift
        return np.array(masks, np.uint64), np.array(values, np.uint64)
