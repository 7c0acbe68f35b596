"""Check a device, with progress on a terminal, or recall the verdict of an earlier check."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.checks.verdict_cache import check_forked, check_or_recall, is_kept, keep, key_of
from modecheck.cli.exploring import reporter_for
from modecheck.engine.choice import Search
from modecheck.engine.contract.forked_task import ForkedTask
from modecheck.model.parts import Device


class Checking:
    """Explores, or recalls a stored verdict; `cached` is set once one was recalled."""

    def __init__(self, search: Search, *, cache: bool) -> None:
        self._search = search
        self._cache = cache
        self.cached = False

    def both(self, old: list[Device], new: list[Device]) -> tuple[Verdict, Verdict]:
        """The verdicts on a device without and with the overlay; computed in parallel where neither
        is stored.
        """
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
        found = begun.result()
        if found is None:
            return self.verdict(devices)
        keep(key_of(devices, self._search, date.today()), found)
        return found

    def _knows(self, devices: list[Device]) -> bool:
        """Whether a verdict is stored from an earlier check."""
        return is_kept(key_of(devices, self._search, date.today()))

    def verdict(self, devices: list[Device], *, expected: int = 0) -> Verdict:
        """The verdict on a device in these variants, with progress on a terminal; `expected` is the
        approximate number of states of each, where known.
        """
        search = replace(self._search, expected=expected)
        with reporter_for(sys.stderr) as reporter:
            if not self._cache:
                return check(devices, search=search, reporter=reporter)
            found, recalled = check_or_recall(devices, search, reporter)
        self.cached = self.cached or recalled
        return found
