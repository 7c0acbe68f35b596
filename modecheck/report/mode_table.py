"""The table of mode switches: a row and a column for each mode."""

from __future__ import annotations

from modecheck.checks.explored import Explored
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.report.style import Style


def mode_table(one: Explored, style: Style) -> list[str]:
    """Rows of aligned cells; switches that pass through another mode are listed below."""
    rows = mode_rows(one)
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = [f"  {rows[0][0].ljust(widths[0])}  {_row(rows[0][1:], widths[1:])}"]
    lines += [f"  {row[0].ljust(widths[0])}  {_row(row[1:], widths[1:])}" for row in rows[1:]]
    for line in (*switches_in_words(one), *map(ending_in_words, one.endings)):
        lines += style.wrapped(line, "  ", "    ")
    return lines


def mode_rows(one: Explored) -> list[list[str]]:
    """The header row, then a row for each mode; the first cell of each is a name."""
    names = list(one.modes)
    switches = {(switch.source, switch.target): switch for switch in one.switches}
    rows = [["", *names]]
    for source in names:
        cells = [
            _cell(switches.get((source, target)), complete=one.exploration.complete)
            for target in names
        ]
        rows.append([source, *cells])
    return rows


def switches_in_words(one: Explored) -> list[str]:
    """What each asterisk in the table means: the switches that pass through another mode."""
    return [_remark(switch) for switch in one.switches if _remark(switch)]


def ending_in_words(ending: SwitchEnding) -> str:
    """How long switches out of a mode can take, and whether messages can be lost in them."""
    left = f"after {ending.mode}"
    steps = "no upper bound on the number of steps"
    if ending.at_most is not None:
        plural = "" if ending.at_most == 1 else "s"
        steps = f"chips and links take at most {ending.at_most} step{plural}"
    lost = "" if ending.loss is None else "; messages in flight can be lost"
    return f"{left}: {steps}{lost}"


def _row(cells: list[str], widths: list[int]) -> str:
    return "  ".join(cell.rjust(width) for cell, width in zip(cells, widths, strict=True))


def _cell(switch: ModeSwitch | None, *, complete: bool) -> str:
    """Fewest steps; a stopped exploration cannot say what never happens."""
    if switch is None:
        return "·"
    if not switch.possible:
        return "never" if complete else "?"
    return f"{switch.steps}" if switch.direct else f"{switch.steps}*"


def _remark(switch: ModeSwitch) -> str:
    if not switch.possible or switch.direct:
        return ""
    return f"* {switch.source} to {switch.target} only through {', '.join(switch.via) or 'itself'}"
