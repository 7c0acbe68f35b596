"""`modecheck faults`: which faults a device survives, and what each single one does."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, write_markdown

if TYPE_CHECKING:
    from modecheck.engine.choice import Search

MOST_OF_EACH, MOST_IN_ALL = 2, 3
"""The usual bounds: sets of more faults than three are rarely looked at (common practice, no
source), and each fault more multiplies the states."""


@click.command(
    "faults",
    short_help="List the smallest sets of faults that break DEVICE.",
    epilog=exit_codes(
        "nothing breaks within the budgets of the model",
        found="something breaks within the budgets of the model",
    ),
)
@device_argument
@choice_option
@click.option(
    "--at-most",
    "most",
    type=click.IntRange(min=1, max=255),
    default=MOST_OF_EACH,
    show_default=True,
    metavar="N",
    help="Count up to N of each fault.",
)
@click.option(
    "--in-all",
    type=click.IntRange(min=1, max=255),
    default=MOST_IN_ALL,
    show_default=True,
    metavar="N",
    help="Look for sets of up to N faults.",
)
@click.option("--people", is_flag=True, help="Also list what each act of an actor does.")
@click.option("--scenarios", is_flag=True, help="Show the shortest scenario of each cut set.")
@json_option("table")
@markdown_option
@click.option("--csv", "csv_file", metavar="FILE", help="Also write the effects as CSV.")
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    most: int,
    in_all: int,
    people: bool,
    scenarios: bool,
    json_file: str | None,
    markdown_file: str | None,
    csv_file: str | None,
    search: Search,
) -> None:
    """List the smallest sets of faults that break DEVICE, and what each fault does.

    For each requirement and finding the minimal cut sets; for each single fault which modes and
    pairings it costs, whether they come back without help, and after how long.
    """
    import sys

    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.cutsets.fault_table import fault_table
    from modecheck.report.fault_report import FOLDED, SHOWN, fault_report
    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import lines_of
    from modecheck.report.whole_files import write_json, write_whole

    need_all_writable({"json": json_file, "markdown": markdown_file, "csv": csv_file})
    found = told_variants_of(device, chosen, every=False)[0]
    with reporter_for(sys.stderr, "counting faults") as reporter:
        table = fault_table(found, most, in_all, search, reporter, people=people)
    if json_file is not None:
        from modecheck.report.fault_files import faults_as_json

        write_json(json_file, faults_as_json(table))
    if csv_file is not None:
        from modecheck.report.fault_files import faults_as_csv

        write_whole(csv_file, faults_as_csv(table))
    write_markdown(fault_report(table, scenarios=FOLDED), markdown_file)
    blocks = fault_report(table, scenarios=SHOWN if scenarios else "")
    show(lines_of(blocks, style_for(sys.stdout)))
    sys.exit(exit_code(found=table.broken_as_modelled, complete=table.complete))
