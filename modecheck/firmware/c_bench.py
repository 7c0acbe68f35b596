"""A test bench in C around the code of a chip: it supplies what the firmware would, and writes down
all that the chip does.

One function takes whole numbers: an operation and its arguments (`Bench` numbers them), and fills a
log: the answer, then an entry of four numbers for everything that was sent, signalled, started,
stopped, stored or failed, in order, and at the end the chip's state, variables and running timers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from modecheck.firmware.c_code import CCode
from modecheck.firmware.c_expressions import stored_as
from modecheck.firmware.c_header import readers, written_persistent
from modecheck.firmware.chip_plan import Occasion

START, RESTART, SET, SEE, POLL, FIRST_OCCASION = range(6)
"""The operations. SET is followed by what a log ends with; SEE by the number of a reader, an index
and a value; an occasion (in the order of the plan) by the value of a message or a signal, and
whether a message is late.
"""
SENT, SIGNALLED, STARTED, STOPPED, STORED, FAILED = range(6)
"""The kinds of an entry, followed by three numbers: link, message and value; signal, 0 and
value; timer; variable, index and value.
"""
MOST_LOGGED = 1000


@dataclass(frozen=True)
class Bench:
    """The numbers that a bench uses for the parts of its chip."""

    code: CCode

    @cached_property
    def readers(self) -> list[str]:
        return list(readers(self.code))

    @cached_property
    def cells(self) -> list[tuple[str, int]]:
        """The chip's variables, a list's items one by one: name, and index or -1."""
        return list(self.code.plan.variable_fields.values())

    @cached_property
    def longest_list(self) -> int:
        places = [self.code.expressions.place_of(field) for field in self.code.plan.foreign]
        return max([0, *places]) + 1

    def text(self) -> str:
        """The C source of the bench. With BENCH_MAIN it is a program that reads an operation from
        each line of its input, and writes a log for each.
        """
        code = self.code
        prefix = code.words.prefix
        lines = [
            "#include <stdio.h>",
            "#include <string.h>",
            f'#include "{prefix}.h"',
            "",
            f"static {code.words.type} one;",
            f"static int32_t seen[{max(len(self.readers), 1)}][{self.longest_list}];",
            f"static int32_t entries[{MOST_LOGGED}][4];",
            "static int32_t count;",
            "",
            "static void note(int32_t kind, int32_t a, int32_t b, int32_t c)",
            "{",
            f"    if (count < {MOST_LOGGED}) {{",
            "        const int32_t entry[4] = {kind, a, b, c};",
            "",
            "        memcpy(entries[count++], entry, sizeof entry);",
            "    }",
            "}",
            "",
            *self._supplied(),
            *self._give(),
            *_MAIN.format(
                longest=self.longest_log, most=self.longest_given, give=self.function
            ).splitlines(),
        ]
        return "\n".join(lines) + "\n"

    @property
    def function(self) -> str:
        return self.code.words.names.name("bench_give")

    @property
    def longest_given(self) -> int:
        return 8 + len(self.cells) + len(self.code.plan.timers.all)

    @property
    def longest_log(self) -> int:
        return 8 + 4 * MOST_LOGGED + len(self.cells) + len(self.code.plan.timers.all)

    def _supplied(self) -> Iterator[str]:
        code, plan, words = self.code, self.code.plan, self.code.words
        chip = f"{words.type} *chip"
        for queue, message in plan.sent:
            valued = plan.product.queues[queue].messages[message - 1].type is not None
            value = ", int32_t value" if valued else ""
            told = f"{SENT}, {queue}, {message}, {'value' if valued else '0'}"
            yield f"void {words.send(queue, message)}({chip}{value})"
            yield f"{{ (void)chip; note({told}); }}"
        for one in plan.signalled:
            valued = plan.product.signal_types[one] is not None
            value = ", int32_t value" if valued else ""
            yield f"void {words.signal(one)}({chip}{value})"
            told = f"{SIGNALLED}, {one}, 0, {'value' if valued else '0'}"
            yield f"{{ (void)chip; note({told}); }}"
        if plan.timers.all:
            timer = words.names.name("timer_t")
            for word, kind in (("timer_start", STARTED), ("timer_stop", STOPPED)):
                yield f"void {words.names.name(word)}({chip}, {timer} timer)"
                yield f"{{ (void)chip; note({kind}, (int32_t)timer, 0, 0); }}"
        variables = list(plan.chip.variables)
        for variable in written_persistent(code):
            index = "int32_t index, " if variable.length else ""
            number = variables.index(variable.name)
            place = "index" if variable.length else "-1"
            yield f"void {words.store(variable.name)}({chip}, {index}int32_t value)"
            yield f"{{ (void)chip; note({STORED}, {number}, {place}, value); }}"
        for number, (reader, indexed) in enumerate(readers(code).items()):
            index = ", int32_t index" if indexed else ""
            yield f"int32_t {reader}(const {words.type} *chip{index})"
            yield f"{{ (void)chip; return seen[{number}][{'index' if indexed else '0'}]; }}"
        yield f"#ifdef {words.names.constant('debug')}"
        yield f"void {words.names.name('failed')}(const char *what)"
        yield f"{{ (void)what; note({FAILED}, 0, 0, 0); }}"
        yield "#endif"
        yield ""

    def _give(self) -> Iterator[str]:
        plan, words = self.code.plan, self.code.words
        yield f"int32_t {self.function}(const int32_t *given, int32_t *log);"
        yield ""
        yield f"int32_t {self.function}(const int32_t *given, int32_t *log)"
        yield "{"
        yield "    int32_t answer = 0, size = 0;"
        yield ""
        yield "    count = 0;"
        yield "    switch (given[0]) {"
        yield f"    case {START}: {words.names.name('start')}(&one); break;"
        yield f"    case {RESTART}: {words.names.name('restart')}(&one); break;"
        yield f"    case {SET}:"
        yield from (f"        {line}" for line in self._set())
        yield "        break;"
        yield f"    case {SEE}: seen[given[1]][given[2]] = given[3]; break;"
        if plan.own_rules:
            yield f"    case {POLL}: answer = {words.names.name('poll')}(&one); break;"
        for number, occasion in enumerate(plan.occasions, start=FIRST_OCCASION):
            yield f"    case {number}: answer = (int32_t){self._called(occasion)}; break;"
        yield "    default: break;"
        yield "    }"
        yield "    log[size++] = answer;"
        yield "    log[size++] = count;"
        yield "    memcpy(log + size, entries, (size_t)count * sizeof entries[0]);"
        yield "    size += 4 * count;"
        yield "    log[size++] = one.state;"
        yield from (f"    log[size++] = {member};" for member, _ in self._members())
        for number in range(len(plan.timers.all)):
            yield f"    log[size++] = one.running[{number // 8}] >> {number % 8} & 1;"
        yield "    return size;"
        yield "}"
        yield ""

    def _members(self) -> Iterator[tuple[str, str]]:
        """The members of the struct with the types that they are stored as."""
        for name, index in self.cells:
            type_ = self.code.plan.chip.variables[name].type
            place = f"[{index}]" if index >= 0 else ""
            yield f"one.{self.code.words.names.member(name)}{place}", stored_as(type_)

    def _set(self) -> Iterator[str]:
        plan = self.code.plan
        state = "uint8_t" if len(plan.form.leaves) <= 1 << 8 else "uint16_t"
        yield f"one.state = ({state})given[1];"
        place = 2
        for member, kind in self._members():
            yield f"{member} = ({kind})given[{place}];"
            place += 1
        timers = len(plan.timers.all)
        if timers:
            yield "memset(one.running, 0, sizeof one.running);"
        for number in range(timers):
            cell = f"one.running[{number // 8}]"
            yield f"{cell} = (uint8_t)({cell} | given[{place + number}] << {number % 8});"
        if plan.own_rules:
            yield "one.next_rule = 0;"

    def _called(self, occasion: Occasion) -> str:
        words = self.code.words
        if occasion.timer >= 0:
            return f"{words.names.name('timer_due')}(&one, {words.timer(occasion.timer)})"
        if occasion.rule >= 0:
            return f"{words.names.name('take')}(&one, {words.rule(occasion.rule)})"
        values = {"value": "given[1]", "late": "given[2] != 0"}
        given = [values[name] for _, name in self.code.parameters(occasion)]
        return f"{words.on(occasion)}({', '.join(['&one', *given])})"


_MAIN = """\
#ifdef BENCH_MAIN
int main(void)
{{
    static int32_t given[{most}];
    static int32_t log[{longest}];
    int32_t most, size, place;

    while (scanf("%d", &most) == 1) {{
        for (place = 0; place < most; place++) {{
            if (scanf("%d", &given[place]) != 1) {{
                return 1;
            }}
        }}
        size = {give}(given, log);
        for (place = 0; place < size; place++) {{
            printf("%d ", log[place]);
        }}
        printf("\\n");
    }}
    return 0;
}}
#endif"""
