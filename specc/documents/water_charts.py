"""Charts of the water side, from the solved system: head against flow."""

from __future__ import annotations

from specc import units
from specc.documents.charts import Axis, Chart, Note, Series
from specc.physics.pumps import pump_point
from specc.system.model import Device
from specc.system.system import System

CURVE_POINTS = 41


def head_flow(system: System, pump: Device) -> Chart:
    """Head against flow: what the pump makes at its rated voltage, what the pipe asks, and where they meet.

    Raises ``MissingDatum`` or ``LookupError`` for what is not known.
    """
    water, us = system.water, system.job.units
    volts = pump.part.nominal_voltage
    table = water.table(pump)
    displacement = pump.part.type == "positive displacement"
    clean, dirty = water.operating(pump, False), water.operating(pump, True)
    head_m = water.total_head_m(pump, clean.flow_m3_s, dirty=False)
    top_m = 1.25 * max(head_m, *(row.head_m for row in table if row.head_m <= 3.0 * head_m), 1.0)
    heads = [top_m * n / (CURVE_POINTS - 1) for n in range(CURVE_POINTS)]
    flows = [pump_point(table, volts, head, displacement=displacement).flow_m3_s for head in heads]
    most = 1.15 * max(*flows, dirty.flow_m3_s)
    asked = [most * n / (CURVE_POINTS - 1) for n in range(CURVE_POINTS)]

    def flow(value: float) -> float:
        return units.to_display(value, "flow", us)

    def head(value: float) -> float:
        return units.to_display(value, "head", us)

    def pipe(name: str, *, with_dirt: bool, style: int) -> Series:
        losses = (water.total_head_m(pump, q, dirty=with_dirt) for q in asked)
        return Series(name, "line", tuple(map(flow, asked)), tuple(map(head, losses)), style=style)

    rows = [row for row in table if abs(row.voltage_v - volts) < 1e-6 * volts and row.head_m <= top_m]
    series = [
        Series(
            f"{pump.tag} at {system.show(volts, 'voltage', 3)}",
            "line",
            tuple(map(flow, flows)),
            tuple(map(head, heads)),
        ),
        Series(
            "rows of its data sheet",
            "points",
            tuple(flow(row.flow_m3_s) for row in rows),
            tuple(head(row.head_m) for row in rows),
            style=1,
        ),
        pipe("pipe, filter clean", with_dirt=False, style=1),
        pipe("pipe, filter dirty", with_dirt=True, style=2),
    ]
    has_filter = any(d.kind == "filter" for d in water.suction(pump).devices + water.delivery(pump).devices)
    if not has_filter:
        series = [*series[:2], pipe("pipe", with_dirt=False, style=1)]
    met = f"{system.show(clean.flow_m3_s, 'flow', 3)} at {system.show(head_m, 'head', 3)}"
    beyond = ("Beyond the rows of the data sheet: an estimate.",) if clean.beyond_table else ()
    return Chart(
        "head-flow" if len(water.pumps) == 1 else f"head-flow-{pump.tag}",
        f"Head against flow, {pump.tag}",
        Axis(f"flow, {units.unit_label('flow', us)}", low=0.0),
        Axis(f"head, {units.unit_label('head', us)}", low=0.0),
        tuple(series),
        notes=(Note(met, flow(clean.flow_m3_s), head(head_m)),),
        remarks=(
            "Static head is counted from the drawn-down water to the highest place of the delivery.",
            *beyond,
        ),
    )
