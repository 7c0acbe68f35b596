"""The pictures in diagrams/, of every bundled model: all there, and nothing in them overlaps.

Whether they are those of today's models, `modecheck draw --check` tells in .ci/run.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from modecheck.draw.albums import PAGE, folders_for
from tests.draw.flaws import flaws
from tests.draw.reading_svg import Picture
from tests.models.bundled import MODELS, stands_for_all
from tests.sweeps import sweep

ROOT = MODELS.parent
DIAGRAMS = ROOT / "diagrams"
BUNDLED = [
    *sorted(MODELS.glob("*/device.yaml")),
    *(
        path
        for kind in ("small", "faulty", "published", "chances", "published/chances")
        for path in sorted((MODELS / kind).glob("*.yaml"))
    ),
]
FOLDERS = dict(zip(folders_for([str(path) for path in BUNDLED]), BUNDLED, strict=True))

MOST_BYTES = 11_000_000
"""What the folder may weigh: a repository carries each change of it for ever."""


@pytest.mark.parametrize("folder", sweep(FOLDERS, lambda folder: stands_for_all(FOLDERS[folder])))
def test_nothing_overlaps_and_nothing_is_cut(folder: str) -> None:
    """In every picture that the model's page shows, everything keeps its distance."""
    page = (DIAGRAMS / folder / PAGE).read_text(encoding="utf-8")
    shown = re.findall(r"!\[.*\]\((.+?\.svg)\)", page)
    assert any(name.endswith("device.svg") for name in shown)
    for name in shown:
        text = (DIAGRAMS / folder / name).read_text(encoding="utf-8")
        assert list(flaws(Picture(text))) == [], name


def test_every_model_has_a_page_and_the_index_lists_it() -> None:
    """And no page is of a model that is gone."""
    index = (DIAGRAMS / PAGE).read_text(encoding="utf-8")
    listed = re.findall(r"^\| \[.+?\]\((.+?)/README.md\)", index, re.MULTILINE)
    assert sorted(listed) == sorted(FOLDERS)
    pages = {
        page.parent.relative_to(DIAGRAMS).as_posix() for page in DIAGRAMS.glob("*/**/README.md")
    }
    assert pages == set(FOLDERS)


def test_the_folder_is_not_heavy() -> None:
    """All files together."""
    assert sum(path.stat().st_size for path in DIAGRAMS.rglob("*") if path.is_file()) < MOST_BYTES


def test_ci_looks_for_stale_pictures_as_contributors_draw_them() -> None:
    """The same command, with --check; and it names every bundled model."""
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"^modecheck (draw .+ --to diagrams)$", told, re.MULTILINE)
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert f".venv/bin/modecheck {command} --check\n" in ci
    patterns = shlex.split(command)[1:-2]
    assert {path for pattern in patterns for path in ROOT.glob(pattern)} == set(map(Path, BUNDLED))
