"""What energy reaches: in which order on the way from the sources on, and what still with a device open."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Mapping

from specc.system.charging import chargers
from specc.system.model import Device, Port
from specc.system.system import System
from specc.system.walk import Walk


def steps_from_sources(system: System) -> Mapping[str, int]:
    """Terminal -> conductors, poles and controllers between it and the nearest array or battery.

    A charge controller is met from its bank, which it gets before its array: energy of the array passes
    only through controllers that feed no battery. Terminals that no source reaches are left out.
    """
    near: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for edges in system.walked.net_edges.values():
        for a, b, what in edges:
            cost = 0 if what is None else 1
            near[a].append((b, cost))
            near[b].append((a, cost))
    charging = chargers(system)
    starts: list[str] = []
    for port in system.connected.ports:
        if port.device.kind in ("panel", "battery"):
            starts += (port.plus, port.minus)
        elif port.takes and port.device not in charging:
            given = [other for other in system.connected.ports_of(port.device) if other.gives]
            for end in (port.plus, port.minus):
                near[end] += [(out, 1) for other in given for out in (other.plus, other.minus)]
    found: dict[str, int] = {}
    waiting = [(0, start) for start in starts]
    heapq.heapify(waiting)
    while waiting:
        steps, terminal = heapq.heappop(waiting)
        if terminal not in found:
            found[terminal] = steps
            for other, cost in near[terminal]:
                heapq.heappush(waiting, (steps + cost, other))
    return found


def is_dead_beyond(walked: Walk, device: Device) -> bool:
    """Has an open device a side without volts? Two nets of one side must be live for volts between them."""
    live = _live_nets(walked)[0]
    poles = [pole for pole in walked.connected.poles if pole.device is device]
    sides = ({walked.net(pole.a) for pole in poles}, {walked.net(pole.b) for pole in poles})
    return any(len(nets & live) < min(len(poles), 2) for nets in sides)


def fed_inputs(walked: Walk) -> tuple[Port, ...]:
    """Inputs of controllers with an array or a battery on them, through other controllers or not."""
    return _live_nets(walked)[1]


def _live_nets(walked: Walk) -> tuple[frozenset[str], tuple[Port, ...]]:
    """Nets that arrays and batteries hold at a voltage, themselves or through controllers that they feed."""
    ports = walked.connected.ports
    live = {
        net for port in ports if port.device.kind in ("panel", "battery") for net in walked.port_nets(port)
    }
    fed: list[Port] = []
    waiting = [port for port in ports if port.takes and port.device.kind == "controller"]
    while ready := [port for port in waiting if live.issuperset(walked.port_nets(port))]:
        for port in ready:
            waiting.remove(port)
            fed.append(port)
            for given in walked.connected.ports_of(port.device):
                if given.gives:
                    live.update(walked.port_nets(given))
    return frozenset(live), tuple(fed)
