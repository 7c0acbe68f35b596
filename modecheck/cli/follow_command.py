"""`modecheck follow`: compare a log from the bench with the model."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import FILE, choice_option, device_argument
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present


@click.command(
    "follow",
    epilog=exit_codes(
        "the log agrees with the model",
        found="the log does not agree",
        invalid="invalid input, or lines of the log are not understood",
        incomplete="more explanations than were kept",
    ),
)
@device_argument
@click.argument("log", type=FILE)
@choice_option
@click.option(
    "--recorded",
    metavar="CHIPS",
    help="The chips that are logged completely, separated by commas (default: those that occur in "
    "the log).",
)
@click.option(
    "--explanations",
    type=click.IntRange(min=1),
    default=20_000,
    show_default=True,
    metavar="N",
    help="Keep at most N explanations at a time; if more are needed, the result is incomplete.",
)
@json_option("result")
@markdown_option
def command(
    device: str,
    log: str,
    chosen: dict[str, str],
    recorded: str | None,
    explanations: int,
    json_file: str | None,
    markdown_file: str | None,
) -> None:
    """Compare LOG, a recording of the real device, with DEVICE.

    LOG is JSON Lines or CSV: time, chip, event and, optionally, state and value. Reports that both
    agree, or the first line that the model does not allow, with what it would have allowed.
    """
    import sys

    from modecheck.bench.log_comparison import DISAGREES, INCOMPLETE, compare_log
    from modecheck.bench.vocabulary import recorded_chips
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.product.composition import compose
    from modecheck.report.follow_json import comparison_as_json
    from modecheck.report.follow_report import follow_report
    from modecheck.report.whole_files import write_json

    need_all_writable({"json": json_file, "markdown": markdown_file})
    product = compose(told_variants_of(device, chosen, every=False)[0])
    names = None if recorded is None else recorded_chips(product, recorded)
    with reporter_for(sys.stderr, f"following {log}"):
        compared = compare_log(product, log, names, most=explanations)
    if json_file is not None:
        write_json(json_file, comparison_as_json(compared))
    present(follow_report(compared), markdown_file)
    answer = compared.answer
    sys.exit(exit_code(found=answer == DISAGREES, complete=answer != INCOMPLETE))
