"""`modecheck gaps`: what each state does with each event, and where nothing is specified."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import FILE, choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

if TYPE_CHECKING:
    from modecheck.checks.gaps import GapTable
    from modecheck.engine.choice import Search
    from modecheck.model.parts import Device


@click.command(
    "gaps",
    epilog=exit_codes(
        "no gap",
        found="a message can arrive in a state that does not handle it",
    ),
)
@device_argument
@choice_option
@click.option("--chip", metavar="NAME", help="Only this chip (default: every chip).")
@click.option(
    "--csv",
    "csv_file",
    type=FILE,
    metavar="FILE",
    help="Also write the tables as CSV, with what the rules ask for and do in the cells.",
)
@click.option(
    "--rows",
    "rows_file",
    type=FILE,
    metavar="FILE",
    help="Also write the chip as CSV with a row for each rule; needs --chip.",
)
@json_option("tables")
@markdown_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    chip: str | None,
    csv_file: str | None,
    rows_file: str | None,
    json_file: str | None,
    markdown_file: str | None,
    search: Search,
) -> None:
    """Show what each state of each chip does with each event.

    modecheck from-table reads what --csv and --rows write of a chip: modecheck guide formats.
    """
    import json
    import sys

    from modecheck.checks.gaps import gap_tables
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.engine.choice import explore_with
    from modecheck.product.composition import compose
    from modecheck.report.gap_report import gap_report, gap_tables_as_json
    from modecheck.report.whole_files import write_whole

    if rows_file is not None and chip is None:
        raise click.UsageError("--rows writes the rules of one chip: give --chip NAME")
    files = {"csv": csv_file, "rows": rows_file, "json": json_file, "markdown": markdown_file}
    need_all_writable(files)
    product = compose(told_variants_of(device, chosen, every=False)[0])
    if chip is not None:
        _need_chip(product.device, chip)
    with reporter_for(sys.stderr, "looking for gaps") as reporter:
        exploration = explore_with(product, search, reporter)
    tables = [one for one in gap_tables(exploration) if chip in (None, one.chip)]
    if json_file is not None:
        write_whole(json_file, json.dumps(gap_tables_as_json(tables), indent=2) + "\n")
    _write_csv(product.device, tables, csv_file)
    _write_rows(product.device, chip, rows_file)
    title = f"{product.device.name}: what each state does with each event"
    present(gap_report(tables, exploration.stopped_by), markdown_file, title)
    unanswered = any(event.link for table in tables for _, event in table.gaps())
    sys.exit(exit_code(found=unanswered, complete=exploration.complete))


def _need_chip(device: Device, chip: str) -> None:
    from modecheck.model.errors import InputError, InvalidInput, nearest_name

    if chip not in device.chips:
        expected = f"one of {', '.join(device.chips)}"
        near = nearest_name(chip, device.chips)
        message = f"{device.name} has no chip {chip!r}"
        raise InvalidInput([InputError(message, device.place, expected, near)])


def _write_csv(device: Device, tables: list[GapTable], file: str | None) -> None:
    from modecheck.exchange.table_cells import csv_text
    from modecheck.exchange.table_gaps import gap_matrix
    from modecheck.report.whole_files import write_whole

    if file is not None:
        write_whole(file, csv_text(gap_matrix(device, tables)))


def _write_rows(device: Device, chip: str | None, file: str | None) -> None:
    """The rules of a chip; what a table cannot say stands on standard error."""
    import sys

    from modecheck.exchange.table_cells import csv_text
    from modecheck.exchange.table_writing import table_of
    from modecheck.report.style import show, style_for
    from modecheck.report.whole_files import write_whole

    if file is None or chip is None:
        return
    table = table_of(device, device.chips[chip])
    write_whole(file, csv_text(table.rows))
    style = style_for(sys.stderr)
    told = (f"{one.place}: note: {one.text}" for one in table.unsaid)
    show([line for one in told for line in style.wrapped(one, hanging="    ")], sys.stderr)
