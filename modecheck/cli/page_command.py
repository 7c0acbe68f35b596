"""`modecheck page`: one HTML file in which a reviewer reads and steps through everything."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.watching import Pass, repeated, watch_option

if TYPE_CHECKING:
    from modecheck.cutsets.fault_table import FaultTable
    from modecheck.engine.choice import Search
    from modecheck.engine.search.exploration import Reporter
    from modecheck.model.parts import Device


@click.command(
    "page",
    epilog=exit_codes(found="findings (the page is written, too)"),
)
@device_argument
@click.option("--to", "file", required=True, metavar="FILE", help="The HTML file to write.")
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@click.option(
    "--faults", is_flag=True, help="Also say which faults the device survives; see the guide."
)
@watch_option
@exploring_options
def command(
    device: str,
    file: str,
    chosen: dict[str, str],
    every_option: bool,
    faults: bool,
    watch: bool,
    search: Search,
) -> None:
    """Check DEVICE and write one self-contained HTML file.

    Verdict, requirements, findings with scenarios to step through, modes, statecharts, gap tables,
    and what was explored.
    """
    import sys

    from modecheck.checks.verdict import check
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.cli.outputs import present
    from modecheck.engine.contract.phases import phase
    from modecheck.report.page import page_as_html
    from modecheck.report.since_report import LastRun
    from modecheck.report.style import show
    from modecheck.report.whole_files import need_writable, write_whole

    last = LastRun()

    def once() -> Pass:
        need_writable(file)
        devices = told_variants_of(device, chosen, every=every_option)
        with reporter_for(sys.stderr) as reporter:
            verdict = check(devices, search=search, reporter=reporter)
            table = _fault_table(devices[0], search, reporter) if faults else None
            with phase("making the page"):
                page = page_as_html(verdict, table)
        write_whole(file, page)
        if since := last.since(verdict):
            present(since, None)
        show([file])
        code = exit_code(found=bool(verdict.findings), complete=verdict.complete)
        return Pass(code, devices, verdict.interrupted)

    sys.exit(repeated(once, [device], watch=watch))


def _fault_table(device: Device, search: Search, reporter: Reporter) -> FaultTable:
    """That of the first variant, with what actors do."""
    from modecheck.cli.faults_command import MOST_IN_ALL, MOST_OF_EACH
    from modecheck.cutsets.fault_table import fault_table

    return fault_table(device, MOST_OF_EACH, MOST_IN_ALL, search, reporter, people=True)
