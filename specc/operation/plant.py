"""A job as the few numbers that decide how much water it lifts, taken from the solved system."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from specc.operation.motor import PumpCurve, PumpFit, fit_pump, on_pipe
from specc.operation.operating import Booster
from specc.operation.panel import Label, Module, fit_module
from specc.operation.sun import Values
from specc.physics import hydraulics
from specc.physics.constants import G_M_S2
from specc.rulebooks import NotInTable
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Port
from specc.system.system import System
from specc.system.walk import Source

_LEVEL_SWING_M: Final = 0.1  # of a float without a stated tether; common practice, no source
_LOSS_FLOWS: Final = 24
_CHARGE_SHARE: Final = 0.9  # of lead-acid; common practice, no source
_UNLIMITED: Final = ("pond", "stream")  # taken as limitless where no inflow is given


class NotWorkedOut(Exception):
    """A job whose year is not worked out; the message says why. Never the same as no water."""


@dataclass(frozen=True)
class Range:
    """A value that is not known exactly."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True)
class Well:
    """The water that a pump draws from: storage over the level at which pumping stops.

    ``inflow_m3_s`` None: limitless. Inflow is steady until the standing level is reached again.
    """

    tag: str
    area_m2: float
    depth_m: float
    restart_m: float
    inflow_m3_s: Range | None
    has_float: bool

    @property
    def storage_m3(self) -> float:
        return self.area_m2 * self.depth_m


@dataclass(frozen=True)
class Tank:
    """The tank: its float stops the pump at ``stop_m3`` and lets it run again at ``restart_m3``."""

    tag: str
    capacity_m3: float
    stop_m3: float
    restart_m3: float
    has_float: bool
    demand_m3_s: Range | None
    profile: tuple[float, ...]  # share of the day's demand in each hour, adds up to 1


@dataclass(frozen=True)
class Bank:
    """A battery bank, its charge controller and its low-voltage disconnect."""

    tag: str
    capacity_c: float
    full_v: float
    empty_v: float
    inner_ohm: float
    charge_efficiency: float
    charge_limit_a: float
    charge_share: float  # of the charge put in that can be taken out
    tracks: bool  # the charge controller finds the panels' best voltage
    stops_below_v: float
    restarts_above_v: float
    wire_ohm: float  # controller to bank and back
    charge_rise_v: float  # over the voltage at rest, while charging at the ten-hour rate


@dataclass(frozen=True)
class Plant:
    """Everything that the year needs of a job with one pump. SI throughout."""

    pump_tag: str
    panel_tag: str
    module: Module
    series: int
    parallel: int
    tilt_rad: float | None
    azimuth_rad: float | None
    light_share: float  # what shade and dirt leave of the light
    panel_wire_ohm: float
    motor_wire_ohm: float
    booster: Booster | None
    bank: Bank | None
    pump: PumpFit
    start_a: float
    rest_ohm: float  # of the armature at rest
    motor_nominal_v: float
    static_low_m: float  # top of the delivery over the lowest water pumped from
    static_high_m: float  # the same over the standing water
    loss_flows_m3_s: tuple[float, ...]
    losses_m: tuple[float, ...]
    density_kg_m3: float
    well: Well
    tank: Tank

    def loss_m(self, flow_m3_s: Values) -> Values:
        """Head lost in pipes, fittings and a clean filter, from figures worked out once [m]."""
        flows, losses = np.array(self.loss_flows_m3_s), np.array(self.losses_m)
        beyond = losses[-1] * (flow_m3_s / flows[-1]) ** 2
        return np.asarray(np.where(flow_m3_s > flows[-1], beyond, np.interp(flow_m3_s, flows, losses)))

    def curve(self, static_m: float) -> PumpCurve:
        """The pump on its pipe at one level of the water."""
        return on_pipe(self.pump, static_m, self.loss_m)

    @property
    def rated_w(self) -> float:
        """Power of the panels at standard conditions [W]."""
        return self.series * self.parallel * self.module.label.vmp_v * self.module.label.imp_a

    @property
    def weight_n_m3(self) -> float:
        return self.density_kg_m3 * G_M_S2


def plant_of(system: System) -> Plant:
    """The numbers of a job.

    Raises ``MissingDatum`` for what the spec or the catalogue does not say, ``NotWorkedOut`` for a
    job of a form that is not followed through the year.
    """
    try:
        return _plant(system)
    except (NotInTable, ValueError) as outside:
        raise NotWorkedOut(str(outside)) from None


