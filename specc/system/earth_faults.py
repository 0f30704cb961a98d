"""What a first fault to earth does in a supply that is earthed on purpose at one conductor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from specc.calculation import Calculation
from specc.system import clearing
from specc.system.bonding import Bond
from specc.system.earthing import Supply, polarity
from specc.system.model import Path
from specc.system.system import System
from specc.system.walk import Source


@dataclass(frozen=True)
class EarthFault:
    """A dead fault to earth on one net of a supply.

    ``sure_a`` flows in full sun and can be counted on; ``most_a`` is the most that can flow, a battery
    without its cable. ``tag`` and ``side`` name the net by a source that ends on it.
    """

    net: str
    tag: str
    side: str
    sure_a: float
    most_a: float
    numbers: tuple[Calculation, ...]
    paths: tuple[Path, ...]


def faults_against(system: System, supply: Supply, bond: Bond) -> Iterator[EarthFault]:
    """A fault on each net of the supply from which a source drives current to the earthed one."""
    driving: dict[str, list[Source]] = {}
    for source in supply.sources:
        ends = {source.plus, source.minus}
        if bond.net in ends and len(ends) == 2:
            driving.setdefault(next(iter(ends - {bond.net})), []).append(source)
    for net, sources in driving.items():
        batteries = clearing.batteries_behind(system, tuple(sources))
        numbers = tuple(system.electrical.battery_fault_current(b, 0.0) for b, _ in batteries)
        switched = [device for _, device in batteries if device is not None]
        limited = [s for s in sources if s.kind != "battery" and s.ports[0].device not in switched]
        battery_a = sum(number.value for number in numbers)
        yield EarthFault(
            net,
            sources[0].tag,
            polarity(system, net) or "far end",
            battery_a + sum(_sure_a(system, s) for s in limited),
            battery_a + clearing.limited_current_a(system, tuple(limited)),
            numbers,
            tuple(s.devices[0].path for s in sources),
        )


def _sure_a(system: System, source: Source) -> float:
    if source.kind == "array":
        return system.electrical.short_circuit_a(source)
    return system.electrical.output_current_a(source.ports[0].device)
