"""Charge controllers and the order in which their two sides are opened and closed.

A charge controller regulates against its battery. Left on its array alone it may let the array's volts
through to the loads, so the battery is joined first and parted last (common practice, no source; makers'
instructions say so).
"""

from __future__ import annotations

from specc.system.model import Device
from specc.system.network import charges
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Walk

BY_HAND = ("isolator", "breaker")


@once
def chargers(system: System) -> tuple[Device, ...]:
    """Controllers with a battery across one of their outputs."""
    found = (
        s.ports[0].device
        for s in system.walked.sources
        if s.kind == "converter" and charges(system.electrical, s)
    )
    return tuple(dict.fromkeys(found))


def _on(walked: Walk, controller: Device) -> tuple[bool, bool]:
    """Is an array on a controller, and is a battery?"""
    ports = [port for port in walked.connected.ports if port.device is controller]
    array = any(s.kind == "array" for port in ports if port.takes for s in walked.feeds(port))
    battery = any(
        pair.load.device.kind == "battery"
        for pair in walked.pairs
        if pair.source.kind == "converter" and pair.source.ports[0].device is controller
    )
    return array, battery


@once
def bereft(system: System, opened: tuple[Device, ...]) -> tuple[Device, ...]:
    """Charge controllers that these open devices leave on their array without their battery."""
    walked = system.in_state(lambda pole: pole.device not in opened and pole.clear_closed)
    return tuple(c for c in chargers(system) if _on(walked, c) == (True, False))


@once
def opened_first(system: System, device: Device) -> tuple[Device, ...]:
    """What is opened before a device, so that no charge controller is left on its array alone.

    The isolators and breakers that part those controllers from their arrays. Empty where the device
    leaves none so, or where nothing parts one from its array.
    """
    left = bereft(system, (device,))
    if not left:
        return ()
    before: list[Device] = []
    for other in system.of_kind(*BY_HAND):
        if other is not device and other.part.load_break:
            walked = system.in_state(lambda pole, other=other: pole.device is not other and pole.clear_closed)  # type: ignore[misc]
            before += [other] if any(not _on(walked, c)[0] for c in left) else []
    for count in range(1, len(before) + 1):
        if not bereft(system, (device, *before[:count])):
            return tuple(before[:count])
    return ()
