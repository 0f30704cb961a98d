"""The last stage: a whole folder of files appears at once, or not at all."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

MARKER = ".specc-packet"  # lists what was written, so that nobody else's file is ever replaced
MARKER_HEAD = "Written by specc. Files listed here are replaced at the next build.\n"
FORBIDDEN = frozenset('/\\:\0\n\r<>"|?*')


class PublishError(Exception):
    """The folder was not written and what stood there is not lost; the message says why, and where it is."""


def publish(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put ``files`` (plain names to contents) into ``folder``, in place of what specc wrote there before.

    Everything is first written beside the target, then swapped in by renaming.

    Raises:
        PublishError: a name that is not a plain file name; a target that holds anything specc
            did not write; or the disk refused.
    """
    _refuse_names(files)
    target = folder.resolve()
    try:
        _refuse_target(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except OSError as error:
        raise PublishError(f"cannot write {folder}: {error.strerror}") from error
    try:
        _write(work / "new", files)
        _swap(work / "new", target, work / "old")
    except OSError as error:
        stranded = not target.exists() and (work / "old").exists()
        fate = f"its old content is now in {work / 'old'}" if stranded else "nothing was changed"
        raise PublishError(f"cannot write {folder}: {error.strerror}; {fate}") from error
    finally:
        # If the old content could not be put back, it is all there is: keep it.
        if target.exists() or not (work / "old").exists():
            shutil.rmtree(work, ignore_errors=True)


def _refuse_names(files: Mapping[str, bytes]) -> None:
    for name in files:
        if not name.strip(". ") or name == MARKER or FORBIDDEN & set(name):
            raise PublishError(f"{name!r} is not a plain file name")


def _refuse_target(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise PublishError(f"{target} is not a folder")
    present = sorted(target.iterdir())
    if not present:
        return
    marker = target / MARKER
    if not marker.is_file():
        raise PublishError(f"{target} holds files that specc did not write: choose a new or an empty folder")
    written = {MARKER, *marker.read_text(encoding="utf-8", errors="replace").splitlines()}
    if foreign := [path.name for path in present if path.name not in written or path.is_dir()]:
        raise PublishError(f"{target} holds files that specc did not write ({', '.join(foreign)}): move them")


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    listing = "".join(f"{name}\n" for name in sorted(files))
    (folder / MARKER).write_text(MARKER_HEAD + listing, encoding="utf-8")


def _swap(new: Path, target: Path, old: Path) -> None:
    """Rename the old folder away and the new one in; put the old one back if that fails."""
    if not target.exists():
        new.rename(target)
        return
    target.rename(old)
    try:
        new.rename(target)
    except OSError:
        old.rename(target)
        raise
