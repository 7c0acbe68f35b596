"""What `modecheck firmware` does: check the device, write or compare the files, prove the code."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.checks.verdict_cache import check_or_recall
from modecheck.cli.exploring import reporter_for
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.phases import count, phase
from modecheck.engine.search.exploration import Reporter
from modecheck.firmware.c_bench import Bench
from modecheck.firmware.c_names import prefix_of
from modecheck.firmware.chip_files import ChipFiles, stale
from modecheck.firmware.firmware_result import FirmwareResult, ProvenChip
from modecheck.firmware.proof import proved
from modecheck.firmware.proof_cases import CasesOf, gather
from modecheck.firmware.random_walks import walked
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.report.whole_files import write_whole

MOST_STATES = 2_000
"""Innermost states of a chip: the time to check it grows with their square, seconds for a thousand.
Nobody reads such code beside a chart.
"""


@dataclass(frozen=True, slots=True)
class FirmwareJob:
    """Chips of a device, by name (none: every one that is no actor), in one style."""

    device: Device
    chips: Sequence[str]
    style: str
    search: Search

    def run(
        self, folder: str | None, *, only_compare: bool, prove: bool, even_with_findings: bool
    ) -> FirmwareResult:
        """Do what was asked, and report it. Nothing is written where findings forbid it."""
        names = self._names()
        with reporter_for(sys.stderr, "checking") as reporter:
            verdict, _ = check_or_recall([self.device], self.search, reporter)
        result = FirmwareResult(self.device, complete=verdict.complete)
        if verdict.findings and not even_with_findings:
            result.refused = tuple(finding.id for finding in verdict.findings)
            return result
        files = [ChipFiles(verdict, name, self.style) for name in names]
        self._need_apart(files)
        if folder is not None and only_compare:
            result.stale = tuple(path for one in files for path in stale(one.texts, folder))
            result.compared = sum(len(one.texts) for one in files)
        elif folder is not None:
            result.written = tuple(_written(folder, files))
        if prove:
            with reporter_for(sys.stderr, "proving") as reporter:
                self._prove(files, result, reporter)
        return result

    def _names(self) -> list[str]:
        """Raises `InvalidInput` where a name is that of no chip."""
        known = [chip.name for chip in self.device.chips.values() if not chip.actor]
        wrong = [name for name in self.chips if name not in known]
        if wrong:
            raise InvalidInput([self._unknown(name, known) for name in wrong])
        names = list(dict.fromkeys(self.chips)) or known
        self._need_small(names)
        self._need_own_files(names)
        return names

    def _need_small(self, names: list[str]) -> None:
        """Raises `InvalidInput` for chips that are too large, before anything takes long."""
        chips = [self.device.chips[name] for name in names]
        large = [one for one in chips if len(one.leaves) > MOST_STATES]
        if large:
            expected = f"at most {MOST_STATES:,} states; a counter is a variable"
            raise InvalidInput(
                InputError(f"{one.name} has {len(one.leaves):,} states", one.place, expected)
                for one in large
            )

    def _need_own_files(self, names: list[str]) -> None:
        """Raises `InvalidInput` where two chips would be written to the same files, as some disks
        see them: large letters or small ones.
        """
        first: dict[str, str] = {}
        alike = [(name, first.setdefault(prefix_of(name).lower(), name)) for name in names]
        errors = [
            InputError(
                f"{name} and {other} would both be written to {prefix_of(name)}.h",
                self.device.chips[name].place,
                "another name, or one of them with --chip",
            )
            for name, other in alike
            if name != other
        ]
        if errors:
            raise InvalidInput(errors)

    def _need_apart(self, files: list[ChipFiles]) -> None:
        """Raises `InvalidInput` where chips of one controller, whose code is one program, have the
        same name in C.
        """
        first: dict[tuple[str, str], str] = {}
        both: dict[tuple[str, str], str] = {}
        for one in files:
            runs_on = self.device.chips[one.chip].runs_on
            for name in one.code.words.names.outside if runs_on else ():
                other = first.setdefault((runs_on, name), one.chip)
                if other != one.chip:
                    both.setdefault((one.chip, other), name)
        if both:
            raise InvalidInput(
                InputError(
                    f"{name} would be in the code of {chip} and in that of {other}",
                    self.device.chips[chip].place,
                    "another name for one of them: they run on one controller",
                )
                for (chip, other), name in both.items()
            )

    def _unknown(self, name: str, known: list[str]) -> InputError:
        actor = name in self.device.chips
        message = (
            f"{name!r} is an actor, which runs no firmware"
            if actor
            else f"{self.device.name} has no chip {name!r}"
        )
        expected = f"one of {', '.join(known)}" if known else "a device with chips"
        return InputError(message, self.device.place, expected, nearest_name(name, known))

    def _prove(self, files: list[ChipFiles], result: FirmwareResult, reporter: Reporter) -> None:
        space = explore_with(compose(self.device), self.search, reporter)
        result.complete = result.complete and space.complete
        chips = [CasesOf(one.code.plan, space) for one in files]
        with phase("looking at what each chip is given"):
            gather(space, chips, lambda states, _: count(states))
        for one, cases in zip(files, chips, strict=True):
            bench = Bench(one.code)
            with phase(f"comparing {one.chip}"):
                proof = proved(bench, cases, one.texts)
            with phase(f"walking with {one.chip}"):
                result.proven.append(
                    ProvenChip(one.chip, proof, walked(bench, one.texts, self.device))
                )


def _written(folder: str, files: list[ChipFiles]) -> list[str]:
    """Write all files, once all of them are known."""
    texts = {os.path.join(folder, name): text for one in files for name, text in one.texts.items()}
    try:
        os.makedirs(folder, exist_ok=True)
    except OSError as error:
        message = f"{folder!r} cannot be written: {error.strerror or error}"
        raise InvalidInput([InputError(message, expected="a folder")]) from error
    for path, text in texts.items():
        write_whole(path, text)
    return list(texts)
