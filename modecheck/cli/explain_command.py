"""`modecheck explain`: what a word means, in a model, in a report or in a script."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import INCOMPLETE, NOTHING_FOUND, exit_codes
from modecheck.cli.options import FILE, choice_option

if TYPE_CHECKING:
    from modecheck.model.parts import Device


def _words_from(_context: click.Context, _param: click.Parameter, begin: str) -> list[str]:
    """What a shell completes a word by."""
    from modecheck.report.explain_text import all_words

    return [word for word in all_words() if word.startswith(begin)]


@click.command(
    "explain",
    short_help="Explain a finding, a key, an expression or an exit code.",
    epilog=exit_codes(
        "explained",
        invalid="there is no such word or finding, or invalid input",
        incomplete="not found in DEVICE before a bound was hit",
    ),
)
@click.argument("word", required=False, shell_complete=_words_from)
@click.argument("device", required=False, type=FILE)
@choice_option
@click.option("--every-option", is_flag=True, help="Look in every combination of options.")
@click.option(
    "--max-states",
    type=click.IntRange(min=1),
    metavar="N",
    help="Stop after N states; the result is then incomplete.",
)
def command(
    word: str | None,
    device: str | None,
    chosen: dict[str, str],
    every_option: bool,
    max_states: int | None,
) -> None:
    """Explain WORD: a finding's code or id, a key, a word of an expression, an exit code.

    With DEVICE, first show where the finding, or each finding of the code, occurs in the device.
    Without WORD, list everything that can be explained.
    """
    import sys

    from modecheck.report.explain_text import explanation, words_as_text
    from modecheck.report.style import style_for

    style = style_for(sys.stdout)
    if word is None:
        _show(["modecheck explain WORD explains one of these:", *words_as_text(style)])
        return
    _need_known(word)
    code = NOTHING_FOUND
    if device is not None:
        from modecheck.cli.exploring import variants_of

        _need_code(word)
        code = _show_in(variants_of(device, chosen, every=every_option), word, max_states)
    _show(explanation(word, style), paged=device is None)
    sys.exit(code)


def _show(lines: list[str], *, paged: bool = True) -> None:
    """Page by page on a terminal."""
    import sys

    from modecheck.report.style import show

    if paged and sys.stdout.isatty():
        click.echo_via_pager("\n".join(lines) + "\n")
    else:
        show(lines)


def _need_known(word: str) -> None:
    """Raise an error that names the nearest word, or where the guide explains this one."""
    from modecheck.model.errors import nearest_name
    from modecheck.model.finding_kinds import KINDS
    from modecheck.report.explain_text import all_words
    from modecheck.report.guide_text import topics_about

    code, colon, _ = word.partition(":")
    known = tuple(KINDS) if colon else all_words()
    if code in known:
        return
    near, about = nearest_name(code, known), topics_about(code)
    if about:
        advice = (
            f"{code!r} is mentioned in: {', '.join(f'modecheck guide {one}' for one in about)}."
        )
    elif near:
        advice = f"Did you mean {near!r}?"
    else:
        advice = "modecheck explain lists all words."
    said = f"No finding has the code {code!r}." if colon else f"No word {code!r}."
    raise click.UsageError(f"{said} {advice}")


def _need_code(word: str) -> None:
    from modecheck.model.finding_kinds import KINDS

    if word.partition(":")[0] not in KINDS:
        raise click.UsageError(
            f"DEVICE goes with the code or the id of a finding, not with {word!r}."
        )


def _show_in(devices: list[Device], word: str, max_states: int | None) -> int:
    """Show the findings with this id or code in a device; the exit code.

    An id that the device does not have is an error, since it is likely to be mistyped.
    """
    import sys

    from modecheck.checks.verdict_cache import check_or_recall
    from modecheck.cli.exploring import reporter_for
    from modecheck.engine.choice import Search
    from modecheck.engine.contract.space import Limits
    from modecheck.model.errors import nearest_name
    from modecheck.report.showing import Showing, finding_blocks
    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import lines_of

    search = Search(limits=Limits(states=max_states))
    with reporter_for(sys.stderr) as reporter:
        verdict, _ = check_or_recall(devices, search, reporter)
    every = [*verdict.findings, *(one.finding for one in verdict.accepted)]
    found = [one for one in every if word in (one.id, one.code)]
    name = verdict.device.name
    if found:
        showing = Showing(in_full=":" in word)
        lines = lines_of(list(finding_blocks(found, showing)), style_for(sys.stdout))
    elif not verdict.complete:
        lines = [f"{name}: {word} was not found so far, but not everything was explored"]
    elif ":" in word:
        near = nearest_name(word, [one.id for one in every])
        advice = f" Did you mean {near!r}?" if near else ""
        raise click.UsageError(f"{name}: no finding {word!r}.{advice}")
    else:
        lines = [f"{name}: no finding has the code {word}"]
    show([*lines, ""])
    return NOTHING_FOUND if found or verdict.complete else INCOMPLETE
