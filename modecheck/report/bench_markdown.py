"""Bench tests as Markdown with check boxes."""

from __future__ import annotations

import re
from collections.abc import Sequence as Several

from modecheck.report.bench_text import GOALS, summary, title_of, to_do, to_see, words_summary
from modecheck.tours.chip_words import ChipWords
from modecheck.tours.own_machine import WhyNot
from modecheck.tours.plan import BenchTest

SPECIAL = re.compile(r"([\\`*_\[\]<>|#])")


def plain(text: str) -> str:
    """The text, escaped so that Markdown shows it verbatim."""
    return SPECIAL.sub(r"\\\1", text)


def tests_as_markdown(device: str, tests: Several[BenchTest]) -> str:
    """A page with a check box for each step."""
    lines = [f"# Bench test of {plain(device)}", ""]
    for test in tests:
        lines += [f"## {GOALS[test.goal].capitalize()}", ""]
        lines += [f"- {plain(text)}" for text in summary(test)]
        for number, sequence in enumerate(test.sequences, start=1):
            lines += ["", f"### {title_of(number, len(test.sequences)).capitalize()}", ""]
            for place, step in enumerate(sequence.steps, start=sequence.first):
                lines.append(f"- [ ] {place}: **{plain(to_do(step))}**")
                told = to_see(step, in_full=test.goal == "timing")
                lines += [f"  - {plain(text)}" for text in told]
        lines.append("")
    return "\n".join(lines)


def words_as_markdown(device: str, chips: Several[ChipWords | WhyNot]) -> str:
    """A page with a check box for each input."""
    lines = [f"# Bench test of the chips of {plain(device)}", ""]
    for chip in chips:
        lines += [f"## Words that distinguish the states of {plain(chip.chip)}", ""]
        if isinstance(chip, WhyNot):
            lines += ["There are none:", "", *(f"- {plain(why)}" for why in chip.reasons), ""]
            continue
        lines += [*(f"- {plain(text)}" for text in words_summary(chip)), ""]
        for number, word in enumerate(chip.words, start=1):
            lines += [f"### Word {number}", ""]
            lines += [f"- [ ] **{plain(one.told)}**: answers {plain(one.answer)}" for one in word]
            lines.append("")
    return "\n".join(lines)
