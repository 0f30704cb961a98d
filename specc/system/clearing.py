"""Does a fault open a fuse or breaker? What its sources can drive, against what it is sure to open from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from specc.physics.protection import fusing_current_a
from specc.rulebooks import Sourced
from specc.system import guarding
from specc.system.model import Device, Pole
from specc.system.system import System
from specc.system.walk import Source


@dataclass(frozen=True)
class Clearing:
    """``opens_a`` is the current from which a device is sure to open, ``available_a`` what the sources on
    each side drive into a fault where no battery does; ``by_battery`` where one does."""

    opens_a: float
    factor: Sourced[float]
    available_a: Mapping[str, float]
    by_battery: bool

    @property
    def most_a(self) -> float:
        """The largest current of limited sources, on either side."""
        return max(self.available_a.values())

    @property
    def opens(self) -> bool:
        """True where a fault on at least one side opens the device."""
        return self.by_battery or self.most_a >= self.opens_a


def clearing(system: System, pole: Pole) -> Clearing | None:
    """How a fault behind a pole of a fuse or breaker would be cleared; None where no source reaches it.

    Raises ``MissingDatum`` where a source lacks the datum that its current depends on.
    """
    branch = system.walked.branch(pole)
    if branch is None or not system.electrical.crossing_sources(branch):
        return None
    factor = opening_factor(system, kind_of(pole.device), float(pole.device.part.rating))
    opens_a = fusing_current_a(float(pole.device.part.rating), factor.value)
    sides = guarding.sources_by_side(system, branch)
    if any(batteries_behind(system, sources) for sources in sides.values()):
        return Clearing(opens_a, factor, {}, True)
    available = {side: limited_current_a(system, sources) for side, sources in sides.items() if sources}
    return Clearing(opens_a, factor, available, False)


def kind_of(device: Device) -> str:
    """Class of a fuse, or "breaker": by which a device opens."""
    return str(device.part.fuse_class) if device.kind == "fuse" else "breaker"


def opening_factor(system: System, kind: str, rating_a: float) -> Sourced[float]:
    """Multiple of its rating that is sure to open a device; photovoltaic fuses by the rulebook [-]."""
    if kind == "gPV":
        return system.book.factor("gpv_opens")
    return system.handbook.conventional_multiple(kind, rating_a, "opens")


def holding_factor(system: System, kind: str, rating_a: float) -> Sourced[float]:
    """Multiple of its rating that a device is sure to carry for its conventional time [-]."""
    if kind == "gPV":
        return system.book.factor("gpv_holds")
    return system.handbook.conventional_multiple(kind, rating_a, "holds")


def batteries_behind(system: System, sources: tuple[Source, ...]) -> tuple[tuple[Source, Device | None], ...]:
    """Batteries behind these sources: themselves, or through a device that only switches them."""
    found: list[tuple[Source, Device | None]] = []
    for source in sources:
        device = source.ports[0].device
        if source.kind == "battery":
            found.append((source, None))
        elif source.kind == "converter" and device.part.type != "current booster":
            found += [(s, device) for s in system.electrical.feeding(device) if s.kind == "battery"]
    return tuple(found)


def limited_current_a(system: System, sources: tuple[Source, ...], *, momentary: bool = False) -> float:
    """What arrays and controllers can drive into a fault: for hours, or for a moment [A].

    What is to open a device has to last; what a device has to break may not.
    """
    arrays = tuple(s for s in sources if s.kind == "array")
    amperes = system.electrical.maximum_current(arrays).value if arrays else 0.0
    devices = dict.fromkeys(s.ports[0].device for s in sources if s.kind == "converter")
    return amperes + sum(
        float((momentary and d.part.peak_output_current) or system.electrical.output_current_a(d))
        for d in devices
    )
