"""Single days of a year, and the panels' curves with what works on them: for looking at, not for counting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.panel import array_curve, cell_k
from specc.operation.plant import NotWorkedOut, Plant
from specc.operation.sun import Values
from specc.operation.weather import DAYS_OF_MONTH
from specc.operation.year import BAD_DAY, GOOD_DAY, Lit, Settled, settled

CURVE_POINTS: Final = 60
SHOWN_LIGHTS_W_M2: Final = (1000.0, 800.0, 600.0, 400.0, 200.0)
SHOWN_AIR_K: Final = 293.15
SHOWN_WIND_M_S: Final = 1.0


@dataclass(frozen=True)
class Day:
    """A day from midnight to midnight: the middle of each step [h], what the panels could give, the flow."""

    month: int
    hour: Values
    light_w_m2: Values
    panel_w: Values
    flow_m3_s: Values


@dataclass(frozen=True)
class ArrayCurve:
    """The array's curve in one light, at its terminals; where pump or charger settles on it, if it does."""

    light_w_m2: float
    voltage_v: Values
    current_a: Values
    settles: tuple[float, float] | None


@dataclass(frozen=True)
class ArrayCurves:
    """The array's curves, the brightest first, and what the motor with its pump and wire asks at them."""

    curves: tuple[ArrayCurve, ...]
    motor_v: Values | None  # at the array's terminals; None where something stands between
    motor_a: Values | None


def clear_and_dull(states: Settled, month: int) -> tuple[Day, Day]:
    """A clear and a dull day of a month (1 to 12): the 90th and 10th percentile of its light.

    The tank has room all day.
    """
    sun, plant = states.light.sun, states.plant
    inflow = plant.well.inflow_m3_s
    run = states.run(None if inflow is None else inflow.nominal, None)
    first = sum(DAYS_OF_MONTH[: month - 1])
    many = sun.steps_a_day
    daily = sun.plane_w_m2.reshape(365, many).sum(axis=1)[first : first + DAYS_OF_MONTH[month - 1]]

    def day(percent: float) -> Day:
        number = first + int(np.argmin(np.abs(daily - np.percentile(daily, percent))))
        steps = np.arange(number * many, (number + 1) * many)
        volts, amperes = states.light.curve.at(steps).maximum()
        light = states.light.light_w_m2[steps]
        return Day(
            month,
            (np.arange(many) + 0.5) * 24.0 / many,
            light,
            np.where(light > 0.0, volts * amperes, 0.0),
            run.pumped_m3[steps] / sun.step_s,
        )

    return day(GOOD_DAY), day(BAD_DAY)


def array_curves(plant: Plant, states: Settled) -> ArrayCurves:
    """The array's curves on a day of 20 °C in several lights, and where the pump settles at low water."""
    lights = np.array(SHOWN_LIGHTS_W_M2)
    cells = cell_k(
        np.full_like(lights, SHOWN_AIR_K),
        lights,
        np.full_like(lights, SHOWN_WIND_M_S),
        plant.module.label.noct_k,
    )
    curve = array_curve(plant.module, plant.series, plant.parallel, lights, cells)
    shown = Lit(states.light.sun, lights, cells, curve)
    points = _settling(plant, shown)
    made = []
    for number, light in enumerate(SHOWN_LIGHTS_W_M2):
        one = curve.at(np.array([number]))
        volts = np.linspace(0.0, float(one.open_v()[0]), CURVE_POINTS)
        amperes = np.array([float(one.current_a(float(v))[0]) for v in volts])
        made.append(ArrayCurve(light, volts, np.maximum(amperes, 0.0), points[number]))
    if plant.bank is not None or plant.booster is not None:
        return ArrayCurves(tuple(made), None, None)
    pump = plant.curve(plant.static_low_m)
    wire = plant.panel_wire_ohm + plant.motor_wire_ohm
    return ArrayCurves(tuple(made), pump.voltage_v + pump.current_a * wire, pump.current_a)


def _settling(plant: Plant, shown: Lit) -> list[tuple[float, float] | None]:
    """Volts and amperes of the array where it settles in each light; None where nothing turns."""
    if plant.bank is not None:
        if not plant.bank.tracks:
            return [None] * len(shown.light_w_m2)
        volts, amperes = shown.curve.maximum()
        return [(float(v), float(a)) for v, a in zip(volts, amperes, strict=True)]
    try:
        points = settled(plant, shown, plant.static_low_m)
    except NotWorkedOut:
        return [None] * len(shown.light_w_m2)
    return [
        (float(v), float(a)) if able >= 0.0 and a > 0.0 else None
        for v, a, able in zip(points.panel_v, points.panel_a, points.can_run, strict=True)
    ]
