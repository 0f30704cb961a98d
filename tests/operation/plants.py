"""A small plant of round figures, and suns to put it in; each test changes one thing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from specc.operation.installation import Array, Bus, Feed, Installation, Piece, Pumpset
from specc.operation.motor import fit_pump
from specc.operation.operating import Booster
from specc.operation.panel import Label, fit_module
from specc.operation.plant import Plant, Range, Tank, Well
from specc.operation.weather import SunYear, synthetic_year
from specc.physics.pumps import CurvePoint

GAL_M3 = 0.003785411784  # US liquid gallon, NIST SP 811
MODULE = fit_module(Label(22.0, 6.0, 18.0, 5.56, -0.0030, 0.0005, 318.15))
# A slow 24 V displacement pump, a little over 2 gal/min (8 L/min) at 24 V and 20 m, as are sold for wells.
PUMP = fit_pump(
    tuple(
        CurvePoint(volts, head, (volts - 0.96 * amperes) * (7.3e-6 - 1.9e-8 * head), amperes)
        for volts in (12.0, 18.0, 24.0, 28.0)
        for head in (6.0, 18.0, 30.0, 42.0)
        for amperes in (0.75 + 0.0995 * head,)
    ),
    displacement=True,
    armature_ohm=0.96,
)
BOOSTER = Booster(28.0, 0.0, 0.94, 28.0, 10.0, 15.0, 15.0)
FLOWS = tuple(float(x) for x in np.linspace(0.0, 4e-4, 24))

PLANT = Plant(
    pump_tag="P1",
    panel_tag="PV1",
    module=MODULE,
    series=2,
    parallel=1,
    tilt_rad=0.7,
    azimuth_rad=np.pi,
    light_share=1.0,
    panel_wire_ohm=0.2,
    motor_wire_ohm=0.1,
    booster=None,
    pump=PUMP,
    start_a=3.5,
    rest_ohm=0.96,
    motor_nominal_v=24.0,
    static_low_m=20.0,
    static_high_m=19.0,
    loss_flows_m3_s=FLOWS,
    losses_m=tuple(5.0e7 * flow**2 for flow in FLOWS),
    density_kg_m3=999.0,
    well=Well("WELL", 1.2, 1.0, 0.1, Range(3e-4, 3e-4, 3e-4), True),
    tank=Tank("TK1", 6.0, 5.8, 5.5, True, Range(1.1e-5, 1.1e-5, 1.1e-5), (1.0 / 24.0,) * 24),
)
BOOSTED = replace(PLANT, booster=BOOSTER)


def changed(plant: Plant, **what: Any) -> Plant:
    return replace(plant, **what)


def year_of(sun_hours: float, steps_an_hour: int = 1, latitude: float = 40.0) -> SunYear:
    return synthetic_year(latitude, (sun_hours,) * 12, 263.15, 308.15, 0.7, np.pi, steps_an_hour)


def steady(light_w_m2: float, air_k: float = 293.15) -> SunYear:
    """The same light at every hour of a year that knows no night."""
    hours = np.full(8760, light_w_m2)
    return SunYear("steady light", 3600.0, hours, np.full(8760, air_k), np.ones(8760))


def installed(plant: Plant) -> Installation:
    """The same plant as an installation of one of each: what is worked out for many must hold for one."""
    array = Array(
        plant.panel_tag,
        plant.module,
        plant.series,
        plant.parallel,
        plant.tilt_rad,
        plant.azimuth_rad,
        plant.light_share,
        plant.panel_wire_ohm,
    )
    pump = Pumpset(
        plant.pump_tag,
        plant.pump,
        plant.start_a,
        plant.rest_ohm,
        plant.motor_nominal_v,
        plant.motor_wire_ohm,
        bus=0,
        well=0,
        tanks=(0,),
        stops_when_full=(0,) if plant.tank.has_float else (),
        stops_when_low=plant.well.has_float,
    )
    # Levels count from the top of the delivery, which is then at nought.
    return Installation(
        pumps=(pump,),
        buses=(Bus(0, 0.0, plant.booster),),
        feeds=(Feed(plant.panel_tag, (array,)),),
        wells=(plant.well,),
        low_m=(-plant.static_low_m,),
        high_m=(-plant.static_high_m,),
        tanks=(plant.tank,),
        top_m=(0.0,),
        pieces=(
            Piece(plant.well.tag, f"{plant.pump_tag}.in", plant.loss_flows_m3_s, (0.0,) * len(FLOWS), False),
            Piece(f"{plant.pump_tag}.out", plant.tank.tag, plant.loss_flows_m3_s, plant.losses_m, True),
        ),
        weight_n_m3=plant.weight_n_m3,
    )
