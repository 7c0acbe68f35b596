"""The header of a chip's C code: what the firmware calls, and what it has to supply."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from modecheck.firmware.c_code import CCode, enumeration
from modecheck.firmware.c_expressions import stored_as
from modecheck.firmware.c_words import ANSWERS
from modecheck.firmware.chip_plan import Occasion
from modecheck.firmware.foreign_reads import foreign_read
from modecheck.model.times import Duration
from modecheck.model.variables import Variable

MOST_IN_32_BITS = (1 << 32) - 1
UNITS = (1_000, 1_000_000, 1_000_000_000)
"""Units of time in a second that the table of timers may count in, the coarsest first."""


def header_text(code: CCode, stamp: list[str]) -> str:
    """The whole header; `stamp` says what it was made from."""
    guard = code.words.names.constant("h")
    lines = [
        "/*",
        *(f" * {line}".rstrip() for line in stamp),
        " */",
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "#include <stdbool.h>",
        "#include <stdint.h>",
        "",
        *_types(code),
        *_struct(code),
        *_calls(code),
        *_supplies(code),
        f"#endif /* {guard} */",
    ]
    return "\n".join(lines) + "\n"


def _types(code: CCode) -> Iterator[str]:
    words, plan = code.words, code.plan
    yield f"/* The states of {plan.chip.name} that contain no others. */"
    yield from enumeration([words.state(leaf) for leaf in range(len(plan.form.leaves))])
    yield "/* What became of an event. Deferred, not_now: leave it where it is; give it again. */"
    answers = [words.answer(one) for one in ANSWERS]
    yield from enumeration(answers, words.answer_type)
    for variable in plan.chip.variables.values():
        if variable.type.kind == "word":
            yield f"/* The values of {variable.name}. */"
            named = [words.names.constant(variable.name, one) for one in variable.type.words]
            yield from enumeration(named)
    yield from _message_values(code)
    yield from _signal_values(code)
    yield from _foreign_values(code)
    yield from _timers(code)
    own = [words.rule(one) for one in plan.own_rules]
    if own:
        yield "/* The rules that the chip takes by itself. */"
        yield from enumeration(own, words.names.name("rule_t"))
        yield f"#define {words.names.constant('rules')} {len(own)}"
        yield ""


def _message_values(code: CCode) -> Iterator[str]:
    product, plan = code.plan.product, code.plan
    for number in dict.fromkeys((*plan.form.inputs, *plan.form.outputs)):
        queue = product.queues[number]
        for message in queue.messages:
            if message.type is not None and message.type.kind == "word":
                yield f"/* The values of {message.name} over {queue.name}. */"
                yield from enumeration(
                    [
                        code.words.names.constant(queue.name, message.name, word)
                        for word in message.type.words
                    ]
                )


def _signal_values(code: CCode) -> Iterator[str]:
    product, plan = code.plan.product, code.plan
    heard = [one.signal for one in plan.occasions if one.signal >= 0]
    for number in dict.fromkeys((*heard, *plan.signalled)):
        name, type_ = product.signals[number], product.signal_types[number]
        if type_ is not None and type_.kind == "word":
            yield f"/* The values of the signal {name}. */"
            named = [code.words.names.constant("signal", name, word) for word in type_.words]
            yield from enumeration(named)


def _foreign_values(code: CCode) -> Iterator[str]:
    """The values that others' states and variables have, and messages that wait."""
    plan, names = code.plan, code.words.names
    done = set()
    for field in plan.foreign:
        reader = code.expressions.reader(field)
        if reader in done:
            continue
        done.add(reader)
        reading = foreign_read(plan, field)
        if not reading.values:
            continue
        named = [names.constant(*reading.values_of, value) for value in reading.values]
        yield f"/* The values of {reader}. */"
        yield from enumeration(named)


def _timers(code: CCode) -> Iterator[str]:
    timers, names = code.plan.timers.all, code.words.names
    if not timers:
        return
    yield "/* The timers, each of a rule or of the chip, and their earliest and latest moments. */"
    yield from enumeration(
        [code.words.timer(number) for number in range(len(timers))], names.name("timer_t")
    )
    unit, kind = unit_of([one.duration for one in timers])
    yield f"#define {names.constant('timers')} {len(timers)}"
    yield f"#define {names.constant('timer_units_per_second')} {unit}"
    if any(one.duration.high is None for one in timers):
        most = kind.removesuffix("_t").upper()
        yield f"#define {no_latest(code)} {most}_MAX /* it may expire at any time from then on */"
    yield f"typedef struct {{ {kind} earliest, latest; }} {names.name('timer_time_t')};"
    yield f"extern const {names.name('timer_time_t')} {names.name('timer_times')}[{len(timers)}];"
    yield ""


def no_latest(code: CCode) -> str:
    """The latest moment of timers that have none."""
    return code.words.names.constant("timer_no_latest")


def unit_of(durations: list[Duration]) -> tuple[int, str]:
    """In how many parts of a second all times are whole, and the type that holds them."""
    moments = [moment for one in durations for moment in one.moments]
    unit = next((u for u in UNITS if all((m * u).denominator == 1 for m in moments)), UNITS[-1])
    most = max(moments, default=Fraction(0)) * unit
    return unit, "uint32_t" if most < MOST_IN_32_BITS else "uint64_t"


