"""`modecheck times`: how long switches, responses and reconnections take, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, write_markdown

if TYPE_CHECKING:
    from modecheck.checks.device_time_bounds import DeviceTimes
    from modecheck.engine.choice import Search


@click.command(
    "times",
    short_help="Report best and worst times of switches and responses.",
    epilog=exit_codes(
        "every response is in time",
        found="a response can take longer than its requirement allows",
    ),
)
@device_argument
@choice_option
@click.option("--scenarios", is_flag=True, help="Show the scenarios of the best and worst times.")
@click.option(
    "--slack",
    is_flag=True,
    help="Find how far each duration may change before a requirement that holds is broken.",
)
@click.option(
    "--explorations",
    type=click.IntRange(min=1),
    default=400,
    show_default=True,
    metavar="N",
    help="The maximum number of explorations for --slack.",
)
@json_option("times")
@markdown_option
@click.option("--to", "folder", metavar="DIR", help="Also draw timing diagrams into this folder.")
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    scenarios: bool,
    slack: bool,
    explorations: int,
    json_file: str | None,
    markdown_file: str | None,
    folder: str | None,
    search: Search,
) -> None:
    """Report the best and worst times of switches and responses.

    Covers DEVICE's mode switches, reconnections, and responses with a time limit.
    """
    import sys
    from dataclasses import replace

    from modecheck.checks.device_time_bounds import times_of
    from modecheck.checks.slack import SlackSearch
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import lines_of
    from modecheck.report.times_report import times_report
    from modecheck.report.whole_files import write_json

    search = replace(search, limits=search.limits.from_now())
    need_all_writable({"json": json_file, "markdown": markdown_file})
    found = told_variants_of(device, chosen, every=False)[0]
    with reporter_for(sys.stderr, "measuring times") as reporter:
        times = times_of(found, search, reporter)
        moved = SlackSearch(found, search, explorations).all() if slack else None
    if json_file is not None:
        from modecheck.report.times_json import times_as_json

        write_json(json_file, times_as_json(times, moved))
    write_markdown(times_report(times, moved, scenarios=True), markdown_file)
    lines = lines_of(times_report(times, moved, scenarios=scenarios), style_for(sys.stdout))
    if folder is not None:
        lines += ["", *_draw(times, folder)]
    show(lines)
    exceeded = any(one.exceeded for one in times.timed)
    known = times.complete and (moved is None or moved.complete)
    sys.exit(exit_code(found=exceeded, complete=known))


def _draw(times: DeviceTimes, folder: str) -> list[str]:
    from pathlib import Path

    from modecheck.draw.picture_files import FileText, write_files
    from modecheck.report.times_pictures import time_pictures

    files = [FileText(name, text) for name, text in time_pictures(times)]
    return [str(path) for path in write_files(files, Path(folder))]
