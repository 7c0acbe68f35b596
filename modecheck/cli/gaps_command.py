"""`modecheck gaps`: what each state does with each event, and where nothing is specified."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options

if TYPE_CHECKING:
    from modecheck.engine.choice import Search


@click.command(
    "gaps",
    epilog=exit_codes(
        "no gap",
        found="a message can arrive in a state that does not handle it",
    ),
)
@device_argument
@choice_option
@click.option("--json", "json_file", metavar="FILE", help="Also write the tables as JSON.")
@exploring_options
def command(device: str, chosen: dict[str, str], json_file: str | None, search: Search) -> None:
    """Show what each state of each chip does with each event."""
    import json
    import sys

    from modecheck.checks.gaps import gap_tables
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.engine.choice import explore_with
    from modecheck.product.composition import compose
    from modecheck.report.gap_text import gap_tables_as_json, gap_tables_as_text
    from modecheck.report.style import show, style_for
    from modecheck.report.whole_files import need_writable, write_whole

    if json_file is not None:
        need_writable(json_file)
    product = compose(told_variants_of(device, chosen, every=False)[0])
    with reporter_for(sys.stderr, "looking for gaps") as reporter:
        exploration = explore_with(product, search, reporter)
    tables = gap_tables(exploration)
    if json_file is not None:
        write_whole(json_file, json.dumps(gap_tables_as_json(tables), indent=2) + "\n")
    lines = gap_tables_as_text(tables, style_for(sys.stdout))
    if not exploration.complete:
        lines += ["", f"incomplete: stopped by {exploration.stopped_by}"]
    show(lines)
    unanswered = any(event.link for table in tables for _, event in table.gaps())
    sys.exit(exit_code(found=unanswered, complete=exploration.complete))
