"""A datum that is not there: raised by whoever needs it, reported as a finding that names it."""

from __future__ import annotations

from typing import Any, TypeVar

from specc.system.model import Device, Path

T = TypeVar("T")

# What the spec may say of a run that names no raceway.
HOW_LAID = (
    "how it is laid (in enclosure, out of reach, within reach, direct buried, submerged, or in a raceway)"
)


class MissingDatum(Exception):
    """A needed value is absent. ``what`` names it, ``path`` is where it belongs, ``key`` its key."""

    def __init__(self, what: str, path: Path, key: str) -> None:
        super().__init__(what)
        self.what = what
        self.path = path
        self.key = key


def need(value: T | None, what: str, path: Path, key: str) -> T:
    """The value, or ``MissingDatum`` when it is None."""
    if value is None:
        raise MissingDatum(what, path, key)
    return value


def need_part(device: Device, key: str, what: str) -> Any:
    """A datum of a device's catalogue part, or ``MissingDatum`` that names part and key."""
    value = getattr(device.part, key, None)
    if value is None:
        part_id = getattr(device.part, "id", "no part")
        raise MissingDatum(
            f"{device.tag}: {what} (catalogue part {part_id}, key {key})", device.path + ("part",), key
        )
    return value
