"""Nothing in a picture overlaps, is cut or differs from run to run; every picture can be read."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings

from modecheck.draw import Drawing, drawings, render_svg
from modecheck.draw.sketch import TEXT_SIZE
from modecheck.model.parts import Device
from tests.draw.browser import answer_of_page, needs_browser
from tests.draw.conftest import HERE, Pictured
from tests.draw.flaws import flaws
from tests.draw.making import chip_of, picture_of
from tests.draw.random_charts import random_chip
from tests.draw.reading_svg import Picture, squeezed
from tests.generation.devices import Drawn, devices
from tests.sweeps import sweep

A4_LANDSCAPE = (1047, 718)
"""Units (96 to the inch) inside margins of 10 mm."""

LEAST_PRINT = 4.8
"""Points: about the smallest print on packages and data sheets (common practice, no source)."""

Pictures = list[tuple[str, Picture]]


@pytest.mark.thorough
def test_nothing_overlaps_and_nothing_is_cut(every_picture: Pictures) -> None:
    """In every picture of the bundled devices, everything keeps its distance."""
    for title, picture in every_picture:
        assert list(flaws(picture)) == [], title


@pytest.mark.parametrize("seed", sweep(range(40), lambda seed: seed < 8))
def test_nothing_overlaps_in_pictures_that_nobody_arranged(seed: int, tmp_path: Path) -> None:
    """Whatever the states and rules, everything keeps its distance."""
    assert list(flaws(picture_of(random_chip(tmp_path, seed)))) == []


@pytest.mark.thorough
@pytest.mark.parametrize("seed", range(20))
def test_nothing_overlaps_in_pictures_with_choices(seed: int, tmp_path: Path) -> None:
    """Diamonds, too, find a place."""
    assert list(flaws(picture_of(random_chip(tmp_path, seed, choices=True)))) == []


@given(devices())
@settings(max_examples=settings().max_examples // 3)
def test_nothing_overlaps_in_maps_of_random_devices(drawn: Drawn) -> None:
    """Maps of chips with any links, pairings and signals keep everything apart, too."""
    for drawing in drawings(drawn.read(), []):
        assert list(flaws(Picture(render_svg(drawing)))) == []


def test_flaws_are_seen() -> None:
    """The search for flaws finds each kind of them in a picture that has them all."""
    picture = Picture(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        '<text x="10" y="20"><tspan class="guard">one</tspan></text>'
        '<text class="guard" x="12" y="22">two</text>'
        '<text x="90" y="60"><tspan class="guard">too long</tspan></text>'
        '<g class="arrow move"><title>a to b</title><path class="line" d="M0 0L50 50"/></g>'
        '<g class="state"><rect x="30" y="30" width="20" height="20"/>'
        '<text x="40" y="42"><tspan class="name">wide</tspan></text></g>'
        '<g class="label"><rect x="45" y="45" width="20" height="20"/></g></svg>'
    )
    kinds = {flaw.split(":")[0] for flaw in flaws(picture)}
    assert kinds == {
        "texts meet",
        "text leaves the picture",
        "text leaves its box",
        "boxes meet",
        "line on text",
        "line on box",
    }


def test_a_large_hub_fits_a_page(stage: Device, stage_picture: Pictured) -> None:
    """12 states and 35 rules on A4, in print no smaller than that of data sheets."""
    hub, picture = stage.chips["hub"], stage_picture("chip-hub")
    assert (len(hub.leaves), len(hub.rules)) == (12, 35)
    frame = picture.outline(picture.named("composite", "chip hub"))
    scale = min(A4_LANDSCAPE[0] / frame.width, A4_LANDSCAPE[1] / frame.height)
    assert TEXT_SIZE * scale * 0.75 >= LEAST_PRINT


def test_the_same_model_gives_the_same_bytes(every_drawing: list[Drawing]) -> None:
    """Drawing twice changes nothing, neither in DOT nor in SVG."""
    for drawing in every_drawing[:8]:
        assert drawing.dot == drawing.dot
        assert render_svg(drawing) == render_svg(drawing)


@pytest.mark.thorough
def test_every_process_gives_the_same_bytes() -> None:
    """Nothing depends on how a process orders its sets."""
    script = (
        "import hashlib, sys; from modecheck.model.devices import read_device;"
        "from modecheck.draw import drawings, render_svg;"
        "print(hashlib.sha256(''.join(d.dot + render_svg(d)"
        " for d in drawings(read_device(sys.argv[1]), [])).encode()).hexdigest())"
    )
    model = str(HERE / "models" / "stage.yaml")
    answers = {
        subprocess.run(
            [sys.executable, "-c", script, model],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(HERE.parents[1])},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "77")
    }
    assert len(answers) == 1


def test_pictures_bear_no_date_and_no_maker(every_drawing: list[Drawing]) -> None:
    """No comment, time, version or program name, and no place on the drawer's disk."""
    for drawing in every_drawing[:8]:
        for text in (drawing.dot, render_svg(drawing)):
            assert "<!--" not in text
            assert not re.search(r"(?i)graphviz|generated|version|creator", text)
            assert str(HERE.parents[1]) not in text


def test_what_markup_means_is_only_text(tmp_path: Path) -> None:
    """Signs that mean something in XML or DOT, and letters of any script, are shown as they are."""
    about = 'a <b> & "c" \\ d\\n {e} | 日本 é'
    chip = chip_of(
        tmp_path,
        f"""
        about: {json.dumps(about, ensure_ascii=False)}
        variables: {{x: {{range: [0, 3]}}}}
        states: {{here: {{about: "<&>"}}, there: {{}}}}
        rules: [{{in: here, if: x < 3 and x > 1, to: there}}]
        """,
    )
    picture = picture_of(chip)
    assert squeezed(about) in picture.words
    assert "[x<3andx>1]" in picture.words
    assert "here: <&>" in picture.titles


def test_titles_tell_what_a_pointer_rests_on(stage: Device, stage_picture: Pictured) -> None:
    """Every label says which rules it stands for, and the picture as a whole has a title."""
    titles = "\n".join(stage_picture("chip-hub").titles)
    assert stage_picture("chip-hub").titles[0] == "States and rules of hub"
    for rule in stage.chips["hub"].rules:
        if rule.target:
            assert rule.title in titles


def test_a_chip_without_rules_can_be_drawn(tmp_path: Path) -> None:
    """The smallest chip has one state and nothing else."""
    picture = picture_of(chip_of(tmp_path, "states: [only]"))
    assert "only" in picture.words


@needs_browser
@pytest.mark.parametrize("name", ["device", "chip-hub"])
def test_a_browser_sees_no_overlap_either(name: str, stage_drawings: dict[str, Drawing]) -> None:
    """With real letters, too, no two texts meet and none leaves the picture."""
    script = """
        const view = document.querySelector('svg').getBoundingClientRect();
        const boxes = [...document.querySelectorAll('svg text')].map(t =>
            [t.textContent, t.getBoundingClientRect()]);
        const bad = [];
        boxes.forEach(([a, r], i) => {
            if (r.left < view.left || r.right > view.right || r.bottom > view.bottom) bad.push(a);
            boxes.slice(i + 1).forEach(([b, s]) => {
                const across = Math.min(r.right, s.right) - Math.max(r.left, s.left);
                const down = Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top);
                if (across > 0.5 && down > 0.5) bad.push(a + ' | ' + b);
            });
        });
        return [boxes.length, bad];
    """
    count, bad = answer_of_page(render_svg(stage_drawings[name]), script)
    assert count > 30
    assert bad == []
