"""Figures as a table: a row for each, a column for each variant; below it, their assumptions."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from modecheck.chances.figures import Figure, Figures
from modecheck.model.wording import counted
from modecheck.report.document_tree import BLANK, FAINT, Block, Grid, Paragraph, Title

NOTHING_ASKED = (
    "nothing to compute: the device has no questions under 'chances', and its states no 'current'; "
    "modecheck guide numbers explains both"
)
LONGEST_FRACTION = 15
"""Characters; a longer fraction is shown as a decimal only, and in full in the JSON."""
SCALES = {
    "s": ((3600, "h"), (60, "min"), (1, "s"), (1e-3, "ms"), (1e-6, "µs")),
    "A": ((1, "A"), (1e-3, "mA"), (1e-6, "µA")),
    "h": ((24, "days"), (1, "h")),
}
"""Display units and their size in the base unit, largest first."""


def chances_report(told: Sequence[Figures]) -> list[Block]:
    """The table, then a paragraph on each variant; or that the device asks nothing."""
    labels = dict.fromkeys(figure.label for one in told for figure in one.figures)
    if not labels and all(one.complete for one in told):
        return [Title(told[0].device.name), Paragraph(NOTHING_ASKED)]
    columns = [_column(one, list(labels)) for one in told]
    rows = tuple(zip(["", *labels], *columns, strict=True))
    below = (Paragraph(_rests_on(one)) for one in told)
    return [Title(told[0].device.name), Grid(rows, tone=FAINT, spaced=True), BLANK, *below]


def chances_as_json(told: Sequence[Figures]) -> list[dict[str, Any]]:
    """One object for each variant."""
    return [
        {
            "variant": one.device.variant,
            "states": one.states,
            "complete": one.complete and one.bounded,
            "exact": one.exact,
            "residual": one.residual,
            "choices_assumed_equally_likely": one.assumed,
            "races_of_timers": one.races,
            "left_out": list(one.left_out),
            "recurrent_classes": one.classes,
            "figures": [_figure_as_json(figure) for figure in one.figures],
        }
        for one in told
    ]


def _figure_as_json(figure: Figure) -> dict[str, Any]:
    exact = isinstance(figure.value, Fraction)
    between = figure.bounds
    return {
        **({"between": [between.low, between.high]} if between is not None else {}),
        "label": figure.label,
        "value": None if figure.value is None else float(figure.value),
        "fraction": str(figure.value) if exact else None,
        "unit": figure.unit,
    }


def _column(one: Figures, labels: Sequence[str]) -> list[str]:
    head = one.device.choices.replace(", ", " ") or "value"
    known = {figure.label: figure_as_text(figure) for figure in one.figures}
    return [head, *(known.get(label, "·") for label in labels)]


def figure_as_text(figure: Figure) -> str:
    """A number with its unit; a short fraction is shown beside its decimal."""
    value = figure.value
    if value is None:
        return "undefined"
    if figure.bounds is not None:
        low, high = (f"{bound:.6g}" for bound in (figure.bounds.low, figure.bounds.high))
        return low if low == high else f"{low} to {high}"
    if figure.unit in SCALES:
        return _scaled(float(value), figure.unit)
    exact = str(value) if isinstance(value, Fraction) and value.denominator > 1 else ""
    shown = f"{float(value):.6g}"
    return f"{exact} = {shown}" if exact and len(exact) <= LONGEST_FRACTION else shown


def _scaled(value: float, unit: str) -> str:
    if not value:
        return f"0 {unit}"
    for size, name in SCALES[unit]:
        if value >= size * (1 - 1e-9):
            return f"{value / size:.4g} {name}"
    size, name = SCALES[unit][-1]
    return f"{value / size:.4g} {name}"


def _rests_on(one: Figures) -> str:
    name = f"{one.device.choices}: " if one.device.variant else ""
    if not one.complete:
        return f"{name}incomplete: more than {one.states - 1:,} states, so no figures are given"
    solved = "exact" if one.exact else f"largest residual {one.residual:.1e}"
    parts = [f"{name}{one.states:,} states, {solved}"]
    if not one.bounded:
        parts.append("incomplete: too many states for bounds, if anything may be chosen")
    if one.assumed:
        parts.append(f"{counted(one.assumed, 'choice')} without a weight: assumed equally likely")
    if one.races:
        parts.append(
            f"timers race in {counted(one.races, 'state')}: the winner is chosen by weight"
        )
    if one.left_out:
        parts.append(f"left out, without a probability: {', '.join(one.left_out)}")
    if one.silent:
        parts.append(f"assumed to draw no current: {', '.join(one.silent)}")
    if any(figure.label.endswith(": median") for figure in one.figures):
        parts[0] += " (latencies in floating point)"
    if one.classes is None:
        parts.append("too many recurrent classes: no long-run averages")
    elif one.classes > 1:
        parts.append(
            f"the device ends in one of {one.classes} recurrent classes; "
            "averages are weighted by the probability of each"
        )
    return "; ".join(parts)
