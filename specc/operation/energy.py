"""Where the sun's energy goes, hour by hour: every loss by its own formula, so that the sum is a check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.operating import Points
from specc.operation.panel import Curve
from specc.operation.plant import Plant
from specc.operation.running import Running
from specc.operation.sun import Chosen, Values
from specc.operation.weather import SunYear
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2

LOSSES: Final = (
    "shade and dirt",
    "warm cells and low light",  # a gain, below zero, on a cold bright day
    "light not taken up",
    "pump stopped by a float",
    "too little light to turn the pump",
    "panel wire",
    "booster",
    "motor wire",
    "motor winding",
    "pump friction and slip",
    "pipe friction",
)
BANK_PARTS: Final = (
    "charge controller",
    "battery wire",
    "battery resistance",
    "charge not given back",
    "self-discharge",
    "put into the battery",  # below zero in an hour that takes out of it
)
LIFTED: Final = "water lifted"


@dataclass(frozen=True)
class Energy:
    """Energy of each hour [J]: what the panels would give at their rated efficiency, and where it went."""

    sun_j: Values
    parts_j: dict[str, Values]  # the names of LOSSES and LIFTED

    @property
    def miss_share(self) -> Values:
        """What the parts of each hour miss its sun by, as a share of it; 0 in the dark."""
        miss = self.sun_j - sum(self.parts_j.values(), np.zeros_like(self.sun_j))
        return np.divide(miss, self.sun_j, out=np.zeros_like(miss), where=self.sun_j > 0.0)


def balance(plant: Plant, sun: SunYear, curve: Curve, low: Points, high: Points, run: Running) -> Energy:
    """The energy of each hour of a year without a battery.

    "Sun" is light on the panels times their rated efficiency: what falls beside that, no data sheet
    tells. Each part is worked out at both levels of the water and mixed as the flow is.
    """
    step_s = sun.step_s
    rated = plant.rated_w / STANDARD_IRRADIANCE_W_M2
    sun_w = rated * sun.plane_w_m2
    bright = np.flatnonzero(sun.plane_w_m2 > 0.0)
    kept_w = sun_w * plant.light_share
    peak_w = np.zeros_like(sun_w)
    volts, amperes = curve.at(bright).maximum()
    peak_w[bright] = volts * amperes
    floats = (run.tank_wait_s + run.well_wait_s) / step_s
    turning = run.run_s / step_s
    resting = np.maximum(0.0, 1.0 - turning - floats)
    parts = {name: np.zeros_like(sun_w) for name in (*LOSSES, LIFTED)}
    parts["shade and dirt"] = sun_w - kept_w
    parts["warm cells and low light"] = kept_w - peak_w
    parts["pump stopped by a float"] = peak_w * floats
    for points, share in ((low, turning * (1.0 - run.level)), (high, turning * run.level)):
        for name, watts in _turning(plant, curve, points, peak_w, bright).items():
            parts[name] = parts[name] + watts * share
    stalled = low.stall_a
    wire = plant.panel_wire_ohm + plant.motor_wire_ohm
    parts["motor wire"] = parts["motor wire"] + stalled**2 * wire * resting
    parts["motor winding"] = parts["motor winding"] + stalled**2 * plant.rest_ohm * resting
    given = stalled**2 * (wire + plant.rest_ohm)
    parts["too little light to turn the pump"] = (peak_w - given) * resting
    hourly = {name: watts.reshape(8760, -1).sum(axis=1) * step_s for name, watts in parts.items()}
    return Energy(sun_w.reshape(8760, -1).sum(axis=1) * step_s, hourly)


def _turning(plant: Plant, curve: Curve, points: Points, peak_w: Values, bright: Chosen) -> dict[str, Values]:
    """The watts of each part while the pump turns, at one level of the water."""
    panel_w = np.zeros_like(peak_w)
    # What the panels give at the settled voltage, from their curve: not the current that was settled on.
    panel_w[bright] = points.panel_v[bright] * curve.at(bright).current_a(points.panel_v[bright])
    motor_a = points.motor_a
    shaft_w = points.back_v * motor_a
    water_w = plant.weight_n_m3 * points.flow_m3_s * points.head_m
    loss_m = plant.loss_m(points.flow_m3_s)
    return {
        "light not taken up": peak_w - panel_w,
        "panel wire": points.panel_a**2 * (plant.panel_wire_ohm if plant.booster is not None else 0.0),
        "booster": points.booster_in_w - points.booster_out_w,
        "motor wire": motor_a**2
        * (plant.motor_wire_ohm + (0.0 if plant.booster is not None else plant.panel_wire_ohm)),
        "motor winding": motor_a**2 * plant.pump.armature_ohm,
        "pump friction and slip": shaft_w - water_w,
        "pipe friction": plant.weight_n_m3 * points.flow_m3_s * loss_m,
        LIFTED: plant.weight_n_m3 * points.flow_m3_s * (points.head_m - loss_m),
    }
