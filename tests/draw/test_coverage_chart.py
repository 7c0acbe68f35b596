"""Coverage on a statechart: what was never reached and never taken, and not by colour alone."""

from __future__ import annotations

from pathlib import Path

from modecheck.checks.coverage import Coverage, coverage_of
from modecheck.draw.gallery import Drawing, coverage_drawings, render_svg
from modecheck.draw.palette import STROKES
from modecheck.draw.statechart import coverage_chart
from modecheck.draw.stylesheet import stylesheet
from modecheck.engine.search.exploration import explore
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.draw.flaws import flaws
from tests.draw.making import device_of
from tests.draw.reading_svg import Picture, title_of, words_of

LAMP = """
    device: test
    chips:
      lamp:
        variables: {broken: {bool: true}}
        states: {dark: {rest: true}, lit: {rest: true}, burnt: {rest: true}}
        rules:
          light: {in: dark, on: switched, to: lit}
          darken: {in: lit, on: switched, to: dark}
          burn: {in: lit, if: broken, to: burnt}
          blink: {in: dark, if: broken, do: [broken = false]}
    actors:
      somebody: {states: [there], rules: [{signal: switched}]}
"""


def lamp(folder: Path) -> tuple[Device, Coverage]:
    device = device_of(folder, LAMP)
    return device, coverage_of(explore(compose(device)))


def picture_of(folder: Path, *, complete: bool = True) -> Picture:
    device, coverage = lamp(folder)
    sketch = coverage_chart(device.chips["lamp"], coverage, complete=complete)
    return Picture(render_svg(Drawing(sketch)))


def test_what_was_never_reached_is_dashed_and_says_so(tmp_path: Path) -> None:
    """One state of three; its outline is dashed by the style sheet."""
    picture = picture_of(tmp_path)
    unseen = [group for group in picture.groups("rest") if "unseen" in group.attrib["class"]]
    assert [words_of(group) for group in unseen] == [["burnt", "never reached"]]
    assert ".unseen .outline" in stylesheet()
    assert list(flaws(picture)) == []


def test_what_was_never_taken_is_dashed_and_says_so(tmp_path: Path) -> None:
    """Rules that lead somewhere and rules inside a state alike."""
    picture = picture_of(tmp_path)
    kinds = {title_of(group): group.attrib["class"] for group in picture.groups("arrow")}
    assert kinds["lit to burnt"] == "arrow never"
    assert kinds["dark to lit"] == "arrow move"
    label = next(g for g in picture.groups("label") if g.attrib["data-rules"] == "burn")
    assert words_of(label)[0] == "never taken:"
    inside = next(words_of(g) for g in picture.groups("rest") if words_of(g)[0] == "dark")
    assert inside[1:] == ["never taken:", "[broken] / broken = false"]
    assert STROKES["never"].dashes != STROKES["move"].dashes


def test_the_words_count_what_was_seen(tmp_path: Path) -> None:
    """And an exploration that was stopped does not say never without saying so far."""
    assert "reached2of3states,took2of4rules" in picture_of(tmp_path).words
    assert "incomplete" not in picture_of(tmp_path).words
    assert "incomplete:therestmaystilloccur" in picture_of(tmp_path, complete=False).words


def test_only_chips_with_something_unseen_are_drawn(tmp_path: Path) -> None:
    """A chart that shows nothing new is left out."""
    device, coverage = lamp(tmp_path)
    names = [drawing.name for drawing in coverage_drawings(device, coverage, complete=True)]
    assert names == ["coverage-lamp"]
