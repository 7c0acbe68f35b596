"""`modecheck gaps`: what each state does with each event, and where nothing is specified."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

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
@json_option("tables")
@markdown_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    json_file: str | None,
    markdown_file: str | None,
    search: Search,
) -> None:
    """Show what each state of each chip does with each event."""
    import json
    import sys

    from modecheck.checks.gaps import gap_tables
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.engine.choice import explore_with
    from modecheck.product.composition import compose
    from modecheck.report.gap_report import gap_report, gap_tables_as_json
    from modecheck.report.whole_files import write_whole

    need_all_writable({"json": json_file, "markdown": markdown_file})
    product = compose(told_variants_of(device, chosen, every=False)[0])
    with reporter_for(sys.stderr, "looking for gaps") as reporter:
        exploration = explore_with(product, search, reporter)
    tables = gap_tables(exploration)
    if json_file is not None:
        write_whole(json_file, json.dumps(gap_tables_as_json(tables), indent=2) + "\n")
    title = f"{product.device.name}: what each state does with each event"
    present(gap_report(tables, exploration.stopped_by), markdown_file, title)
    unanswered = any(event.link for table in tables for _, event in table.gaps())
    sys.exit(exit_code(found=unanswered, complete=exploration.complete))
