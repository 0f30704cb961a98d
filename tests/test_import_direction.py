"""Which layer may import which, and which library stands where."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "specc"

# Layer -> layers of ours that it may import (itself always).
ALLOWED = {
    "diagnostics": set(),
    "units": {"unit_sizes"},
    "unit_sizes": set(),
    "calculation": set(),
    "choices": {"diagnostics"},
    "sizing": {"choices", "reading", "system", "rules", "rulebooks", "diagnostics"},
    "resources": set(),
    "amendments": set(),
    "publish": set(),
    "plain_svg": set(),
    "templates": {"resources", "reading"},
    "own_templates": {"templates", "reading"},
    "physics": set(),
    "rulebooks": {"amendments", "resources"},
    "reading": {"amendments", "plain_svg", "units", "diagnostics", "resources", "rulebooks"},
    "system": {"amendments", "reading", "physics", "rulebooks", "units", "diagnostics", "calculation"},
    "rules": {
        "amendments",
        "operation",
        "system",
        "physics",
        "rulebooks",
        "units",
        "diagnostics",
        "calculation",
        "reading",
    },
    "operation": {"system", "physics", "rulebooks"},
    "documents": {
        "plain_svg",
        "reading",
        "templates",
        "choices",
        "operation",
        "system",
        "rulebooks",
        "units",
        "diagnostics",
        "calculation",
        "resources",
        "physics",
    },
    "rendering": {
        "plain_svg",
        "templates",
        "choices",
        "documents",
        "system",
        "rules",
        "units",
        "diagnostics",
        "calculation",
        "resources",
    },
    "pipeline": {
        "templates",
        "choices",
        "sizing",
        "operation",
        "rulebooks",
        "reading",
        "system",
        "rules",
        "documents",
        "rendering",
        "diagnostics",
        "calculation",
    },
    "cli": {
        "pipeline",
        "templates",
        "own_templates",
        "system",
        "reading",
        "rules",
        "rendering",
        "resources",
        "publish",
        "diagnostics",
    },
    "__init__": set(),
    "__main__": {"cli"},
}
# Library -> the only places that may import it.
QUARANTINE = {
    "pint": {"units.py"},
    "pydantic": {"reading/"},
    "pydantic_core": {"reading/"},
    "tree_sitter": {"reading/"},
    "tree_sitter_toml": {"reading/"},
    "networkx": {"system/"},
    "numpy": {"system/", "operation/"},
    "pvlib": set(),  # the tests only
    "jinja2": {"rendering/templating.py"},
    "tinycss2": {"rendering/fences.py"},
    "weasyprint": {"rendering/pdf.py"},
    "ezdxf": {"rendering/dxf.py"},
    "xlsxwriter": {"rendering/tables_xlsx.py"},
    "typer": {"cli.py"},
}


def _files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            if node.module == "specc":
                yield from (f"specc.{alias.name}" for alias in node.names)
            else:
                yield node.module


def _layer(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


@pytest.mark.parametrize("path", _files(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    layer = _layer(path)
    for name in _imports(path):
        if name.startswith("specc."):
            other = name.split(".")[1]
            assert other == layer or other in ALLOWED[layer] or other.startswith("__"), (
                f"{path.name} imports {name}"
            )


@pytest.mark.parametrize("path", _files(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_libraries_stay_in_their_places(path: Path) -> None:
    place = str(path.relative_to(PACKAGE))
    for name in _imports(path):
        homes = QUARANTINE.get(name.split(".")[0])
        assert homes is None or any(place.startswith(home) for home in homes), f"{place} imports {name}"
