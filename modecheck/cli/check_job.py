"""What `modecheck check` does: check each device, show its report, and write the files."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from modecheck.checks.differences import difference
from modecheck.checks.explored import Verdict
from modecheck.cli.checking import Checking
from modecheck.cli.exit_codes import FOUND, INCOMPLETE, NOTHING_FOUND, exit_code
from modecheck.cli.exploring import tell_notes, variants_of
from modecheck.cli.outputs import present, write_markdown, write_outputs
from modecheck.cli.showing_options import UNFOLD
from modecheck.cli.watching import Pass
from modecheck.engine.choice import Search
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.parts import Device
from modecheck.report import document_tree as doc
from modecheck.report.check_report import verdict_report
from modecheck.report.showing import Showing
from modecheck.report.since_report import LastRun
from modecheck.report.style import show

CACHED = "cached: nothing has changed since the last check; --no-cache explores again"


@dataclass(frozen=True, slots=True)
class _Read:
    """A device in its variants, without and with the overlay."""

    file: str
    variants: list[Device]
    changed: list[Device]


@dataclass(frozen=True, slots=True)
class _Checked:
    """The verdict on a device, its report, the result as JSON, and the exit code."""

    verdict: Verdict
    report: list[doc.Block]
    data: dict[str, Any]
    code: int


@dataclass(frozen=True)
class CheckJob:
    """Devices with what was asked of them. `files` are those to write, by the name of an output."""

    devices: Sequence[str]
    chosen: dict[str, str]
    search: Search
    showing: Showing
    files: Mapping[str, str | None]
    every_option: bool = False
    over: str | None = None
    cache: bool = True
    costs: bool = False
    quiet: bool = False
    _last: LastRun = field(default_factory=LastRun)

    @property
    def named(self) -> list[str]:
        """The files that the user named."""
        return [*self.devices, *([self.over] if self.over is not None else [])]

    def run(self) -> Pass:
        """Check all. Every file is read before anything is explored."""
        read = list(self._read())
        results: list[_Checked] = []
        for one in read:
            checking = Checking(self.search, cache=self.cache)
            results.append(self._checked(checking, one))
            last = len(results) == len(read) or results[-1].verdict.interrupted
            if last:
                self._write(results, [other.file for other in read[len(results) :]])
            self._show(results, one, cached=checking.cached)
            if last:
                break
        if len(read) > 1 and not (self.quiet and _code_of(results, read) == NOTHING_FOUND):
            present(list(_summary(results, read)), None)
        devices = [device for one in read for device in (*one.variants, *one.changed)]
        return Pass(_code_of(results, read), devices, results[-1].verdict.interrupted)

    def _read(self) -> Iterator[_Read]:
        """The devices. Raises `InvalidInput` with the errors of all of them."""
        found, errors = [], list[InputError]()
        for file in self.devices:
            try:
                found.append(_Read(file, self._variants(file), self._variants(file, self.over)))
            except InvalidInput as error:
                errors += (one for one in error.errors if one not in errors)
        if errors:
            raise InvalidInput(errors)
        yield from found

    def _variants(self, file: str, over: str | None = "") -> list[Device]:
        if over is None:
            return []
        return variants_of(file, self.chosen, every=self.every_option, over=over or None)

    def _checked(self, checking: Checking, read: _Read) -> _Checked:
        if self.over is None:
            from modecheck.report.as_json import verdict_as_json

            verdict = checking.verdict(read.variants)
            report = verdict_report(verdict, costs=self.costs, showing=self.showing)
            code = exit_code(found=bool(verdict.findings), complete=verdict.complete)
            return _Checked(verdict, report, verdict_as_json(verdict), code)
        from modecheck.report.trial_json import trial_as_json
        from modecheck.report.trial_report import trial_report

        old, new = checking.both(read.variants, read.changed)
        found = difference(old, new)
        report = trial_report(old, new, found, self.over, showing=self.showing)
        code = exit_code(found=bool(found.new), complete=found.complete)
        return _Checked(new, report, trial_as_json(old, new, found, self.over), code)

    def _show(self, results: Sequence[_Checked], read: _Read, *, cached: bool) -> None:
        *earlier, result = results
        if since := self._last.since(result.verdict, len(earlier)):
            present(since, None)
        if self._is_silent(result):
            return
        if not all(map(self._is_silent, earlier)):
            show([""])
        present(result.report, None, unfold=UNFOLD)
        tell_notes([*read.variants, *read.changed])
        if cached:
            show([CACHED], sys.stderr)

    def _is_silent(self, result: _Checked) -> bool:
        return self.quiet and result.code == NOTHING_FOUND

    def _write(self, results: Sequence[_Checked], left_out: Sequence[str]) -> None:
        """Write each file that was requested: several devices stand in it one after the other."""
        blocks = [block for one in results for block in one.report]
        blocks += (doc.Paragraph(f"interrupted before {file}") for file in left_out)
        write_markdown(blocks, self.files["markdown"])
        write_outputs([one.verdict for one in results], [one.data for one in results], self.files)


def _code_of(results: Sequence[_Checked], read: Sequence[_Read]) -> int:
    """Findings of one device count more than that another one is incomplete."""
    codes = {one.code for one in results}
    if len(results) < len(read):
        codes.add(INCOMPLETE)
    return next((code for code in (FOUND, INCOMPLETE) if code in codes), NOTHING_FOUND)


def _summary(results: Sequence[_Checked], read: Sequence[_Read]) -> Iterator[doc.Block]:
    """The devices by what was found."""
    by_code: dict[int, list[str]] = {FOUND: [], INCOMPLETE: [], NOTHING_FOUND: []}
    for one, result in zip(read, results, strict=False):
        by_code[result.code].append(one.file)
    yield doc.BLANK
    yield doc.BLANK
    said = {FOUND: "with findings", INCOMPLETE: "incomplete", NOTHING_FOUND: "nothing found"}
    for code, files in by_code.items():
        if files:
            yield doc.Item(f"{said[code]}: {', '.join(files)}", "", indent=0)
    left = [one.file for one in read[len(results) :]]
    if left:
        yield doc.Item(f"not checked after the interruption: {', '.join(left)}", "", indent=0)
