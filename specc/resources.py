"""Where the data that comes with the package lies on disk."""

from __future__ import annotations

from functools import cache
from pathlib import Path


def _folder(name: str, package: Path) -> Path:
    """The folder inside the installed package, else its neighbour in a development checkout.

    Raises FileNotFoundError when there is neither.
    """
    for candidate in (package / name, package.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"the folder {name!r} is missing, both in {package} and beside it")


@cache
def catalogs_dir() -> Path:
    """The folder of parts, rulebooks and handbook tables. Raises FileNotFoundError."""
    return _folder("catalogs", Path(__file__).resolve().parent)


@cache
def templates_dir() -> Path:
    """The folder of symbols, sheets and forms. Raises FileNotFoundError."""
    return _folder("templates", Path(__file__).resolve().parent)
