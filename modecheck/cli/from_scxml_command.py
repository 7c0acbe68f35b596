"""`modecheck from-scxml`: a chart in SCXML as a chip file."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_codes
from modecheck.cli.options import FILE


@click.command(
    "from-scxml",
    short_help="Read a chart in SCXML 1.0 and write it as a chip file.",
    epilog=exit_codes("written", incomplete=""),
)
@click.argument("chart", type=FILE, metavar="FILE")
@click.option("--to", "file", type=FILE, metavar="FILE", help="Write to FILE instead of printing.")
def command(chart: str, file: str | None) -> None:
    """Read a chart in SCXML 1.0 and write it as a chip file, which a device can name.

    What a model cannot say is an error with its place; what is left out or read differently is
    named on standard error, and in comments of the chip file: modecheck guide formats.
    """
    import sys

    from modecheck.cli.outputs import need_all_writable
    from modecheck.exchange.chip_yaml import chip_yaml
    from modecheck.exchange.scxml_reading import read_scxml
    from modecheck.report.style import show, style_for
    from modecheck.report.whole_files import write_whole

    need_all_writable({"to": file})
    read = read_scxml(chart)
    text = chip_yaml(read.chip)
    if file is not None:
        write_whole(file, text)
    else:
        click.echo(text, nl=False)
    style = style_for(sys.stderr)
    lines = (f"{one.place}: note: {one.text}" for one in read.remarks)
    show([line for one in lines for line in style.wrapped(one, hanging="    ")], sys.stderr)
