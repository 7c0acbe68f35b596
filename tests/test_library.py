"""modecheck as a library: few names, typed, imported when they are used."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import modecheck
from tests.cli.running import environment
from tests.cli.sample import BROKEN, SAMPLE

MODELS = Path(modecheck.__file__).parents[1] / "models"
TWIN = MODELS / "faulty" / "silent_plug.yaml"


def test_every_public_name_is_there() -> None:
    """And is told by `dir`, with a docstring of its own."""
    assert modecheck.__all__ == sorted(modecheck.__all__)
    assert set(modecheck.__all__) <= set(dir(modecheck))
    for name in modecheck.__all__:
        assert (getattr(modecheck, name).__doc__ or "").strip(), name


def test_public_functions_are_typed() -> None:
    """Each argument and each result."""
    functions = [getattr(modecheck, name) for name in modecheck.__all__ if name.islower()]
    assert len(functions) == 8
    for function in functions:
        signature = inspect.signature(function)
        assert signature.return_annotation is not inspect.Signature.empty
        arguments = signature.parameters.values()
        assert all(one.annotation is not inspect.Parameter.empty for one in arguments)


def test_other_names_are_no_names() -> None:
    """A misspelt one fails as in any module."""
    with pytest.raises(AttributeError, match="module 'modecheck' has no attribute 'chek'"):
        _ = modecheck.chek


@pytest.mark.parametrize("module", ["modecheck", "modecheck.pytest_plugin"])
def test_importing_costs_nothing(module: str) -> None:
    """Neither the package nor the plugin loads a model reader, numpy or an engine."""
    script = f"import sys, {module}; print(*sorted(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True,
        env=environment(),
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert {name for name in loaded if name.startswith("modecheck")} == {"modecheck", module}
    assert not loaded & {"numpy", "yaml", "click", "llvmlite", "jinja2"}


def test_a_subpackage_hides_no_function() -> None:
    """A function and a subpackage of one name would be the one or the other by chance."""
    packages = {path.parent.name for path in Path(modecheck.__file__).parent.glob("*/__init__.py")}
    modules = {path.stem for path in Path(modecheck.__file__).parent.glob("*.py")}
    assert not (packages | modules) & set(modecheck.__all__)


def test_bounds_make_a_verdict_incomplete() -> None:
    """As the command says."""
    verdict = modecheck.check(modecheck.load(TWIN), max_states=2, engine="plain")
    assert not verdict.complete
    assert modecheck.explore(modecheck.load(TWIN), max_states=2).state_count == 2


def test_every_option_is_checked_on_demand(tmp_path: Path) -> None:
    """A fault of the second choice is found in it alone."""
    (tmp_path / "device.yaml").write_text(SAMPLE, encoding="utf-8")
    device = modecheck.load(tmp_path / "device.yaml")
    assert modecheck.check(device).findings == ()
    (finding,) = modecheck.check(device, every_option=True).findings
    assert finding.id == BROKEN
    other = modecheck.load(tmp_path / "device.yaml", {"on_unplug": "fall_back"})
    assert [one.id for one in modecheck.check(other).findings] == [BROKEN]


def test_errors_are_raised_with_their_places(tmp_path: Path) -> None:
    """All of them, as the command tells them."""
    (tmp_path / "device.yaml").write_text("device: d\nchps: {}\n", encoding="utf-8")
    with pytest.raises(modecheck.InvalidInput) as caught:
        modecheck.load(tmp_path / "device.yaml")
    assert len(caught.value.errors) == 2
    assert "device.yaml:2:1" in str(caught.value)


def test_pictures_are_those_of_the_command() -> None:
    """Byte for byte those that are committed."""
    drawn = modecheck.pictures(modecheck.check(modecheck.load(TWIN)))
    folder = MODELS.parent / "diagrams" / "faulty" / "silent_plug"
    committed = [path for path in folder.glob("*.svg") if path.stem in drawn]
    assert committed
    assert all(path.read_text("utf-8") == drawn[path.stem] for path in committed)
