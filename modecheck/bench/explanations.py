"""Compares a log with a product: follows all runs that explain it at once.

A *position* is a state of the product, or a state with lines of the last step that are still to
come. After each line, all positions are kept in which the device can be: those that the line leads
to, and all that can be reached from them without a line. This is the subset construction, done on
the fly (Rabin & Scott 1959; for partially observed runs, Sampath and others 1995).

Results are cached: the steps of each state, and for a set of positions and a line the set it leads
to. So a situation that was met before costs one dictionary lookup.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.bench.log_lines import LogLine, RecordableStep, observations
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product
from modecheck.product.state_layout import layout_of

MOST_EXPLANATIONS = 20_000
"""Positions kept for one moment. Stepping through more would take seconds per line."""
MOST_KEPT = 20_000_000
"""Positions in all cached sets together, about 64 bytes each; beyond that the cache is cleared."""
MOST_STATES_KEPT = 1_000_000
"""States whose steps are cached, a few KiB each at worst; beyond that it is cleared as well."""

Position = tuple[int, tuple[RecordableStep, ...]]
"""A packed state, and the lines of the last step that have not been written yet."""


@dataclass(slots=True, eq=False)
class _Moment:
    """All positions after a line, by number, and where lines (by number) lead from here.

    `whole` is false where some were left out, now or before.
    """

    positions: frozenset[int]
    whole: bool
    after: dict[int, _Moment]


@dataclass(frozen=True, slots=True)
class LogExplanation:
    """How far a log can be explained. `refused` is the index of the first line that cannot be, or
    None.

    `allowed` is what could have come there, and `states` the leaves in which each chip can be. If
    `whole` is false, some explanations were left out, so a refused line may have one after all.
    `most` is the largest number of explanations at a time.
    """

    refused: int | None
    whole: bool
    allowed: tuple[RecordableStep, ...]
    states: dict[int, frozenset[int]]
    most: int


class Follower:
    """Follows logs in which the chips of these numbers are recorded."""

    def __init__(
        self, product: Product, recorded: Collection[int], *, most: int = MOST_EXPLANATIONS
    ) -> None:
        self._steps = _Steps(product, frozenset(recorded))
        self._product = product
        self._bound = most
        self._most = 0
        self._kept = 0
        self._moments: dict[tuple[frozenset[int], bool], _Moment] = {}

    def follow(self, lines: Sequence[LogLine], order: Iterable[int]) -> LogExplanation:
        """Compare a log with the product: `order` gives the numbers of its `lines`."""
        moment = self._moment(set(self._steps.firsts), whole=True)
        for index, number in enumerate(order):
            following = moment.after.get(number)
            if following is None:
                targets = self._targets(moment, lines[number])
                if not targets:
                    return self._ended(index, moment)
                following = moment.after[number] = self._moment(targets, whole=moment.whole)
            moment = following
        return self._ended(None, moment)

    def _ended(self, refused: int | None, moment: _Moment) -> LogExplanation:
        return LogExplanation(
            refused=refused,
            whole=moment.whole,
            allowed=self._steps.allowed(moment.positions),
            states=self._steps.leaves(moment.positions),
            most=self._most,
        )

    def _targets(self, moment: _Moment, line: LogLine) -> set[int]:
        """The positions right after a line."""
        targets: set[int] = set()
        for position in moment.positions:
            written = self._steps.written(position)
            for event in line.events:
                for seen, target in written.get((line.chip, event), ()):
                    if line.tells_of(seen):
                        targets.add(target)
        return targets

    def _moment(self, begin: set[int], *, whole: bool) -> _Moment:
        """The moment with these positions and all that follow without a line."""
        if self._kept > MOST_KEPT or self._steps.full:
            begin = self._begin_anew(begin)
        key = (frozenset(begin), whole)
        known = self._moments.get(key)
        if known is not None:
            return known
        positions, cut = self._closed(begin)
        closed = (frozenset(positions), whole and not cut)
        moment = self._moments.get(closed)
        if moment is None:
            moment = self._moments[closed] = _Moment(*closed, after={})
            self._kept += len(positions)
            self._most = max(self._most, len(positions))
        self._moments[key] = moment
        self._kept += len(begin)
        return moment

    def _closed(self, begin: set[int]) -> tuple[set[int], bool]:
        """All positions that follow without a line, the nearest first, as long as there is room;
        and whether some were left out.
        """
        reached = set(sorted(begin)[: self._bound])
        layer = sorted(reached)
        while layer:
            found: dict[int, None] = {}
            for position in layer:
                found.update(
                    dict.fromkeys(t for t in self._steps.silent(position) if t not in reached)
                )
            layer = list(found)[: self._bound - len(reached)]
            reached.update(layer)
            if len(layer) < len(found):
                return reached, True
        return reached, len(begin) > self._bound

    def _begin_anew(self, begin: set[int]) -> set[int]:
        self._moments.clear()
        self._kept = 0
        return self._steps.begin_anew(begin) if self._steps.full else begin


class _Steps:
    """The steps of a product by what they let recorders write; positions are numbered as they are
    met.
    """

    def __init__(self, product: Product, recorded: frozenset[int]) -> None:
        self._product = product
        self._recorded = recorded
        self._layout = layout_of(product.fields)
        self._interpreter = Interpreter(product)
        self._clear()
        self.firsts = {
            self._number((self._layout.pack(state), ())) for state in product.first_states
        }

    def _clear(self) -> None:
        self._numbers: dict[Position, int] = {}
        self._positions: list[Position] = []
        self._silent: dict[int, tuple[int, ...]] = {}
        self._written: dict[int, dict[tuple[int, str], list[tuple[RecordableStep, int]]]] = {}

    @property
    def full(self) -> bool:
        return len(self._positions) > MOST_STATES_KEPT

    def begin_anew(self, positions: set[int]) -> set[int]:
        """Forget all positions but these; returns their new numbers."""
        kept = [self._positions[number] for number in sorted(positions)]
        initial = [self._positions[number] for number in sorted(self.firsts)]
        self._clear()
        self.firsts = {self._number(position) for position in initial}
        return {self._number(position) for position in kept}

    def silent(self, position: int) -> tuple[int, ...]:
        """The positions one step further, over steps that write no line."""
        if position not in self._silent:
            self._look_from(position)
        return self._silent[position]

    def written(self, position: int) -> dict[tuple[int, str], list[tuple[RecordableStep, int]]]:
        """What the next line can be, by chip and event, each with the position after it."""
        if position not in self._written:
            self._look_from(position)
        return self._written[position]

    def allowed(self, positions: Iterable[int]) -> tuple[RecordableStep, ...]:
        """Everything that the next line can record, in the order of the model's chips."""
        written = (self.written(position) for position in positions)
        found = {seen for one in written for pairs in one.values() for seen, _ in pairs}
        return tuple(sorted(found, key=lambda seen: (*seen[:3], seen.value or "", seen.leaf)))

    def leaves(self, positions: Iterable[int]) -> dict[int, frozenset[int]]:
        """For each chip the leaves in which it can be."""
        packed = {self._positions[position][0] for position in positions}
        states = [self._layout.unpack(one) for one in packed]
        return {
            number: frozenset(state[chip.state_field] for state in states)
            for number, chip in enumerate(self._product.chips)
        }

    def _look_from(self, number: int) -> None:
        packed, pending = self._positions[number]
        silent: dict[int, None] = {}
        written: dict[tuple[int, str], list[tuple[RecordableStep, int]]] = {}
        ways = [(packed, pending)] if pending else self._ways(self._layout.unpack(packed))
        for after, to_come in ways:
            if not to_come:
                silent[self._number((after, ()))] = None
            for seen, rest in _next_lines(to_come):
                pair = (seen, self._number((after, rest)))
                pairs = written.setdefault((seen.chip, seen.event), [])
                if pair not in pairs:
                    pairs.append(pair)
        silent.pop(number, None)
        self._silent[number] = tuple(silent)
        self._written[number] = written

    def _ways(self, state: State) -> Iterator[Position]:
        for step in self._interpreter.steps(state):
            if step.after is not None:
                seen = observations(self._product, step, self._recorded)
                yield self._layout.pack(step.after), seen

    def _number(self, position: Position) -> int:
        number = self._numbers.get(position)
        if number is None:
            number = self._numbers[position] = len(self._positions)
            self._positions.append(position)
        return number


def _next_lines(
    to_come: tuple[RecordableStep, ...],
) -> Iterator[tuple[RecordableStep, tuple[RecordableStep, ...]]]:
    """Which line of a step can be written next, the first of each chip; and what then is left.

    What is left is sorted by chip, since the order between chips does not matter.
    """
    chips = set()
    for index, seen in enumerate(to_come):
        if seen.chip not in chips:
            chips.add(seen.chip)
            rest = (*to_come[:index], *to_come[index + 1 :])
            yield seen, tuple(sorted(rest, key=lambda one: one.chip))
