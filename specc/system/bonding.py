"""Where live nets are joined to earth: solidly, or through something that opens or limits.

Found from the wiring of one state, not from names: a joint is solid where nothing stands between the
conductor and earth; a fuse, a breaker, a resistor or a detector in the lead, or in the device that makes the
joint, makes it a functional one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from specc.system.model import Conductor, Device, Path, Pole
from specc.system.once import once
from specc.system.walk import Walk


@dataclass(frozen=True)
class Reference:
    """What a functional joint passes through. Figures that the catalogue does not give are None.

    ``through``: "fuse", "breaker", "resistor", "detector", or "switch" for what only opens by hand.
    """

    device: Device
    through: str
    rating_a: float | None = None
    resistance_ohm: float | None = None
    power_w: float | None = None
    dc_voltage_v: float | None = None
    breaking_a: float | None = None
    sees_both_poles: bool = False  # also detects a fault on the very conductor that it earths

    @property
    def path(self) -> Path:
        return self.device.path + ("part",)


@dataclass(frozen=True)
class Bond:
    """One joint between a live net and a grounding terminal.

    ``hidden``: inside a device. ``through``: None where the joint is solid. ``lead``: conductors between
    the circuit and the joint, which carry nothing but what flows to earth.
    """

    tag: str
    path: Path
    net: str
    ground: str
    hidden: bool = False
    through: Reference | None = None
    lead: tuple[Conductor, ...] = ()

    @property
    def solid(self) -> bool:
        return self.through is None

    @property
    def functional(self) -> bool:
        """True where the joint opens or limits by itself."""
        return self.through is not None and self.through.through != "switch"


@once
def bonds(walked: Walk) -> tuple[Bond, ...]:
    """Every joint of a live net with a grounding net, the visible ones first."""
    found: dict[frozenset[str], Bond] = {}
    for what in walked.bonds:
        live, ground = _ends(walked, what)
        if not live or not ground:
            continue
        lead, poles = _lead(walked, live[0])
        own = _built_in(what) if isinstance(what, Device) else None
        through = own or _from_poles(poles)
        # A switch that happens to stand in the lead is not what joins: the conductor is.
        by_lead = isinstance(what, Device) or through is None or through.through == "switch"
        named = what if by_lead or through is None else through.device
        tag, path = named.tag, named.path
        bond = Bond(tag, path, walked.net(live[0]), ground[0], through=through, lead=lead)
        found.setdefault(frozenset((live[0], ground[0])), bond)
    for device in walked.connected.of_kind("controller"):
        inside = _inside(walked, device)
        if inside is not None:
            found[frozenset((device.tag,))] = inside
    return tuple(found.values())


@once
def leads(walked: Walk) -> dict[str, Bond]:
    """Tag of each conductor that leads to a joint -> the joint, the last conductor to earth included."""
    found = {c.tag: bond for bond in bonds(walked) for c in bond.lead}
    for bond in bonds(walked):
        device = bond.through.device if bond.through is not None else None
        for conductor in walked.connected.conductors:
            ends = (conductor.start, conductor.end)
            if conductor in walked.bonds and bond.ground in ends:
                found.setdefault(conductor.tag, bond)
            elif device is not None and not bond.hidden and device.kind != "controller":
                own = {t.id for t in walked.connected.terminals_of(device) if t.role == "ground"}
                if own & set(ends) and conductor.tag in walked.ground_conductors:
                    found.setdefault(conductor.tag, bond)
    return found


def lead_poles(walked: Walk, bond: Bond) -> tuple[Pole, ...]:
    """Poles that stand in the lead of a joint: they carry nothing but what flows to earth."""
    found = []
    for what in walked.bonds:
        live, ground = _ends(walked, what)
        if live and ground and ground[0] == bond.ground:
            found += _lead(walked, live[0])[1]
    return tuple(found)


def _ends(walked: Walk, what: Conductor | Device) -> tuple[list[str], list[str]]:
    """The live and the earthed ends of what makes a joint; either is empty where it makes none."""
    if isinstance(what, Conductor):
        live = [end for end in (what.start, what.end) if not walked.is_ground(end)]
        return live, [end for end in (what.start, what.end) if walked.is_ground(end)]
    own = [t.id for t in walked.connected.terminals_of(what)]
    earth = getattr(what.part, "functional_earth", None)
    live = [end for end in own if not walked.is_ground(end) and walked.net(end) in walked.potentials]
    if earth is not None:
        live = [end for end in live if end == f"{what.tag}.{earth.terminal}"]
    return live, [end for end in own if walked.is_ground(end) and _wired(walked, end)]


def _wired(walked: Walk, terminal: str) -> bool:
    conductors = walked.connected.conductors
    return any(terminal in (c.start, c.end) for c in conductors if c.tag in walked.ground_conductors)


def _lead(walked: Walk, live: str) -> tuple[tuple[Conductor, ...], list[Pole]]:
    """Conductors and poles from a joint back to the circuit: those with no source and no load behind them."""
    ports = {end for port in walked.connected.ports for end in (port.plus, port.minus)}
    near: dict[str, list[tuple[str, Conductor | Pole | None]]] = defaultdict(list)
    for a, b, what in walked.net_edges.get(walked.net(live), ()):
        near[a].append((b, what))
        near[b].append((a, what))
    conductors: list[Conductor] = []
    poles: list[Pole] = []
    seen, waiting = {live}, [live]
    while waiting:
        node = waiting.pop(0)
        if node in ports:
            continue
        for other, what in near[node]:
            if other in seen or not (what is None or _carries_nothing(walked, what, node)):
                continue
            seen.add(other)
            waiting.append(other)
            if isinstance(what, Conductor):
                conductors.append(what)
            elif what is not None:
                poles.append(what)
    return tuple(conductors), poles


def _carries_nothing(walked: Walk, what: Conductor | Pole, origin: str) -> bool:
    branch = walked.branch(what)
    if branch is None or not branch.sole:
        return False
    return not (branch.on_start if branch.start == origin else branch.on_end)


def _inside(walked: Walk, controller: Device) -> Bond | None:
    """The joint inside a controller, of its first negative or of the terminal that its part names."""
    part, tag = controller.part, controller.tag
    if not (part.bond_inside or part.functional_earth):
        return None
    port = walked.connected.ports_of(controller)[0]
    live = f"{tag}.{part.functional_earth.terminal}" if part.functional_earth else port.minus
    cases = [t.id for t in walked.connected.terminals_of(controller) if t.role == "ground"]
    return Bond(
        tag,
        controller.path + ("part",),
        walked.net(live),
        cases[0] if cases else f"{tag} case",
        hidden=True,
        through=None if part.bond_inside else _built_in(controller),
    )


def _built_in(device: Device) -> Reference | None:
    """What a device that makes the joint says of itself; None for a solid one."""
    earth: Any = getattr(device.part, "functional_earth", None)
    if earth is None:
        return None
    return Reference(
        device,
        earth.through,
        earth.rating,
        earth.resistance,
        earth.power,
        earth.dc_voltage,
        earth.breaking_capacity,
        earth.sees_both_poles,
    )


def _from_poles(poles: Iterator[Pole] | list[Pole]) -> Reference | None:
    """What stands in the lead: a fuse or breaker before anything else that only opens by hand."""
    devices = list(dict.fromkeys(pole.device for pole in poles))
    opening = [d for d in devices if d.kind in ("fuse", "breaker")]
    if opening:
        part = opening[0].part
        return Reference(
            opening[0],
            opening[0].kind,
            rating_a=part.rating,
            dc_voltage_v=part.dc_voltage,
            breaking_a=part.breaking_capacity,
        )
    return Reference(devices[0], "switch") if devices else None
