"""From the solved system to the numbers of its year: one pump on panels, or an installation of any form."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from specc.operation.installation import (
    Array,
    Bus,
    Charger,
    Feed,
    Guard,
    Installation,
    Piece,
    Pumpset,
    Store,
    Works,
)
from specc.operation.motor import PumpFit, fit_pump
from specc.operation.operating import Booster
from specc.operation.panel import Label, Module, fit_module
from specc.operation.plant import NotWorkedOut, Plant, Range, Tank, Well
from specc.physics import hydraulics
from specc.physics.constants import G_M_S2
from specc.rulebooks import NotInTable
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Port
from specc.system.states import TooManySwitches
from specc.system.system import System
from specc.system.walk import Source
from specc.system.water import Way

_LEVEL_SWING_M: Final = 0.1  # of a float without a stated tether; common practice, no source
_LOSS_FLOWS: Final = 24
_PIECE_FLOWS: Final = 48
_UNLIMITED: Final = ("pond", "stream")  # taken as limitless where no inflow is given
_MONTH_S: Final = 365.0 / 12.0 * 86_400.0
_RISE_RATE_S: Final = 36_000.0  # charged in ten hours, lead-acid stands at its charging voltage when full


def plant_of(system: System) -> Works:
    """The numbers of a job: a ``Plant`` for one pump, well and tank on panels of one kind, else the whole.

    Raises ``MissingDatum`` for what the spec or the catalogue does not say, ``NotWorkedOut`` for a
    job of a form that is not followed through the year.
    """
    try:
        whole = _supplies(system, system.water.pumps)
        return _simple(system, whole) or _installation(system, whole)
    except (NotInTable, ValueError, TooManySwitches) as outside:
        raise NotWorkedOut(str(outside).rstrip(".")) from None


# -- one pump on panels ------------------------------------------------------------------------------


def _simple(system: System, whole: _Supplies) -> Plant | None:
    pumps, water = system.water.pumps, system.water
    if len(pumps) != 1:
        return None
    pump = pumps[0]
    if len(water.suctions(pump)) != 1 or len(water.deliveries(pump)) != 1:
        return None
    (feed,), (bus,) = whole.feeds, whole.buses
    if feed.store is not None or len(feed.arrays) != 1:
        return None
    array = feed.arrays[0]
    lead_ohm = whole.leads_ohm[pump]
    suction, delivery = water.suction(pump), water.delivery(pump)
    source, tank = suction.start, delivery.end
    low_m, high_m, depth_m = _levels(system, source)
    flows = np.linspace(0.0, 1.5 * water.greatest_flow_m3_s(pump), _LOSS_FLOWS)
    losses = [
        0.0
        if flow == 0.0
        else water.loss_m(suction, flow, dirty=False) + water.loss_m(delivery, flow, dirty=False)
        for flow in flows.tolist()
    ]
    fit = _fit(system, pump)
    top_m = water.top_m(delivery)
    boosted = bus.booster is not None
    return Plant(
        pump_tag=pump.tag,
        panel_tag=array.tag,
        module=array.module,
        series=array.series,
        parallel=array.parallel,
        tilt_rad=array.tilt_rad,
        azimuth_rad=array.azimuth_rad,
        light_share=array.light_share,
        panel_wire_ohm=array.wire_ohm if boosted else 0.0,
        motor_wire_ohm=lead_ohm + bus.wire_ohm + (0.0 if boosted else array.wire_ohm),
        booster=bus.booster,
        pump=fit,
        start_a=float(need_part(pump, "start_current", "current that starts it")),
        rest_ohm=float(pump.part.armature_resistance or fit.armature_ohm),
        motor_nominal_v=float(pump.part.nominal_voltage),
        static_low_m=top_m - low_m,
        static_high_m=top_m - high_m,
        loss_flows_m3_s=tuple(float(flow) for flow in flows),
        losses_m=tuple(float(loss) for loss in losses),
        density_kg_m3=water.density_kg_m3(source),
        well=_well(system, source, depth_m),
        tank=_tank(system, tank, _full_switches(system)[tank], delivery),
    )


# -- any installation --------------------------------------------------------------------------------


def _installation(system: System, whole: _Supplies) -> Installation:
    water, pumps = system.water, system.water.pumps
    if not pumps:
        raise NotWorkedOut("there is no pump")
    sources: list[Device] = []
    tanks: dict[Device, list[Way]] = {}
    for pump in pumps:
        suctions = water.suctions(pump)
        if len(suctions) > 1:
            raise NotWorkedOut(
                f"{pump.tag} draws from {' and '.join(w.start.tag for w in suctions)} through one suction; "
                "what each then gives depends on valves in it, which no datum tells"
            )
        if suctions[0].start not in sources:
            sources.append(suctions[0].start)
        for way in water.deliveries(pump):
            tanks.setdefault(way.end, []).append(way)
    levels = [_levels(system, source) for source in sources]
    full = _full_switches(system)
    return Installation(
        pumps=tuple(_pumpset(system, pump, whole, sources, list(tanks), full) for pump in pumps),
        buses=whole.buses,
        feeds=whole.feeds,
        wells=tuple(_well(system, s, depth) for s, (_, _, depth) in zip(sources, levels, strict=True)),
        low_m=tuple(low for low, _, _ in levels),
        high_m=tuple(high for _, high, _ in levels),
        tanks=tuple(_tank(system, tank, full[tank], *ways) for tank, ways in tanks.items()),
        top_m=tuple(max(water.top_m(way) for way in ways) for ways in tanks.values()),
        pieces=_pieces(system, pumps),
        weight_n_m3=water.density_kg_m3(sources[0]) * G_M_S2,
    )


def _pumpset(
    system: System,
    pump: Device,
    whole: _Supplies,
    sources: list[Device],
    tanks: list[Device],
    full: dict[Device, tuple[Device, ...]],
) -> Pumpset:
    water = system.water
    fit = _fit(system, pump)
    source = water.suction(pump).start
    reached = [way.end for way in water.deliveries(pump)]
    return Pumpset(
        tag=pump.tag,
        fit=fit,
        start_a=float(need_part(pump, "start_current", "current that starts it")),
        rest_ohm=float(pump.part.armature_resistance or fit.armature_ohm),
        nominal_v=float(pump.part.nominal_voltage),
        lead_ohm=whole.leads_ohm[pump],
        bus=whole.bus_of[pump],
        well=sources.index(source),
        tanks=tuple(tanks.index(tank) for tank in dict.fromkeys(reached)),
        stops_when_full=tuple(
            tanks.index(tank)
            for tank, switches in full.items()
            if tank in tanks and any(_stops(system, switch, pump) for switch in switches)
        ),
        stops_when_low=any(_stops(system, switch, pump) for switch in water.low_switches(source)),
        guard=whole.guard_of.get(pump),
    )


def _stops(system: System, switch: Device, pump: Device) -> bool:
    """Does a switch stop a pump, by its wiring, at least where the others are in the clear?"""
    wiring = system.wiring()
    others = [s for s in system.of_kind("switch") if wiring.get(s.tag) == wiring.get(pump.tag)]
    if switch not in others:
        return False
    return system.situations(pump).action(pump, switch, others).does in ("stops", "sometimes stops")


def _full_switches(system: System) -> dict[Device, tuple[Device, ...]]:
    """The switches that hang in each tank; which, their place tells, or the only tank of their pumps."""
    tanks = [d for d in system.of_kind("tank") if d.table == "tank"]
    found: dict[Device, list[Device]] = {tank: [] for tank in tanks}
    for switch in system.of_kind("switch"):
        if switch.spec.guards != "tank full":
            continue
        here = [t for t in tanks if t.location is not None and t.location == switch.location]
        if len(tanks) > 1 and len(here) != 1:
            pumps = [p for p in system.water.pumps if _stops(system, switch, p)]
            reached = [{way.end for way in system.water.ways_out(p)} for p in pumps]
            here = list(set.intersection(*reached)) if reached else []
        if len(tanks) == 1:
            here = tanks
        if len(here) != 1:
            what = f"{switch.tag}: its location, which tells in which of the tanks it hangs"
            raise MissingDatum(what, switch.path, "location")
        found[here[0]].append(switch)
    return {tank: tuple(switches) for tank, switches in found.items()}


def _pieces(system: System, pumps: Sequence[Device]) -> tuple[Piece, ...]:
    water = system.water
    most = 1.5 * math.fsum(water.greatest_flow_m3_s(pump) for pump in pumps)
    flows = np.linspace(0.0, most, _PIECE_FLOWS)
    found: dict[str, Piece] = {}
    for pump in pumps:
        for link in water.pieces((water.suction(pump), *water.deliveries(pump)), dirty=False):
            if link.name in found:
                known = found[link.name]
                if (known.start, known.end) != (link.start, link.end):
                    raise NotWorkedOut(f"the water of two pumps runs through {link.name} in either direction")
                continue
            losses = [0.0, *(float(link.lost_m(flow)) for flow in flows[1:].tolist())]
            rising = np.maximum.accumulate(losses)
            found[link.name] = Piece(
                link.start, link.end, tuple(flows.tolist()), tuple(rising.tolist()), link.one_way
            )
    return tuple(found.values())


# -- what feeds the pumps ----------------------------------------------------------------------------


@dataclass
class _Supplies:
    """Feeds and buses, and where each pump hangs."""

    feeds: tuple[Feed, ...]
    buses: tuple[Bus, ...]
    bus_of: dict[Device, int]
    leads_ohm: dict[Device, float]
    guard_of: dict[Device, int]


@dataclass(frozen=True)
class _Hung:
    """A pump, the controller before it if any, and the arrays or batteries behind it."""

    load: Port
    output: Source | None
    behind: tuple[Source, ...]

    @property
    def controller(self) -> Device | None:
        return None if self.output is None else self.output.ports[0].device

    @property
    def pump(self) -> Device:
        return self.load.device


def _supplies(system: System, pumps: Iterable[Device]) -> _Supplies:
    hung = [_hung(system, pump) for pump in pumps]
    groups: dict[frozenset[Source], list[_Hung]] = {}
    for one in hung:
        groups.setdefault(frozenset(one.behind), []).append(one)
    for sources in groups:
        for other in groups:
            if sources != other and sources & other:
                tags = " and ".join(sorted(s.tag for s in sources | other))
                raise NotWorkedOut(f"{tags} feed some pumps alone and some together")
    feeds: list[Feed] = []
    buses: list[Bus] = []
    bus_of: dict[Device, int] = {}
    leads: dict[Device, float] = {}
    guard_of: dict[Device, int] = {}
    for members in groups.values():
        number = len(feeds)
        if members[0].behind[0].kind == "battery":
            feed = _bank(system, members, leads, guard_of)
            bus_of |= {one.pump: len(buses) for one in members}
            buses.append(Bus(number, 0.0, tag=feed.tag))
        else:
            feed, made = _panels(system, members, number, leads)
            for bus, its in made:
                bus_of |= {one.pump: len(buses) for one in its}
                buses.append(bus)
        feeds.append(feed)
    return _Supplies(tuple(feeds), tuple(buses), bus_of, leads, guard_of)


def _hung(system: System, pump: Device) -> _Hung:
    loads = [port for port in system.walked.loads if port.device is pump]
    if len(loads) != 1:
        raise NotWorkedOut(f"{pump.tag} is not wired as one load")
    (load,) = loads
    feeds = system.walked.feeds(load)
    batteries = [s for s in feeds if s.kind == "battery"]
    if batteries:
        # A charge controller on the same posts charges; the pump hangs on the battery.
        feeds = tuple(s for s in feeds if not (s.kind == "converter" and s.ports[0].does == "both"))
    if not feeds:
        raise NotWorkedOut(f"{pump.tag} hangs on no source by itself: motors in series are not worked out")
    kinds = {s.kind for s in feeds}
    if len(kinds) > 1:
        tags = " and ".join(s.tag for s in feeds)
        raise NotWorkedOut(f"{pump.tag} is fed by {tags} at once: which of them carries it, no datum tells")
    if kinds != {"converter"}:
        return _Hung(load, None, feeds)
    if len(feeds) > 1:
        tags = " and ".join(s.tag for s in feeds)
        raise NotWorkedOut(
            f"{pump.tag} is fed by the outputs of {tags} side by side: how they share is not known"
        )
    (output,) = feeds
    controller = output.ports[0].device
    upstream = tuple(s for s in system.electrical.feeding(controller))
    batteries = [s for s in upstream if s.kind == "battery"]
    if controller.part.type == "current booster":
        if batteries:
            raise NotWorkedOut(
                f"{pump.tag} runs from {batteries[0].tag} through {controller.tag}: what a booster gives "
                "from a battery is not among its data, which are for panels"
            )
        if not upstream or any(s.kind != "array" for s in upstream):
            raise NotWorkedOut(f"{controller.tag} has no array of its own behind it")
        return _Hung(load, output, upstream)
    if not batteries:
        raise NotWorkedOut(f"{controller.tag} has no battery behind it")
    return _Hung(load, output, tuple(batteries))


Leg = dict[Conductor, tuple[set[Source], set[Device]]]


def _legs(system: System, pairs: Iterable[tuple[Source, Port]]) -> Leg:
    """Conductors between sources and loads, by the shortest ways, with what passes through each."""
    walked = system.walked
    found: Leg = {}
    for source, load in pairs:
        for net, end in zip(walked.port_nets(load), (load.plus, load.minus), strict=True):
            starts = system.electrical.source_ends(source, net)
            ways = [
                [c for c in walked.paths(start, end) if isinstance(c, Conductor)]
                for start in starts
            ]  # fmt: skip
            if not ways:
                continue
            way = min(ways, key=lambda w: math.fsum(system.electrical.resistance_ohm(c) for c in w))
            for conductor in way:
                sources, loads = found.setdefault(conductor, (set(), set()))
                sources.add(source)
                loads.add(load.device)
    return found


def _shared_ohm(system: System, legs: Leg, source: Source, every: int) -> float:
    """Wire that all loads of a source share, as if it were its own: what n sources share counts n times."""
    return math.fsum(
        system.electrical.resistance_ohm(c) * len(sources)
        for c, (sources, loads) in legs.items()
        if source in sources and len(loads) == every
    )


def _own_ohm(system: System, legs: Leg, load: Device, every: int) -> float:
    """Wire of a load that not all share: what some share counts once for each of them."""
    return math.fsum(
        system.electrical.resistance_ohm(c) * len(loads)
        for c, (_, loads) in legs.items()
        if load in loads and len(loads) < every
    )


def _panels(
    system: System, members: list[_Hung], feed: int, leads: dict[Device, float]
) -> tuple[Feed, list[tuple[Bus, list[_Hung]]]]:
    """Arrays with the pumps straight on them, or with boosters between."""
    sources = members[0].behind
    boosters: dict[Device, list[_Hung]] = {}
    for one in members:
        if one.controller is not None:
            boosters.setdefault(one.controller, []).append(one)
    plain = [one for one in members if one.controller is None]
    if plain and boosters:
        raise NotWorkedOut(
            f"{', '.join(s.tag for s in sources)} feeds {plain[0].pump.tag} straight and others through a "
            "booster: what is left for the booster is not worked out"
        )
    if plain:
        legs = _legs(system, [(source, one.load) for source in sources for one in plain])
        every = len(plain)
        leads |= {one.pump: _own_ohm(system, legs, one.pump, every) for one in plain}
        arrays = tuple(_array(system, s, _shared_ohm(system, legs, s, every)) for s in sources)
        return Feed("+".join(a.tag for a in arrays), arrays), [(Bus(feed, 0.0), plain)]
    inlets = {
        device: next(p for p in system.connected.ports if p.device is device and p.takes)
        for device in boosters
    }
    legs = _legs(system, [(source, inlet) for source in sources for inlet in inlets.values()])
    every = len(boosters)
    # What k of n boosters share carries k shares of n of the current: the boosters are taken as alike.
    arrays = tuple(
        _array(
            system,
            source,
            math.fsum(
                system.electrical.resistance_ohm(c) * len(with_it) * (len(loads) / every) ** 2
                for c, (with_it, loads) in legs.items()
                if source in with_it
            ),
        )
        for source in sources
    )
    made = []
    for device, its in boosters.items():
        output = its[0].output
        assert output is not None
        behind = _legs(system, [(output, one.load) for one in its])
        shared = _shared_ohm(system, behind, output, len(its))
        leads |= {one.pump: _own_ohm(system, behind, one.pump, len(its)) for one in its}
        made.append((Bus(feed, shared, _booster(device), device.tag), its))
    return Feed("+".join(a.tag for a in arrays), arrays), made


def _array(system: System, source: Source, wire_ohm: float) -> Array:
    if source.kind != "array":
        raise NotWorkedOut(f"{source.tag} is no array")
    if len({(d.part.id, d.spec.parallel, d.spec.tilt, d.spec.azimuth) for d in source.devices}) != 1:
        raise NotWorkedOut(f"{source.tag}: panels of different kinds or directions in series")
    panels = source.ports[0].device
    return Array(
        tag=source.tag,
        module=_module(panels),
        series=sum(device.spec.series for device in source.devices),
        parallel=panels.spec.parallel,
        tilt_rad=panels.spec.tilt,
        azimuth_rad=panels.spec.azimuth,
        light_share=(1.0 - panels.spec.shading) * (1.0 - panels.spec.soiling),
        wire_ohm=wire_ohm,
    )


def _bank(
    system: System, members: list[_Hung], leads: dict[Device, float], guard_of: dict[Device, int]
) -> Feed:
    """A bank with its charge controllers, low-voltage disconnects and pumps."""
    sources = members[0].behind
    battery = sources[0]
    chargers = _chargers(system, battery)
    if not chargers:
        raise NotWorkedOut(f"{battery.tag} has no charge controller on it: how it is charged is not known")
    made = tuple(_charger(system, port, battery) for port in chargers)
    guards: dict[Device, Guard] = {}
    for one in members:
        leads[one.pump] = _way_ohm(system, one.output or battery, one.load)
        device = one.controller
        if device is None:
            continue
        inlet = next(
            p
            for p in system.connected.ports
            if p.device is device and p.takes and battery in system.walked.feeds(p)
        )
        wire = _way_ohm(system, battery, inlet)
        leads[one.pump] += wire
        stops = device.spec.stops_below or device.part.stops_below
        if stops is None:
            continue
        guards.setdefault(
            device,
            Guard(
                device.tag, float(stops), max(float(device.part.restarts_above or stops), float(stops)), wire
            ),
        )
        guard_of[one.pump] = list(guards).index(device)
    store = _store(system, sources, min(charger.top_v for charger in made))
    return Feed(store.tag, (), store, made, tuple(guards.values()))


def _chargers(system: System, battery: Source) -> list[Port]:
    nets = {battery.plus, battery.minus}
    return [
        port
        for port in system.connected.ports
        if port.device.kind == "controller"
        and port.device.part.type == "charge controller"
        and port.gives
        and set(system.walked.port_nets(port)) == nets
    ]


def _charger(system: System, port: Port, battery: Source) -> Charger:
    device = port.device
    taking = next(p for p in system.connected.ports if p.device is device and p.does == "takes")
    sources = system.walked.feeds(taking)
    if not sources:
        raise NotWorkedOut(f"{device.tag} has no array on it")
    legs = _legs(system, [(source, taking) for source in sources])
    top = device.part.highest_charge_voltage
    if top is None:
        top = need_part(device, "highest_charge_voltage", "highest charging voltage")
    return Charger(
        tag=device.tag,
        arrays=tuple(_array(system, s, _shared_ohm(system, legs, s, 1)) for s in sources),
        bank_wire_ohm=_way_ohm(system, battery, port),
        efficiency=float(need_part(device, "efficiency", "efficiency")),
        limit_a=system.electrical.output_current_a(device),
        tracks=bool(
            need_part(
                device, "tracks_maximum_power", "does it find the panels' best voltage (true or false)?"
            )
        ),
        top_v=float(top),
    )


def _store(system: System, sources: Sequence[Source], top_v: float) -> Store:
    """Batteries in series and side by side as one bank."""
    rows = [_row_of_batteries(source) for source in sources]
    if len({(round(full, 6), round(empty, 6)) for full, empty, _, _ in rows}) != 1:
        raise NotWorkedOut(
            f"{' and '.join(s.tag for s in sources)}: batteries of different volts side by side"
        )
    kinds = {_chemistry(d) for source in sources for d in source.devices}
    if len(kinds) != 1:
        raise NotWorkedOut(f"{' and '.join(s.tag for s in sources)}: lead-acid and lithium together")
    (kind,) = kinds
    full, empty, _, _ = rows[0]
    capacity = math.fsum(charge for _, _, charge, _ in rows)
    practice = {
        key: system.handbook.threshold(f"{kind}_{key}").value
        for key in ("charge_returned", "acceptance_s", "leak_per_month")
    }
    rise = max(0.0, top_v - full) / (capacity / _RISE_RATE_S) if kind == "lead_acid" else 0.0
    return Store(
        tag="+".join(source.tag for source in sources),
        capacity_c=capacity,
        full_v=full,
        empty_v=empty,
        inner_ohm=1.0 / math.fsum(1.0 / ohm for _, _, _, ohm in rows)
        if all(r[3] > 0.0 for r in rows)
        else 0.0,
        rise_ohm=rise,
        charge_share=practice["charge_returned"],
        acceptance_s=practice["acceptance_s"],
        leak_per_s=practice["leak_per_month"] / _MONTH_S,
    )


def _row_of_batteries(source: Source) -> tuple[float, float, float, float]:
    """Volts full and empty, charge, and inner resistance of batteries in series."""
    full = empty = ohm = 0.0
    charge = math.inf
    for device in source.devices:
        series, parallel = device.spec.series, device.spec.parallel
        full += series * float(need_part(device, "full_voltage", "voltage when full, at rest"))
        empty += series * float(need_part(device, "empty_voltage", "voltage when empty"))
        charge = min(charge, parallel * float(need_part(device, "capacity", "capacity")))
        inner = float(need_part(device, "internal_resistance", "internal resistance"))
        ohm += inner * series / parallel
    return full, empty, charge, ohm


def _chemistry(device: Device) -> str:
    """ "lead_acid" or "lithium", as the practice figures are called."""
    words = str(need_part(device, "chemistry", "chemistry, which decides what a charge gives back")).lower()
    for word, kind in (("lead", "lead_acid"), ("lithium", "lithium")):
        if word in words:
            return kind
    raise NotWorkedOut(f'{device.tag}: a battery of "{words}"; the year knows lead-acid and lithium')


def _way_ohm(system: System, source: Source, load: Port) -> float:
    """Resistance of both legs between a source and a load, hot, by the shortest way [ohm]."""
    return math.fsum(system.electrical.resistance_ohm(c) for c in _legs(system, [(source, load)]))


# -- parts -------------------------------------------------------------------------------------------


def _fit(system: System, pump: Device) -> PumpFit:
    return fit_pump(
        system.water.table(pump),
        displacement=pump.part.type == "positive displacement",
        armature_ohm=pump.part.armature_resistance,
    )


def _levels(system: System, source: Device) -> tuple[float, float, float]:
    """Where pumping stops, where the water stands, and the depth between them that is stored [m]."""
    water = system.water
    stop = water.stop_level_m(source)
    low = min(stop, water.pumping_level_m(source))
    high = max(water.standing_level_m(source), low)
    return low, high, high - stop


def _booster(device: Device) -> Booster:
    part, spec = device.part, device.spec
    for key, what in (
        ("output_current", "continuous output current"),
        ("efficiency", "efficiency"),
    ):
        need_part(device, key, what)
    if spec.output_clamp is None:
        need_part(device, "max_output_voltage", "output clamp")
    if spec.hold_voltage is None and part.hold_share is None:
        need_part(
            device, "hold_voltage", "voltage at which it holds the panels (or hold_share of open circuit)"
        )
    return booster_of(part, hold_v=spec.hold_voltage, clamp_v=spec.output_clamp)


def booster_of(part: Any, *, hold_v: float | None = None, clamp_v: float | None = None) -> Booster:
    """A booster by its catalogue part, whose data are all there; voltages as set on site, if they are."""
    held = hold_v if hold_v is not None else part.hold_voltage
    limited = part.clips_input and part.max_input_current
    return Booster(
        hold_v=None if held is None else float(held),
        hold_share=float(part.hold_share or 0.0),
        efficiency=float(part.efficiency),
        clamp_v=float(clamp_v if clamp_v is not None else part.max_output_voltage),
        limit_a=float(part.output_current),
        start_limit_a=float(part.peak_output_current or part.output_current),
        input_limit_a=float(part.max_input_current) if limited else math.inf,
    )


def _module(panels: Device) -> Module:
    part = panels.part
    return fit_module(
        Label(
            part.voc,
            part.isc,
            part.vmp,
            part.imp,
            float(need_part(panels, "voc_coefficient", "temperature coefficient of Voc")),
            float(part.isc_coefficient or 0.0),
            float(need_part(panels, "noct", "nominal operating cell temperature")),
        )
    )


def _well(system: System, source: Device, depth_m: float) -> Well:
    spec: Any = source.spec
    inflow = None
    if spec.inflow is not None:
        inflow = _range(spec.inflow)
    elif spec.kind not in _UNLIMITED:
        need(spec.inflow, f"{source.tag}: its inflow", source.path, "inflow")
    area = spec.plan_area
    if area is None and spec.diameter is not None:
        area = hydraulics.circle_area_m2(spec.diameter)
    if area is None and inflow is not None:
        raise MissingDatum(f"{source.tag}: its diameter (or plan_area)", source.path, "diameter")
    floats = system.water.low_switches(source)
    travel = system.handbook.threshold("tether_travel_per_length").value
    swings = [travel * d.spec.tether for d in floats if d.spec.tether]
    return Well(
        tag=source.tag,
        area_m2=float(area or 0.0),
        depth_m=max(depth_m, 0.0),
        restart_m=float(max(swings, default=_LEVEL_SWING_M)),
        inflow_m3_s=inflow,
        has_float=bool(floats),
    )


def _tank(system: System, tank: Device, floats: tuple[Device, ...], *ways: Way) -> Tank:
    """The tank with the switches that hang in it; a float valve at its inlet stops the water too."""
    spec: Any = tank.spec
    valve = not floats and all(_float_valve(way) for way in ways)
    capacity = float(
        need(
            spec.capacity or getattr(tank.part, "capacity", None),
            f"{tank.tag}: capacity",
            tank.path,
            "capacity",
        )
    )
    area = spec.plan_area or getattr(tank.part, "plan_area", None)
    below = (spec.stop_below_overflow or 0.0) * area if area else 0.0
    travel = system.handbook.threshold("tether_travel_per_length").value
    swing = max((travel * d.spec.tether for d in floats if d.spec.tether), default=spec.float_band)
    band = (swing or _LEVEL_SWING_M) * area if area else 0.05 * capacity
    stop = capacity - min(max(below, 0.0), 0.5 * capacity) if floats or valve else capacity
    demand = None
    if spec.demand is not None:
        demand = _range(spec.demand)
    return Tank(
        tag=tank.tag,
        capacity_m3=capacity,
        stop_m3=stop,
        restart_m3=max(0.0, stop - band),
        has_float=bool(floats) or valve,
        demand_m3_s=demand,
        profile=_profile(system),
        float_valve=valve,
    )


def _float_valve(way: Way) -> bool:
    return any(d.kind == "valve" and d.part.type == "float valve" for d in way.devices)


def _range(value: float) -> Range:
    """The ends and the middle of what the spec gives, alike where it gives one value."""
    low, high = getattr(value, "low", value), getattr(value, "high", value)
    return Range(float(low), 0.5 * (low + high), float(high))


def _profile(system: System) -> tuple[float, ...]:
    entries = system.description.all("demand")
    shares = entries[0].model.profile if entries else (1.0,) * 24
    total = math.fsum(shares)
    if not total > 0.0:
        raise NotWorkedOut("[demand] profile adds up to nothing")
    return tuple(share / total for share in shares)
