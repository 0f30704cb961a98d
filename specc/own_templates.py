"""A firm's own template files, read from its folder: plain files of known names, nothing from outside it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from types import MappingProxyType

from specc.reading.suggest import did_you_mean
from specc.templates import FIXED, FOLDERS, TemplateProblem, Templates, known_names

MOST_BYTES = 1_000_000  # of one file
MOST_ENTRIES = 2_000  # more is not a folder of templates


def read_own_templates(folder: Path) -> Templates:
    """The templates of a folder laid over the package's; nothing is looked at but their names and bytes.

    Names with a leading dot are passed over, as a desktop or a version control puts them there.

    Raises:
        TemplateProblem: no such folder; a link, a name that is no template, a file that is too large or
            cannot be read; or no template at all.
    """
    shown = str(folder)
    own: dict[str, bytes] = {}
    try:
        if not folder.is_dir():
            raise TemplateProblem(shown, None, "this is no folder; name one that holds templates.")
        for number, path in enumerate(_files(folder, shown)):
            if number >= MOST_ENTRIES:
                raise TemplateProblem(shown, None, "this holds too much to be a folder of templates.")
            name = path.relative_to(folder).as_posix()
            _refuse_name(name, shown)
            own[name] = _bytes(path, f"{shown}/{name}")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise TemplateProblem(str(error.filename or folder), None, f"cannot be read: {reason}.") from error
    if not own:
        wanted = ", ".join(f"{each}/" for each in FOLDERS)
        raise TemplateProblem(shown, None, f"there is no template in it; templates stand in {wanted}.")
    return Templates(MappingProxyType(own), shown)


def _files(folder: Path, shown: str) -> Iterator[Path]:
    """Every file below, in order of name; links are never followed."""
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda each: each.name):
            if entry.name.startswith("."):
                continue
            if entry.is_symlink():
                says = "this is a link; put the file itself here."
                raise TemplateProblem(f"{shown}/{entry.name}", None, says)
            if entry.is_dir(follow_symlinks=False):
                yield from _files(Path(entry.path), f"{shown}/{entry.name}")
            else:
                yield Path(entry.path)


def _refuse_name(name: str, shown: str) -> None:
    if name in FIXED:
        says = "this is the program of the page for a phone, not a look: it cannot be replaced."
        raise TemplateProblem(f"{shown}/{name}", None, says)
    known = known_names() - FIXED
    if name in known:
        return
    # A file in the wrong folder is told by its own name.
    last = name.rpartition("/")[2]
    homes = [each for each in sorted(known) if each.rpartition("/")[2] == last]
    guess = f'did you mean "{homes[0]}"?' if homes else did_you_mean(name, sorted(known))
    if not guess:
        home = name.partition("/")[0]
        there = sorted(each for each in known if each.startswith(f"{home}/"))
        guess = f"there are {', '.join(there or [f'{each}/' for each in FOLDERS])}."
    raise TemplateProblem(f"{shown}/{name}", None, f"there is no template of this name; {guess}")


def _bytes(path: Path, shown: str) -> bytes:
    """The content of a plain file, opened so that a link put in its place meanwhile is not followed."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    with open(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise TemplateProblem(shown, None, "this is no plain file.")
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise TemplateProblem(shown, None, f"this is larger than {MOST_BYTES // 1000} kB.")
    return data
