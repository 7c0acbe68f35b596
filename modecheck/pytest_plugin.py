"""A pytest plugin: a device file is a test file, with one test for each requirement and each class
of findings.

It collects the files named by the setting `modecheck_devices`, and device files given as arguments.
A test run without either imports nothing but this module. A device is explored when the first of
its tests runs, once for all of them.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from functools import cached_property
from glob import glob
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.report.cases import Case

DEVICES, EVERY_OPTION = "modecheck_devices", "modecheck_every_option"
ENDINGS = (".yaml", ".yml")
DEVICE_KEY = re.compile(r"^(device|based_on)\s*:", re.MULTILINE)
"""How to tell a device file from other YAML without reading all of it."""
LONGEST_HEAD = 65_536
"""How many characters are searched for that key."""
NAMED = pytest.StashKey[frozenset[Path]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Two settings for the project's pytest configuration file."""
    told = "Device files to check, one per line; * and ** match names and folders."
    parser.addini(DEVICES, told, type="linelist", default=[])
    told = "Check every combination of a device's options, not only the first choices."
    parser.addini(EVERY_OPTION, told, type="bool", default=False)


def pytest_configure(config: pytest.Config) -> None:
    """A run without arguments collects the named devices, wherever they are."""
    if not config.getini(DEVICES) or config.args_source is pytest.Config.ArgsSource.ARGS:
        return
    visited = [_absolute(config.invocation_params.dir, argument) for argument in config.args]
    for device in sorted(_named(config)):
        if not any(device.is_relative_to(folder) for folder in visited):
            config.args.append(str(device))


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> DeviceFile | None:
    """A device file that the setting names, or that is itself an argument."""
    if file_path.suffix not in ENDINGS:
        return None
    if file_path in _named(parent.config) or _is_asked_for(file_path, parent):
        return DeviceFile.from_parent(parent, path=file_path)
    return None


def _is_asked_for(path: Path, parent: pytest.Collector) -> bool:
    if not parent.session.isinitpath(path):
        return False
    with path.open(encoding="utf-8", errors="replace") as file:
        return DEVICE_KEY.search(file.read(LONGEST_HEAD)) is not None


def _named(config: pytest.Config) -> frozenset[Path]:
    """The files that the setting names, looked for once; an error where a line names none."""
    if NAMED not in config.stash:
        config.stash[NAMED] = frozenset(_looked_for(config))
    return config.stash[NAMED]


def _looked_for(config: pytest.Config) -> set[Path]:
    found: set[Path] = set()
    for line in config.getini(DEVICES):
        paths = [Path(path) for path in glob(str(config.rootpath / line), recursive=True)]
        if not paths:
            raise pytest.UsageError(f"{DEVICES}: {line!r} matches no file in {config.rootpath}")
        found.update(paths)
    return found


def _absolute(folder: Path, argument: str) -> Path:
    return Path(os.path.normpath(folder / argument.partition("::")[0]))


class DeviceFile(pytest.File):
    """The tests of a device. A file that is invalid is a collection error."""

    def collect(self) -> Iterable[pytest.Item]:
        from modecheck.model.devices import read_device
        from modecheck.model.errors import ModecheckError
        from modecheck.report.cases import CLASS, REQUIREMENT, class_names

        try:
            device = read_device(self._file)
        except ModecheckError as error:
            raise self.CollectError(str(error)) from error
        for need in device.requirements.values():
            yield DeviceTest.of(self, REQUIREMENT, need.name, need.place.line)
        for code in class_names():
            yield DeviceTest.of(self, CLASS, code, 1)

    @property
    def _file(self) -> str:
        return os.path.relpath(self.path)

    @cached_property
    def verdict(self) -> Verdict:
        """The verdict of `check`. An internal error of modecheck is an error of the first test."""
        from modecheck.checks.verdict_cache import check_or_recall
        from modecheck.engine.choice import Search
        from modecheck.model.devices import read_device, variants

        devices = [read_device(self._file)]
        if self.config.getini(EVERY_OPTION):
            devices = [read_device(self._file, choice) for choice in variants(devices[0])]
        return check_or_recall(devices, Search())[0]

    @cached_property
    def cases(self) -> dict[tuple[str, str], Case]:
        """The cases by kind and name."""
        from modecheck.report.cases import cases_of

        return {(case.kind, case.name): case for case in cases_of(self.verdict)}

    def in_full(self, case: Case) -> str:
        """The findings of a case with their scenarios, or why it is undecided."""
        from modecheck.report.terminal import finding_in_full

        told = [finding_in_full(one) for one in case.findings]
        text = "\n\n".join("\n".join(lines) for lines in told) or case.reason
        return f"{text}\nin the device {self._file}"


class CaseFailed(Exception):
    """A case did not pass; carries the report."""


class DeviceTest(pytest.Item):
    """A requirement, or a class of findings."""

    kind = ""
    case = ""
    line = 1

    @classmethod
    def of(cls, parent: DeviceFile, kind: str, case: str, line: int) -> DeviceTest:
        """The test of a case; its name is `requirement:NAME` or `findings:CODE`."""
        test: DeviceTest = cls.from_parent(parent, name=f"{kind}:{case}")
        test.kind, test.case, test.line = kind, case, line
        return test

    def runtest(self) -> None:
        """Pass only where something is known to be well."""
        from modecheck.report.cases import PASSED, SKIPPED

        device = self.parent
        assert isinstance(device, DeviceFile)
        case = device.cases[self.kind, self.case]
        if case.outcome == SKIPPED:
            pytest.skip(case.reason)
        if case.outcome != PASSED:
            raise CaseFailed(device.in_full(case))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *args: Any) -> Any:
        """The scenario, in place of a traceback through modecheck."""
        if isinstance(excinfo.value, CaseFailed):
            return str(excinfo.value)
        return super().repr_failure(excinfo, *args)

    def reportinfo(self) -> tuple[Path, int, str]:
        return self.path, self.line - 1, self.name
