"""The lines of C that a rule becomes, whichever way the rules are looked up."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from modecheck.firmware.c_expressions import (
    FAR,
    WIDE,
    CExpressions,
    Given,
    fits,
    number,
    stored_as,
)
from modecheck.firmware.c_names import CNames, comment
from modecheck.firmware.c_words import CWords
from modecheck.firmware.chip_plan import Alternative, Body, ChipPlan, Occasion, asks_for
from modecheck.product.expression_ir import Expression
from modecheck.product.ir import Assign, SendIR, SignalIR, TargetIR
from modecheck.product.subexpressions import fields_read
from modecheck.product.value_bounds import ValueBounds, bounds_of


@dataclass(frozen=True)
class CCode:
    """A chip, the names of its parts, and its expressions in C."""

    plan: ChipPlan

    @cached_property
    def words(self) -> CWords:
        chip = self.plan.chip
        return CWords(self.plan, CNames(chip.name, chip.place))

    @cached_property
    def expressions(self) -> CExpressions:
        return CExpressions(self.plan, self.words.names)

    # What an occasion brings along

    def given(self, occasion: Occasion) -> Given:
        """What is known of the value of the message that is delivered, or of the signal."""
        type_ = self.plan.value_type(occasion)
        if type_ is None:
            return Given()
        spell = (
            self.expressions.spelling_of_message(occasion.queue, occasion.code)
            if occasion.queue >= 0
            else self.expressions.spelling_of_signal(occasion.signal)
        )
        return Given(ValueBounds(type_.low, type_.high), spell)

    def parameters(self, occasion: Occasion) -> list[tuple[str, str]]:
        """The types and names of what an occasion's function is given beside the chip."""
        value, late = self.plan.brings(occasion)
        return [*([("int32_t", "value")] * value), *([("bool", "late")] * late)]

    @cached_property
    def occasions_of(self) -> dict[Body, list[Occasion]]:
        """On which occasions a body can be what happens."""
        found: dict[Body, dict[Occasion, None]] = {}
        for occasion, chains in self.plan.chains.items():
            for chain in chains:
                for row in chain:
                    if row.body is not None:
                        found.setdefault(row.body, {})[occasion] = None
        return {body: list(those) for body, those in found.items()}

    def needs(self, body: Body) -> list[tuple[str, str]]:
        """The types and names of what a body reads of what its occasion brings along."""
        asked = [asks_for(one) for one in body.expressions]
        value, late = (
            (any(column) for column in zip(*asked, strict=True)) if asked else (False,) * 2
        )
        return [*([("int32_t", "value")] * value), *([("bool", "late")] * late)]

    def _given_to(self, body: Body) -> Given:
        """What is known of the value on all occasions together."""
        known = [self.given(one) for one in self.occasions_of[body]]
        low = min(one.bounds.low for one in known)
        return Given(ValueBounds(low, max(one.bounds.high for one in known)), known[0].spell)

    # Rows

    def row(self, row: Alternative, occasion: Occasion) -> Iterator[str]:
        """A row as statements, the last of which returns."""
        given = self.given(occasion)
        answer = self.words.answer(row.answer)
        if row.body is not None:
            yield f"/* {self.told(row.body.rule)} */"
        if row.guard is None:
            yield from [self.call(row.body, occasion)] if row.body is not None else []
            yield f"return {answer};"
            return
        first, *others = self.expressions.condition(row.guard, given)
        lines = [f"if ({first}", *(f"        {line}" for line in others)]
        yield from [*lines[:-1], f"{lines[-1]}) {{"]
        yield from [f"    {self.call(row.body, occasion)}"] if row.body is not None else []
        yield f"    return {answer};"
        yield "}"

    def call(self, body: Body, occasion: Occasion) -> str:
        """Let a body happen on an occasion; what that does not bring along is none."""
        brought = {name for _, name in self.parameters(occasion)}
        none = {"value": "0", "late": "false"}
        needs = [name if name in brought else none[name] for _, name in self.needs(body)]
        return f"{self.words.do(body)}({', '.join(['chip', *needs])});"

    def told(self, rule: int) -> str:
        """A rule, and where it stands in the model."""
        one = self.plan.rules[rule]
        text = one.phrase if one.phrase else one.title
        file = one.place.file.rpartition("/")[2]
        return comment(f"{file}:{one.place.line} {one.title}: {text}")

    # Bodies

    def body(self, body: Body) -> list[str]:
        """The function of a body, as a definition."""
        needs = [("", f"{self.words.type} *chip"), *self.needs(body)]
        parameters = ", ".join(f"{kind} {name}".strip() for kind, name in needs)
        lines = list(self._statements(body))
        unused = [
            name for name in ("chip", *(n for _, n in self.needs(body))) if not uses(lines, name)
        ]
        lines = [*(f"(void){name};" for name in unused), *lines]
        return [
            f"/* {self.told(body.rule)} */",
            f"static void {self.words.do(body)}({parameters})",
            "{",
            *(f"    {line}" for line in lines),
            "}",
        ]

    def _statements(self, body: Body) -> Iterator[str]:
        given = self._given_to(body)
        for assign in body.assigns:
            yield from self._assigned(assign, given)
        outputs: list[tuple[str, str]] = []
        for place, (call, value, text) in enumerate(self._outputs(body, given), start=1):
            if text and body.enters >= 0 and self._asks_for_state(value):
                yield f"const int32_t given_{place} = {text};"
                text = f"given_{place}"
            outputs.append((call, f", {text}" if text else ""))
        if body.enters >= 0:
            yield f"chip->state = {self.words.state(body.enters)};"
        for timer in body.stops:
            yield f"{self.words.names.name('timer_ends')}(chip, {self.words.timer(timer)});"
        for timer in body.starts:
            yield f"{self.words.names.name('timer_begins')}(chip, {self.words.timer(timer)});"
        yield from (f"{call}(chip{value});" for call, value in outputs)

    def _outputs(self, body: Body, given: Given) -> Iterator[tuple[str, Expression | None, str]]:
        """The functions that a body calls to send and to signal, each with the value that it is
        given, and that in C; without a value an empty text.
        """
        for send in body.sends:
            text = self._sent(send, given) if self._carries_value(send) else ""
            yield self.words.send(send.queue, send.message), send.value, text
        for one in body.signalled:
            yield self.words.signal(one.signal), one.value, self._signalled(one, given)

    def _signalled(self, one: SignalIR, given: Given) -> str:
        type_ = self.plan.product.signal_types[one.signal]
        if type_ is None or one.value is None:
            return ""
        spell = self.expressions.spelling_of_signal(one.signal)
        text = self.expressions.text(one.value, given, spell=spell)
        allowed = ValueBounds(type_.low, type_.high)
        return self._checked(one.value, text, allowed, given, one.value_failure.text)

    def _asks_for_state(self, value: Expression | None) -> bool:
        return self.plan.form.state_field in fields_read(value)

    def _carries_value(self, send: SendIR) -> bool:
        message = self.plan.product.queues[send.queue].messages[send.message - 1]
        return message.type is not None

    def _sent(self, send: SendIR, given: Given) -> str:
        message = self.plan.product.queues[send.queue].messages[send.message - 1]
        if send.value is None:
            return "0"
        spell = self.expressions.spelling_of_message(send.queue, send.message)
        text = self.expressions.text(send.value, given, spell=spell)
        allowed = ValueBounds(message.low, message.high)
        return self._checked(send.value, text, allowed, given, send.value_failure.text)

    def _checked(
        self, value: Expression, text: str, allowed: ValueBounds, given: Given, told: str
    ) -> str:
        """The value; one that may be out of range is checked in debug builds."""
        bounds = bounds_of(value, self.plan.product.fields, given.bounds)
        if fits(bounds, allowed):
            return text
        return self.expressions.within(text, allowed, told, far=not fits(bounds, WIDE))

    def _assigned(self, assign: Assign, given: Given) -> Iterator[str]:
        pairs = list(zip(assign.targets, assign.values, strict=True))
        if len(pairs) == 1:
            yield from self._written(*pairs[0], given)
            return
        yield "{"
        for place, (target, value) in enumerate(pairs, start=1):
            yield f"    const int32_t new_{place} = {self._value(target, value, given)};"
            if target.index is not None:
                index = self._place(target, given)
                yield f"    const int32_t place_{place} = {index};"
        for place, (target, _) in enumerate(pairs, start=1):
            index = f"place_{place}" if target.index is not None else ""
            for line in self._stored(target, f"new_{place}", index):
                yield f"    {line}"
        yield "}"

    def _written(self, target: TargetIR, value: Expression, given: Given) -> Iterator[str]:
        index = self._place(target, given)
        if not self._moves(target):
            yield from self._stored(target, self._value(target, value, given), index)
            return
        yield "{"
        yield f"    const int32_t place = {index};"
        for line in self._stored(target, self._value(target, value, given), "place"):
            yield f"    {line}"
        yield "}"

    def _place(self, target: TargetIR, given: Given) -> str:
        """The index of the item that is written, or nothing."""
        if target.index is None:
            return ""
        told = f"the index of what is written is outside 0 to {target.length - 1}"
        return self.expressions.place(target.index, target.length, given, told)

    def _moves(self, target: TargetIR) -> bool:
        """Whether an index may be another one once the item is written, before it is stored."""
        name, _ = self.plan.variable_fields[target.first]
        if target.index is None or not self.plan.chip.variables[name].persistent:
            return False
        read = fields_read(target.index)
        return any(self.plan.variable_fields.get(one, ("", 0))[0] == name for one in read)

    def _value(self, target: TargetIR, value: Expression, given: Given) -> str:
        text = self.expressions.text(value, given, spell=self.expressions.spelling_of(target.first))
        allowed = ValueBounds(target.low, target.high)
        return self._checked(value, text, allowed, given, target.failure.text)

    def _stored(self, target: TargetIR, value: str, index: str) -> Iterator[str]:
        """Write a member, and store it if it is persistent."""
        name, item = self.plan.variable_fields[target.first]
        variable = self.plan.chip.variables[name]
        member = f"chip->{self.words.names.member(name)}"
        arguments = ["chip"]
        if variable.length:
            place = self.expressions.index(index, name) if index else str(item)
            member += f"[{place}]"
            arguments.append(index or str(item))
        kind = stored_as(variable.type)
        bare = kind == "bool" or (value.isidentifier() and value.isupper()) or value.isdigit()
        yield f"{member} = {value if bare else _cast(kind, value)};"
        if variable.persistent:
            yield f"{self.words.store(name)}({', '.join([*arguments, member])});"

    def chooser(self, kind: str, lines: list[str]) -> Iterator[str]:
        """The function that is given the number of a timer or of a rule of the chip's own."""
        words, names = self.words, self.words.names
        function = names.name("timer_due" if kind == "timer" else "take")
        parameters = f"{words.type} *chip, {names.name(f'{kind}_t')} {kind}"
        yield f"{words.answer_type} {function}({parameters})"
        yield "{"
        if kind == "timer":
            yield "    /* A timer that was stopped just as it expired. */"
            yield "    if (!(chip->running[timer / 8] & (1u << (timer % 8)))) {"
            yield f"        return {words.answer('discarded')};"
            yield "    }"
        yield from indented(lines)
        yield "}"
        yield ""

    # Functions that the code needs beside those of the chip

    def helpers(self) -> Iterator[str]:
        """Small functions, those that are used."""
        for name, line in HELPERS.items():
            for function, kind in ((name, "int32_t"), (f"{name}{FAR}", "int64_t")):
                if function in self.expressions.used:
                    yield from _helper(self.words.names.name(function), kind, line)


