"""What lies in a raceway, and how full that makes it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from specc.physics.conductors import raceway_fill_fraction
from specc.rulebooks import NotInTable, Sourced
from specc.system.model import Conductor, Device
from specc.system.system import System


@dataclass(frozen=True)
class Fill:
    """How full a raceway is: areas of its conductors, the area inside, the share taken and allowed."""

    areas: tuple[Sourced[float], ...]  # m2
    internal: Sourced[float]  # m2
    fraction: float
    limit: Sourced[float]  # a fraction

    @property
    def taken_m2(self) -> float:
        """Area of all conductors."""
        return sum(area.value for area in self.areas)


def inside(system: System, raceway: Device) -> tuple[Conductor, ...]:
    """The conductors that a raceway holds, in the order of the spec."""
    return tuple(c for run in system.connected.runs_in(raceway) for c in run.conductors)


def fill(system: System, raceway: Device) -> Fill:
    """How full a raceway is by the rulebook's tables; raises ``NotInTable`` for what they do not hold."""
    conductors = inside(system, raceway)
    areas = tuple(conductor_area_m2(system, conductor) for conductor in conductors)
    internal = system.book.raceway_area_m2(raceway.part.raceway, raceway.part.trade_size)
    limit = system.book.fill_fraction(len(conductors), raceway.spec.length)
    fraction = raceway_fill_fraction([area.value for area in areas], internal.value)
    return Fill(areas, internal, fraction, limit)


def conductor_area_m2(system: System, conductor: Conductor) -> Sourced[float]:
    """Outside area of a conductor: the rulebook's, else from the diameter that the catalogue gives."""
    try:
        return system.book.conductor_area_m2(conductor.wire.insulation, conductor.size)
    except NotInTable:
        sold = next((s for s in conductor.wire.sizes if s.size == conductor.size), None)
        if sold is None or sold.outer is None:
            raise
        return Sourced(math.pi / 4.0 * sold.outer**2, f"outer diameter, catalogue part {conductor.wire.id}")
