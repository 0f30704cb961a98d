"""``python -m tests.bench.water``: a year of water, booster and tank, against bare arithmetic and a solver.

The bare version is the same arithmetic with nothing around it: no dataclasses, no masks of the dark,
no margins kept for print. The solver is scipy's, once for each hour of light.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from specc import pipeline
from specc.operation import made
from specc.operation.advice import advise
from specc.operation.described import plant_of
from specc.operation.installation import Works
from specc.operation.motor import PumpCurve
from specc.operation.operating import Booster
from specc.operation.panel import Curve, array_curve, cell_k
from specc.operation.plant import Plant
from specc.operation.weather import SunYear
from specc.operation.year import Settled, Sky, run_year, settle, water_year
from specc.pipeline import compile_spec
from specc.rendering.water_text import water_text
from specc.system.system import System
from tests.bench.clock import ROOT, least_s
from tests.operation import several
from tests.reference import read_edited

JOB = ROOT / "examples" / "cedar-fold-orchard.toml"
BARE_RATIO, SOLVER_RATIO, COMMAND_S = 1.5, 20.0, 1.2  # what is aimed at


def bare(plant: Plant, sun: SunYear) -> float:
    """Water of the year [m³]: light to power, power to flow, flow to well and tank, both levels."""
    booster = plant.booster
    assert booster is not None
    light = sun.plane_w_m2
    bright = np.flatnonzero(light > 0.0)
    g = light[bright]
    cell = sun.air_k[bright] + (plant.module.label.noct_k - 293.15) * g / 800.0 * 9.5 / (
        5.7 + 3.8 * sun.wind_m_s[bright]
    )
    curve = array_curve(plant.module, plant.series, plant.parallel, g, cell).with_series(plant.panel_wire_ohm)
    held = np.minimum(np.maximum(curve.current_a(booster.hold_v or 0.0), 0.0), booster.input_limit_a)
    given = booster.efficiency * (booster.hold_v or 0.0) * held
    flows = []
    for static in (plant.static_low_m, plant.static_high_m):
        pump = plant.curve(static)
        output = pump.voltage_v + pump.current_a * plant.motor_wire_ohm
        most = np.interp(booster.highest_v, output, np.arange(len(output)))
        position = np.minimum(np.interp(given, output * pump.current_a, np.arange(len(output))), most)
        # The panels' current where the clamp holds the output: the state is not whole without it.
        power = np.interp(position, np.arange(len(output)), output * pump.current_a) / booster.efficiency
        low, high = (booster.hold_v or 0.0) + held * curve.series_ohm, curve.open_v()
        for _ in range(40):
            middle = 0.5 * (low + high)
            amperes = curve.inner_current_a(middle)
            enough = amperes * (middle - amperes * curve.series_ohm) >= power
            low, high = np.where(enough, middle, low), np.where(enough, high, middle)
        columns = (pump.flow_m3_s, pump.current_a, pump.voltage_v, pump.back_v, pump.head_m)
        flow, *_ = (np.interp(position, np.arange(len(output)), column) for column in columns)
        able = given >= plant.start_a**2 * (plant.rest_ohm + plant.motor_wire_ohm)
        spread = np.zeros(len(light))
        spread[bright] = np.where(able, flow, 0.0)
        flows.append(spread.tolist())
    return _tank(plant, flows[0], flows[1])


def _tank(plant: Plant, low: list[float], high: list[float]) -> float:
    assert plant.well.inflow_m3_s is not None
    assert plant.tank.demand_m3_s is not None
    inflow, demand = plant.well.inflow_m3_s.nominal, plant.tank.demand_m3_s.nominal
    most, full, restart = plant.well.storage_m3, plant.tank.stop_m3, plant.tank.restart_m3
    w, v, waits, total = most, full, False, 0.0
    for q_low, q_high in zip(low, high, strict=True):
        left = 3600.0
        while left > 0.0:
            level = w / most
            q = q_low + level * (q_high - q_low)
            stride = left
            waits = waits and v > restart + 1e-12
            if waits or q <= 0.0:
                q = 0.0
                if waits:
                    stride = min(left, max((v - restart) / demand, 1.0))
            else:
                if q > demand:
                    stride = min(stride, max((full - v) / (q - demand), 1.0))
                if q > inflow:
                    stride = min(stride, max(w / (q - inflow), 1.0))
            left -= stride
            total += q * stride
            w = min(most, max(0.0, w + (inflow - q) * stride))
            v = max(0.0, v + (q - demand) * stride)
            waits = waits or v >= full - 1e-12
    return total


def by_solver(plant: Plant, sun: SunYear, hours: int) -> float:
    """The same states, at both levels, by scipy for a number of hours of light; water at the lower [m³]."""
    booster = plant.booster
    assert booster is not None
    pumps = [plant.curve(static) for static in (plant.static_low_m, plant.static_high_m)]
    bright = np.flatnonzero(sun.plane_w_m2 > 0.0)
    total = 0.0
    for step in bright[:: max(1, len(bright) // hours)][:hours]:
        here = slice(step, step + 1)
        cells = cell_k(sun.air_k[here], sun.plane_w_m2[here], sun.wind_m_s[here], plant.module.label.noct_k)
        curve = array_curve(plant.module, plant.series, plant.parallel, sun.plane_w_m2[here], cells)
        flows = [_hour_by_solver(plant, booster, curve.with_series(plant.panel_wire_ohm), p) for p in pumps]
        total += flows[0] * 3600.0
    return total


def _hour_by_solver(plant: Plant, booster: Booster, curve: Curve, pump: PumpCurve) -> float:
    """Flow of one hour [m³/s]; the panels' current is found too where the output is clamped."""
    from scipy.optimize import brentq

    light, diode, slope = float(curve.light_a[0]), float(curve.diode_a[0]), float(curve.slope_v[0])
    shunt, series, hold = float(curve.shunt_s[0]), curve.series_ohm, booster.hold_v or 0.0
    output = pump.voltage_v + pump.current_a * plant.motor_wire_ohm

    def current(amperes: float, volts: float) -> float:
        junction = volts + amperes * series
        return light - diode * math.expm1(min(junction / slope, 200.0)) - shunt * junction - amperes

    def at(volts: float) -> float:
        return float(brentq(current, -2.0 * light - 5.0, 2.0 * light + 5.0, args=(volts,)))

    given = booster.efficiency * hold * max(at(hold), 0.0)

    def surplus(volts: float) -> float:
        return float(volts * np.interp(volts, output, pump.current_a) - given)

    if surplus(output[0]) > 0.0:
        return 0.0
    volts = float(brentq(surplus, output[0], output[-1])) if surplus(output[-1]) > 0.0 else float(output[-1])
    if volts > booster.highest_v:
        volts = booster.highest_v
        wanted = volts * float(np.interp(volts, output, pump.current_a)) / booster.efficiency
        brentq(lambda panel: panel * at(panel) - wanted, hold, float(curve.open_v()[0]))
    return float(np.interp(volts, output, pump.flow_m3_s))


