"""The C code of a chip: its functions, in one of two styles that do the same.

`switch`: a function for each event, with a case for each state, as a reviewer reads it beside the
chart. `table`: one row for each alternative in constant data, and one small interpreter.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.firmware.c_code import CCode, indented, uses
from modecheck.firmware.c_expressions import FAR
from modecheck.firmware.c_header import no_latest, unit_of
from modecheck.firmware.c_names import comment
from modecheck.firmware.c_table import table_style
from modecheck.firmware.chip_plan import Chain, Occasion, usual

STYLES = ("switch", "table")


def source_text(code: CCode, stamp: list[str], style: str) -> str:
    """The whole source, which includes the header of the chip."""
    events = list(_switch_style(code) if style == "switch" else table_style(code))
    bodies = [line for body in code.plan.bodies for line in (*code.body(body), "")]
    lines = [
        "/*",
        *(f" * {line}".rstrip() for line in stamp),
        " */",
        f'#include "{code.words.prefix}.h"',
        "",
        *_checks(code),
        *code.helpers(),
        *_timer_functions(code),
        *bodies,
        *events,
        *_polling(code),
        *_starts(code),
    ]
    return "\n".join(lines).rstrip() + "\n"


def _checks(code: CCode) -> Iterator[str]:
    """What debug builds do with a value that may be out of range."""
    used = code.expressions.used
    if "within" in used:
        yield from _check(code, "within", "int32_t", "(value)")
    if f"within{FAR}" in used:
        yield from _check(code, f"within{FAR}", "int64_t", "((int32_t)(value))")


def _check(code: CCode, word: str, kind: str, unchecked: str) -> Iterator[str]:
    names = code.words.names
    macro, function = names.constant(word), names.name(word)
    yield f"#ifdef {names.constant('debug')}"
    yield f"static int32_t {function}({kind} value, int32_t low, int32_t high, const char *what)"
    yield "{"
    yield "    if (value < low || value > high) {"
    yield f"        {names.name('failed')}(what);"
    yield "        return low;"
    yield "    }"
    yield f"    return {'value' if kind == 'int32_t' else '(int32_t)value'};"
    yield "}"
    yield f"#define {macro}(value, low, high, what) {function}((value), (low), (high), (what))"
    yield "#else"
    yield f"#define {macro}(value, low, high, what) {unchecked}"
    yield "#endif"
    yield ""


def _timer_functions(code: CCode) -> Iterator[str]:
    plan, names = code.plan, code.words.names
    timers = plan.timers.all
    if not timers:
        return
    unit, _ = unit_of([one.duration for one in timers])
    times = f"{names.name('timer_times')}[{len(timers)}]"
    yield f"const {names.name('timer_time_t')} {times} = {{"
    for number, timer in enumerate(timers):
        low = int(timer.duration.low * unit)
        high = timer.duration.high
        latest = no_latest(code) if high is None else f"{int(high * unit)}u"
        comma = "," if number + 1 < len(timers) else ""
        told = f"{code.words.timer(number)}: {comment(timer.duration.text)}"
        yield f"    {{{low}u, {latest}}}{comma} /* {told} */"
    yield "};"
    yield ""
    chip, timer_type = f"{code.words.type} *chip", names.name("timer_t")
    bit = "chip->running[timer / 8]"
    mask = "1u << (timer % 8)"
    if _ends(code):
        yield f"static void {names.name('timer_ends')}({chip}, {timer_type} timer)"
        yield "{"
        yield f"    if ({bit} & ({mask})) {{"
        yield f"        {bit} = (uint8_t)({bit} & ~({mask}));"
        yield f"        {names.name('timer_stop')}(chip, timer);"
        yield "    }"
        yield "}"
        yield ""
    if not _begins(code):
        return
    yield f"static void {names.name('timer_begins')}({chip}, {timer_type} timer)"
    yield "{"
    yield f"    {bit} = (uint8_t)({bit} | ({mask}));"
    yield f"    {names.name('timer_start')}(chip, timer);"
    yield "}"
    yield ""


def _ends(code: CCode) -> bool:
    """Whether some rule, or a restart, stops a timer."""
    begun = code.plan.timers.begun_in(code.plan.form.initial)
    return len(begun) < len(code.plan.timers.all) or any(body.stops for body in code.plan.bodies)


def _begins(code: CCode) -> bool:
    """Whether some rule, or the beginning, starts a timer."""
    begun = code.plan.timers.begun_in(code.plan.form.initial)
    return bool(begun) or any(body.starts for body in code.plan.bodies)


def _switch_style(code: CCode) -> Iterator[str]:
    words, plan = code.words, code.plan
    for occasion in plan.occasions:
        static = "static " if occasion.timer >= 0 or occasion.rule >= 0 else ""
        parameters = [f"{words.type} *chip", *(f"{k} {n}" for k, n in code.parameters(occasion))]
        yield f"{static}{words.answer_type} {words.on(occasion)}({', '.join(parameters)})"
        yield "{"
        body = list(_cases(code, occasion))
        unused = [
            n for n in ("chip", *(n for _, n in code.parameters(occasion))) if not uses(body, n)
        ]
        yield from (f"    (void){name};" for name in unused)
        yield from indented(body)
        yield "}"
        yield ""
    yield from _chosen(code, "timer")
    yield from _chosen(code, "rule")


def _cases(code: CCode, occasion: Occasion) -> Iterator[str]:
    """What happens in which state; states in which the same does share a case."""
    groups: dict[Chain, list[int]] = {}
    for leaf, chain in enumerate(code.plan.chains[occasion]):
        groups.setdefault(chain, []).append(leaf)
    if len(groups) == 1:
        for row in next(iter(groups)):
            yield from code.row(row, occasion)
        return
    # The rest that has no rule is the default, so that also a state that is none gets an answer.
    default = usual(code.plan.chains[occasion])
    yield "switch (chip->state) {"
    for chain, leaves in groups.items():
        if chain != default:
            yield from (f"case {code.words.state(leaf)}:" for leaf in leaves)
            for row in chain:
                yield from indented(code.row(row, occasion))
    yield "default:"
    for row in default:
        yield from indented(code.row(row, occasion))
    yield "}"


def _chosen(code: CCode, kind: str) -> Iterator[str]:
    """The function that calls that of a timer or of a rule."""
    words = code.words
    those = [one for one in code.plan.occasions if getattr(one, kind) >= 0]
    if not those:
        return
    lines = [f"switch ({kind}) {{"]
    for one in those:
        name = words.timer(one.timer) if kind == "timer" else words.rule(one.rule)
        lines += [f"case {name}:", f"    return {words.on(one)}(chip);"]
    lines += ["default:", f"    return {words.answer('discarded')};", "}"]
    yield from code.chooser(kind, lines)


def _polling(code: CCode) -> Iterator[str]:
    """The function that tries each rule in its turn, so that none is passed over forever."""
    words, names = code.words, code.words.names
    if not code.plan.own_rules:
        return
    count = names.constant("rules")
    yield f"bool {names.name('poll')}({words.type} *chip)"
    yield "{"
    yield "    uint16_t tried;"
    yield ""
    yield f"    for (tried = 0; tried < {count}; tried++) {{"
    yield f"        const {names.name('rule_t')} rule = ({names.name('rule_t')})chip->next_rule;"
    yield ""
    yield f"        chip->next_rule = (uint16_t)((chip->next_rule + 1) % {count});"
    yield f"        if ({names.name('take')}(chip, rule) == {words.answer('taken')}) {{"
    yield "            return true;"
    yield "        }"
    yield "    }"
    yield "    return false;"
    yield "}"
    yield ""


def _starts(code: CCode) -> Iterator[str]:
    words, plan, names = code.words, code.plan, code.words.names
    chip = plan.chip
    yield f"void {names.name('start')}({words.type} *chip)"
    yield "{"
    for variable in chip.variables.values():
        if variable.persistent:
            yield from indented(_first_values(code, variable.name))
    if plan.own_rules:
        yield "    chip->next_rule = 0;"
    yield from (f"    chip->running[{n}] = 0;" for n in range((len(plan.timers.all) + 7) // 8))
    yield f"    {names.name('restart')}(chip);"
    yield "}"
    yield ""
    yield f"void {names.name('restart')}({words.type} *chip)"
    yield "{"
    for variable in chip.variables.values():
        if not variable.persistent:
            yield from indented(_first_values(code, variable.name))
    begun = plan.timers.begun_in(plan.form.initial)
    for number in range(len(plan.timers.all)):
        if number not in begun:
            yield f"    {names.name('timer_ends')}(chip, {words.timer(number)});"
    yield f"    chip->state = {words.state(plan.form.initial)};"
    yield from (f"    {names.name('timer_begins')}(chip, {words.timer(one)});" for one in begun)
    yield "}"


def _first_values(code: CCode, name: str) -> Iterator[str]:
    variable = code.plan.chip.variables[name]
    field = next(f for f, (known, _) in code.plan.variable_fields.items() if known == name)
    spell = code.expressions.spelling_of(field)
    member = f"chip->{code.words.names.member(name)}"
    for item, value in enumerate(variable.start):
        index = f"[{item}]" if variable.length else ""
        told = ("true" if value else "false") if variable.type.kind == "truth" else spell(value)
        yield f"{member}{index} = {told};"
