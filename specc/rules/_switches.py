"""What several rules ask of a sensing switch: which pumps it must stop, what it does, where it lies."""

from __future__ import annotations

from collections.abc import Iterator

from specc.system.electrical import Electrical
from specc.system.model import Device, Pole
from specc.system.once import once
from specc.system.states import Action, remote_ends
from specc.system.stops import by_wiring, must_stop
from specc.system.system import System
from specc.system.walk import Branch, Walk

# What each guarded event is called, and what the switch senses while all is in the clear.
EVENTS = {
    "source low": "the source is low",
    "tank full": "the tank is full",
    "pump hot": "the pump is hot",
    "pressure high": "the pressure is high",
}


def switches(system: System) -> tuple[Device, ...]:
    return system.of_kind("switch")


def pump_pairs(system: System) -> Iterator[tuple[Device, Device]]:
    """Each switch with each pump that it must stop."""
    for switch in switches(system):
        for pump in must_stop(system, switch):
            yield switch, pump


def on_wiring_of(system: System, pump: Device) -> tuple[Device, ...]:
    """Switches that can act on a pump at all: those on its wiring."""
    return by_wiring(system, "switch").get(system.wiring().get(pump.tag), ())


def action(system: System, switch: Device, pump: Device) -> Action:
    """What a switch does to a pump, whatever the other switches do. Raises ``TooManySwitches``."""
    return system.situations(pump).action(pump, switch, on_wiring_of(system, pump))


def acting_on(system: System, pump: Device) -> tuple[Device, ...] | None:
    """Switches that stop the pump when what they guard against happens; None where it never runs at all.

    Raises ``TooManySwitches``.
    """
    situations = system.situations(pump)
    if not situations.runs(pump, frozenset()):
        return None
    return tuple(s for s in on_wiring_of(system, pump) if not situations.runs(pump, frozenset((s.tag,))))


@once
def contacts(system: System) -> tuple[Pole, ...]:
    """Every contact of every switch that is wired at both ends."""
    wired = system.connected.wired
    poles = (pole for switch in switches(system) for pole in system.poles_of(switch))
    return tuple(pole for pole in poles if pole.a in wired and pole.b in wired)


def closed_at(system: System, pole: Pole) -> Walk:
    """The installation with this contact closed, and all else in the clear."""
    if pole.clear_closed:
        return system.walked
    return system.in_state(lambda other: other.clear_closed or other is pole)


def figures(system: System, pole: Pole) -> tuple[Electrical, Branch | None]:
    """Electrical figures with this contact closed, and the branch that it then is."""
    walked = closed_at(system, pole)
    electrical = (
        system.electrical if walked is system.walked else Electrical(system.connected, walked, system.book)
    )
    return electrical, walked.branch(pole)


def in_power_path(system: System, pole: Pole) -> bool:
    """Does the contact, when closed, carry what some source gives to some load?"""
    electrical, branch = figures(system, pole)
    return branch is not None and electrical.circuit(branch) in ("pv", "converter output", "battery")


@once
def loops(system: System) -> dict[str, tuple[Device, ...]]:
    """Terminal of a switch -> controllers on whose remote terminals it can come to lie."""
    walked = all_closed(system)
    found: dict[str, list[Device]] = {}
    by_net: dict[str, list[Pole]] = {}
    for pole in contacts(system):
        for end in (pole.a, pole.b):
            by_net.setdefault(walked.net(end), []).append(pole)
    for controller in system.of_kind("controller"):
        nets = {walked.net(end) for end in remote_ends(controller)}
        for pole in dict.fromkeys(pole for net in nets for pole in by_net.get(net, ())):
            for end in (pole.a, pole.b):
                found.setdefault(end, []).append(controller)
    return {end: tuple(dict.fromkeys(controllers)) for end, controllers in found.items()}


def all_closed(system: System) -> Walk:
    """The installation with every contact closed."""
    return system.in_state(lambda pole: True)
