"""`modecheck step`: step through a device by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import NOTHING_FOUND, WRONG_INPUT, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.engine.choice import Search

PROMPT = "> "


@click.command(
    "step",
    epilog=exit_codes(
        "ended",
        invalid="invalid input, or a command from a pipe failed",
        incomplete="interrupted",
    ),
)
@device_argument
@choice_option
@exploring_options
def command(device: str, chosen: dict[str, str], search: Search) -> None:
    """Step through DEVICE by hand.

    Choose each step by its number, go back, keep the walk. Reads commands from the terminal, or
    from a pipe until it ends; `help` lists them. The
    options for exploring apply to findings, which are looked for only when a command needs them.
    """
    import sys

    from modecheck.checks.verdict import check
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.product.composition import compose
    from modecheck.report.step_session import Session
    from modecheck.report.style import show, style_for

    read = told_variants_of(device, chosen, every=False)[0]

    def checked() -> Verdict:
        with reporter_for(sys.stderr) as reporter:
            return check([read], search=search, reporter=reporter)

    session = Session(compose(read), checked, style_for(sys.stdout))
    asked, wrong = sys.stdin.isatty(), False
    show(session.opening())
    while True:
        line = _next_line(asked=asked)
        if line is None:
            break
        answer = session.answer(line)
        wrong = wrong or answer.wrong
        show(answer.lines)
        if answer.ended:
            break
    sys.exit(WRONG_INPUT if wrong and not asked else NOTHING_FOUND)


def _next_line(*, asked: bool) -> str | None:
    """The next line of the input; None at its end or on an interrupt at the terminal."""
    import sys

    try:
        if asked:
            sys.stdout.write(PROMPT)
            sys.stdout.flush()
        raw = sys.stdin.buffer.readline()
    except KeyboardInterrupt:
        raw = b""
    if asked and not raw:
        sys.stdout.write("\n")
    return raw.decode("utf-8", "replace") if raw else None