def _plant(system: System) -> Plant:
    pumps = system.water.pumps
    if len(pumps) != 1:
        raise NotWorkedOut(f"the year is worked out for a job with one pump, and this one has {len(pumps)}")
    pump, water = pumps[0], system.water
    load = _load_port(system, pump)
    supply = _supply(system, load)
    suction, delivery = water.suction(pump), water.delivery(pump)
    source, tank = suction.start, delivery.end
    stop_m = water.stop_level_m(source)
    lowest_m = min(stop_m, water.pumping_level_m(source))
    standing_m = max(water.standing_level_m(source), lowest_m)
    top_m = water.top_m(delivery)
    flows = np.linspace(0.0, 1.5 * water.greatest_flow_m3_s(pump), _LOSS_FLOWS)
    losses = [
        0.0
        if flow == 0.0
        else water.loss_m(suction, flow, dirty=False) + water.loss_m(delivery, flow, dirty=False)
        for flow in flows.tolist()
    ]
    panels = supply.array.ports[0].device
    fit = fit_pump(
        water.table(pump),
        displacement=pump.part.type == "positive displacement",
        armature_ohm=pump.part.armature_resistance,
    )
    return Plant(
        pump_tag=pump.tag,
        panel_tag=supply.array.tag,
        module=_module(panels),
        series=sum(device.spec.series for device in supply.array.devices),
        parallel=panels.spec.parallel,
        tilt_rad=panels.spec.tilt,
        azimuth_rad=panels.spec.azimuth,
        light_share=(1.0 - panels.spec.shading) * (1.0 - panels.spec.soiling),
        panel_wire_ohm=supply.panel_wire_ohm,
        motor_wire_ohm=supply.motor_wire_ohm,
        booster=supply.booster,
        bank=supply.bank,
        pump=fit,
        start_a=float(need_part(pump, "start_current", "current that starts it")),
        rest_ohm=float(pump.part.armature_resistance or fit.armature_ohm),
        motor_nominal_v=float(pump.part.nominal_voltage),
        static_low_m=top_m - lowest_m,
        static_high_m=top_m - standing_m,
        loss_flows_m3_s=tuple(float(flow) for flow in flows),
        losses_m=tuple(float(loss) for loss in losses),
        density_kg_m3=water.density_kg_m3(source),
        well=_well(system, source, standing_m - stop_m),
        tank=_tank(system, tank),
    )


@dataclass(frozen=True)
class _Supply:
    array: Source
    panel_wire_ohm: float
    motor_wire_ohm: float
    booster: Booster | None = None
    bank: Bank | None = None


def _load_port(system: System, pump: Device) -> Port:
    ports = [port for port in system.walked.loads if port.device is pump]
    if len(ports) != 1:
        raise NotWorkedOut(f"{pump.tag} is not wired as one load")
    return ports[0]


def _supply(system: System, load: Port) -> _Supply:
    feeds = system.walked.feeds(load)
    if len(feeds) != 1:
        raise NotWorkedOut(f"{load.device.tag} is fed by {len(feeds)} sources; the year needs one")
    source = feeds[0]
    if source.kind == "array":
        return _Supply(_one_array((source,), load.device), 0.0, _wire_ohm(system, source, load))
    if source.kind == "battery":
        return _bank_supply(system, load, source, None)
    controller = source.ports[0].device
    upstream = system.electrical.feeding(controller)
    batteries = [s for s in upstream if s.kind == "battery"]
    if batteries or controller.part.type != "current booster":
        if not batteries:
            raise NotWorkedOut(f"{controller.tag} has no battery behind it")
        return _bank_supply(system, load, batteries[0], source)
    array = _one_array(upstream, controller)
    taking = next(p for p in system.connected.ports if p.device is controller and p.takes)
    return _Supply(
        array,
        _wire_ohm(system, array, taking),
        _wire_ohm(system, source, load),
        booster=_booster(controller),
    )


def _one_array(sources: tuple[Source, ...], where: Device) -> Source:
    arrays = [s for s in sources if s.kind == "array"]
    if len(arrays) != 1:
        raise NotWorkedOut(f"{where.tag} is fed by {len(arrays)} arrays; the year needs one")
    if len({(d.part.id, d.spec.parallel, d.spec.tilt, d.spec.azimuth) for d in arrays[0].devices}) != 1:
        raise NotWorkedOut(f"{arrays[0].tag}: panels of different kinds or directions in series")
    return arrays[0]


