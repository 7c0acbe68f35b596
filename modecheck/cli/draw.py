"""`modecheck draw`: the pictures of a device, or of several."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from modecheck.cli.options import choice_option, exploring_options

if TYPE_CHECKING:
    from modecheck.checks.verdict import Verdict
    from modecheck.draw.files import FileText
    from modecheck.draw.gallery import AnyDrawing
    from modecheck.engine.choice import Search


def parsed_folds(
    _ctx: click.Context, _param: click.Parameter, values: tuple[str, ...]
) -> list[tuple[str, ...]]:
    """Each `hub.state,player.state` as its parts."""
    return [tuple(part.strip() for part in value.split(",")) for value in values]


@click.command("draw")
@click.argument("devices", nargs=-1, required=True, metavar="DEVICE...")
@click.option("--to", "folder", required=True, metavar="DIR", help="The folder to write to.")
@click.option(
    "--fold",
    "folds",
    multiple=True,
    metavar="PARTS",
    callback=parsed_folds,
    help="Fold the product by 'mode', CHIP.state or CHIP.VARIABLE, with commas between them.",
)
@click.option("--check", is_flag=True, help="Write nothing; exit with 1 when files are stale.")
@choice_option
@exploring_options
def command(
    devices: tuple[str, ...],
    folder: str,
    folds: list[tuple[str, ...]],
    check: bool,
    chosen: dict[str, str],
    search: Search,
) -> None:
    """Draw DEVICE: its chips and links, each chip's statechart, its modes, each scenario found.

    Every picture is written as SVG, and as DOT text where that can hold it, the same bytes each
    run. Several devices get a folder each, and pages that show their pictures.
    """
    import sys

    from modecheck.cli.exit_codes import exit_code
    from modecheck.draw.files import stale_files, write_files
    from modecheck.draw.layout import stand_in
    from modecheck.report.style import show

    if remark := stand_in():
        click.echo(remark, err=True)
    drawing = _Drawing(chosen, search, folds)
    target = Path(folder)
    files = drawing.files(devices, target)
    stale = stale_files(files, target) if check else []
    lines = [] if check else [str(path) for path in write_files(files, target)]
    said = ["nothing is stale"] if check and not stale else []
    show([*lines, *stale, *said, *drawing.remarks])
    sys.exit(exit_code(found=bool(stale), complete=not drawing.remarks))


class _Drawing:
    """Checks devices and draws them; `remarks` tell which of them were not explored completely."""

    def __init__(
        self, chosen: dict[str, str], search: Search, folds: list[tuple[str, ...]]
    ) -> None:
        self._chosen = chosen
        self._search = search
        self._folds = folds
        self.remarks: list[str] = []

    def files(self, devices: tuple[str, ...], folder: Path) -> Iterator[FileText]:
        """One device's files lie in the folder itself, several have a folder each inside."""
        return self._one(devices[0]) if len(devices) == 1 else self._several(devices, folder)

    def _one(self, device: str) -> Iterator[FileText]:
        from modecheck.draw.files import rendered

        verdict = self._verdict(device)
        yield from rendered(self._pictures(verdict), tell=_tell())

    def _several(self, devices: tuple[str, ...], folder: Path) -> Iterator[FileText]:
        from modecheck.draw.albums import Album, Shelf, folders_for

        shelf = Shelf(folder, _tell())
        for device, own in zip(devices, folders_for(devices), strict=True):
            verdict = self._verdict(device)
            about = verdict.device
            album = Album(own, device, about.name, about.about, len(verdict.findings))
            yield from shelf.files(album, self._pictures(verdict))
        yield shelf.index()

    def _verdict(self, device: str) -> Verdict:
        import sys

        from modecheck.checks.verdict import check
        from modecheck.cli.exploring import reporter_for, variants_of

        found = variants_of(device, self._chosen, every=False)
        with reporter_for(sys.stderr) as reporter:
            verdict = check(found, search=self._search, reporter=reporter)
        space = verdict.explored[0].exploration
        if not space.complete:
            remark = f"incomplete: stopped by {space.stopped_by}; pictures show what was seen"
            self.remarks.append(f"{device}: {remark}")
        return verdict

    def _pictures(self, verdict: Verdict) -> Iterator[AnyDrawing]:
        from modecheck.draw.gallery import every_drawing

        return every_drawing(verdict.explored[0], verdict.findings, self._folds)


def _tell() -> Callable[[str], None]:
    from functools import partial

    return partial(click.echo, err=True)
