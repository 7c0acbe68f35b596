"""Random walks through a product: how they are drawn, and the plain walker, the reference.

A walk begins in the initial state or in a state from the archive of rare ones. Before it begins it
draws which groups of labels it holds back (actors and faults: leaving some out lets the others
show what they can do, Groce et al. 2012), how long it may become, how long it puts off the choices
of observers (whose item to follow would otherwise always be the first), and how it picks its steps:

- even: every step alike;
- rare: a label taken `c` times has the weight `2^-b`, where `b` is the number of bits of `c`;
- new: like rare, and what leads to a state that was seen before weighs a 64th of that.

Weighted picking is a race (Efraimidis & Spirakis 2006): each step draws an exponential number,
divided by its weight, and the least wins. So the order in which an engine lists the steps does not
matter, and each engine walks the same way: all numbers come from the seed (splitmix64: Steele, Lea
& Flood 2014), from hashes of states, and from labels.

The archive has a slot for each value of each small field and slots for hashed combinations of
them. A slot counts the states that fell into it and keeps one; restarts choose slots with low
counts (to return to what is rare and go on from there: Ecoffet et al. 2021).

The states that were visited are kept by 62 bits of their hash, with a count up to three. When there
are too many, only those are kept whose hash ends in a zero more (adaptive sampling: Flajolet 1990);
counts are then estimates.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.search.walk_targets import DEADLOCK, Judge, Run, WalkTarget, WatchList
from modecheck.product.bit_packing import word_layout
from modecheck.product.ir import Product

WORD = (1 << 64) - 1
GOLDEN = 0x9E3779B97F4A7C15
SCRAMBLE_ONE, SCRAMBLE_TWO = 0xBF58476D1CE4E5B9, 0x94D049BB133111EB
"""The constants of splitmix64."""
MIX_TWO = 0xD6E8FEB86659FD93

POLICIES = 4
EVEN, NEW = 0, 3
"""Ways to pick steps, of which one is drawn for each walk; what is between is rare."""
SHORTENINGS = 6
"""A walk may have the depth's steps, or a half, a fourth, ... of them."""
TRIES = 8
"""Slots of the archive that are looked at for each restart."""
RESTART_COST = 16
"""What a restart adds to a slot's count: the next one prefers another."""
MOST_RARITY = 20
"""Bits of a label's count that matter."""
SEEN_BEFORE = 6
"""Bits of weight taken from steps to states seen before, or to the same state."""
FINE_BITS = 24
BEND = 88
"""In 256ths: so many times x (1 - x) bend the line x to the binary logarithm of 1 + x."""
MOST_VALUES = 64
"""Values of a field that has slots of its own in the archive."""
FEW_VALUES = 4
"""Values of a variable that counts in combinations."""
CELLS = 1024
"""Slots for combinations."""
ARCHIVE_BYTES = 1 << 26
"""Room for the archive's paths."""
DEADLOCKS = 64
"""Deadlocks, by the leaves of all chips, that are kept apart."""
MOST_KEPT = 1 << 23
"""Hashes of states that are kept: with room to find them quickly they take 128 MiB."""
PLAIN_LOOKS = 70_000
"""Looks that this walker has in a second, about; measured."""


@dataclass(frozen=True, slots=True)
class Tally:
    """How far walks have come. `kept`, `once` and `twice` count states (all, visited once, visited
    twice) among those whose hash ends in `halvings` zeros. `looks` is what the time goes into: the
    steps that were there to pick from, and the fields of the archive at each step taken.
    """

    runs: int = 0
    steps: int = 0
    kept: int = 0
    once: int = 0
    twice: int = 0
    halvings: int = 0
    looks: int = 0


class Walker(Protocol):
    """Walks through one product, on and on."""

    product: Product

    def walk(self, runs: int) -> None:
        """So many walks more."""

    @property
    def tally(self) -> Tally:
        """How far it has come."""

    @property
    def work(self) -> float:
        """Seconds that it takes to come so far, about: by its looks, whatever time has passed."""

    @property
    def observed(self) -> Observed:
        """Rules taken and encounters met in the steps of all states visited."""

    @property
    def switches(self) -> dict[tuple[int, int], int]:
        """How often the walks came from one mode to another, by their numbers."""

    def new_targets(self) -> dict[WalkTarget, Run]:
        """What was seen since this was asked for the last time, and never before, each with the
        shortest run to it so far.
        """


