"""A header for teams that keep their own code: the names of the model, and its gap table, against
which their code can be asserted.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.firmware.c_code import CCode, enumeration
from modecheck.firmware.chip_plan import Chain, Occasion

HANDLED, DISCARDED, DEFERRED = "handled", "discarded", "deferred"
CANNOT_ARRIVE, NO_ANSWER = "cannot_arrive", "no_answer"


def tables_text(code: CCode, stamp: list[str], *, arrivals_known: bool) -> str:
    """The whole header. Where every arrival without an answer would have been found, what has no
    answer cannot arrive. Raises `InvalidInput` if two names are the same in capitals.
    """
    code.words.claim_numbers([HANDLED, DISCARDED, DEFERRED, CANNOT_ARRIVE, NO_ANSWER])
    names = code.words.names
    guard = names.constant("tables_h")
    lines = [
        "/*",
        *(f" * {line}".rstrip() for line in stamp),
        " */",
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "#include <stdint.h>",
        "",
        *_tables(code, CANNOT_ARRIVE if arrivals_known else NO_ANSWER),
        f"#endif /* {guard} */",
    ]
    return "\n".join(lines) + "\n"


def _tables(code: CCode, unanswered: str) -> Iterator[str]:
    plan, words, names = code.plan, code.words, code.words.names
    states = [words.state(leaf) for leaf in range(len(plan.form.leaves))]
    yield f"/* The states of {plan.chip.name} that contain no others. */"
    yield from enumeration(states)
    events = [one for one in plan.occasions if one.queue >= 0 or one.signal >= 0]
    yield "/* The messages and signals that can reach it. */"
    yield from enumeration([words.on(one).upper() for one in events])
    if plan.sent:
        yield "/* The messages that it sends. */"
    yield from enumeration([words.send(*one).upper() for one in plan.sent])
    for variable in plan.chip.variables.values():
        if variable.type.kind == "word":
            yield f"/* The values of {variable.name}. */"
            yield from enumeration(
                [names.constant(variable.name, word) for word in variable.type.words]
            )
    yield "/* What a state does with an event. */"
    answers = [names.constant(word) for word in (HANDLED, DISCARDED, DEFERRED, unanswered)]
    yield from enumeration(answers)
    if events:
        yield f"static const uint8_t {names.name('answers')}[{len(states)}][{len(events)}] = {{"
        for leaf, state in enumerate(states):
            row = ", ".join(names.constant(_answer(code, one, leaf, unanswered)) for one in events)
            yield f"    {{{row}}}{',' if leaf + 1 < len(states) else ''} /* {state} */"
        yield "};"
        yield ""


def _answer(code: CCode, occasion: Occasion, leaf: int, unanswered: str) -> str:
    chain: Chain = code.plan.chains[occasion][leaf]
    if any(row.body is not None for row in chain):
        return HANDLED
    return {"discarded": DISCARDED, "deferred": DEFERRED}.get(chain[-1].answer, unanswered)