def main(repeats: int = 15) -> None:
    data = JOB.read_bytes()
    compiled = compile_spec(data, JOB.name, lambda name: (JOB.parent / name).read_bytes())
    system = compiled.system
    assert system is not None
    plant = plant_of(system)
    assert isinstance(plant, Plant)
    sun = made.sun_of(system, plant, steps_an_hour=1)
    assert isinstance(sun, SunYear)
    fine = made.sun_of(system, plant, steps_an_hour=made.STEPS_AN_HOUR)
    inflow, demand = plant.well.inflow_m3_s, plant.tank.demand_m3_s
    assert inflow is not None
    assert demand is not None

    def ours() -> float:
        ready = settle(plant, sun)
        assert isinstance(ready, Settled)
        return float(ready.run(inflow.nominal, demand.nominal).pumped_m3.sum())

    hours = 200
    ours_s, bare_s = least_s(ours, lambda: bare(plant, sun), repeats=repeats)
    solver_s = least_s(lambda: by_solver(plant, sun, hours), repeats=2)[0]
    lit_hours = int(np.count_nonzero(sun.plane_w_m2 > 0.0))
    whole_s = solver_s * lit_hours / hours
    print(f"water  {ours():.1f} m3 in a year, bare arithmetic {bare(plant, sun):.1f} m3")
    print(f"year   {ours_s * 1e3:.1f} ms, bare {bare_s * 1e3:.1f} ms")
    print(f"       ratio {ours_s / bare_s:.2f} (aim: {BARE_RATIO})")
    print(f"       hour by hour with a solver {whole_s:.2f} s")
    print(f"       ratio {whole_s / ours_s:.0f} (aim: {SOLVER_RATIO:g})")
    table = pipeline.water(system).table
    assert table is not None
    phases: dict[str, Callable[[], object]] = {
        "compile": lambda: compile_spec(data, JOB.name, lambda name: (JOB.parent / name).read_bytes()),
        "plant": lambda: plant_of(system),
        "sun": lambda: made.sun_of(system, plant, steps_an_hour=made.STEPS_AN_HOUR),
        "year": lambda: water_year(plant, fine),
        "advice": lambda: advise(system, plant, sun),
        "text": lambda: water_text(table, system.job.units),
    }
    total = 0.0
    for name, work in phases.items():
        took = least_s(work, repeats=3)[0]
        total += took
        print(f"phase  {name:<10}{took * 1e3:8.1f} ms")
    print(f"       together {total:.2f} s (aim: {COMMAND_S:g} beyond the imports)")
    others()


def others() -> None:
    """Figures, without an aim, of what settles together: a battery, two pumps on one array and one line."""
    path = ROOT / "examples" / "saltbush-paddock.toml"
    data = path.read_bytes()
    battery = compile_spec(data, path.name, lambda name: (path.parent / name).read_bytes()).system
    assert battery is not None
    for name, system in (("battery", battery), ("two pumps", read_edited(several.TWO_BOOSTERS))):
        works = plant_of(system)
        sun = made.sun_of(system, works, steps_an_hour=1)

        def year(works: Works = works, sun: Sky = sun) -> float:
            return float(run_year(settle(works, sun), "nominal", "nominal").pumped_m3.sum())

        def whole(system: System = system) -> object:
            return pipeline.water(system)

        print(f"other  {name:<10}{least_s(year, repeats=3)[0]:8.2f} s for a year of 8,760 h")
        print(f"       {'':<10}{least_s(whole, repeats=1)[0]:8.2f} s for all that `specc water` works out")


if __name__ == "__main__":
    main()
