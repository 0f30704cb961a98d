"""Single days of a year, and the panels' curves with what works on them: for looking at, not for counting."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.installation import Array, Charger, Installation, Store, Works
from specc.operation.panel import Curve, Module, array_curve, cell_k
from specc.operation.plant import NotWorkedOut, Plant
from specc.operation.sharing import Lit as Panels
from specc.operation.sharing import settle_line, settle_mode
from specc.operation.sun import Chosen, Values
from specc.operation.weather import DAYS_OF_MONTH
from specc.operation.year import BAD_DAY, GOOD_DAY, Lit, Ready, Settled, run_year, settled

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
    """An array's curves, the brightest first, and what its motors with their pumps and wire ask at them."""

    tag: str
    drives: str  # what it feeds, by tag
    curves: tuple[ArrayCurve, ...]
    motor_v: Values | None  # at the array's terminals; None where something stands between
    motor_a: Values | None
    settles: str  # what the points are


def clear_and_dull(ready: Ready, month: int) -> tuple[Day, Day]:
    """A clear and a dull day of a month (1 to 12): the 90th and 10th percentile of its light.

    The tanks have room all day.
    """
    sun = ready.sun
    run = run_year(ready, "nominal", None)
    flow_m3 = run.pumped_m3
    first = sum(DAYS_OF_MONTH[: month - 1])
    many = sun.steps_a_day
    daily = sun.plane_w_m2.reshape(365, many).sum(axis=1)[first : first + DAYS_OF_MONTH[month - 1]]

    def day(percent: float) -> Day:
        number = first + int(np.argmin(np.abs(daily - np.percentile(daily, percent))))
        steps = np.arange(number * many, (number + 1) * many)
        return Day(
            month,
            (np.arange(many) + 0.5) * 24.0 / many,
            sun.plane_w_m2[steps],
            _most_w(ready, steps),
            flow_m3[steps] / sun.step_s,
        )

    return day(GOOD_DAY), day(BAD_DAY)


def _most_w(ready: Ready, steps: Chosen) -> Values:
    """The most that all panels could give in some steps [W]."""
    if isinstance(ready, Settled):
        volts, amperes = ready.light.curve.at(steps).maximum()
        return np.where(ready.light.light_w_m2[steps] > 0.0, volts * amperes, 0.0)
    total = np.zeros(len(steps))
    for island in ready.panels:
        whole = np.zeros(len(ready.sun.plane_w_m2))
        whole[island.bright] = island.most_w
        total = total + whole[steps]
    for bank in ready.banks:
        for panels in bank.panels:
            dark = np.max([curve.light_a for curve in panels.bare], axis=0) <= 0.0
            total = total + np.where(dark, 0.0, panels.maximum_w())[steps]
    return total


def array_curves(works: Works, ready: Ready) -> tuple[ArrayCurves, ...]:
    """Each array's curves on a day of 20 °C in several lights, and where it settles at low water.

    Where several arrays meet, each is shown alone, without what they drive together.
    """
    if isinstance(ready, Settled):
        assert isinstance(works, Plant)
        return (_of_plant(works, ready),)
    found = []
    for number, feed in enumerate(ready.made.feeds):
        if feed.store is not None:
            for charger in feed.chargers:
                for array in charger.arrays:
                    found.append(_of_charger(array, charger, feed.store))
        elif len(feed.arrays) > 1:
            found += [_drawn(array, None) for array in feed.arrays]
        else:
            found.append(_of_feed(ready.made, number))
    return tuple(found)


def _curves(module: Module, series: int, parallel: int) -> tuple[Values, Values, Curve]:
    """The shown lights, cell temperatures and curves of an array."""
    lights = np.array(SHOWN_LIGHTS_W_M2)
    air, wind = np.full_like(lights, SHOWN_AIR_K), np.full_like(lights, SHOWN_WIND_M_S)
    cells = cell_k(air, lights, wind, module.label.noct_k)
    return lights, cells, array_curve(module, series, parallel, lights, cells)


Point = tuple[float, float]


