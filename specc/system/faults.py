"""Fault currents: through the cable from a battery, and from healthy strings into a faulty one."""

from __future__ import annotations

import math

from specc.calculation import Calculation, Input
from specc.physics import protection
from specc.system import clearing, guarding
from specc.system.earthing import polarity
from specc.system.model import Conductor, Device, Pole
from specc.system.system import System
from specc.system.walk import Source

COLD_K = 293.15  # conductors carry a fault while they are still cold


def _stretch(
    system: System, source: Source, net: str, targets: tuple[str, ...]
) -> tuple[Conductor | Pole, ...]:
    """The shortest way from a source to the nearest of some terminals of a net."""
    ways = [
        system.walked.paths(end, t) for end in system.electrical.source_ends(source, net) for t in targets
    ]
    return min(ways, key=len, default=())


def way_of_fault(
    system: System, battery: Source, through: Device | None, pole: Pole
) -> tuple[Conductor | Pole, ...]:
    """What a short circuit behind a pole passes on its way from a battery, without the return."""
    branch = system.walked.branch(pole)
    assert branch is not None
    if through is None:
        return _stretch(system, battery, branch.net, (pole.a, pole.b))
    port = next(
        p
        for p in system.connected.ports
        if p.device is through and p.takes and battery in system.walked.feeds(p)
    )
    output = next(s for s in system.walked.sources if s.kind == "converter" and s.ports[0].device is through)
    return (
        *_stretch(system, battery, system.walked.net(port.plus), (port.plus,)),
        *_stretch(system, output, branch.net, (pole.a, pole.b)),
    )


def _cable_ohm(system: System, battery: Source, through: Device | None, pole: Pole) -> float:
    """Cold resistance from a battery to a pole, and back where the return lies in the same run [ohm]."""
    way = way_of_fault(system, battery, through, pole)
    return sum(_cold_ohm(system, c) + _return_ohm(system, c) for c in way if isinstance(c, Conductor))


def _cold_ohm(system: System, conductor: Conductor) -> float:
    strand = {"fine": "flexible"}.get(conductor.wire.strand, conductor.wire.strand)
    found = system.book.resistance_ohm_per_m(conductor.size, conductor.wire.material, strand, COLD_K)
    return found.value * conductor.length_m


def _return_ohm(system: System, conductor: Conductor) -> float:
    here = system.walked.branch(conductor)
    assert here is not None
    other = {"positive": "negative", "negative": "positive"}.get(polarity(system, here.net))
    beside = [
        c
        for c in conductor.run.conductors
        if (branch := system.walked.branch(c)) is not None and polarity(system, branch.net) == other
    ]
    return min((_cold_ohm(system, c) for c in beside), default=0.0)


def prospective_a(
    system: System, pole: Pole, sources: tuple[Source, ...]
) -> tuple[float, tuple[Calculation, ...]]:
    """What sources on one side of a device drive into a short circuit behind it [A]."""
    batteries = clearing.batteries_behind(system, sources)
    numbers = tuple(
        system.electrical.battery_fault_current(battery, _cable_ohm(system, battery, through, pole))
        for battery, through in batteries
    )
    switched = [through for _, through in batteries if through is not None]
    limited = tuple(s for s in sources if s.kind != "battery" and s.ports[0].device not in switched)
    amperes = clearing.limited_current_a(system, limited, momentary=True) if limited else 0.0
    return sum(n.value for n in numbers) + amperes, numbers


# -- faulty strings ----------------------------------------------------------------------------------


def own_strings(system: System, pole: Pole) -> Source | None:
    """The array that alone stands on one side of a pole, with other sources on the other side."""
    branch = system.walked.branch(pole)
    if branch is None or not branch.sole:
        return None
    sides = guarding.sources_by_side(system, branch)
    for here, there in (("start", "end"), ("end", "start")):
        if len(sides[here]) == 1 and sides[here][0].kind == "array" and set(sides[there]) - set(sides[here]):
            return sides[here][0]
    return None


def beside(system: System, source: Source) -> tuple[Source, ...]:
    """Sources across the same two nets."""
    return tuple(
        s
        for s in system.walked.sources
        if s is not source and {s.plus, s.minus} == {source.plus, source.minus}
    )


def own_devices(system: System, source: Source) -> tuple[Device, ...]:
    """Fuses and breakers that part an array from everything in parallel with it."""
    poles = system.electrical.protective_poles()
    return tuple(dict.fromkeys(p.device for p in poles if own_strings(system, p) is source))


def string_fault(system: System, source: Source) -> Calculation:
    """What the rest of an installation drives into one faulty string of an array [A]; inf from a battery."""
    electrical, factor = system.electrical, system.book.factor("string_fuse_needed")
    others, devices = beside(system, source), own_devices(system, source)
    first, number_of = source.devices[0], electrical.strings(source)
    one_isc = electrical.short_circuit_a(source) / number_of
    from_others = math.inf if any(s.kind == "battery" for s in others) else 0.0
    from_others += factor.value * sum(electrical.short_circuit_a(s) for s in others if s.kind == "array")
    from_others += sum(
        electrical.output_current_a(s.ports[0].device) for s in others if s.kind == "converter"
    )
    if devices:
        from_others = min(from_others, *(float(d.part.rating) for d in devices))
    back = (
        protection.string_backfeed_a(number_of, one_isc, factor.value, from_others)
        if math.isfinite(from_others)
        else math.inf
    )
    return Calculation(
        "current into a faulty string",
        source.tag,
        "Iback",
        back,
        "current",
        f"(Np - 1) · {factor.value:g} · Isc + Iothers",
        (
            Input("Np", number_of, "number", f"{first.tag}, parallel"),
            Input("Isc", one_isc, "current", f"{first.tag}, catalogue part {first.part.id}"),
            Input("Iothers", from_others, "current", ", ".join(s.tag for s in others) or "no other source"),
        ),
        factor.source,
    )