def _struct(code: CCode) -> Iterator[str]:
    plan, words = code.plan, code.words
    yield f"/* All that {plan.chip.name} knows. Only the functions below write to it. */"
    yield "typedef struct {"
    yield f"    {_state_type(code)} state;"
    for variable in plan.chip.variables.values():
        yield f"    {_member(code, variable)}"
    if plan.own_rules:
        yield "    uint16_t next_rule; /* which of its own rules is tried first next time */"
    if plan.timers.all:
        yield f"    uint8_t running[{(len(plan.timers.all) + 7) // 8}]; /* a bit for each timer */"
    yield f"}} {words.type};"
    yield ""


def _state_type(code: CCode) -> str:
    return "uint8_t" if len(code.plan.form.leaves) <= 1 << 8 else "uint16_t"


def _member(code: CCode, variable: Variable) -> str:
    length = f"[{variable.length}]" if variable.length else ""
    told = f"{variable.type}{', persistent' if variable.persistent else ''}"
    name = code.words.names.member(variable.name)
    return f"{stored_as(variable.type)} {name}{length}; /* {told} */"


def _calls(code: CCode) -> Iterator[str]:
    words, plan, names = code.words, code.plan, code.words.names
    chip = f"{words.type} *chip"
    yield "/* ---- What the firmware calls. One call has to return before the next. ---- */"
    yield ""
    yield "/* As it leaves the factory: every variable has its first value. */"
    yield f"void {names.name('start')}({chip});"
    yield ""
    yield "/* After a power cut or a reset: fill in the persistent variables from storage first. */"
    yield f"void {names.name('restart')}({chip});"
    yield ""
    for occasion in plan.occasions:
        if occasion.queue >= 0 or occasion.signal >= 0:
            yield f"/* {_told(code, occasion)} */"
            parameters = [chip, *(f"{kind} {name}" for kind, name in code.parameters(occasion))]
            yield f"{words.answer_type} {words.on(occasion)}({', '.join(parameters)});"
    yield ""
    if plan.timers.all:
        yield "/* A running timer is between its earliest and its latest moment. With not_now, call"
        yield "   again before the latest one: a rule may become possible. */"
        timer = names.name("timer_t")
        yield f"{words.answer_type} {names.name('timer_due')}({chip}, {timer} timer);"
        yield ""
    if plan.own_rules:
        yield "/* Takes a rule that waits for nothing, if one is possible, each in its turn, and"
        yield "   returns whether it did: call it again and again. */"
        yield f"bool {names.name('poll')}({chip});"
        yield ""
        yield "/* Takes this rule, if it is possible. */"
        yield f"{words.answer_type} {names.name('take')}({chip}, {names.name('rule_t')} rule);"
        yield ""


def _told(code: CCode, occasion: Occasion) -> str:
    product, type_ = code.plan.product, code.plan.value_type(occasion)
    value = f", {type_}" if type_ is not None else ""
    if occasion.signal >= 0:
        return f"The signal {product.signals[occasion.signal]}{value}."
    queue = product.queues[occasion.queue]
    message = queue.messages[occasion.code - 1]
    return f"{message.name} arrives over {queue.name}{value}."


def _supplies(code: CCode) -> Iterator[str]:
    words, plan, names = code.words, code.plan, code.words.names
    chip = f"{words.type} *chip"
    seen = f"const {words.type} *chip"
    yield "/* ---- What the firmware supplies. None of it calls back. ---- */"
    yield ""
    for queue, message in plan.sent:
        form = plan.product.queues[queue].messages[message - 1]
        value = ", int32_t value" if form.type is not None else ""
        yield f"void {words.send(queue, message)}({chip}{value});"
    for signal in plan.signalled:
        value = ", int32_t value" if plan.product.signal_types[signal] is not None else ""
        yield f"void {words.signal(signal)}({chip}{value});"
    if plan.timers.all:
        timer = names.name("timer_t")
        yield f"void {names.name('timer_start')}({chip}, {timer} timer); /* anew, if it runs */"
        yield f"void {names.name('timer_stop')}({chip}, {timer} timer);"
    for variable in written_persistent(code):
        index = "int32_t index, " if variable.length else ""
        yield f"void {words.store(variable.name)}({chip}, {index}int32_t value);"
    for reader, indexed in readers(code).items():
        yield f"int32_t {reader}({seen}{', int32_t index' if indexed else ''});"
    yield ""
    yield f"#ifdef {names.constant('debug')}"
    yield "/* A value is out of its range, which the model excludes. */"
    yield f"void {names.name('failed')}(const char *what);"
    yield "#endif"
    yield ""


def written_persistent(code: CCode) -> list[Variable]:
    """The persistent variables that some rule writes."""
    plan = code.plan
    written = {
        plan.variable_fields[target.first][0]
        for body in plan.bodies
        for assign in body.assigns
        for target in assign.targets
    }
    variables = plan.chip.variables.values()
    return [one for one in variables if one.persistent and one.name in written]


def readers(code: CCode) -> dict[str, bool]:
    """The functions that read what belongs to others, and whether they take an index."""
    return {
        code.expressions.reader(field): code.expressions.place_of(field) >= 0
        for field in code.plan.foreign
    }
