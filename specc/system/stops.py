"""Which pumps a sensing switch has to stop."""

from __future__ import annotations

from specc.system.model import Device
from specc.system.once import once
from specc.system.system import System

_GUARDED = {"tank full": "tank", "source low": "source", "pump hot": "pumps"}


def must_stop(system: System, switch: Device) -> tuple[Device, ...]:
    """Pumps that a switch must stop: as it says; else, of the pumps on its wiring, those that it guards.

    Where it hangs at one of several tanks or sources, or on one of several pumps, these are the pumps that
    fill that tank, draw from that source, or that pump; where nothing says so, or none of these is on its
    wiring, every pump on its wiring.
    """
    if switch.spec.stops:
        return tuple(system.devices[tag] for tag in switch.spec.stops)
    wired = by_wiring(system, "pump").get(system.wiring().get(switch.tag), ())
    guarded = guarded_by(system, switch)
    own = concerned(system, guarded) if guarded is not None else ()
    return tuple(pump for pump in wired if pump in own) or wired


def guarded_by(system: System, switch: Device) -> Device | None:
    """The tank or source where a level switch hangs, the pump on which a thermal switch is mounted.

    Only where a job has several of that kind (else there is nothing to take it for), and one alone is there.
    """
    table = _GUARDED.get(switch.spec.guards)
    several = [d for d in system.devices.values() if d.table == table]
    if table == "pumps":
        here = [d for d in several if d.tag == switch.spec.mounted_on]
    elif switch.part.senses == "level" and switch.location is not None:
        here = [d for d in several if d.location == switch.location]
    else:
        return None
    return here[0] if len(several) > 1 and len(here) == 1 else None


def concerned(system: System, guarded: Device) -> tuple[Device, ...]:
    """The pumps that fill a tank, that draw from a source, or the pump itself."""
    if guarded.table == "pumps":
        return (guarded,)
    if guarded.table == "tank":
        ways = ((p, way.end) for p in system.water.pumps for way in system.water.ways_out(p))
        return tuple(dict.fromkeys(p for p, end in ways if end is guarded))
    return system.water.drawn_by(guarded)


@once
def by_wiring(system: System, kind: str) -> dict[int | None, tuple[Device, ...]]:
    """Devices of a kind by the number of their wiring."""
    found: dict[int | None, tuple[Device, ...]] = {}
    for device in system.of_kind(kind):
        number = system.wiring().get(device.tag)
        found[number] = (*found.get(number, ()), device)
    return found
