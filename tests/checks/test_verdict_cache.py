"""Kept verdicts: nothing is explored twice, and nothing old is taken for new."""

from __future__ import annotations

import copy
import hashlib
import json
import pickle
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import modecheck
from modecheck.checks import verdict_cache
from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.checks.verdict_cache import cached_verdict, check_or_recall, keep, key_of, slim
from modecheck.engine.choice import Search
from modecheck.engine.contract.kept_files import DIGEST_BYTES
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device, variants
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
    monkeypatch.setattr(verdict_cache, "check", None)
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
    "time_acceleration": True,
    "sweeps": True,
    "store": "folder",
    "cluster": "tcp://127.0.0.1:8786",
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
    monkeypatch.setattr(verdict_cache, "__version__", "0.0.0")
    keys.append(key_of([device], PLAIN, DAY))
    monkeypatch.setattr(verdict_cache, "_own_files", lambda: ["changed"])
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
    assert cached_verdict(entry.stem, [read_device(str(LARGE))]) is None
    assert [recalled(LARGE), recalled(LARGE)] == [False, True]


class Planted:
    """Runs when it is unpickled."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def __reduce__(self) -> tuple[Any, ...]:
        return Path.touch, (self._file,)


def written(entry: Path, raw: bytes) -> None:
    """Anybody can compute the digest that goes before an entry."""
    entry.write_bytes(hashlib.sha256(raw).digest() + raw)


@pytest.mark.thorough
def test_an_entry_is_not_run(folder: Path, tmp_path: Path) -> None:
    """A pickle in an entry's place, under its name and with its digest, is no verdict."""
    recalled(LARGE)
    (entry,) = folder.glob("*.verdict")
    for protocol in range(pickle.HIGHEST_PROTOCOL + 1):
        written(entry, pickle.dumps(Planted(tmp_path / "was run"), protocol))
        assert not recalled(LARGE)
    assert not (tmp_path / "was run").exists()


def changed(data: Any, how: Any) -> Any:
    """The same data, with one thing in it that does not fit."""
    sources, whole, variants = copy.deepcopy(data)
    how(sources, whole, variants)
    return [sources, whole, variants]


ODD: dict[str, Any] = {
    "no verdict": lambda _s, _w, v: v.clear(),
    "a field too many": lambda _s, _w, v: v[0].update(more=1),
    "a field too few": lambda _s, w, _v: w.pop("remarks"),
    "text in place of a number": lambda _s, _w, v: v[0]["exploration"].update(depth="9"),
    "a truth value in place of a number": lambda _s, _w, v: v[0]["exploration"].update(depth=True),
    "a number in place of text": lambda _s, w, _v: w["findings"][0].update(text=9),
    "another code": lambda _s, w, _v: w["findings"][0].update(code="other"),
    "another source": lambda _s, w, _v: w["findings"][0]["place"].update(source="other.yaml"),
    "another step": lambda _s, w, _v: w["findings"][0]["trace"]["moves"][0].update(label=9_999),
    "another state": lambda _s, w, _v: w["findings"][0]["trace"]["moves"][0].update(after=[1]),
    "a pair of three": lambda _s, _w, v: v[0]["coverage"]["taken"].append(["a", "b", "c"]),
    "no list": lambda _s, _w, v: v[0]["exploration"].update(layers=3),
    "no sources": lambda s, _w, _v: s.clear(),
}


@pytest.mark.parametrize("odd", ODD)
def test_an_entry_with_anything_odd_is_not_read(odd: str, folder: Path) -> None:
    """Whatever is of another type, or speaks of another device: it is explored anew."""
    recalled(LARGE)
    (entry,) = folder.glob("*.verdict")
    data = json.loads(entry.read_bytes()[DIGEST_BYTES:])
    devices = [read_device(str(LARGE))]
    written(entry, json.dumps(data).encode())
    assert cached_verdict(entry.stem, devices) is not None
    written(entry, json.dumps(changed(data, ODD[odd])).encode())
    assert cached_verdict(entry.stem, devices) is None
    assert [recalled(LARGE), recalled(LARGE)] == [False, True]


def test_a_nested_entry_is_not_read(folder: Path) -> None:
    """Nor one that is deeper than anything that reads it."""
    recalled(LARGE)
    (entry,) = folder.glob("*.verdict")
    written(entry, b"[" * 100_000 + b"]" * 100_000)
    assert not recalled(LARGE)


@pytest.mark.parametrize(
    "reductions", [{}, {"symmetry": True}, {"time_acceleration": True}, {"order": True}]
)
def test_a_verdict_is_the_same_when_it_is_read(
    reductions: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With pairings, modes, switches, options and accepted findings, in the same bytes."""
    monkeypatch.setattr(verdict_cache, "WORTH_KEEPING", 0)
    monkeypatch.setattr(Verdict, "complete", True)
    search = replace(PLAIN, limits=Limits(states=2_000), **reductions)
    for name in ("usurpation", "volatile_bond", "stale_replay"):
        first = read_device(str(MODELS / "faulty" / f"{name}.yaml"))
        devices = [read_device(first.file, choice) for choice in variants(first)]
        verdict = check(devices, search=search)
        if not all(one.exploration.complete for one in verdict.explored):
            continue
        keep(name, verdict)
        again = cached_verdict(name, devices)
        assert again is not None
        assert slim(verdict) == again
        assert json_text(again) == json_text(verdict)


def test_a_folder_that_cannot_be_made_keeps_nothing(folder: Path) -> None:
    """That is no error."""
    folder.parent.write_text("a file", encoding="utf-8")
    assert [recalled(LARGE), recalled(LARGE)] == [False, False]


def test_the_oldest_entries_go(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The cache does not grow for ever."""
    monkeypatch.setattr(verdict_cache, "MOST_ENTRIES", 2)
    verdict = check([read_device(str(LARGE))], search=PLAIN)
    for number in range(4):
        keep(f"key{number}", verdict)
    assert len(list(folder.iterdir())) == 2
    assert cached_verdict("key3", [verdict.device]) is not None
