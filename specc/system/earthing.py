"""What is earthed, and where: bonds, supplies, polarity of nets, and the grounding net taken apart."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from specc.system import bonding
from specc.system.bonding import Bond
from specc.system.model import Conductor, Device, Path, Pole
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Source


@dataclass(frozen=True, eq=False)
class Supply:
    """Sources that share a potential, straight or through a controller, and the bonds of their nets."""

    sources: tuple[Source, ...]
    bonds: tuple[Bond, ...]

    @property
    def tag(self) -> str:
        return (self.feeders or self.sources)[0].tag

    @property
    def path(self) -> Path:
        return (self.feeders or self.sources)[0].devices[0].path

    @property
    def feeders(self) -> tuple[Source, ...]:
        """Arrays and batteries: what is there before any controller."""
        return tuple(s for s in self.sources if s.kind != "converter")


def bonds(system: System) -> tuple[Bond, ...]:
    """Every joint of a live net with a grounding net, the visible ones first."""
    return bonding.bonds(system.walked)


@once
def supplies(system: System) -> tuple[Supply, ...]:
    """The separate supplies of the job; a controller joins its input and output into one."""
    walked = system.walked
    group: dict[int, int] = {island: island for island, _ in walked.potentials.values()}

    def root(island: int) -> int:
        while group[island] != island:
            island = group[island]
        return island

    by_device: dict[Device, list[int]] = defaultdict(list)
    for port in system.connected.ports:
        for net in walked.port_nets(port):
            if port.device.kind == "controller" and net in walked.potentials:
                by_device[port.device].append(walked.potentials[net][0])
    for islands in by_device.values():
        for island in islands[1:]:
            group[root(island)] = root(islands[0])
    members: dict[int, list[Source]] = defaultdict(list)
    for source in walked.sources:
        members[root(walked.potentials[source.plus][0])].append(source)
    joints: dict[int, list[Bond]] = defaultdict(list)
    for bond in bonds(system):
        if bond.net in walked.potentials:
            joints[root(walked.potentials[bond.net][0])].append(bond)
    return tuple(Supply(tuple(sources), tuple(joints[key])) for key, sources in members.items())


def supply_of(system: System, source: Source) -> Supply:
    """The supply to which a source belongs."""
    return next(supply for supply in supplies(system) if source in supply.sources)


def polarity(system: System, net: str) -> str:
    """ "positive" or "negative" by the sources that end on the net; "" between two, or on none."""
    plus = any(source.plus == net for source in system.walked.sources)
    minus = any(source.minus == net for source in system.walked.sources)
    return "" if plus == minus else "positive" if plus else "negative"


@once
def solidly_grounded_nets(system: System) -> frozenset[str]:
    """Nets that stay at earth whatever happens: those bonded solidly, or those that the job says are.

    None in a job that says "functionally grounded": there each conductor can come to stand off earth.
    """
    if system.functional:
        return frozenset()
    nets: set[str] = set()
    for supply in supplies(system):
        nets |= {bond.net for bond in supply.bonds if bond.solid}
        if not supply.bonds and system.solidly_grounded:
            nets |= {s.minus for s in supply.feeders if polarity(system, s.minus) == "negative"}
    return frozenset(nets)


@once
def functional_nets(system: System) -> frozenset[str]:
    """Nets that a fuse, breaker, resistor or detector holds at earth."""
    return frozenset(bond.net for bond in bonds(system) if bond.functional)


@once
def earthed_nets(system: System) -> frozenset[str]:
    """Nets that are at earth in any way: a fault to earth elsewhere drives current through them."""
    return solidly_grounded_nets(system) | {bond.net for bond in bonds(system)}


@once
def earth_poles(system: System) -> frozenset[Pole]:
    """Poles that stand in a joint with earth, and carry nothing else."""
    return frozenset(pole for bond in bonds(system) for pole in bonding.lead_poles(system.walked, bond))


# -- the grounding net ---------------------------------------------------------------------------------


def ground_groups(system: System) -> Mapping[str, tuple[str, ...]]:
    """Terminals of each separate grounding net, the net of the electrode (then the largest) first."""
    groups: dict[str, list[str]] = defaultdict(list)
    for terminal, net in system.walked.ground_of.items():
        groups[net].append(terminal)
    order = sorted(groups, key=lambda net: (not has_electrode(system, groups[net]), -len(groups[net])))
    return {net: tuple(groups[net]) for net in order}


def is_electrode(device: Device) -> bool:
    return device.kind == "grounding" and device.part.type == "rod"


def has_electrode(system: System, terminals: Iterable[str]) -> bool:
    return any(is_electrode(system.terminal(t).device) for t in terminals)


def ground_conductors(system: System) -> tuple[Conductor, ...]:
    """Equipment grounding, bonding and electrode conductors."""
    return tuple(c for c in system.conductors if c.tag in system.walked.ground_conductors)


def protective_conductors(system: System) -> tuple[Conductor, ...]:
    """The grounding conductors, but those that serve a functional earth alone."""
    joints = bonding.leads(system.walked)

    def serves_it_alone(conductor: Conductor) -> bool:
        bond = joints.get(conductor.tag)
        if bond is None or bond.through is None:
            return False
        device = bond.through.device
        return not device.part.metal_case and set(bonded_by(system, conductor)) <= {device}

    return tuple(c for c in ground_conductors(system) if not serves_it_alone(c))


@once
def bonded_by(system: System, conductor: Conductor) -> tuple[Device, ...]:
    """Devices whose fault current returns through a grounding conductor.

    They stand on the side away from the bond of the supply (away from the larger side, where there
    is none). Where another way runs round the conductor, the devices at its two ends.
    """
    near = _beyond(system, conductor, conductor.start)
    far = _beyond(system, conductor, conductor.end)
    if conductor.end in near:
        ends = [system.terminal(end).device for end in (conductor.start, conductor.end)]
        return tuple(d for d in ends if system.connected.ports_of(d)) or tuple(ends)
    # What flows to a functional joint opens it: only a solid one is the way home of a fault.
    joints = {bond.ground for bond in bonds(system) if bond.solid}
    home = max((near, far), key=lambda side: (bool(joints & side), len(side)))
    away = far if home is near else near
    order = system.connected.terminal_order
    return tuple(dict.fromkeys(system.terminal(t).device for t in sorted(away, key=order.__getitem__)))


def leads_to_electrode(system: System, conductor: Conductor) -> bool:
    """Does a conductor serve an electrode alone: from it, or from a block or bar that holds nothing else?"""
    ends = (conductor.start, conductor.end)
    for end, other in (ends, ends[::-1]):
        side = _beyond(system, conductor, end, only=lambda t: not _is_bonded(system, t))
        if other not in side and has_electrode(system, side):
            return True
    return False


def _is_bonded(system: System, terminal: str) -> bool:
    """Is there a case, a frame or a live part at a grounding terminal, and not only conductors?"""
    device = system.terminal(terminal).device
    bar = device.kind == "grounding" and device.part.type in ("rod", "bonding bar")
    return not (bar or device.kind == "terminal_block")


def _beyond(
    system: System, without: Conductor, start: str, only: Callable[[str], bool] | None = None
) -> set[str]:
    """Grounding terminals that hang together with ``start`` when a conductor is taken out.

    None at all where not ``only`` those of which it is true do.
    """
    near = _ground_links(system)
    seen, waiting = {start}, [start]
    while waiting:
        at = waiting.pop()
        if only is not None and not only(at):
            return set()
        for other, conductor in near.get(at, ()):
            if other not in seen and (conductor is None or conductor is not without):
                seen.add(other)
                waiting.append(other)
    return seen


@once
def _ground_links(system: System) -> dict[str, list[tuple[str, Conductor | None]]]:
    """Each grounding terminal with those that a conductor, or a join inside a device (None), leads to."""
    near: dict[str, list[tuple[str, Conductor | None]]] = defaultdict(list)
    for a, b, data in system.connected.wiring:
        conductor = data.get("conductor")
        if data["kind"] not in ("conductor", "join"):
            continue
        if conductor is not None and conductor.tag not in system.walked.ground_conductors:
            continue
        if system.walked.is_ground(a) and system.walked.is_ground(b):
            near[a].append((b, conductor))
            near[b].append((a, conductor))
    return near
