"""`modecheck times`: how long switches, responses and reconnections take, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options

if TYPE_CHECKING:
    from modecheck.checks.device_time_bounds import DeviceTimes
    from modecheck.checks.slack import AllSlack
    from modecheck.engine.choice import Search


@click.command(
    "times",
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
@click.option("--json", "json_file", metavar="FILE", help="Also write the times as JSON.")
@click.option("--markdown", "markdown_file", metavar="FILE", help="Also write them as Markdown.")
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
    from modecheck.cli.outputs import need_all_writable
    from modecheck.report.style import show, style_for
    from modecheck.report.times_text import times_as_text

    search = replace(search, limits=search.limits.from_now())
    need_all_writable({"json": json_file, "markdown": markdown_file})
    found = told_variants_of(device, chosen, every=False)[0]
    with reporter_for(sys.stderr, "measuring times") as reporter:
        times = times_of(found, search, reporter)
        moved = SlackSearch(found, search, explorations).all() if slack else None
    _write(times, moved, json_file, markdown_file)
    lines = times_as_text(times, moved, style_for(sys.stdout), scenarios=scenarios)
    if folder is not None:
        lines += ["", *_draw(times, folder)]
    show(lines)
    exceeded = any(one.exceeded for one in times.timed)
    known = times.complete and (moved is None or moved.complete)
    sys.exit(exit_code(found=exceeded, complete=known))


def _write(
    times: DeviceTimes, slack: AllSlack | None, json_file: str | None, markdown_file: str | None
) -> None:
    from modecheck.report.times_json import times_as_json
    from modecheck.report.times_markdown import times_as_markdown
    from modecheck.report.whole_files import write_json, write_whole

    if json_file is not None:
        write_json(json_file, times_as_json(times, slack))
    if markdown_file is not None:
        write_whole(markdown_file, times_as_markdown(times, slack))


def _draw(times: DeviceTimes, folder: str) -> list[str]:
    from pathlib import Path

    from modecheck.draw.picture_files import FileText, write_files
    from modecheck.report.times_pictures import time_pictures

    files = [FileText(name, text) for name, text in time_pictures(times)]
    return [str(path) for path in write_files(files, Path(folder))]
