"""The direction of imports, declared once: text → model → product → … → what people read."""

from __future__ import annotations

import ast
from pathlib import Path

import networkx as nx

import modecheck

LAYERS = (
    "model",
    "product",
    "engine",
    "scenario",
    "checks",
    "cutsets",
    "chances",
    "compare",
    "rigs",
    "testing",
    "firmware",
    "exchange",
    "bench",
    "tours",
    "review",
    "repair",
    "draw",
    "report",
    "editor",
    "cli",
)
"""A module may import from its own layer and from those that stand before it."""

ROOMS = (
    "contract", "language", "reference", "search", "reductions", "native", "large", "gpu", "zones",
    "store", "cluster",
)  # fmt: skip
"""The rooms of `engine/`, in the same sense. What chooses among engines lies beside them."""

ROOT = Path(modecheck.__file__).parent


def _imports(path: Path) -> set[str]:
    """The layers that a module imports from, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        parts = [name.split(".") for name in names]
        found |= {part[1] for part in parts if part[0] == "modecheck" and len(part) > 1}
    return found & set(LAYERS)


def test_every_package_is_a_declared_layer() -> None:
    """A new package takes its place in the order before anything imports it."""
    packages = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}
    assert packages <= set(LAYERS)


def test_no_import_runs_against_the_direction() -> None:
    """What people read may know the model, and the model knows nothing of them."""
    wrong = [
        f"{path.relative_to(ROOT)} imports modecheck.{layer}"
        for layer_number, own in enumerate(LAYERS)
        for path in sorted((ROOT / own).rglob("*.py"))
        for layer in sorted(_imports(path))
        if LAYERS.index(layer) > layer_number
    ]
    assert wrong == []


def test_no_room_of_the_engine_imports_from_a_later_one() -> None:
    """The contract knows no engine, the reference none that is compared with it."""
    paths = _modules()
    rooms = {path.name for path in (ROOT / "engine").iterdir() if (path / "__init__.py").exists()}
    assert rooms == set(ROOMS)
    wrong = [
        f"{name} imports {other}"
        for number, room in enumerate(ROOMS)
        for name, path in paths.items()
        if name.startswith(f"modecheck.engine.{room}.")
        for other in sorted(_imported_modules(path, set(paths), types=True))
        if other.startswith("modecheck.engine.")
        and not any(other.startswith(f"modecheck.engine.{one}") for one in ROOMS[: number + 1])
    ]
    assert wrong == []


def _modules() -> dict[str, Path]:
    """The modules of modecheck, by name."""
    return {
        ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(
            ".__init__"
        ): path
        for path in ROOT.rglob("*.py")
    }


def _imported_modules(path: Path, known: set[str], *, types: bool = False) -> set[str]:
    """The modules of modecheck that one imports, anywhere in it, except for types alone, unless
    these are asked for, too.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if not types and isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and id(node) not in for_types:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in known else node.module for name in names}
        elif isinstance(node, ast.Import) and id(node) not in for_types:
            found |= {alias.name for alias in node.names}
    return found & known


def test_no_modules_import_each_other() -> None:
    """Not even inside of functions: a cycle hides that two modules are one."""
    paths = _modules()
    graph = nx.DiGraph(
        (name, other)
        for name, path in paths.items()
        for other in _imported_modules(path, set(paths) - {name})
    )
    cycles = [sorted(part) for part in nx.strongly_connected_components(graph) if len(part) > 1]
    assert cycles == []
