"""`modecheck repair`: which small changes would take findings away, and what each would cost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

if TYPE_CHECKING:
    from collections.abc import Sequence

    from modecheck.checks.explored import Verdict
    from modecheck.checks.findings import Finding
    from modecheck.engine.choice import Search
    from modecheck.model.parts import Device
    from modecheck.repair.proposals import Repairs


@click.command(
    "repair",
    epilog=exit_codes(
        "a repair was found, or there is nothing to repair",
        found="every candidate was tried, and none was kept",
        incomplete="none was kept before a bound was hit",
    ),
)
@device_argument
@click.argument("findings", nargs=-1, metavar="[FINDING]...")
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@click.option(
    "--most",
    type=click.IntRange(min=1),
    default=5,
    show_default=True,
    metavar="N",
    help="The maximum number of repairs to show.",
)
@click.option(
    "--to",
    "folder",
    metavar="DIR",
    help="Also write each repair into this new folder, as a file for --with and as a device.",
)
@json_option("repairs")
@markdown_option
@exploring_options
def command(
    device: str,
    findings: tuple[str, ...],
    chosen: dict[str, str],
    every_option: bool,
    most: int,
    folder: str | None,
    json_file: str | None,
    markdown_file: str | None,
    search: Search,
) -> None:
    """Look for small changes that take findings of DEVICE away.

    Tries single changes, then pairs, each as if it were laid over DEVICE, and keeps those that take
    away every FINDING (by default all) and break nothing else. A FINDING is named as check names
    it; name one of several that have nothing to do with each other. The report says what was
    checked, never that a repair is what the device should do.
    """
    import sys

    from modecheck.cli.exploring import told_variants_of
    from modecheck.report.repair_report import repair_report

    need_all_writable({"json": json_file, "markdown": markdown_file})
    if folder is not None:
        from modecheck.report.whole_folder import need_new

        need_new(folder)
    devices = told_variants_of(device, chosen, every=every_option)
    found = _found(devices, findings, search, most)
    _write(found, most, folder, json_file)
    present(repair_report(found, most), markdown_file)
    none = bool(found.wanted) and not found.proposals
    known = found.complete or bool(found.proposals)
    sys.exit(exit_code(found=none and found.complete, complete=known))


def _found(
    devices: Sequence[Device], findings: tuple[str, ...], search: Search, most: int
) -> Repairs:
    """The repairs, with progress on a terminal."""
    import sys
    from dataclasses import replace

    from modecheck.checks.verdict import check
    from modecheck.cli.exploring import reporter_for
    from modecheck.repair.proposals import find_repairs, not_explored

    search = replace(search, limits=search.limits.from_now())
    with reporter_for(sys.stderr, "looking for repairs") as reporter:
        verdict = check(devices, search=search, reporter=reporter)
        stops = [one.exploration.stopped_by for one in verdict.explored]
        if any(stops):
            return not_explored(verdict, next(filter(None, stops)))
        wanted = _wanted(verdict, findings)
        return find_repairs(devices, verdict, wanted, search, assessed=most)


def _wanted(verdict: Verdict, findings: tuple[str, ...]) -> tuple[Finding, ...]:
    """The findings with these names, or all. Raises `InvalidInput` for a name of none."""
    from modecheck.model.errors import InputError, InvalidInput, nearest_name

    known = {one.id: one for one in verdict.findings}
    unknown = [name for name in findings if name not in known]
    if not unknown:
        return tuple(known[name] for name in dict.fromkeys(findings)) or verdict.findings
    errors = []
    for name in unknown:
        near = nearest_name(name, known)
        expected = f"did you mean {near!r}?" if near else f"one of {', '.join(known) or 'none'}"
        errors.append(InputError(f"the device has no finding {name!r}", expected=expected))
    raise InvalidInput(errors)


def _write(found: Repairs, most: int, folder: str | None, json_file: str | None) -> None:
    if json_file is not None:
        from modecheck.report.repair_json import repairs_as_json
        from modecheck.report.whole_files import write_json

        write_json(json_file, repairs_as_json(found))
    if folder is not None and found.proposals:
        from modecheck.report.repair_json import repair_files
        from modecheck.report.whole_folder import write_new_folder

        write_new_folder(folder, dict(repair_files(found, most, folder)))