def _shown(curve: Curve, points: Sequence[Point | None]) -> tuple[ArrayCurve, ...]:
    made = []
    for number, light in enumerate(SHOWN_LIGHTS_W_M2):
        one = curve.at(np.array([number]))
        volts = np.linspace(0.0, float(one.open_v()[0]), CURVE_POINTS)
        amperes = np.array([float(one.current_a(float(v))[0]) for v in volts])
        made.append(ArrayCurve(light, volts, np.maximum(amperes, 0.0), points[number]))
    return tuple(made)


def _of_plant(plant: Plant, states: Settled) -> ArrayCurves:
    lights, cells, curve = _curves(plant.module, plant.series, plant.parallel)
    shown = Lit(states.light.sun, lights, cells, curve)
    points: list[Point | None] = [None] * len(lights)
    with suppress(NotWorkedOut):
        found = settled(plant, shown, plant.static_low_m)
        points = [
            (float(v), float(a)) if able >= 0.0 and a > 0.0 else None
            for v, a, able in zip(found.panel_v, found.panel_a, found.can_run, strict=True)
        ]
    curves = _shown(curve, points)
    if plant.booster is not None:
        return ArrayCurves(plant.panel_tag, plant.pump_tag, curves, None, None, "where it settles")
    pump = plant.curve(plant.static_low_m)
    wire = plant.panel_wire_ohm + plant.motor_wire_ohm
    line = pump.voltage_v + pump.current_a * wire
    return ArrayCurves(plant.panel_tag, plant.pump_tag, curves, line, pump.current_a, "where it settles")


def _of_charger(array: Array, charger: Charger, store: Store) -> ArrayCurves:
    """Panels on a charge controller: at their best power, or pulled to the bank's volts when it is full."""
    _, _, curve = _curves(array.module, array.series, array.parallel)
    if charger.tracks:
        volts, amperes = curve.maximum()
    else:
        volts = np.full(len(SHOWN_LIGHTS_W_M2), store.full_v / charger.efficiency)
        amperes = curve.with_series(array.wire_ohm).current_a(volts)
        volts = volts + amperes * array.wire_ohm
    points = [(float(v), float(a)) if a > 0.0 else None for v, a in zip(volts, amperes, strict=True)]
    word = "best power" if charger.tracks else "on the full bank"
    return ArrayCurves(array.tag, charger.tag, _shown(curve, points), None, None, word)


def _drawn(array: Array, driven: tuple[str, Values, Values, list[Point | None]] | None) -> ArrayCurves:
    _, _, curve = _curves(array.module, array.series, array.parallel)
    if driven is None:
        return ArrayCurves(array.tag, "", _shown(curve, [None] * len(SHOWN_LIGHTS_W_M2)), None, None, "")
    name, volts, amperes, points = driven
    curves = _shown(curve, points)
    if not len(volts):
        return ArrayCurves(array.tag, name, curves, None, None, "where it settles")
    return ArrayCurves(array.tag, name, curves, volts, amperes, "where it settles")


def _of_feed(made: Installation, number: int) -> ArrayCurves:
    """An array with all its pumps running alone on it, every tank open, the wells drawn down."""
    (array,) = made.feeds[number].arrays
    pumps = tuple(n for n, pump in enumerate(made.pumps) if made.buses[pump.bus].feed == number)
    lights, _, curve = _curves(array.module, array.series, array.parallel)
    shown = {number: Panels((array,), (curve,))}
    tanks = frozenset(t for n in pumps for t in made.pumps[n].tanks)
    name = " and ".join(made.pumps[n].tag for n in pumps)
    none: list[Point | None] = [None] * len(lights)
    try:
        mode = settle_mode(made, shown, pumps, (), tanks, made.low_m)
        line = settle_line(made, shown, pumps, tanks, made.low_m)
    except NotWorkedOut:
        return _drawn(array, (name, np.zeros(0), np.zeros(0), none))
    able = np.all([mode.run[n] >= 0.0 for n in pumps], axis=0)
    points = [
        (float(v), float(a)) if ok and a > 0.0 else None
        for v, a, ok in zip(mode.panel_v[number], mode.panel_a[number], able, strict=True)
    ]
    volts, amperes = line if line is not None else (np.zeros(0), np.zeros(0))
    return _drawn(array, (name, volts, amperes, points))
