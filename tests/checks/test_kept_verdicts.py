"""Kept verdicts: nothing is explored twice, and nothing old is taken for new."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import modecheck
from modecheck.checks import kept_verdicts
from modecheck.checks.kept_verdicts import check_or_recall, keep, kept_verdict, key_of
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.space import Limits
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.report.as_json import json_text
from modecheck.report.as_sarif import sarif_text

MODELS = Path(modecheck.__file__).parents[1] / "models"
LARGE = MODELS / "published" / "philosophers_8.yaml"
"""1,154 states, with a deadlock."""
SMALL = MODELS / "starter" / "device.yaml"
PLAIN = Search(engine="plain")
DAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of our own."""
    monkeypatch.setenv("MODECHECK_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache" / "verdicts"


def recalled(path: Path, search: Search = PLAIN) -> bool:
    """Check a device once more: whether its verdict was kept."""
    return check_or_recall([read_device(str(path))], search)[1]


def test_what_did_not_change_is_not_explored(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second verdict is told in the same bytes, although nothing explores."""
    device = read_device(str(LARGE))
    first, cached = check_or_recall([device], PLAIN)
    assert not cached
    monkeypatch.setattr(kept_verdicts, "check", None)
    second, cached = check_or_recall([device], PLAIN)
    assert cached
    assert first.findings
    assert json_text(second) == json_text(first)
    assert sarif_text(second) == sarif_text(first)


def test_a_changed_text_is_explored(tmp_path: Path) -> None:
    """Also where only a remark was added: places have moved."""
    copy = tmp_path / "device.yaml"
    text = LARGE.read_text("utf-8").replace("chips/", f"{LARGE.parent}/chips/")
    text = text.replace("components.yaml", f"{LARGE.parent}/components.yaml")
    copy.write_text(text, encoding="utf-8")
    assert [recalled(copy), recalled(copy)] == [False, True]
    copy.write_text(f"# a remark\n{text}", encoding="utf-8")
    assert not recalled(copy)


OTHER: dict[str, Any] = {
    "engine": "compiled",
    "limits": Limits(states=10**6),
    "threads": 1,
    "symmetry": True,
    "order": True,
    "leaps": True,
}


def test_everything_that_a_verdict_depends_on_is_in_the_key(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """How it is explored, its bounds, the day, the variant, the file, and modecheck itself."""
    device = read_device(str(SMALL))
    keys = [key_of([device], PLAIN, DAY)]
    assert {*OTHER, "expected"} == {field.name for field in fields(Search)}
    # What is expected says how to begin, and nothing of what is found.
    assert key_of([device], replace(PLAIN, expected=5), DAY) == keys[0]
    for name, value in OTHER.items():
        keys.append(key_of([device], replace(PLAIN, **{name: value}), DAY))
    keys.append(key_of([device], PLAIN, date(2026, 11, 26)))
    others: list[Device] = [
        replace(device, variant={"policy": "stay"}),
        replace(device, file="other.yaml"),
        replace(device, digests={**device.digests, str(SMALL): "0" * 64}),
    ]
    keys += [key_of([other], PLAIN, DAY) for other in others]
    keys.append(key_of([device, device], PLAIN, DAY))
    monkeypatch.setattr(kept_verdicts, "__version__", "0.0.0")
    keys.append(key_of([device], PLAIN, DAY))
    monkeypatch.setattr(kept_verdicts, "_own_files", lambda: ["changed"])
    keys.append(key_of([device], PLAIN, DAY))
    assert len(set(keys)) == len(keys)


def test_what_was_stopped_is_not_kept(folder: Path) -> None:
    """More time, or more memory, may show more."""
    assert not recalled(LARGE, replace(PLAIN, limits=Limits(states=1_100)))
    assert not folder.exists()


def test_what_is_soon_explored_is_not_kept(folder: Path) -> None:
    """A small device needs no cache."""
    assert not recalled(SMALL)
    assert not folder.exists()


@pytest.mark.parametrize("damage", ["cut", "changed", "reworded", "emptied", "foreign"])
def test_a_damaged_entry_counts_as_absent(damage: str, folder: Path) -> None:
    """It is explored anew, and kept anew."""
    recalled(LARGE)
    (entry,) = folder.glob("*.verdict")
    raw = entry.read_bytes()
    broken = {
        "cut": raw[:-1],
        "changed": raw[:-9] + b"x" + raw[-8:],
        "reworded": raw.replace(b"deadlock", b"livelock"),
        "emptied": b"",
        "foreign": b"not a verdict at all",
    }
    assert broken[damage] != raw
    entry.write_bytes(broken[damage])
    assert kept_verdict(entry.stem) is None
    assert [recalled(LARGE), recalled(LARGE)] == [False, True]


def test_a_folder_that_cannot_be_made_keeps_nothing(folder: Path) -> None:
    """That is no error."""
    folder.parent.write_text("a file", encoding="utf-8")
    assert [recalled(LARGE), recalled(LARGE)] == [False, False]


def test_the_oldest_entries_go(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The cache does not grow for ever."""
    monkeypatch.setattr(kept_verdicts, "MOST_ENTRIES", 2)
    verdict = check([read_device(str(LARGE))], search=PLAIN)
    for number in range(4):
        keep(f"key{number}", verdict)
    assert len(list(folder.iterdir())) == 2
    assert kept_verdict("key3") is not None