def _bank_supply(system: System, load: Port, battery: Source, gives: Source | None) -> _Supply:
    """Panels on a charge controller, controller on a bank, pump on the bank, maybe by a disconnect."""
    charger_port = next(
        (p for p in system.connected.ports if p.device.kind == "controller" and p.gives and p.does == "both"
         and set(system.walked.port_nets(p)) == {battery.plus, battery.minus}),
        None,
    )  # fmt: skip
    if charger_port is None:
        raise NotWorkedOut(f"{battery.tag} has no charge controller on it")
    charger = charger_port.device
    array = _one_array(system.electrical.feeding(charger), charger)
    taking = next(p for p in system.connected.ports if p.device is charger and p.does == "takes")
    guard = gives.ports[0].device if gives is not None else None
    motor_wire = _wire_ohm(system, gives or battery, load)
    if guard is not None and guard is not charger:
        inlet = next(p for p in system.connected.ports if p.device is guard and p.takes)
        motor_wire += _wire_ohm(system, battery, inlet)
    to_bank = _wire_ohm(system, battery, charger_port)
    if guard is charger:
        motor_wire += to_bank
    return _Supply(
        array,
        _wire_ohm(system, array, taking),
        motor_wire,
        bank=_bank(battery, charger, guard, to_bank, system),
    )


def _bank(battery: Source, charger: Device, guard: Device | None, wire_ohm: float, system: System) -> Bank:
    device = battery.ports[0].device
    if len(battery.ports) != 1:
        raise NotWorkedOut(f"{battery.tag}: batteries of several tags in series")
    series, parallel = device.spec.series, device.spec.parallel
    empty_v = series * float(need_part(device, "empty_voltage", "voltage when empty"))
    full_v = series * float(need_part(device, "full_voltage", "voltage when full, at rest"))
    charged_v = series * float(device.part.highest_charge_voltage or 0.0)
    stops = restarts = None
    if guard is not None:
        stops = guard.spec.stops_below or guard.part.stops_below
        restarts = guard.part.restarts_above
    return Bank(
        tag=battery.tag,
        capacity_c=parallel * float(need_part(device, "capacity", "capacity")),
        full_v=full_v,
        empty_v=empty_v,
        inner_ohm=float(need_part(device, "internal_resistance", "internal resistance")) * series / parallel,
        charge_efficiency=float(need_part(charger, "efficiency", "efficiency")),
        charge_limit_a=system.electrical.output_current_a(charger),
        charge_share=_CHARGE_SHARE,
        tracks=bool(charger.part.tracks_maximum_power),
        stops_below_v=float(stops if stops is not None else empty_v),
        restarts_above_v=float(restarts if restarts is not None else (stops or empty_v)),
        wire_ohm=wire_ohm,
        charge_rise_v=max(0.0, charged_v - full_v),
    )


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


def _wire_ohm(system: System, source: Source, load: Port) -> float:
    """Resistance of both legs between a source and a load, hot, by the shortest way [ohm]."""
    walked = system.walked
    total = 0.0
    for net, end in zip(walked.port_nets(load), (load.plus, load.minus), strict=True):
        starts = system.electrical.source_ends(source, net)
        ways = [walked.paths(start, end) for start in starts]
        total += min(
            (
                math.fsum(system.electrical.resistance_ohm(c) for c in way if isinstance(c, Conductor))
                for way in ways
            ),
            default=0.0,
        )
    return total


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


def _tank(system: System, tank: Device) -> Tank:
    spec: Any = tank.spec
    capacity = float(
        need(
            spec.capacity or getattr(tank.part, "capacity", None),
            f"{tank.tag}: capacity",
            tank.path,
            "capacity",
        )
    )
    floats = [d for d in system.of_kind("switch") if d.spec.guards == "tank full"]
    area = spec.plan_area or getattr(tank.part, "plan_area", None)
    below = (spec.stop_below_overflow or 0.0) * area if area else 0.0
    travel = system.handbook.threshold("tether_travel_per_length").value
    swing = max((travel * d.spec.tether for d in floats if d.spec.tether), default=spec.float_band)
    band = (swing or _LEVEL_SWING_M) * area if area else 0.05 * capacity
    stop = capacity - min(max(below, 0.0), 0.5 * capacity) if floats else capacity
    demand = None
    if spec.demand is not None:
        demand = _range(spec.demand)
    return Tank(
        tag=tank.tag,
        capacity_m3=capacity,
        stop_m3=stop,
        restart_m3=max(0.0, stop - band),
        has_float=bool(floats),
        demand_m3_s=demand,
        profile=_profile(system),
    )


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
