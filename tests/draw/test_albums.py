"""Pictures of many devices: a folder each, pages that show them, and nothing twice."""

from __future__ import annotations

import re
from pathlib import Path

from modecheck.checks.verdict import check
from modecheck.draw.albums import PAGE, Album, Shelf, folders_for, hung
from modecheck.draw.gallery import every_drawing
from modecheck.draw.picture_files import FileText, stale_files, write_files
from modecheck.model.devices import read_device
from tests.models.bundled import MODELS, STARTER


def two_devices(folder: Path) -> list[FileText]:
    """The starter, and a twin of it with one mistake."""
    shelf = Shelf(folder)
    files: list[FileText] = []
    for name, path in (("starter", STARTER), ("twin", MODELS / "faulty" / "silent_plug.yaml")):
        verdict = check([read_device(str(path))])
        album = Album(name, str(path), verdict.device.name, verdict.device.about, 0)
        pictures = hung(every_drawing(verdict.explored[0], verdict.findings))
        files += shelf.files(album, pictures)
    return [*files, shelf.index()]


def test_folders_are_named_after_paths() -> None:
    """device.yaml stands for its folder; what all paths have in common is left out."""
    models = ["m/tandem/device.yaml", "m/small/credits.yaml", "m/faulty/credits.yaml"]
    assert folders_for(models) == ["tandem", "small/credits", "faulty/credits"]
    assert folders_for(["a.yaml", "b.yaml"]) == ["a", "b"]


def test_a_variant_holds_only_what_differs(tmp_path: Path) -> None:
    """What the twin shares is shown from the other's folder; its scenarios are its own."""
    files = {file.name: file.text for file in two_devices(tmp_path)}
    assert "starter/chip-receiver.svg" in files
    assert "twin/chip-receiver.svg" not in files
    assert "twin/chip-pedal.svg" in files
    assert "twin/scenario-deadlock-receiver.changing.svg" in files
    page = files[f"twin/{PAGE}"]
    assert page is not None
    assert "(../starter/chip-receiver.svg)" in page
    drawn = [text for name, text in files.items() if name.endswith(".svg")]
    assert len(set(drawn)) == len(drawn)


def test_every_link_of_every_page_leads_somewhere(tmp_path: Path) -> None:
    """Pictures, models and pages alike."""
    write_files(two_devices(tmp_path), tmp_path)
    pages = list(tmp_path.rglob(PAGE))
    assert len(pages) == 3
    for page in pages:
        targets = re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8"))
        assert targets
        assert [target for target in targets if not (page.parent / target).exists()] == []


def test_stale_files_are_named_with_what_is_wrong(tmp_path: Path) -> None:
    """Changed, missing and left over ones; files of other people are left alone."""
    files = two_devices(tmp_path)
    write_files(files, tmp_path)
    assert stale_files(files, tmp_path) == []
    (tmp_path / "starter" / "modes.svg").write_text("an older one", encoding="utf-8")
    (tmp_path / "starter" / "device.dot").unlink()
    (tmp_path / "starter" / "chip-gone.svg").write_text("of a chip that is gone", encoding="utf-8")
    (tmp_path / "logo.svg").write_text("somebody's own", encoding="utf-8")
    assert [line.split("/")[-1] for line in stale_files(files, tmp_path)] == [
        "device.dot: missing",
        "modes.svg: out of date",
        "chip-gone.svg: no longer part of the pictures",
    ]
