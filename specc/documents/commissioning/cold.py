"""The cold tests of the electrical side: what an ohmmeter should say with everything dead."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from specc.documents.commissioning.bench import Bench
from specc.documents.commissioning.model import Reading
from specc.documents.commissioning.power import arrays
from specc.system.bonding import Reference
from specc.system.earthing import (
    bonds,
    ground_conductors,
    ground_groups,
    has_electrode,
    is_electrode,
    polarity,
)
from specc.system.missing import need, need_part
from specc.system.model import Conductor, Device, Pole
from specc.system.states import remote_ends
from specc.system.walk import State


def inspection(bench: Bench) -> Iterator[Reading]:
    """Every place with the electrical devices in it."""
    wired = {t.device for t in bench.system.connected.terminals.values()}
    by_place: dict[str, list[str]] = defaultdict(list)
    for device in bench.system.devices.values():
        if device in wired and device.kind != "enclosure":
            by_place[bench.place(device)].append(device.tag)
    for place, tags in by_place.items():
        yield Reading(place, ", ".join(tags), "as scheduled", "every line ticked", tags=tuple(tags))


def bonding(bench: Bench) -> Iterator[Reading]:
    """From the bar where the electrode ends to every other device that is grounded or has to be.

    Installations apart have a bar each.
    """
    bars = _earth_bars(bench)
    if not bars:
        return
    joints = bench.system.handbook.threshold("bond_joints_ohm").value
    reached = {end: (bar, ohm) for bar in bars for end, ohm in _ground_ohm(bench, bar).items()}
    done: set[Device] = {bench.system.terminal(bar).device for bar in bars}
    wired = {end for c in ground_conductors(bench.system) for end in (c.start, c.end)}
    for name, terminal in bench.system.connected.terminals.items():
        device = terminal.device
        if terminal.role != "ground" or device.kind == "grounding" or device in done:
            continue
        done.add(device)
        home, ohm = reached.get(name, (bars[0], None))
        at, place = f"{home} to {name}", bench.place(device)
        if ohm is not None:
            yield from bench.tried(place, at, _bonded, device, ohm, joints)
        elif device.part.metal_case or name in wired:
            yield Reading(
                place, at, "not worked out; no way to the bar in the spec", missing="a grounding conductor"
            )


def _bonded(bench: Bench, place: str, at: str, device: Device, wire_ohm: float, joints_ohm: float) -> Reading:
    """A good joint adds next to nothing to the wire; the limit allows for all of them."""
    words = f"wire {bench.show(wire_ohm, 'resistance')}"
    reading = bench.reading(place, at, wire_ohm + joints_ohm, "resistance", tags=(device.tag,))
    return replace(reading, expected=words)


def _earth_bars(bench: Bench) -> list[str]:
    """Of each grounding net the terminal where the electrode's conductor ends; else that with the most.

    Nets with an electrode only, where there is one at all: a net without is a fault, not a place to begin.
    """
    nets = [net for net in ground_groups(bench.system).values() if len(net) > 1]
    with_rod = [net for net in nets if has_electrode(bench.system, net)]
    return [_earth_bar(bench, net) for net in with_rod or nets[:1]]


def _earth_bar(bench: Bench, net: Sequence[str]) -> str:
    ends = [(c.start, c.end) for c in ground_conductors(bench.system) if c.start in net]
    for a, b in ends:
        for rod, bar in ((a, b), (b, a)):
            if is_electrode(bench.system.terminal(rod).device) and not is_electrode(
                bench.system.terminal(bar).device
            ):
                return bar
    return max(net, key=lambda t: sum(t in pair for pair in ends))


def _ground_ohm(bench: Bench, start: str) -> dict[str, float]:
    """Least resistance along grounding conductors from a terminal to every other it reaches [ohm]."""
    near: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for conductor in ground_conductors(bench.system):
        ohm = bench.ohm(conductor)
        near[conductor.start].append((conductor.end, ohm))
        near[conductor.end].append((conductor.start, ohm))
    for a, b, data in bench.system.connected.graph.edges(data=True):
        if data["kind"] == "join" and bench.system.walked.is_ground(a) and bench.system.walked.is_ground(b):
            near[a].append((b, 0.0))
            near[b].append((a, 0.0))
    found: dict[str, float] = {}
    waiting = [(0.0, start)]
    while waiting:
        ohm, terminal = heapq.heappop(waiting)
        if terminal in found:
            continue
        found[terminal] = ohm
        for other, more in near[terminal]:
            if other not in found:
                heapq.heappush(waiting, (ohm + more, other))
    return found


def continuity(bench: Bench) -> Iterator[Reading]:
    """Every conductor, by its tag."""
    floor = float(bench.practice["continuity_floor_ohm"])
    for conductor in bench.system.conductors:
        place = conductor.run.raceway.tag if conductor.run.raceway else conductor.run.tag
        at = f"{conductor.tag}: {conductor.start} to {conductor.end}"
        yield from bench.tried(place, at, _end_to_end, conductor, floor)


def _end_to_end(bench: Bench, place: str, at: str, conductor: Conductor, floor: float) -> Reading:
    ohm = bench.ohm(conductor)
    most = max(float(bench.words["at_most"]) * ohm, floor)
    tags = (conductor.tag,)
    reading = bench.reading(place, at, ohm, "resistance", lowest=None, highest=most, tags=tags)
    least = float(bench.practice["milliohm_meter_ohm"])
    if ohm >= least:
        return reading
    return replace(reading, expected=f"under {bench.show(least, 'resistance')}")


def no_short(bench: Bench) -> Iterator[Reading]:
    """Between the poles of each array circuit, and across each motor."""
    for source in arrays(bench):
        first, last = source.ports[0], source.ports[-1]
        loads = dict.fromkeys(
            pair.load.device.tag for pair in bench.system.walked.pairs if pair.source is source
        )
        off = f" and leads at {', '.join(loads)}" if loads else ""
        at = f"{last.plus} to {first.minus}, module leads{off} off, isolators between them closed for it"
        yield bench.is_open(bench.place(first.device), at, tags=(first.device.tag,))
    for port in bench.pump_ports():
        pump = port.device
        at, place = f"{port.plus} to {port.minus}, motor isolator open", bench.place(pump)
        yield from bench.tried(place, at, _armature, pump)


def _armature(bench: Bench, place: str, at: str, pump: Device) -> Reading:
    ohm = float(need_part(pump, "armature_resistance", "armature resistance of the motor"))
    return bench.reading(place, at, ohm, "resistance", tags=(pump.tag,))


def switch_loops(bench: Bench) -> Iterator[Reading]:
    """Remote loops at the controller, each switch moved in turn; other switches at their own contacts."""
    in_a_loop: set[Pole] = set()
    for controller in bench.system.of_kind("controller"):
        ends = remote_ends(controller)
        if ends:
            yield from _loop(bench, controller, ends, in_a_loop)
    for pole in bench.system.connected.poles:
        if pole.sensor and pole not in in_a_loop:
            yield from _contact(bench, pole)


def _loop(bench: Bench, controller: Device, ends: tuple[str, ...], used: set[Pole]) -> Iterator[Reading]:
    system, (first, second) = bench.system, ends
    place, tags = bench.place(controller), (controller.tag,)
    way = system.walked.paths(first, second)
    contacts = [step for step in way if isinstance(step, Pole)]
    if way:
        at = f"{first} to {second}, all in the clear"
        wires = [step for step in way if isinstance(step, Conductor)]
        yield from bench.tried(place, at, _closed_loop, wires, len(contacts), tags)
    else:
        yield bench.is_open(place, f"{first} to {second}, all in the clear", tags=tags)
    wiring = system.wiring()
    for device in system.of_kind("switch"):
        poles = system.poles_of(device)
        if wiring.get(device.tag) != wiring.get(controller.tag) or not any(p.sensor for p in poles):
            continue
        moved = system.in_state(_moved(device))
        joined = moved.net(first) == moved.net(second)
        if joined == bool(way) and not set(poles) & set(contacts):
            continue
        used.update(poles)
        at = f"{first} to {second}, {device.tag} moved by hand to: {device.spec.guards}"
        tagged = (controller.tag, device.tag)
        if joined:
            most = float(bench.practice["contact_ohm"])
            yield Reading(
                place, at, "closed", f"wires and contacts, about {most:g} ohm a contact", tags=tagged
            )
        else:
            yield bench.is_open(place, at, tags=tagged)


def _moved(device: Device) -> State:
    """All in the clear but one switch."""
    return lambda pole: pole.clear_closed != (pole.device is device and pole.sensor)


def _closed_loop(
    bench: Bench, place: str, at: str, wires: list[Conductor], contacts: int, tags: tuple[str, ...]
) -> Reading:
    ohm = sum(bench.ohm(wire) for wire in wires)
    most = float(bench.words["at_most"]) * ohm + contacts * float(bench.practice["contact_ohm"])
    return bench.reading(place, at, ohm, "resistance", lowest=None, highest=most, tags=tags, after=" of wire")


def _contact(bench: Bench, pole: Pole) -> Iterator[Reading]:
    """A contact that is in no remote loop, at its own terminals."""
    device, most = pole.device, float(bench.practice["contact_ohm"])
    place, at = bench.place(device), f"{pole.a} to {pole.b}"
    for where, closed in (
        ("in the clear", pole.clear_closed),
        (device.spec.guards, not pole.clear_closed),
    ):
        words = f"{at}, {device.tag}: {where}"
        if closed:
            yield Reading(
                place, words, "closed", f"at most {most:g} ohm", 0.0, None, most, "resistance", (device.tag,)
            )
        else:
            yield bench.is_open(place, words, tags=(device.tag,))


def functional_earth(bench: Bench) -> Iterator[Reading]:
    """Each functional joint: what is read through it, and that nothing is left when it is open."""
    for bond in bonds(bench.system):
        if bond.through is None or not bond.functional:
            continue
        device, tags = bond.through.device, (bond.through.device.tag,)
        place = bench.place(device)
        at = f"{polarity(bench.system, bond.net) or bond.net} to the earth bar, {bond.tag} closed"
        if bond.through.through == "resistor":
            yield from bench.tried(place, at, _resistor_ohm, bond.through, tags)
        elif bond.through.through == "detector":
            yield Reading(place, at, "as its maker gives", "keep the reading", tags=tags)
        else:
            most = float(bench.practice["functional_joint_ohm"])
            told = f"at most {most:g} ohm, fuse and leads"
            yield Reading(place, at, "closed", told, 0.0, None, most, "resistance", tags)
        yield bench.is_open(place, at.replace("closed", "opened"), tags=tags)


def _resistor_ohm(bench: Bench, place: str, at: str, through: Reference, tags: tuple[str, ...]) -> Reading:
    ohm = need(through.resistance_ohm, "resistance of the joint with earth", through.path, "resistance")
    return bench.reading(place, at, ohm, "resistance", lowest=0.9 * ohm, highest=1.1 * ohm, tags=tags)


def electrode(bench: Bench) -> Iterator[Reading]:
    """Every rod."""
    for device in bench.system.of_kind("grounding"):
        if is_electrode(device):
            most = float(bench.practice["electrode_ohm"])
            usual = f"local rule; {most:g} ohm is usual"
            yield Reading(
                bench.place(device),
                f"{device.tag} to earth",
                "keep the reading",
                bench.practice["electrode_accept"].get(bench.system.book.id, usual),
                None,
                None,
                most,
                "resistance",
                (device.tag,),
            )
