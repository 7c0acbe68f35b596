"""What checks ask of a whole product, answered from representatives of its states.

A number here stands for a representative or for one of its images (`numbered_images`). Whatever is
found is told of the state or step where it is, and so of every image on its own.

Conditions that a renaming turns into others are searched for in all their turns at once:
transitions know by which renaming the state behind them was exchanged (the annotated quotient of
Emerson and Sistla, Symmetry and model checking, Formal Methods in System Design 9, 1996).
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

from modecheck.engine.contract.encounters import Encounter, Observed
from modecheck.engine.contract.space import (
    INITIAL,
    Edge,
    LoopAnswer,
    LoopQuery,
    Occurrence,
    Path,
    ReachGoal,
    Sighting,
)
from modecheck.engine.reductions.numbered_images import (
    NumberedImages,
    gathered,
    looked_up,
    permuted_question,
)
from modecheck.engine.reductions.permuted_flags import (
    PermutedBfsRegion,
    PermutedFlags,
    PermutedStateFlags,
    SharedFlags,
)
from modecheck.engine.reductions.permuted_searches import Back, PermutedSearches, StateQuery
from modecheck.engine.reductions.representatives import Representatives
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.search.explored_space import Exploration, StateStore
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product
from modecheck.product.renaming import Renaming
from modecheck.product.symmetry import units_of


class AnnotatedQuotient(NumberedImages):
    """A `Space` in which a representative stands for all its images; representatives count."""

    def __init__(self, base: Exploration[StateStore], representatives: Representatives) -> None:
        super().__init__(representatives, base.state_count)
        self.base = base
        self.product: Product = base.product
        self._searches = PermutedSearches(base)
        self._interpreter = Interpreter(base.product)

    @property
    def units(self) -> tuple[tuple[str, ...], ...]:
        """The chips that can be exchanged for one another."""
        return units_of(self.product, self.representatives.generators)

    @property
    def units_stopped_by(self) -> str:
        """The bound because of which some units may be missing, or nothing."""
        return self.representatives.stopped_by

    # What is the same for all images.

    @property
    def stopped_by(self) -> str:
        return self.base.stopped_by

    @property
    def layers(self) -> list[int]:
        return self.base.layers

    @property
    def complete(self) -> bool:
        return self.base.complete

    @property
    def state_count(self) -> int:
        return self.count

    @property
    def transitions(self) -> int:
        return self.base.transitions

    @property
    def expanded(self) -> int:
        return self.base.expanded

    @property
    def depth(self) -> int:
        return self.base.depth

    def depth_of(self, number: int) -> int:
        return self.base.depth_of(number % self.count)

    def is_expanded(self, number: int) -> bool:
        return self.base.is_expanded(number % self.count)

    def mark(self, condition: str) -> int:
        return self.base.mark(condition)

    # What was seen, closed under the symmetry.

    @cached_property
    def failures(self) -> dict[tuple[str, str], Sighting]:
        """Every image of a failing step, the shallowest of each code and subject first."""
        seen: dict[tuple[str, str], list[tuple[int, Renaming, Sighting, list[Failure]]]] = {}
        for sighting in self.base.failures.values():
            blamed = (sighting.failure, *sighting.others)
            for renaming in self.turns(blamed, lambda by, all_: tuple(map(by.failure, all_))):
                images = [renaming.failure(failure) for failure in blamed]
                key = (images[0].code, images[0].subject)
                row = (sighting.state, renaming, sighting, images)
                seen.setdefault(key, []).append(row)
        result = {}
        for key, rows in seen.items():
            number, renaming, sighting, images = min(rows, key=lambda row: row[0])
            others = [failure for row in rows for failure in row[3] if failure != images[0]]
            result[key] = Sighting(
                failure=images[0],
                state=self.numbered_image(number, renaming),
                label=renaming.labels[sighting.label],
                count=sighting.count,
                others=list(dict.fromkeys(others)),
            )
        return result

    @cached_property
    def occupied(self) -> list[set[int]]:
        """For each chip the leaves that it is ever in."""
        chips = self.product.chips
        seen = [(chip, leaf) for chip, leaves in enumerate(self.base.occupied) for leaf in leaves]

        def permuted(by: Renaming, pair: tuple[int, int]) -> tuple[int, int]:
            chip, leaf = pair
            return by.chips[chip], by.value(chips[chip].state_field, leaf)

        occupied: list[set[int]] = [set() for _ in chips]
        for chip, leaf in self.closed(seen, permuted):
            occupied[chip].add(leaf)
        return occupied

    @cached_property
    def observed(self) -> Observed:
        """Rules taken and encounters, of every image."""
        seen = self.base.observed
        return Observed(
            encounters=self.closed(seen.encounters, self._turned_encounter),
            taken=self.closed(seen.taken, lambda by, rule: by.rules[rule]),
            watched=seen.watched,
        )

    def _turned_encounter(self, by: Renaming, met: Encounter) -> Encounter:
        chip, leaf, queue, event, outcome = met
        if queue >= 0:
            event = by.value(self.product.queues[queue].slots[0].code, event)
        return Encounter(
            by.chips[chip],
            by.value(self.product.chips[chip].state_field, leaf),
            by.queues[queue] if queue >= 0 else queue,
            event if queue >= 0 else by.signals[event],
            by.rules[outcome] if outcome >= 0 else outcome,
        )

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        every = self.closed(curious, lambda by, rule: by.rules[rule])
        pairs = self.closed(
            self.base.shadows(frozenset(every)).items(),
            lambda by, pair: (by.rules[pair[0]], by.rules[pair[1]] if pair[1] >= 0 else pair[1]),
        )
        return {rule: winner for rule, winner in sorted(pairs) if rule in curious}

    @property
    def starts(self) -> Sequence[int]:
        return [image for one in self.base.starts for image, _ in self.images(one)]

    # Single states and steps.

    def state(self, number: int) -> State:
        own, renaming = self.split(number)
        return renaming.state(self.base.state(own))

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        return [self.state(number) for number in numbers]

    def column(self, field: int, count: int) -> list[int]:
        """The values of one field in the first `count` states."""
        return [self.state(number)[field] for number in range(count)]

    def marks_at(self, number: int) -> int:
        own = number % self.count
        return looked_up(self.base.marks_at(own), self.back(number).conditions)

    def images(self, number: int) -> Iterator[tuple[int, Renaming]]:
        """Every image of a representative, by its number and by a renaming that leads there."""
        for renaming in self.representatives.images(self.base.state(number)).values():
            yield self.numbered_image(number, renaming), renaming

    def edges_from(self, number: int) -> list[Edge]:
        own, renaming = self.split(number)
        return [self._turned_edge(edge, renaming) for edge in self.base.edges_from(own)]

    def _turned_edge(self, edge: Edge, by: Renaming) -> Edge:
        behind = by.after(self.representatives.renaming(edge.permutation))
        return Edge(
            label=by.labels[edge.label],
            target=self.numbered_image(edge.target, behind),
            moved=gathered(edge.moved, by.chips),
            events=gathered(edge.events, by.events),
        )

    def path_to(self, number: int) -> Path:
        """A shortest path from the initial state: a real one, followed step by step."""
        own, renaming = self.split(number)
        nothing = self.representatives.nothing
        path, start = self.base.path_to(own), INITIAL
        steps: list[tuple[int, int, Renaming]] = []
        if self.product.starts:
            (label, start), *path = path
            steps.append((label, start, nothing))
        followed, reached = self._followed(start, nothing, path)
        steps += followed
        turning = renaming.after(self.inverse(reached))
        return [
            (turning.labels[label], self.numbered_image(behind, turning.after(by)))
            for label, behind, by in steps
        ]

    def _followed(
        self, start: int, renaming: Renaming, path: Path
    ) -> tuple[list[tuple[int, int, Renaming]], Renaming]:
        """Follow a path of representatives from an image of its start: labels, representatives,
        and the renamings that lead from them to the states that are really reached.
        """
        state = renaming.state(self.base.state(start))
        steps = []
        for _, number in path:
            goal = self.base.state(number)
            label, state, renaming = self._step_to(state, goal)
            steps.append((label, number, renaming))
        return steps, renaming

    def _step_to(self, state: State, goal: State) -> tuple[int, State, Renaming]:
        """The first step to an image of a state. Engines may choose other representatives: what
        both states have in common is an image of both.
        """
        common, of_goal = self.representatives.of(goal)
        for step in self._interpreter.steps(state):
            if step.after is not None:
                found, permutation = self.representatives.of(step.after)
                if found == common:
                    by = self.representatives.renaming(permutation).after(self.undoing(of_goal))
                    return step.label, step.after, by
        raise AssertionError("a path of representatives cannot be followed")

    # Sets of states.

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """States with all wanted marks and no unwanted one, shallowest first: of each
        representative's images one for each form that the question takes.
        """
        forms = self.asked(StateQuery(wanted, unwanted))
        found = [self._with_place(form, place) for place, form in enumerate(forms)]
        renamings = list(forms.values())
        for number, place in heapq.merge(*found):
            yield self.numbered_image(number, renamings[place])

    def _with_place(self, form: StateQuery, place: int) -> Iterator[tuple[int, int]]:
        for number in self.base.numbered(form.wanted, form.unwanted):
            yield number, place

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some state has; counted are representatives."""
        known = self.base.combinations()
        found: dict[int, Occurrence] = {}

        def permuted(by: Renaming, marks: int) -> int:
            return looked_up(marks, self.inverse(by).conditions)

        for marks, occurrence in known.items():
            for by in self.turns(marks, permuted):
                image = permuted(by, marks)
                first = self.numbered_image(occurrence.first, by)
                count = known[image].count if image in known else 0
                other = found.get(image)
                if other is None or first % self.count < other.first % self.count:
                    found[image] = Occurrence(first, count)
        return found

    def quiescent(self, unwanted: int) -> Iterator[int]:
        self._need_unturned(unwanted)
        for number in self.base.quiescent(unwanted):
            yield from (image for image, _ in self.images(number))

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        unturned = self.representatives.unturned
        can_still_move = self._searches.can_still_move(
            lambda permutation: self.undoing(permutation).chips, unturned
        )
        everybody = (1 << len(self.product.chips)) - 1
        for number, mask in can_still_move.lacking(everybody):
            for image, by in self.images(number):
                unmoving = chips & gathered(everybody & ~mask, by.chips)
                if unmoving:
                    yield image, unmoving

    def foresee(self, goals: Iterable[ReachGoal]) -> None:
        """Only those that are the same for all images of a state."""
        self.base.foresee([one for one in goals if len(self._forms(one)) == 1])

    def _forms(self, goal: ReachGoal) -> dict[StateQuery, Renaming]:
        return self.asked(StateQuery(goal.marks, goal.lacking, goal.without_events))

    def can_reach(self, goal: ReachGoal) -> PermutedFlags | SharedFlags:
        forms = self._forms(goal)
        if len(forms) == 1:
            return SharedFlags(self.base.can_reach(goal), self.count)
        asked, back = list(forms), self._back_of(list(forms))
        backward_reachability = self._searches.backward_reachability(
            asked, back, past_failures=goal.past_failures
        )
        return PermutedFlags(self, backward_reachability, forms)

    def _back_of(self, asked: Sequence[StateQuery]) -> Back:
        places = {form: place for place, form in enumerate(asked)}

        def back(permutation: int) -> Sequence[int]:
            undone = self.undoing(permutation)
            return [places[permuted_question(form, undone)] for form in asked]

        return back

    def can_reach_states(self, numbers: Iterable[int]) -> PermutedStateFlags:
        goals = {self.state(number): number % self.count for number in numbers}
        representatives = {self.base.state(own): own for own in goals.values()}

        def permuted(by: Renaming, states: frozenset[State]) -> frozenset[State]:
            return frozenset(map(by.state, states))

        first = frozenset(goals)
        forms = {permuted(by, first): by for by in self.turns(first, permuted)}
        places = {states: place for place, states in enumerate(forms)}
        bits: dict[int, int] = {}
        for states, place in places.items():
            for state in states:
                if state in representatives:
                    own = representatives[state]
                    bits[own] = bits.get(own, 0) | 1 << place

        def back(permutation: int) -> Sequence[int]:
            undone = self.undoing(permutation)
            return [places[permuted(undone, states)] for states in forms]

        masks = self._searches.can_reach_states(bits, len(forms), back)

        known: dict[int, int] = {}

        def place_of(number: int) -> int:
            which = number // self.count
            if which not in known:
                known[which] = places[permuted(self.back(number), first)]
            return known[which]

        return PermutedStateFlags(self, masks, place_of)

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        forms = self.asked(StateQuery(marks, 0, without_events))
        found = self._searches.first_loss(
            list(forms), lambda permutation: self.undoing(permutation).conditions
        )
        return self._edge_of(found, forms)

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        # What is asked of both states turns together.
        forms = self.asked(StateQuery(before, after))
        found = self._searches.first_change(
            list(forms), lambda permutation: self.undoing(permutation).conditions
        )
        return self._edge_of(found, forms)

    def _edge_of(
        self, found: tuple[int, int, int] | None, forms: dict[StateQuery, Renaming]
    ) -> tuple[int, Edge] | None:
        if found is None:
            return None
        own, edge, place = found
        number = self.numbered_image(own, list(forms.values())[place])
        return number, self.edges_from(number)[edge]

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:
        self._need_unturned(starts, blocked)
        assert not unturned, "images are counted by representatives"
        permutation = self.representatives.unturned
        return self.base.longest(starts, blocked=blocked, unturned=permutation)

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        self._need_unturned(starts, blocked, barred=events)
        found = self.base.first_between(starts, blocked=blocked, events=events)
        if found is None:
            return None
        number, edge = found
        return number, self._turned_edge(edge, self.representatives.nothing)

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        """Not asked: a loop of representatives may lead from one unit to another."""
        raise AssertionError(f"no loops are looked for among representatives: {query}")

    def bfs(self, starts: int, *, blocked: int) -> PermutedBfsRegion:
        self._need_unturned(starts, blocked)
        return PermutedBfsRegion(self.base.bfs(starts, blocked=blocked), self._followed_from)

    def bfs_from_each(self, starts: Sequence[int], *, blocked: int) -> list[PermutedBfsRegion]:
        return [self.bfs(own, blocked=blocked) for own in starts]

    def spread_from_initial(self, starts: int, *, blocked: int) -> PermutedBfsRegion:
        self._need_unturned(starts, blocked)
        found = self.base.spread_from_initial(starts, blocked=blocked)
        return PermutedBfsRegion(found, self._followed_from)

    def _need_unturned(self, *marks: int, barred: int = 0) -> None:
        """Modes, and whether a device rests, are the same for all images of a state."""
        assert all(len(self.asked(StateQuery(one, 0, barred))) == 1 for one in marks)

    def _followed_from(self, start: int, path: Path) -> Path:
        """A path of representatives from a representative, as it is really followed."""
        steps, _ = self._followed(start, self.representatives.nothing, path)
        return [(label, self.numbered_image(number, by)) for label, number, by in steps]
