"""A job with one pump on panels as the few numbers that decide how much water it lifts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from specc.operation.motor import PumpCurve, PumpFit, on_pipe
from specc.operation.operating import Booster
from specc.operation.panel import Module
from specc.operation.sun import Values
from specc.physics.constants import G_M_S2


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
    float_valve: bool = False  # it is its inlet that shuts, not the pump that stops


@dataclass(frozen=True)
class Plant:
    """Everything that the year needs of a job with one pump, well and tank, on panels. SI throughout."""

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
    def tanks(self) -> tuple[Tank, ...]:
        return (self.tank,)

    @property
    def wells(self) -> tuple[Well, ...]:
        return (self.well,)

    @property
    def fits(self) -> tuple[tuple[str, PumpFit], ...]:
        """The pumps by tag."""
        return ((self.pump_tag, self.pump),)

    @property
    def has_bank(self) -> bool:
        return False

    @property
    def boosted(self) -> bool:
        return self.booster is not None

    @property
    def rated_w(self) -> float:
        """Power of the panels at standard conditions [W]."""
        return self.series * self.parallel * self.module.label.vmp_v * self.module.label.imp_a

    @property
    def weight_n_m3(self) -> float:
        return self.density_kg_m3 * G_M_S2
