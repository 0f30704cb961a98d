"""Where the templates, fonts and stylesheets lie: in the package when installed, beside it in a checkout."""

from __future__ import annotations

from functools import cache
from pathlib import Path


@cache
def templates_folder() -> Path:
    """The folder ``templates``.

    Raises:
        FileNotFoundError: neither place has it; the installation is incomplete.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "templates", package.parent / "templates"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"no templates folder in {package} or beside it: the installation is incomplete")
