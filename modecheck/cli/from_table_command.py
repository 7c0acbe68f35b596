"""`modecheck from-table`: a table of states and events as a chip file."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_codes
from modecheck.cli.options import FILE


@click.command(
    "from-table",
    short_help="Read a table in CSV and write it as a chip file.",
    epilog=exit_codes("written", incomplete=""),
)
@click.argument("table", type=FILE, metavar="FILE")
@click.option("--chip", default="", metavar="NAME", help="The chip, of a table of several.")
@click.option("--to", "file", type=FILE, metavar="FILE", help="Write to FILE instead of printing.")
def command(table: str, chip: str, file: str | None) -> None:
    """Read a table in CSV and write it as a chip file, which a device can name.

    It has a row for each transition (columns state, event, condition, action, next), or a row for
    each state and a column for each event: modecheck guide formats. modecheck gaps writes both.
    """
    from modecheck.cli.outputs import need_all_writable
    from modecheck.exchange.chip_yaml import chip_yaml
    from modecheck.exchange.table_reading import read_table
    from modecheck.report.whole_files import write_whole

    need_all_writable({"to": file})
    text = chip_yaml(read_table(table, chip))
    if file is not None:
        write_whole(file, text)
    else:
        click.echo(text, nl=False)
