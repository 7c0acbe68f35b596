"""The statechart of one chip, in the notation of UML 2.5.1 (section 14.2.4).

Composite states become frames. The chip itself is the outermost frame: rules that apply in all
of its states start at that frame's border.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.checks.coverage import Coverage
from modecheck.draw.chart_legend import chart_legend, variable_tables
from modecheck.draw.choice_drawing import DrawnChoice, before_choice, drawn_choices, of_branch
from modecheck.draw.labels import (
    LONGEST_LINE,
    Phrase,
    mask_phrases,
    reply_phrases,
    rule_label,
    rule_phrases,
)
from modecheck.draw.reading_order import reading_layers
from modecheck.draw.sketch import (
    INDENT,
    Arrow,
    Box,
    End,
    LegendEntry,
    Run,
    Sketch,
    SketchFrame,
    SketchTable,
    TextBlock,
    TextLine,
    diagram_frame,
)
from modecheck.draw.typesetting import label_lines, text_lines
from modecheck.model.parts import Chip, Rule, State

CHIP_FRAME = "/chip"
"""The key of the outermost frame; no state can have this name."""

LONGEST_INSIDE = 44
"""Characters of a line inside a state: states stand less close than labels."""

LONGEST_ABOUT = 60
"""Characters of a line of running text in a heading."""

MOST_LINES = 110
"""Lines of labels in a chart. One with 98, 12 states and 35 rules, fits A4 in the print of a data
sheet; one with 147 does not."""

SHORT = 2
"""Lines of a label that is never shortened."""

LONGEST_IN_FULL = 80
"""Characters of a line of the table of long rules: two or three columns are as wide as a chart."""

_COVERAGE = ("coverage", "Rules taken during exploration")
"""The kind of a chart of coverage, in its name and in its title."""

_LEFT_OUT = {"guard": "[…]", "effect": "/ …"}
"""What stands for the parts of a shortened rule that has no text."""

_LEAVES_AT = {"down": "bottom", "up": "top", "under": "bottom", "over": "top"}
_ARRIVES_AT = {"down": "top", "up": "bottom", "under": "bottom", "over": "top"}
"""At which border of a composite state an arrow leaves or arrives, by its course."""


@dataclass(frozen=True, slots=True)
class _Move:
    """What becomes one arrow: from where to where, inside which frame, and how."""

    sources: tuple[str, ...]
    target: str
    around: str
    course: str


def statechart(chip: Chip) -> Sketch:
    """The picture of a chip's or an actor's states and rules.

    If the labels have more than MOST_LINES lines, long ones are shown in full below the picture.
    """
    sketch = _Statechart(chip).sketch()
    return sketch if _lines_in(sketch) <= MOST_LINES else _Statechart(chip, short=True).sketch()


def _lines_in(sketch: Sketch) -> int:
    return sum(len(block.lines) for box in sketch.every_box for block in box.blocks)


def coverage_chart(chip: Chip, coverage: Coverage, *, complete: bool = True) -> Sketch:
    """The same, with states never reached and rules never taken in an exploration: dashed, and
    labelled.

    If the exploration was not `complete`, these may still occur; the text says so.
    """
    sketch = _Statechart(chip, coverage, complete=complete).sketch()
    if _lines_in(sketch) <= MOST_LINES:
        return sketch
    return _Statechart(chip, coverage, complete=complete, short=True).sketch()


def is_covered(chip: Chip, coverage: Coverage) -> bool:
    """Whether every innermost state of a chip was reached, and every rule taken."""
    return all((chip.name, leaf) in coverage.occupied for leaf in chip.leaves) and all(
        (chip.name, rule.title) in coverage.taken for rule in chip.rules
    )


class _Statechart:
    def __init__(
        self,
        chip: Chip,
        coverage: Coverage | None = None,
        *,
        complete: bool = True,
        short: bool = False,
    ) -> None:
        self._chip = chip
        self._short = short
        self._in_full: dict[str, Rule] = {}
        self._complete = complete
        self._coverage = coverage
        self._layers = reading_layers(chip)
        self._choices = drawn_choices(chip)
        self._chosen = {rule.title for choice in self._choices for rule in choice.branches}
        self._inner: dict[str, list[Rule]] = {}
        for rule in chip.rules:
            for source in rule.sources or ("",):
                if rule.target is None and rule.title not in self._chosen:
                    self._inner.setdefault(source, []).append(rule)
        self._ports: list[Box] = []

    def sketch(self) -> Sketch:
        chip = self._chip
        arrows = (*self._start_arrows(), *self._rule_arrows(), *self._choice_arrows())
        frames = tuple(self._frames())
        boxes = (*self._starts(), *self._state_boxes(), *self._diamonds(), *self._ports)
        kind, about = ("chip", "States and rules") if self._coverage is None else _COVERAGE
        return Sketch(
            name=f"{kind}-{chip.name}",
            title=f"{about} of {chip.name}",
            boxes=boxes,
            arrows=arrows,
            frames=frames,
            samples=(*chart_legend(chip), *self._coverage_samples(), *self._short_samples()),
            tables=(*self._rules_in_full(), *variable_tables(chip)),
        )

    def _frames(self) -> Iterator[SketchFrame]:
        kind = "actor" if self._chip.actor else "chip"
        about = TextBlock(text_lines(self._chip.about, "note", LONGEST_ABOUT))
        words = (about, *self._coverage_words(), *self._compartment("", longest=LONGEST_ABOUT))
        name = self._chip.name
        own = self._inner_titles("")
        yield diagram_frame(CHIP_FRAME, f"stm {name}", words, f"{kind} {name}", rules=own)
        for state in self._chip.states.values():
            if state.composite:
                blocks = [self._name_block(state, centred=False), *self._compartment(state.name)]
                unseen = self._is_unseen(state)
                inner = self._inner_titles(state.name)
                key, words = f"{state.name}/header", tuple(blocks)
                header = Box(key, "header", state.name, words, row="top", rules=inner)
                shape = "rest" if state.rest else "composite"
                around, hint = _frame_around(state), _hint(state)
                yield SketchFrame(
                    state.name, around, shape, header, hint, state=state.name, unseen=unseen
                )

    def _state_boxes(self) -> Iterator[Box]:
        for state in self._chip.states.values():
            if not state.composite:
                blocks = (self._name_block(state, centred=True), *self._compartment(state.name))
                shape = "rest" if state.rest else "state"
                yield Box(
                    state.name,
                    shape,
                    _frame_around(state),
                    blocks,
                    hint=_hint(state),
                    state=state.name,
                    rules=self._inner_titles(state.name),
                    unseen=self._is_unseen(state),
                )

    def _inner_titles(self, state: str) -> tuple[str, ...]:
        return tuple(rule.title for rule in self._inner.get(state, []))

    def _name_block(self, state: State, *, centred: bool) -> TextBlock:
        lines = [TextLine((Run(state.name, "name"),))]
        if self._is_unseen(state):
            lines.append(TextLine((Run("never reached", "note"),)))
        return TextBlock(tuple(lines), centred=centred)

    def _is_unseen(self, state: State) -> bool:
        if self._coverage is None:
            return False
        return not any((self._chip.name, leaf) in self._coverage.occupied for leaf in state.leaves)

    def _is_untaken(self, rule: Rule) -> bool:
        coverage = self._coverage
        return coverage is not None and (self._chip.name, rule.title) not in coverage.taken

    def _coverage_words(self) -> Iterator[TextBlock]:
        if self._coverage is not None:
            chip, rules = self._chip, self._chip.rules
            reached = [s for s in chip.leaves if (chip.name, s) in self._coverage.occupied]
            taken = len(rules) - sum(map(self._is_untaken, rules))
            words = (
                f"reached {len(reached)} of {len(chip.leaves)} states, "
                f"took {taken} of {len(rules)} rules"
            )
            if not self._complete:
                words += "; incomplete: the rest may still occur"
            yield TextBlock(text_lines(words, "trigger", LONGEST_ABOUT))

    def _coverage_samples(self) -> Iterator[LegendEntry]:
        if self._coverage is not None:
            yield LegendEntry("line", "move", "taken, from at least one of its states")
            yield LegendEntry("line", "never", "never taken")

    def _rule_lines(
        self, rule: Rule, longest: int = LONGEST_LINE, phrases: tuple[Phrase, ...] | None = None
    ) -> tuple[TextLine, ...]:
        """A rule's label, or these `phrases` of it, with its text, under a remark where it was
        never taken.
        """
        remark = (TextLine((Run("never taken:", "note"),)),) if self._is_untaken(rule) else ()
        lines = label_lines(rule_phrases(rule) if phrases is None else phrases, longest)
        if self._short and len(lines) + len(rule.phrase) > SHORT:
            return (*remark, *label_lines(self._shortened(rule), longest))
        told = text_lines(rule.phrase, "remark", longest - SHORT)
        return (*remark, *lines, *(replace(line, indent=INDENT) for line in told))

    def _shortened(self, rule: Rule) -> tuple[Phrase, ...]:
        """What a rule waits for, or asks for, its text, and the number of the whole rule below."""
        first, *others = rule_phrases(rule)
        signs = [Phrase("remark", rule.phrase)] if rule.phrase else []
        if others or len(first.text) > LONGEST_LINE:
            self._in_full.setdefault(rule.title, rule)
            number = list(self._in_full).index(rule.title) + 1
            roles = {phrase.role for phrase in others} if not rule.phrase else ()
            left_out = [sign for role, sign in _LEFT_OUT.items() if role in roles]
            signs.append(Phrase("effect", " ".join([*left_out, f"({number})"])))
        return (first, *signs)

    def _short_samples(self) -> Iterator[LegendEntry]:
        if self._in_full:
            yield LegendEntry("words", "… (1)", "shown in full below, under this number")

    def _rules_in_full(self) -> Iterator[SketchTable]:
        if self._in_full:
            rows = (
                (f"({number})", rule_label(rule))
                for number, rule in enumerate(self._in_full.values(), start=1)
            )
            yield SketchTable("long rules", tuple(rows), LONGEST_IN_FULL)

    def _compartment(self, state: str, *, longest: int = LONGEST_INSIDE) -> list[TextBlock]:
        """Rules that do not leave the state, then its replies to events that no rule takes."""
        lines = [
            line for rule in self._inner.get(state, []) for line in self._rule_lines(rule, longest)
        ]
        if state in self._chip.states and self._chip.states[state].masks:
            lines += label_lines(mask_phrases(self._chip.states[state]), longest)
        for reply in self._chip.replies.get(state, ()):
            lines += label_lines(reply_phrases(reply), longest)
        return [TextBlock(tuple(lines))] if lines else []

    def _starts(self) -> Iterator[Box]:
        for frame in self._frame_states():
            yield Box(f"{frame}/start", "start", frame, row="top", hint="initial state")

    def _start_arrows(self) -> Iterator[Arrow]:
        for frame, firsts in self._frame_states().items():
            tails = (End(f"{frame}/start"),)
            for number, first in enumerate(firsts):
                key = f"{frame}/start-{number}" if number else f"{frame}/start"
                yield Arrow(key, tails, (self._end(first, frame, "top"),), None)

    def _frame_states(self) -> dict[str, tuple[str, ...]]:
        """For the chip and each composite state: where it starts; a chip may in several states."""
        starts = {CHIP_FRAME: self._chip.initials or (self._chip.initial,)}
        for state in self._chip.states.values():
            if state.composite and state.initial:
                starts[state.name] = (state.initial,)
        return starts

    def _rule_arrows(self) -> Iterator[Arrow]:
        for number, (move, rules) in enumerate(self._joined_moves(), start=1):
            yield self._rule_arrow(f"move-{number}", move, rules)

    def _joined_moves(self) -> Iterator[tuple[_Move, tuple[Rule, ...]]]:
        """One arrow for several sources of a rule where their lines can meet on the way, so that
        its words stand there once; and one for several rules between the very same states.
        """
        sources: dict[tuple[int, _Move], list[str]] = {}
        for number, rule in enumerate(self._chip.rules):
            for source in rule.sources or (CHIP_FRAME,):
                if rule.target is not None and rule.title not in self._chosen:
                    around = self._common_frame(source, rule.target)
                    course = self._course(source, rule.target, around)
                    alone = around in (source, rule.target) or source == rule.target
                    move = _Move((source,) if alone else (), rule.target, around, course)
                    sources.setdefault((number, move), []).append(source)
        joined: dict[_Move, list[Rule]] = {}
        for (number, move), names in sources.items():
            whole = replace(move, sources=tuple(names))
            joined.setdefault(whole, []).append(self._chip.rules[number])
        yield from ((move, tuple(rules)) for move, rules in joined.items())

    def _rule_arrow(self, key: str, move: _Move, rules: tuple[Rule, ...]) -> Arrow:
        around = move.around
        tails = tuple(
            self._end(source, around, "top" if source == around else _LEAVES_AT[move.course])
            for source in move.sources
        )
        row = "bottom" if move.target == around else _ARRIVES_AT[move.course]
        blocks = tuple(TextBlock(self._rule_lines(rule)) for rule in rules)
        stroke = "never" if all(map(self._is_untaken, rules)) else "move"
        hint = "\n".join(f"{rule.title}: {rule_label(rule)}" for rule in rules)
        titles = tuple(rule.title for rule in rules)
        label = Box(f"{key}/label", "label", around, blocks, hint=hint, rules=titles)
        ends = f"{', '.join(map(_spoken, move.sources))} to {_spoken(move.target)}"
        heads = (self._end(move.target, around, row),)
        course = move.course
        return Arrow(key, tails, heads, label, stroke, course=course, hint=ends, rules=titles)

    def _diamonds(self) -> Iterator[Box]:
        for choice in self._choices:
            titles = tuple(rule.title for rule in choice.branches)
            around, hint = self._around(choice), f"choice {choice.title}"
            yield Box(_diamond(choice), "choice", around, hint=hint, rules=titles)

    def _around(self, choice: DrawnChoice) -> str:
        """The innermost frame that holds all that a choice connects."""
        around, *others = (*(choice.sources or (CHIP_FRAME,)), *choice.targets)
        for state in others:
            around = self._common_frame(around, state)
        return around

    def _choice_arrows(self) -> Iterator[Arrow]:
        for choice in self._choices:
            key, around, middle = choice.title, self._around(choice), (End(_diamond(choice)),)
            sources = choice.sources or (CHIP_FRAME,)
            tails = tuple(
                self._end(one, around, "top" if one == around else "bottom") for one in sources
            )
            common = TextBlock(label_lines(before_choice(choice.branches[0])))
            label = self._branch_label(key, around, choice.staying, common)
            yield Arrow(f"choice-{key}", tails, middle, label, rules=label.rules)
            behind = max(self._layers.get(source, -1) for source in sources)
            for number, (target, rules) in enumerate(choice.targets.items(), start=1):
                course = "down" if self._layers[target] > behind else "up"
                row = "bottom" if target == around else _ARRIVES_AT[course]
                label = self._branch_label(f"{key}/{number}", around, rules)
                yield Arrow(
                    f"choice-{key}/{number}",
                    middle,
                    (self._end(target, around, row),),
                    label,
                    "never" if all(map(self._is_untaken, rules)) else "move",
                    course=course,
                    hint=f"choice {key} to {_spoken(target)}",
                    rules=label.rules,
                )

    def _branch_label(
        self, key: str, around: str, rules: tuple[Rule, ...], *first: TextBlock
    ) -> Box:
        """The words of branches, and others before them."""
        told = (TextBlock(self._rule_lines(rule, phrases=of_branch(rule))) for rule in rules)
        hint = "\n".join(f"{rule.title}: {rule_label(rule)}" for rule in rules)
        titles = tuple(rule.title for rule in rules)
        return Box(f"choice-{key}/label", "label", around, (*first, *told), hint=hint, rules=titles)

    def _end(self, state: str, around: str, row: str) -> End:
        """A simple state itself; for a composite state or the chip, a new port at its border."""
        if state != CHIP_FRAME and not self._chip.states[state].composite:
            return End(state)
        key = f"{state}/port-{len(self._ports) + 1}"
        self._ports.append(Box(key, "port", state, row=row))
        return End(key, "inside" if state == around else "outside", state)

    def _common_frame(self, source: str, target: str) -> str:
        """The innermost frame that holds both; a composite state holds itself."""
        around = self._frames_of(source)
        return next(frame for frame in self._frames_of(target) if frame in around)

    def _frames_of(self, state: str) -> list[str]:
        if state == CHIP_FRAME:
            return [CHIP_FRAME]
        chain = [name for name in self._chip.ancestry(state) if name]
        if not self._chip.states[state].composite:
            chain = chain[1:]
        return [*chain, CHIP_FRAME]

    def _course(self, source: str, target: str, around: str) -> str:
        """Down from layer to layer, or back up; states of the same kind and layer stand abreast."""
        if around in (source, target):
            return "down"
        states, layers = self._chip.states, self._layers
        if states[source].composite and states[target].composite:
            return self._side_by_side(source, target)
        if layers[source] != layers[target]:
            return "down" if layers[source] < layers[target] else "up"
        if states[source].parent == states[target].parent and not (
            states[source].composite or states[target].composite
        ):
            return self._side_by_side(source, target)
        return "down" if self._is_before(source, target) else "up"

    def _side_by_side(self, source: str, target: str) -> str:
        """There below and back above, so that the two ways do not cross."""
        return "over" if self._is_before(target, source) else "under"

    def _is_before(self, source: str, target: str) -> bool:
        names = list(self._chip.states)
        return names.index(source) < names.index(target)


def _diamond(choice: DrawnChoice) -> str:
    """The key of a choice; no state can have this name."""
    return f"{choice.title}/choice"


def _frame_around(state: State) -> str:
    return state.parent or CHIP_FRAME


def _spoken(state: str) -> str:
    return "any state" if state == CHIP_FRAME else state


def _hint(state: State) -> str:
    rest = " (rest)" if state.rest else ""
    return f"{state.name}{rest}: {state.about}" if state.about else f"{state.name}{rest}"