HELPERS = {
    "least": "return a < b ? a : b;",
    "greatest": "return a > b ? a : b;",
    # C rounds a quotient towards zero, the model downwards.
    "quotient": "return a / b - (a % b != 0 && (a < 0) != (b < 0));",
    "remainder": "return a % b + (a % b != 0 && (a < 0) != (b < 0) ? b : 0);",
}


def _helper(name: str, kind: str, line: str) -> list[str]:
    return [f"static {kind} {name}({kind} a, {kind} b)", "{", f"    {line}", "}", ""]


def uses(lines: list[str], name: str) -> bool:
    """Whether lines of code, comments and strings left out, have a word."""
    return any(re.search(rf"\b{name}\b", re.sub(r'/\*.*?\*/|"[^"]*"', "", line)) for line in lines)


def _cast(kind: str, text: str) -> str:
    return f"({kind}){text}" if _in_brackets(text) else f"({kind})({text})"


def _in_brackets(text: str) -> bool:
    """Whether one pair of brackets stands around all of a text."""
    depth = 0
    for place, one in enumerate(text):
        depth += (one == "(") - (one == ")")
        if depth == 0:
            return text.startswith("(") and place == len(text) - 1
    return False


def indented(lines: Iterable[str], by: int = 1) -> list[str]:
    return [f"{'    ' * by}{line}" if line else "" for line in lines]


def enumeration(names: Sequence[str], type_: str = "") -> list[str]:
    """An enumeration from 0 on; nothing where there are no names, which C does not allow."""
    if not names:
        return []
    items = [f"    {name} = {value}," for value, name in enumerate(names)]
    items[-1] = items[-1].removesuffix(",")
    return [f"{'typedef ' if type_ else ''}enum {{", *items, f"}} {type_};".replace(" ;", ";"), ""]


__all__ = ["CCode", "enumeration", "indented", "number"]
