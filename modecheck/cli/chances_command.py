"""`modecheck chances`: probabilities, mean times and supply currents."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present


@click.command(
    "chances",
    epilog=exit_codes("every question is answered"),
)
@device_argument
@choice_option
@click.option(
    "--every-option", is_flag=True, help="Show every combination of options side by side."
)
@json_option("numbers")
@markdown_option
@click.option(
    "--bounds",
    is_flag=True,
    help="Also the least and the greatest chance, whatever is chosen where a weight is missing.",
)
@click.option(
    "--max-states",
    type=click.IntRange(min=1),
    metavar="N",
    help="Stop after N states; the result is then incomplete and has no numbers.",
)
def command(
    device: str,
    chosen: dict[str, str],
    every_option: bool,
    bounds: bool,
    json_file: str | None,
    markdown_file: str | None,
    max_states: int | None,
) -> None:
    """Compute probabilities, mean times and currents of DEVICE.

    The questions are those in its section `chances`; the currents are those of its states.
    """
    import sys

    from modecheck.chances.chain import MOST_STATES
    from modecheck.chances.figures import figures_of
    from modecheck.chances.solving import TooSensitive
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.report.chances_report import chances_as_json, chances_report
    from modecheck.report.whole_files import write_json

    need_all_writable({"json": json_file, "markdown": markdown_file})
    devices = told_variants_of(device, chosen, every=every_option)
    try:
        with reporter_for(sys.stderr, "computing chances"):
            told = [figures_of(one, max_states or MOST_STATES, bounds=bounds) for one in devices]
    except TooSensitive as error:
        click.echo(f"incomplete: {error}", err=True)
        sys.exit(exit_code(found=False, complete=False))
    if json_file is not None:
        write_json(json_file, chances_as_json(told))
    present(chances_report(told), markdown_file)
    sys.exit(exit_code(found=False, complete=all(one.complete and one.bounded for one in told)))
