"""The style of constant data: a row for each alternative, and one small interpreter.

Rows of one event stand together, and rows of one state in the order in which they are tried. States
in which the same happens share their rows by a row for any state at the end.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.firmware.c_code import CCode, indented
from modecheck.firmware.chip_plan import Body, Chain, Occasion, usual
from modecheck.product.expression_ir import Expression

ANY_STATE = "ANY"


def table_style(code: CCode) -> Iterator[str]:
    """All functions of the chip's events, and the table that they look into."""
    if not code.plan.occasions:
        return  # C has no array without an item
    table = _Table(code)
    rows = list(table.rows())
    yield from table.guards()
    yield from table.bodies()
    yield from table.data(rows)
    yield from table.interpreter()
    yield from table.functions()


class _Table:
    def __init__(self, code: CCode) -> None:
        self._code = code
        self._guards: dict[tuple[Expression, Occasion], int] = {}
        self._bodies: dict[Body, int] = {
            body: n for n, body in enumerate(code.plan.bodies, start=1)
        }
        self._spans: list[tuple[int, int]] = []

    def _static(self, word: str) -> str:
        return self._code.words.names.name(word)

    def rows(self) -> Iterator[str]:
        """The rows of all events, each as an initializer; events that are alike share theirs."""
        known: dict[tuple[tuple[Chain, ...], object], tuple[int, int]] = {}
        count = 0
        for occasion, chains in self._code.plan.chains.items():
            key = (chains, self._code.given(occasion).bounds)
            if key not in known:
                texts = list(self._rows_of(occasion, chains))
                yield from texts
                known[key] = (count, count + len(texts))
                count += len(texts)
            self._spans.append(known[key])

    def _rows_of(self, occasion: Occasion, chains: tuple[Chain, ...]) -> Iterator[str]:
        words, most = self._code.words, usual(chains)
        for leaf, chain in enumerate(chains):
            if chain != most:
                yield from self._chain(chain, occasion, words.state(leaf))
        yield from self._chain(most, occasion, words.names.constant("any_state"))

    def _chain(self, chain: Chain, occasion: Occasion, state: str) -> Iterator[str]:
        for row in chain:
            guard = 0
            if row.guard is not None:
                key = (row.guard, self._alike(row.guard, occasion))
                guard = self._guards.setdefault(key, len(self._guards) + 1)
            body = 0 if row.body is None else self._bodies[row.body]
            told = self._code.told(row.body.rule) if row.body is not None else ""
            note = f" /* {told} */" if told else ""
            yield f"{{{state}, {guard}, {body}, {self._code.words.answer(row.answer)}}},{note}"

    def _alike(self, guard: Expression, occasion: Occasion) -> Occasion:
        """The first event with the same guard that reads the same kind of message."""
        given = self._code.given(occasion)
        for known, other in self._guards:
            same = self._code.given(other)
            if known == guard and same.bounds == given.bounds:
                return other
        return occasion

    def guards(self) -> Iterator[str]:
        """The function of all guards."""
        if not self._guards:
            return
        texts = [
            self._code.expressions.condition(guard, self._code.given(occasion))
            for guard, occasion in self._guards
        ]
        chip = f"const {self._code.words.type} *chip"
        yield f"static bool {self._static('guard')}({chip}, uint16_t guard,"
        yield "    int32_t value, bool late)"
        yield "{"
        yield "    (void)chip;"
        yield "    (void)value;"
        yield "    (void)late;"
        yield "    switch (guard) {"
        for number, (first, *others) in enumerate(texts, start=1):
            lines = [f"return {first}", *(f"    {line}" for line in others)]
            yield f"    case {number}:"
            yield from indented([*lines[:-1], f"{lines[-1]};"], 2)
        yield "    default:"
        yield "        return true;"
        yield "    }"
        yield "}"
        yield ""

    def bodies(self) -> Iterator[str]:
        """The function that lets a body happen."""
        if not self._bodies:
            return
        yield f"static void {self._static('do')}({self._code.words.type} *chip, uint16_t body,"
        yield "    int32_t value, bool late)"
        yield "{"
        yield "    (void)value;"
        yield "    (void)late;"
        yield "    switch (body) {"
        for body, number in self._bodies.items():
            needs = ["chip", *(name for _, name in self._code.needs(body))]
            yield f"    case {number}:"
            yield f"        {self._code.words.do(body)}({', '.join(needs)});"
            yield "        break;"
        yield "    default:"
        yield "        break;"
        yield "    }"
        yield "}"
        yield ""

    def data(self, rows: list[str]) -> Iterator[str]:
        words = self._code.words
        state = "uint8_t" if len(self._code.plan.form.leaves) < 1 << 8 else "uint16_t"
        top = "0xFF" if state == "uint8_t" else "0xFFFF"
        yield f"#define {words.names.constant('any_state')} {top}"
        yield ""
        yield "static const struct {"
        yield f"    {state} state;"
        yield "    uint16_t guard; /* 0: none */"
        yield "    uint16_t body; /* 0: none */"
        yield "    uint8_t answer;"
        yield f"}} {self._static('rows')}[] = {{"
        yield from indented(_without_last_comma(rows))
        yield "};"
        yield ""
        most = max((end for _, end in self._spans), default=0)
        kind = "uint16_t" if most < 1 << 16 else "uint32_t"
        yield "/* Which rows are those of an event. */"
        yield f"static const struct {{ {kind} first, end; }} {self._static('events')}[] = {{"
        for number, (first, end) in enumerate(self._spans):
            comma = "," if number + 1 < len(self._spans) else ""
            yield f"    {{{first}, {end}}}{comma} /* {self._told(number)} */"
        yield "};"
        yield ""

    def _told(self, number: int) -> str:
        return self._code.words.on(self._code.plan.occasions[number])

    def interpreter(self) -> Iterator[str]:
        words, rows = self._code.words, self._static("rows")
        chip = f"{words.type} *chip"
        yield f"static {words.answer_type} {self._static('react')}({chip}, uint16_t event,"
        yield "    int32_t value, bool late)"
        yield "{"
        yield "    uint32_t row;"
        yield ""
        events = self._static("events")
        yield f"    for (row = {events}[event].first; row < {events}[event].end; row++) {{"
        yield f"        if ({rows}[row].state != {words.names.constant('any_state')}"
        yield f"            && {rows}[row].state != chip->state) {{"
        yield "            continue;"
        yield "        }"
        if self._guards:
            call = f"{self._static('guard')}(chip, {rows}[row].guard, value, late)"
            yield f"        if ({rows}[row].guard != 0 && !{call}) {{"
            yield "            continue;"
            yield "        }"
        if self._bodies:
            yield f"        {self._static('do')}(chip, {rows}[row].body, value, late);"
        else:
            yield "        (void)value;"
            yield "        (void)late;"
        yield f"        return ({words.answer_type}){rows}[row].answer;"
        yield "    }"
        yield f"    return {words.answer('unexpected')};"
        yield "}"
        yield ""

    def functions(self) -> Iterator[str]:
        """The functions of the events, which only know the numbers of their rows."""
        code, words = self._code, self._code.words
        events = list(code.plan.occasions)
        react = self._static("react")
        for number, occasion in enumerate(events):
            if occasion.queue < 0 and occasion.signal < 0:
                continue
            given = code.parameters(occasion)
            parameters = [f"{words.type} *chip", *(f"{kind} {name}" for kind, name in given)]
            brought = {name for _, name in given}
            value = "value" if "value" in brought else "0"
            late = "late" if "late" in brought else "false"
            yield f"{words.answer_type} {words.on(occasion)}({', '.join(parameters)})"
            yield "{"
            yield f"    return {react}(chip, {number}, {value}, {late});"
            yield "}"
            yield ""
        for kind in ("timer", "rule"):
            those = [n for n, one in enumerate(events) if getattr(one, kind) >= 0]
            if those:
                first = f"(uint16_t)({those[0]} + {kind})"
                yield from code.chooser(kind, [f"return {react}(chip, {first}, 0, false);"])


def _without_last_comma(rows: list[str]) -> list[str]:
    """C99 allows a comma at the end; a reader stumbles over it."""
    if rows:
        head, comma, note = rows[-1].partition("},")
        rows = [*rows[:-1], f"{head}}}{note}" if comma else rows[-1]]
    return rows
