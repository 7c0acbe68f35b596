"""`modecheck firmware`: C code for chips, and the proof that it does what they do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

if TYPE_CHECKING:
    from modecheck.engine.choice import Search


@click.command(
    "firmware",
    short_help="Write a chip's behaviour as C99, for your firmware.",
    epilog=exit_codes(
        "written, up to date, or proven",
        found="findings that are not accepted, stale files, or code that differs",
    ),
)
@device_argument
@choice_option
@click.option(
    "--chip",
    "chips",
    multiple=True,
    metavar="NAME",
    help="The chip (default: every chip). May be given several times.",
)
@click.option("--to", "folder", metavar="DIR", help="Write the files to DIR.")
@click.option(
    "--style",
    type=click.Choice(["switch", "table"]),
    default="switch",
    show_default=True,
    help="switch: a function for each event, with a case for each state; table: constant data and "
    "one small interpreter.",
)
@click.option(
    "--header-only",
    is_flag=True,
    help="Write only the names of the model and its gap table, for code of your own.",
)
@click.option(
    "--check",
    "only_compare",
    is_flag=True,
    help="Write nothing: say which files in DIR are not as they would be written now.",
)
@click.option(
    "--prove",
    is_flag=True,
    help="Compile the code, and compare it with the model in every case that the device reaches, "
    "and on 1,000 random walks.",
)
@click.option(
    "--even-with-findings",
    is_flag=True,
    help="Write code although the check has findings; its header then says so.",
)
@json_option("figures of the proof")
@markdown_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    chips: tuple[str, ...],
    folder: str | None,
    style: str,
    header_only: bool,
    only_compare: bool,
    prove: bool,
    even_with_findings: bool,
    json_file: str | None,
    markdown_file: str | None,
    search: Search,
) -> None:
    """Write a chip's behaviour as C99: no heap, no recursion, no library.

    The code is that of a device that was checked: its header says what was found, what was assumed,
    and from which model it was made.
    """
    import sys

    from modecheck.cli.exploring import told_variants_of
    from modecheck.cli.firmware_job import FirmwareJob
    from modecheck.report.firmware_report import firmware_as_json, firmware_report
    from modecheck.report.whole_files import write_json

    if folder is None and not prove:
        raise click.UsageError("nothing to do: give --to DIR, --prove, or both")
    if only_compare and folder is None:
        raise click.UsageError("--check compares the files of a folder: give --to DIR")
    if header_only and prove:
        raise click.UsageError("--header-only writes no code that could be proven")
    need_all_writable({"json": json_file, "markdown": markdown_file})
    model = told_variants_of(device, chosen, every=False)[0]
    job = FirmwareJob(model, chips, "header" if header_only else style, search)
    result = job.run(
        folder, only_compare=only_compare, prove=prove, even_with_findings=even_with_findings
    )
    if json_file is not None:
        write_json(json_file, firmware_as_json(result))
    present(firmware_report(result), markdown_file, f"{model.name}: firmware")
    sys.exit(exit_code(found=not result.fine, complete=result.complete))
