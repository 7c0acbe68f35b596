"""`modecheck draw`: the diagrams of one device or of several."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import FILE, choice_option, exploring_options
from modecheck.cli.watching import Pass, repeated, watch_option

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.draw.albums import Hung
    from modecheck.draw.gallery import AnyDrawing
    from modecheck.draw.picture_files import FileText
    from modecheck.engine.choice import Search
    from modecheck.engine.search.exploration import Reporter
    from modecheck.model.errors import ModecheckError
    from modecheck.model.parts import Device


def parsed_folds(
    _ctx: click.Context, _param: click.Parameter, values: tuple[str, ...]
) -> list[tuple[str, ...]]:
    """Each `hub.state,player.state` split at its commas."""
    return [tuple(part.strip() for part in value.split(",")) for value in values]


@click.command(
    "draw",
    epilog=exit_codes(
        "drawn (with --check: nothing is stale)",
        found="with --check: pictures are stale",
        incomplete="some pictures are missing, or a bound was hit",
    ),
)
@click.argument("devices", nargs=-1, required=True, metavar="DEVICE...", type=FILE)
@click.option("--to", "folder", required=True, metavar="DIR", help="The folder to write to.")
@click.option(
    "--fold",
    "folds",
    multiple=True,
    metavar="PARTS",
    callback=parsed_folds,
    help="Fold the product by mode, CHIP.state or CHIP.VARIABLE, separated by commas. May be given "
    "several times.",
)
@click.option("--check", is_flag=True, help="Write nothing; exit with 1 if any file is stale.")
@choice_option
@watch_option
@exploring_options
def command(
    devices: tuple[str, ...],
    folder: str,
    folds: list[tuple[str, ...]],
    check: bool,
    chosen: dict[str, str],
    watch: bool,
    search: Search,
) -> None:
    """Draw the chips, links, statecharts and modes of DEVICE.

    Also draws the scenario of each finding. Every diagram is written as SVG, and also as DOT where
    DOT can express it; the bytes are reproducible. Several devices get one folder each, and pages
    that show their diagrams.
    """
    import sys

    from modecheck.draw.layout import stand_in

    if remark := stand_in():
        click.echo(remark, err=True)
    job = _Job(_Drawing(chosen, search, folds), devices, Path(folder), check)
    sys.exit(repeated(job.run, devices, watch=watch))


@dataclass(slots=True)
class _Job:
    """Draws devices into a folder, or looks which files there are stale. After the first time only
    what has changed is written, and named.
    """

    drawing: _Drawing
    devices: tuple[str, ...]
    folder: Path
    check: bool
    again: bool = False

    def run(self) -> Pass:
        from modecheck.cli.exploring import variants_of
        from modecheck.draw.picture_files import outdated, stale_files, write_files
        from modecheck.report.style import show

        remarks = list[str]()
        # An error in any of them is reported before a file is written.
        chosen = self.drawing.chosen
        read = [one for file in self.devices for one in variants_of(file, chosen, every=False)]
        files = self._files(read, remarks)
        if self.again and not self.check:
            files = outdated(files, self.folder)
        stale = stale_files(files, self.folder) if self.check else []
        lines = [] if self.check else [str(path) for path in write_files(files, self.folder)]
        said = ["nothing is stale"] if self.check and not stale else []
        said += ["no picture has changed"] if self.again and not (self.check or lines) else []
        show([*lines, *stale, *said, *remarks])
        self.again = True
        return Pass(exit_code(found=bool(stale), complete=not remarks), read)

    def _files(self, read: list[Device], remarks: list[str]) -> Iterator[FileText]:
        if len(self.devices) == 1:
            return _one(self.drawing, self.devices[0], remarks)
        return _several(self.drawing, self.devices, read, self.folder, remarks)


@dataclass(frozen=True, slots=True)
class _Drawing:
    """How devices are drawn; picklable, since several devices are drawn in several processes."""

    chosen: dict[str, str]
    search: Search
    folds: list[tuple[str, ...]]

    def verdict(self, device: str, reporter: Reporter | None = None) -> Verdict:
        """The verdict whose diagrams are drawn."""
        from modecheck.checks.verdict import check
        from modecheck.cli.exploring import variants_of

        found = variants_of(device, self.chosen, every=False)
        return check(found, search=self.search, reporter=reporter)

    def pictures(self, verdict: Verdict) -> Iterator[AnyDrawing]:
        from modecheck.draw.gallery import every_drawing

        return every_drawing(verdict.explored[0], verdict.findings, self.folds)

    def drawn(self, device: str) -> _Drawn:
        """All diagrams of one of several devices, or the error in its file."""
        from modecheck.draw.albums import hung
        from modecheck.model.errors import ModecheckError

        try:
            verdict = self.verdict(device)
        except ModecheckError as error:
            return _Drawn(error=error)
        said: list[str] = []
        pictures = tuple(hung(self.pictures(verdict), tell=said.append))
        about = verdict.device
        return _Drawn(
            about.name,
            about.about,
            len(verdict.findings),
            pictures,
            tuple(said),
            _remark(device, verdict),
        )


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A device's name and description, its number of findings, its diagrams, what could not be
    drawn, and why it is incomplete; or only the error in its file.
    """

    name: str = ""
    about: str = ""
    findings: int = 0
    pictures: tuple[Hung, ...] = ()
    said: tuple[str, ...] = ()
    remark: str = ""
    error: ModecheckError | None = None


def _remark(device: str, verdict: Verdict) -> str:
    space = verdict.explored[0].exploration
    if space.complete:
        return ""
    return f"{device}: incomplete: stopped by {space.stopped_by}; drawn as far as explored"


def _one(drawing: _Drawing, device: str, remarks: list[str]) -> Iterator[FileText]:
    """The files of a single device, directly in the folder."""
    import sys

    from modecheck.cli.exploring import reporter_for, tell_notes
    from modecheck.draw.picture_files import rendered

    said: list[str] = []
    with reporter_for(sys.stderr, "drawing") as reporter:
        verdict = drawing.verdict(device, reporter)
        files = list(rendered(drawing.pictures(verdict), tell=said.append))
    tell_notes([verdict.device])
    remarks += filter(None, [_remark(device, verdict)])
    for words in said:
        click.echo(words, err=True)
    yield from files


def _several(
    drawing: _Drawing,
    devices: tuple[str, ...],
    read: list[Device],
    folder: Path,
    remarks: list[str],
) -> Iterator[FileText]:
    """The files of several devices, one folder for each, and the pages that show them."""
    import os
    import sys
    import time
    from concurrent.futures import ProcessPoolExecutor

    from modecheck.cli.exploring import tell_notes
    from modecheck.draw.albums import Album, Shelf, folders_for
    from modecheck.report.progress import patience

    tell_notes(read)
    shelf, folders = Shelf(folder), folders_for(devices)
    began = time.monotonic()
    with ProcessPoolExecutor(min(os.cpu_count() or 1, len(devices))) as pool:
        for number, drawn in enumerate(pool.map(drawing.drawn, devices)):
            if drawn.error is not None:
                pool.shutdown(wait=False, cancel_futures=True)
                raise drawn.error
            if sys.stderr.isatty() or time.monotonic() - began > patience():
                click.echo(f"{number + 1} of {len(devices)}: {devices[number]}", err=True)
            for words in drawn.said:
                click.echo(words, err=True)
            remarks += filter(None, [drawn.remark])
            album = Album(folders[number], devices[number], drawn.name, drawn.about, drawn.findings)
            yield from shelf.files(album, drawn.pictures)
    yield shelf.index()