@dataclass(frozen=True, slots=True)
class Features:
    """Where the archive looks, in the words of a state.

    `fields` are (word, shift, mask, first slot); combinations are what `masks` leave of the words,
    and have the slots from `cells_first` on. `leaves` leave the leaves of the chips.
    """

    fields: tuple[tuple[int, int, int, int], ...]
    masks: tuple[int, ...]
    leaves: tuple[int, ...]
    cells_first: int
    cells: int


def features_of(product: Product, depth: int) -> Features:
    """The features of a product; there are fewer where paths are long."""
    layout = word_layout(product.fields)
    states = {chip.state_field for chip in product.chips}
    named = states | {observer.field for observer in product.observers}
    owned = {n for n, one in enumerate(product.fields) if one.owner >= 0} | named
    most = max(CELLS // 8, ARCHIVE_BYTES // depth)
    places, masks, leaves, first = [], [0] * layout.words, [0] * layout.words, 0
    for number in sorted(owned):
        place = layout.places[number]
        values = product.fields[number].high - product.fields[number].low + 1
        whole = place.mask << place.shift
        if 1 < values <= MOST_VALUES and first + values <= most // 2:
            places.append((place.word, place.shift, place.mask, first))
            first += values
        if number in named or values <= FEW_VALUES:
            masks[place.word] |= whole
    for chip in product.chips:
        if not chip.actor:
            place = layout.places[chip.state_field]
            leaves[place.word] |= place.mask << place.shift
    cells = min(CELLS, most // 2)
    return Features(tuple(places), tuple(masks), tuple(leaves), first, cells)


def scrambled(value: int) -> int:
    value = ((value ^ value >> 30) * SCRAMBLE_ONE) & WORD
    value = ((value ^ value >> 27) * SCRAMBLE_TWO) & WORD
    return value ^ value >> 31


def hash_of(words: Sequence[int]) -> int:
    """The hash of a state's words; the compiled walker has the same."""
    result = 0
    for word in words:
        result = ((result ^ word) * GOLDEN) & WORD
        result = ((result ^ result >> 32) * MIX_TWO) & WORD
        result ^= result >> 32
    return (result * GOLDEN) & WORD


def race_time(value: int) -> int:
    """A number of exponential distribution (of base 2) in steps of `2^-FINE_BITS`: a geometric
    whole part, and behind the point `-log2` of an even number between 1/2 and 1, within a
    hundredth (linear as in Mitchell 1962, with a square added); in integers, so that engines agree.
    """
    even = value >> (64 - FINE_BITS)
    value |= 1 << 63
    whole = (value & -value).bit_length() - 1
    bend = (even * ((1 << FINE_BITS) - even) >> FINE_BITS) * BEND >> 8
    return (whole << FINE_BITS) + (1 << FINE_BITS) - 1 - even - bend


class Dice:
    """Random numbers of one walk."""

    def __init__(self, seed: int, walk: int) -> None:
        self._state = scrambled((seed * GOLDEN + walk) & WORD)

    def number(self) -> int:
        self._state = (self._state + GOLDEN) & WORD
        return scrambled(self._state)

    def below(self, count: int) -> int:
        return ((self.number() >> 32) * count) >> 32


class StateSample:
    """Hashes of visited states with their counts, up to three."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most = most
        self._counts: dict[int, int] = {}
        self.halvings = 0

    def visit(self, hash_: int) -> None:
        if not hash_ >> 2 & (1 << self.halvings) - 1:
            key = hash_ >> 2
            self._counts[key] = min(3, self._counts.get(key, 0) + 1)

    def knows(self, hash_: int) -> bool:
        return hash_ >> 2 in self._counts

    def need_room(self, room: int) -> None:
        """Let go of half until there is room for so many more."""
        while len(self._counts) + room > self._most:
            self.halvings += 1
            within = (1 << self.halvings) - 1
            self._counts = {key: n for key, n in self._counts.items() if not key & within}

    def tally(self, runs: int, steps: int, looks: int = 0) -> Tally:
        counts = list(self._counts.values())
        once, twice = counts.count(1), counts.count(2)
        return Tally(runs, steps, len(counts), once, twice, self.halvings, looks)


@dataclass(slots=True)
class _Slot:
    count: int = 0
    state: State | None = None
    run: Run = field(default_factory=list)
    mode: int = -1


class PlainWalker:
    """Walks on the interpreter: short, obvious and slow."""

    def __init__(
        self,
        product: Product,
        watched: WatchList,
        *,
        seed: int,
        depth: int,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self.product = product
        self._interpreter = Interpreter(product)
        self._watched = watched
        self._judge = Judge(product, watched, self._interpreter)
        self._seed, self._depth = seed, depth
        self._layout = word_layout(product.fields)
        self._features = features_of(product, depth)
        self._slots = [_Slot() for _ in range(self._features.cells_first + self._features.cells)]
        self._sample = StateSample(most_kept)
        self._counts = [0] * len(product.labels)
        self._group = {label: n for n, group in enumerate(watched.groups) for label in group}
        self._switches: dict[tuple[int, int], int] = {}
        self._found: dict[WalkTarget, Run] = {}
        self._told: set[WalkTarget] = set()
        self._deadlocks: dict[int, Run] = {}
        self._deadlock_states: dict[int, State] = {}
        self._runs = self._steps = self._offered = 0

    @property
    def tally(self) -> Tally:
        return self._sample.tally(self._runs, self._steps, self._looks)

    @property
    def _looks(self) -> int:
        return self._offered + self._steps * len(self._features.fields)

    @property
    def work(self) -> float:
        return self._looks / PLAIN_LOOKS

    @property
    def observed(self) -> Observed:
        return self._interpreter.observed

    @property
    def switches(self) -> dict[tuple[int, int], int]:
        return dict(self._switches)

    def new_targets(self) -> dict[WalkTarget, Run]:
        found = {target: run for target, run in self._found.items() if target not in self._told}
        for hash_, run in self._deadlocks.items():
            ends = list(self._judge.in_steps(self._deadlock_states[hash_], ()))
            target = next(target for target, _ in ends if target.kind == DEADLOCK)
            if target not in self._told and (target not in found or len(run) < len(found[target])):
                found[target] = run
        self._told |= found.keys()
        return found

    def walk(self, runs: int) -> None:
        """So many walks more."""
        for _ in range(runs):
            self._sample.need_room(self._depth + 1)
            self._walk(Dice(self._seed, self._runs))
            self._runs += 1

    def _walk(self, dice: Dice) -> None:
        policy = dice.below(POLICIES)
        held = self._held_back(dice)
        limit = max(1, self._depth >> dice.below(SHORTENINGS))
        patience = dice.below(limit)
        state, run, mode = self._start(dice)
        taken = 0
        while True:
            steps = self._interpreter.steps(state)
            self._look(state, steps, run)
            self._offered += sum(max(1, len(step.failures)) for step in steps)
            if taken == limit or len(run) == self._depth:
                return
            step = self._pick(state, steps, policy, held, dice, early=taken < patience)
            if step is None:
                held, patience = frozenset(), 0
                step = self._pick(state, steps, policy, held, dice, early=False)
            if step is None:
                return
            assert step.after is not None
            state, taken = step.after, taken + 1
            run.append((step.label, state))
            self._counts[step.label] += 1
            self._steps += 1
            mode = self._mode_after(state, mode)
            self._visit(state, run, mode)

    def _held_back(self, dice: Dice) -> frozenset[int]:
        if not dice.below(4):
            return frozenset()
        return frozenset(n for n in range(len(self._watched.groups)) if dice.below(2))

    def _start(self, dice: Dice) -> tuple[State, Run, int]:
        if dice.below(2):
            slot = self._rare_slot(dice)
            if slot is not None and slot.state is not None:
                slot.count += RESTART_COST
                return slot.state, list(slot.run), slot.mode
        starts, run = self.product.first_states, Run()
        state = starts[dice.below(len(starts)) if len(starts) > 1 else 0]
        if len(starts) > 1:
            run.append((self.product.start_label, state))
        for target in self._judge.in_state(state):
            if target not in self._found or len(run) < len(self._found[target]):
                self._found[target] = list(run)
        mode = self._mode_after(state, -1)
        self._sample.visit(hash_of(self._layout.pack(state)))
        return state, run, mode

    def _rare_slot(self, dice: Dice) -> _Slot | None:
        features = self._features
        first, count = 0, features.cells_first
        if dice.below(2):
            first, count = features.cells_first, features.cells
        best: _Slot | None = None
        for _ in range(TRIES):
            slot = self._slots[first + dice.below(max(1, count))]
            if slot.state is not None and (best is None or slot.count < best.count):
                best = slot
        return best

    def _look(self, state: State, steps: Sequence[Step], run: Run) -> None:
        for target, number in self._judge.in_steps(state, steps):
            whole = len(run) + (number >= 0)
            if target.kind == DEADLOCK:
                self._note_deadlock(state, run)
            elif target not in self._found or whole < len(self._found[target]):
                last = [(steps[number].label, steps[number].after)] if number >= 0 else []
                self._found[target] = [*run, *last]

    def _note_deadlock(self, state: State, run: Run) -> None:
        words, leaves = self._layout.pack(state), self._features.leaves
        hash_ = hash_of([word & mask for word, mask in zip(words, leaves, strict=True)])
        known = self._deadlocks.get(hash_)
        if (known is None and len(self._deadlocks) < DEADLOCKS) or (
            known is not None and len(run) < len(known)
        ):
            self._deadlocks[hash_] = list(run)
            self._deadlock_states[hash_] = state

    def _pick(
        self,
        state: State,
        steps: Sequence[Step],
        policy: int,
        held: frozenset[int],
        dice: Dice,
        *,
        early: bool,
    ) -> Step | None:
        draw = dice.number()
        best, soonest = None, -1
        for step in steps:
            if step.after is None or self._group.get(step.label, -1) in held:
                continue
            if early and step.label in self._watched.choices:
                continue
            hash_ = hash_of(self._layout.pack(step.after))
            shift = 0 if policy == EVEN else self._rarity(step.label)
            if step.after == state or (policy == NEW and self._sample.knows(hash_)):
                shift += SEEN_BEFORE
            time = race_time(scrambled((draw ^ hash_) + step.label * GOLDEN & WORD)) << shift
            if best is None or time < soonest:
                best, soonest = step, time
        return best

    def _rarity(self, label: int) -> int:
        return min(MOST_RARITY, self._counts[label].bit_length())

    def _mode_after(self, state: State, mode: int) -> int:
        modes, marks = self._watched.modes, self._judge.marks(state)
        if mode >= 0 and marks & modes[mode]:
            return mode
        entered = next((n for n, bit in enumerate(modes) if marks & bit), -1)
        if entered < 0:
            return mode
        if mode >= 0:
            self._switches[mode, entered] = self._switches.get((mode, entered), 0) + 1
        return entered

    def _visit(self, state: State, run: Run, mode: int) -> None:
        words = self._layout.pack(state)
        self._sample.visit(hash_of(words))
        for number in self._slots_of(words):
            slot = self._slots[number]
            slot.count += 1
            shorter = slot.state is None or len(run) < len(slot.run)
            if len(run) <= self._depth // 2 and (shorter or not slot.count & slot.count - 1):
                slot.state, slot.run, slot.mode = state, list(run), mode

    def _slots_of(self, words: Sequence[int]) -> Iterator[int]:
        features = self._features
        for word, shift, mask, first in features.fields:
            yield first + (words[word] >> shift & mask)
        hash_ = hash_of([word & mask for word, mask in zip(words, features.masks, strict=True)])
        yield features.cells_first + ((hash_ >> 32) * features.cells >> 32)
