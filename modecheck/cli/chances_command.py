"""`modecheck chances`: probabilities, mean times and supply currents."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument


@click.command(
    "chances",
    epilog=exit_codes("every question is answered"),
)
@device_argument
@choice_option
@click.option(
    "--every-option", is_flag=True, help="Show every combination of options side by side."
)
@click.option("--json", "json_file", metavar="FILE", help="Also write the numbers as JSON.")
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
    json_file: str | None,
    max_states: int | None,
) -> None:
    """Compute probabilities, mean times and currents of DEVICE.

    The questions are those in its section `chances`; the currents are those of its states.
    """
    import sys

    from modecheck.chances.chain import MOST_STATES
    from modecheck.chances.figures import figures_of
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.report.chances_text import chances_as_json, chances_as_text
    from modecheck.report.style import show, style_for
    from modecheck.report.whole_files import need_writable, write_json

    if json_file is not None:
        need_writable(json_file)
    devices = told_variants_of(device, chosen, every=every_option)
    with reporter_for(sys.stderr, "computing chances"):
        told = [figures_of(one, max_states or MOST_STATES) for one in devices]
    if json_file is not None:
        write_json(json_file, chances_as_json(told))
    show(chances_as_text(told, style_for(sys.stdout)))
    sys.exit(exit_code(found=False, complete=all(one.complete for one in told)))
