"""`modecheck check`: explore a device and report what can go wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import NOTHING_FOUND, exit_code, exit_codes
from modecheck.cli.options import (
    FILE,
    choice_option,
    device_argument,
    exploring_options,
    reduce_option,
)
from modecheck.cli.outputs import (
    OUTPUTS,
    markdown_option,
    need_all_writable,
    output_options,
    present,
    write_markdown,
    write_outputs,
)
from modecheck.cli.showing_options import UNFOLD, showing_options

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.engine.choice import Search
    from modecheck.engine.contract.forked_task import ForkedTask
    from modecheck.model.parts import Device
    from modecheck.report.showing import Showing

CACHED = "cached: nothing has changed since the last check; --no-cache explores again"


@click.command(
    "check",
    epilog=exit_codes(found="findings (with --with: new ones)"),
)
@device_argument
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@click.option(
    "--with",
    "over",
    metavar="FILE",
    type=FILE,
    help="Lay FILE over DEVICE; report what it changes.",
)
@showing_options
@output_options
@markdown_option
@click.option("--no-cache", is_flag=True, help="Explore again even if nothing has changed.")
@click.option(
    "--costs", is_flag=True, help="List the states and seconds that each requirement took."
)
@click.option("--quiet", is_flag=True, help="Print nothing when nothing is found.")
@reduce_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    every_option: bool,
    over: str | None,
    no_cache: bool,
    costs: bool,
    quiet: bool,
    reductions: tuple[str, ...],
    search: Search,
    showing: Showing,
    markdown_file: str | None,
    **outputs: str | None,
) -> None:
    """Explore DEVICE exhaustively and report what can go wrong.

    Each cause is reported once, with the shortest scenario that leads to it. The exit code and the
    files are about all findings, however many are shown.
    """
    import sys
    from dataclasses import replace

    from modecheck.cli.exploring import tell_notes, variants_of
    from modecheck.report.style import show

    files = {name: outputs[f"{name}_file"] for name in OUTPUTS}
    need_all_writable({**files, "markdown": markdown_file})
    devices = variants_of(device, chosen, every=every_option)
    changed = variants_of(device, chosen, every=every_option, over=over) if over else []
    search = replace(
        search,
        symmetry="symmetry" in reductions,
        order="order" in reductions,
        time_acceleration="time" in reductions,
    )
    checking = _Checking(search, cache=not no_cache)
    if over is not None:
        from modecheck.checks.differences import difference
        from modecheck.report.trial_json import trial_as_json
        from modecheck.report.trial_report import trial_report
        from modecheck.report.whole_files import write_json

        verdict, new = checking.both(devices, changed)
        found = difference(verdict, new)
        if path := files.pop("json"):
            write_json(path, trial_as_json(verdict, new, found, over))
        write_outputs(new, files)
        report = trial_report(verdict, new, found, over, showing=showing)
        code = exit_code(found=bool(found.new), complete=found.complete)
    else:
        from modecheck.report.check_report import verdict_report

        verdict = checking.verdict(devices)
        write_outputs(verdict, files)
        report = verdict_report(verdict, costs=costs, showing=showing)
        code = exit_code(found=bool(verdict.findings), complete=verdict.complete)
    if quiet and code == NOTHING_FOUND:
        write_markdown(report, markdown_file)
    else:
        present(report, markdown_file, unfold=UNFOLD)
        tell_notes([*devices, *changed])
        if checking.cached:
            show([CACHED], sys.stderr)
    sys.exit(code)


class _Checking:
    """Explores, or recalls a stored verdict; `cached` is set once one was recalled."""

    def __init__(self, search: Search, *, cache: bool) -> None:
        self._search = search
        self._cache = cache
        self.cached = False

    def both(self, old: list[Device], new: list[Device]) -> tuple[Verdict, Verdict]:
        """The verdicts on a device without and with the overlay; computed in parallel where neither
        is stored.
        """
        from modecheck.checks.verdict_cache import check_forked

        begun = None
        if self._cache and not (self._knows(old) or self._knows(new)):
            begun = check_forked(old, self._search)
        if begun is None:
            first = self.verdict(old)
            size = max(one.exploration.state_count for one in first.explored)
            return first, self.verdict(new, expected=size)
        second = self.verdict(new)
        return self._from(begun, old), second

    def _from(self, begun: ForkedTask[Verdict], devices: list[Device]) -> Verdict:
        """The verdict of the forked task, stored for the next check."""
        from datetime import date

        from modecheck.checks.verdict_cache import keep, key_of

        found = begun.result()
        if found is None:
            return self.verdict(devices)
        keep(key_of(devices, self._search, date.today()), found)
        return found

    def _knows(self, devices: list[Device]) -> bool:
        """Whether a verdict is stored from an earlier check."""
        from datetime import date

        from modecheck.checks.verdict_cache import is_kept, key_of

        return is_kept(key_of(devices, self._search, date.today()))

    def verdict(self, devices: list[Device], *, expected: int = 0) -> Verdict:
        """The verdict on a device in these variants, with progress on a terminal; `expected` is the
        approximate number of states of each, where known.
        """
        import sys
        from dataclasses import replace

        from modecheck.checks.verdict import check
        from modecheck.checks.verdict_cache import check_or_recall
        from modecheck.cli.exploring import reporter_for

        search = replace(self._search, expected=expected)
        with reporter_for(sys.stderr) as reporter:
            if not self._cache:
                return check(devices, search=search, reporter=reporter)
            found, recalled = check_or_recall(devices, search, reporter)
        self.cached = self.cached or recalled
        return found
