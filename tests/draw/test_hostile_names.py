"""What a hostile model says appears as text, shortened, and runs nothing."""

from __future__ import annotations

import json
import re
import unicodedata
from pathlib import Path

import pytest

from modecheck.checks.verdict import check
from modecheck.draw.albums import Album, Shelf, hung
from modecheck.draw.gallery import AnyDrawing, every_drawing, render_svg
from modecheck.draw.picture_files import FileText
from modecheck.draw.shown import LONGEST_TITLE, shown
from modecheck.model.parts import Device
from tests.draw.browser import answer_of_page, needs_browser
from tests.draw.flaws import flaws
from tests.draw.making import device_of
from tests.draw.reading_svg import Picture, squeezed

MARKUP = "</title></text></svg><script>document.title='run'</script><img src=x onerror=alert(1)>"
TURNED = "‮ turned ⁦ and ​ unseen"
LONG = "n" * 10_000

MODEL = """
    device: {device}
    about: {about}
    modes: {{up: a.state == there, down: a.state == here}}
    chips:
      a:
        about: {about}
        variables: {{v: {{range: [0, 3]}}}}
        states: {{here: {{about: {about}}}, there: {{}}}}
        rules:
          go: {{in: here, send: [x via one], to: there, text: {about}}}
          back: {{in: there, to: here, do: ["v = min(v + 1, 3)"]}}
      b: {{states: [{state}], rules: [{{on: x, text: {about}}}]}}
    links:
      one: {{from: a, to: b, medium: {device}, carries: [x], when_full: drop_new}}
    requirements:
      R1: {{text: {about}, never: a.v == 3}}
"""


def hostile(folder: Path, words: str, state: str = "only") -> Device:
    quoted = json.dumps(words)
    return device_of(folder, MODEL.format(device=quoted, about=quoted, state=state))


def pictures_of(device: Device) -> list[AnyDrawing]:
    verdict = check([device])
    folds = [("a.state", "b.state")]
    return list(every_drawing(verdict.explored[0], verdict.findings, folds))


@pytest.mark.parametrize(
    "words", [MARKUP, TURNED, LONG, f"{MARKUP}{TURNED}\"'`$&{{}}|[]()#*_ é 日本"]
)
def test_every_picture_is_whole_and_shows_text(words: str, tmp_path: Path) -> None:
    """Pictures stay well-formed SVG with nothing but drawing in it, and nothing overlaps."""
    for drawing in pictures_of(hostile(tmp_path, words)):
        text = render_svg(drawing)
        picture = Picture(text)
        names = {node.tag.rpartition("}")[2] for node in picture.root.iter()}
        assert names <= {
            *("svg", "title", "style", "g", "rect", "path", "circle", "text", "tspan"),
        }
        attributes = {name for node in picture.root.iter() for name in node.attrib}
        assert not any(name.startswith("on") or "href" in name for name in attributes)
        assert list(flaws(picture)) == []
        assert len(text) < 100_000


def test_markup_is_shown_as_it_was_written(tmp_path: Path) -> None:
    """Reviewers see what somebody tried."""
    pictures = {drawing.name: drawing for drawing in pictures_of(hostile(tmp_path, MARKUP))}
    words = Picture(render_svg(pictures["chip-a"])).words
    assert squeezed(MARKUP) in words


def test_signs_that_turn_the_writing_are_told_by_their_number(tmp_path: Path) -> None:
    """No picture and no DOT text holds one: they would make it say something else."""
    for drawing in pictures_of(hostile(tmp_path, TURNED)):
        for text in (render_svg(drawing), drawing.dot):
            assert not [sign for sign in text if unicodedata.category(sign) == "Cf"]
    assert shown("‮x", 10) == "⟨U+202E⟩x"


def test_ten_thousand_characters_are_shortened(tmp_path: Path) -> None:
    """Names, descriptions and titles end with an ellipsis; a state's mark keeps the whole name."""
    for drawing in pictures_of(hostile(tmp_path, LONG, state=LONG)):
        picture = Picture(render_svg(drawing))
        assert max(len(text.words) for text in picture.texts) < 200
        assert max(map(len, picture.titles)) <= LONGEST_TITLE + 1
        assert picture.view.width < 2500
        if drawing.name == "chip-b":
            (state,) = picture.groups("state")
            assert state.attrib["data-state"] == LONG


def test_pages_hold_no_markup_either(tmp_path: Path) -> None:
    """What a code host would read as markup is escaped."""
    words = f"{MARKUP} [link](javascript:alert(1)) `code` | cell"
    device = hostile(tmp_path, words)
    shelf = Shelf(tmp_path)
    album = Album("own", "models/device.yaml", device.name, device.about, 1)
    files = list(shelf.files(album, hung(pictures_of(device))))
    for page in (files[-1], shelf.index()):
        assert page.text is not None
        assert "<" not in page.text
        assert "javascript" in page.text
        assert not re.search(r"(?<!\\)\]\(javascript", page.text)


def test_file_names_stay_in_their_folder(tmp_path: Path) -> None:
    """Whatever things are called, a picture's name is a plain and short one."""
    for drawing in pictures_of(hostile(tmp_path, MARKUP, state=LONG)):
        assert re.fullmatch(r"[A-Za-z0-9_.-]{1,100}", drawing.name)
        assert FileText(drawing.name, "").name == Path(drawing.name).name


@needs_browser
def test_a_browser_runs_nothing(tmp_path: Path) -> None:
    """Shown in a page, no script of the model runs, and no element of it comes to be."""
    drawings = pictures_of(hostile(tmp_path, MARKUP))
    body = "".join(render_svg(drawing) for drawing in drawings)
    script = "return [document.title, document.querySelectorAll('svg img, svg script').length]"
    assert answer_of_page(body, script) == ["", 0]
