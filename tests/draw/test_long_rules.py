"""Large statecharts stay usable: long rules are told below the picture, and no word is lost."""

from __future__ import annotations

from modecheck.draw.labels import rule_label, rule_phrases
from modecheck.draw.sketch import TEXT_SIZE
from modecheck.draw.statechart import statechart
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.draw.making import picture_of
from tests.draw.reading_svg import squeezed
from tests.draw.test_pictures import A4_LANDSCAPE, LEAST_PRINT
from tests.models.bundled import TANDEM

POINTS_PER_UNIT = 0.75
"""96 units and 72 points make an inch."""


def test_long_rules_of_a_large_chart_are_told_below_it() -> None:
    """Every trigger of tandem's hub stands where it happens, and every rule in full somewhere."""
    hub = read_device(str(TANDEM)).chips["hub"]
    (table,) = [table for table in statechart(hub).tables if table.title == "long rules"]
    numbers = {label: number for number, label in table.rows}
    words = picture_of(hub).words
    for rule in hub.rules:
        first, *others = (squeezed(phrase.text) for phrase in rule_phrases(rule))
        assert first in words
        number = numbers.get(rule_label(rule))
        if number is None:
            assert all(word in words for word in others)
        else:
            assert squeezed(f"{rule.phrase} {number}") in words
            assert squeezed(rule_label(rule)) in words


def test_tandems_hub_fits_a_page() -> None:
    """A4 landscape, in print no smaller than that of data sheets."""
    hub = read_device(str(TANDEM)).chips["hub"]
    picture = picture_of(hub)
    frame = picture.outline(picture.named("composite", "chip hub"))
    scale = min(A4_LANDSCAPE[0] / frame.width, A4_LANDSCAPE[1] / frame.height)
    assert TEXT_SIZE * scale * POINTS_PER_UNIT > LEAST_PRINT


def test_a_smaller_chart_says_everything_where_it_happens(stage: Device) -> None:
    """35 rules are not too many."""
    assert "long rules" not in [table.title for table in statechart(stage.chips["hub"]).tables]
