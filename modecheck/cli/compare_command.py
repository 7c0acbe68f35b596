"""`modecheck compare`: what differs between two versions of a device."""

from __future__ import annotations

from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import NOTHING_FOUND, exit_code, exit_codes
from modecheck.cli.options import FILE, choice_option, exploring_options
from modecheck.cli.outputs import (
    json_option,
    markdown_option,
    need_all_writable,
    present,
    write_markdown,
)

if TYPE_CHECKING:
    from modecheck.engine.choice import Search
    from modecheck.model.parts import Device
    from modecheck.review.device_comparison import ComparisonRequest, DeviceComparison, Origin

FILES = ("json", "markdown", "page")


@click.command(
    "compare",
    epilog=exit_codes(
        "no new finding",
        found="a new finding (with --same: or a behaviour that differs)",
        incomplete="a result is unknown: a bound was hit",
    ),
)
@click.argument("devices", nargs=-1, required=True, metavar="[OLD] NEW", type=FILE)
@click.option(
    "--from",
    "revision",
    metavar="REV",
    help="Take OLD from this revision of NEW's git repository.",
)
@choice_option
@click.option("--every-option", is_flag=True, help="Compare every combination of options.")
@click.option(
    "--alike",
    "equivalence",
    type=click.Choice(["strong", "divergence", "branching", "weak"]),
    default="branching",
    show_default=True,
    help="The equivalence that counts as unchanged; divergence also compares whether invisible "
    "steps can go on forever, strong each of them.",
)
@click.option(
    "--see",
    "see",
    multiple=True,
    metavar="NAMES",
    help="What is visible, instead of the messages of each medium: messages, LINK.MESSAGE, links, "
    "media, signals, CHIP.RULE and chips (their rules), separated by commas. May be given several "
    "times.",
)
@click.option("--same", is_flag=True, help="Exit with 1 even if only a behaviour differs.")
@json_option("comparison")
@markdown_option
@click.option(
    "--page", "page_file", metavar="FILE", help="Also write one HTML file with both charts."
)
@click.option("--no-cache", is_flag=True, help="Explore again even if nothing has changed.")
@click.option("--quiet", is_flag=True, help="Print nothing when there are no new findings.")
@exploring_options
def command(
    devices: tuple[str, ...],
    revision: str | None,
    chosen: dict[str, str],
    every_option: bool,
    equivalence: str,
    see: tuple[str, ...],
    same: bool,
    json_file: str | None,
    markdown_file: str | None,
    page_file: str | None,
    no_cache: bool,
    quiet: bool,
    search: Search,
) -> None:
    """Compare the device OLD with the device NEW.

    Reports what changed in the model, which findings are new or fixed, in which modes and over
    which media both behave alike, and what to test and certify again.
    """
    import sys

    from modecheck.cli.exploring import tell_notes
    from modecheck.compare.refinement import Equivalence
    from modecheck.report.compare_report import comparison_report
    from modecheck.review.device_comparison import ComparisonRequest

    wanted = 1 if revision is not None else 2
    if len(devices) != wanted:
        usage = (
            "NEW alone with --from REV" if revision is not None else "OLD and NEW, or --from REV"
        )
        raise click.UsageError(f"{len(devices)} devices given; expected {usage}")
    files = dict(zip(FILES, (json_file, markdown_file, page_file), strict=True))
    need_all_writable(files)
    asked = ComparisonRequest(Equivalence(equivalence), see)
    comparing = _Comparing(chosen, every_option, not no_cache, asked, search)
    with ExitStack() as stack:
        old, origin = devices[0], None
        if revision is not None:
            old, origin = _fetched(stack, devices[-1], revision)
        comparison = comparing.compared(old, devices[-1], origin)
        _write(comparison, files)
        found = comparison.broken or (same and bool(comparison.different))
        decided = comparison.complete and not (same and comparison.retest.durations)
        code = exit_code(found=found, complete=decided)
        report = comparison_report(comparison)
        if quiet and code == NOTHING_FOUND:
            write_markdown(report, markdown_file)
        else:
            present(report, markdown_file)
            tell_notes(comparing.read)
    sys.exit(code)


def _fetched(stack: ExitStack, path: str, revision: str) -> tuple[str, Origin]:
    """The file of a revision, which exists while the stack is open, and its origin."""
    from modecheck.cli.revisions import file_at_revision
    from modecheck.review.device_comparison import Origin

    folder, old = stack.enter_context(file_at_revision(path, revision))
    return old, Origin(f"{revision}:{path}", folder, revision)


class _Comparing:
    """Explores and compares, with progress on a terminal; the notes of `read` are reported."""

    def __init__(
        self,
        chosen: dict[str, str],
        every: bool,
        cache: bool,
        asked: ComparisonRequest,
        search: Search,
    ) -> None:
        self._chosen, self._every, self._cache = chosen, every, cache
        self._asked, self._search = asked, search
        self.read: list[Device] = []

    def compared(self, old: str, new: str, origin: Origin | None) -> DeviceComparison:
        """Both files are read before anything is explored."""
        import sys

        from modecheck.checks.verdict import check
        from modecheck.checks.verdict_cache import check_or_recall
        from modecheck.cli.exploring import reporter_for, variants_of
        from modecheck.review.device_comparison import compared

        sides = [variants_of(path, self._chosen, every=self._every) for path in (old, new)]
        # The notes on an old revision were reported when it was new.
        self.read = [*(sides[0] if origin is None else ()), *sides[1]]
        verdicts = []
        with reporter_for(sys.stderr, "comparing") as reporter:
            for devices in sides:
                if self._cache:
                    verdicts.append(check_or_recall(devices, self._search, reporter)[0])
                else:
                    verdicts.append(check(devices, search=self._search, reporter=reporter))
            return compared(verdicts[0], verdicts[1], self._asked, self._search, reporter, origin)


def _write(comparison: DeviceComparison, files: dict[str, str | None]) -> None:
    from modecheck.report.compare_json import comparison_as_json
    from modecheck.report.whole_files import write_json, write_whole

    if path := files["json"]:
        write_json(path, comparison_as_json(comparison))
    if path := files["page"]:
        from modecheck.report.page.comparison_page import comparison_page

        write_whole(path, comparison_page(comparison))
