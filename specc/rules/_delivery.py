"""What several rules ask of a delivery: its pipes, what presses on them, what relieves the pump."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.physics import hydraulics
from specc.system.missing import need, need_part
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Step, Way


def displacement(pump: Device) -> bool:
    return bool(pump.part.type == "positive displacement")


def delivery_pipes(system: System) -> Iterator[tuple[Pipe, tuple[Way, ...]]]:
    """Every pipe on the way from a pump to a tank, with all the ways that it serves."""
    served: dict[Pipe, list[Way]] = {}
    for pump in system.water.pumps:
        for way in system.water.ways_out(pump):
            for pipe in way.pipes:
                served.setdefault(pipe, []).append(way)
    return ((pipe, tuple(ways)) for pipe, ways in served.items())


def reliefs(system: System, pump: Device) -> tuple[Device, ...]:
    """Relief valves that nothing can cut off from the pump's outlet."""
    reached = system.water.downstream(pump, lambda step: obstructs(system, step))
    return tuple(s for s in reached if isinstance(s, Device) and "relief valve" in system.water.duties(s))


def obstructs(system: System, step: Step) -> bool:
    """Can it stop the flow: a valve, or a filter that clogs?"""
    water = system.water
    return (
        water.can_shut(step) or water.holds_back(step) or (isinstance(step, Device) and step.kind == "filter")
    )


def setting_pa(relief: Device) -> float:
    what = f"{relief.tag}: the pressure at which it is set to open"
    return float(need(relief.spec.setting, what, relief.path, "setting"))


def highest_pressures(
    system: System, pipe: Pipe, way: Way, low_m: float, device: Device | None = None
) -> Iterator[Calculation]:
    """What can press on the lowest point of a pipe, or on a device: column and surge, relief valve, pump."""
    tag = (device or pipe).tag
    water, pump = system.water, way.pump
    density = water.density_kg_m3(water.suction(pump).start)

    def column_pa(top_m: float) -> float:
        return hydraulics.pressure_from_head_pa(top_m - low_m, density)

    def pressure(what: str, value: float, formula: str, *inputs: Input) -> Calculation:
        lowest = Input("zlow", low_m, "elevation", f"{tag}, lowest point")
        return Calculation(what, tag, "p", value, "pressure", formula, (*inputs, lowest), "hydrostatics")

    static, surge = column_pa(water.top_m(way)), water.surge(pipe, pump)
    yield pressure(
        "static pressure and surge",
        static + surge.value,
        "ρ · g · (ztop - zlow) + Δp",
        Input("ztop", water.top_m(way), "elevation", f"{way.end.tag} inlet, or high point of the delivery"),
        Input("Δp", surge.value, "pressure", surge.formula),
    )
    working = water.discharge(pump, True).value + column_pa(pump.spec.elevation)
    yield pressure("working pressure", working, "pressure at the pump outlet + ρ · g · (zpump - zlow)")
    if not displacement(pump):
        shut_off = float(need_part(pump, "shut_off_head", "head with the outlet shut"))
        level = water.standing_level_m(water.suction(pump).start)
        yield pressure(
            "pressure with the outlet shut",
            column_pa(shut_off + level),
            "ρ · g · (H0 + zwater - zlow)",
            Input("H0", shut_off, "head", f"{pump.tag}, catalogue part {pump.part.id}"),
        )
        return
    opening = [(relief.tag, setting_pa(relief)) for relief in reliefs(system, pump)]
    if pump.part.built_in_relief:
        opening.append((pump.tag, float(need_part(pump, "max_pressure", "highest pressure"))))
    if opening:
        opens, setting = min(opening, key=lambda pair: pair[1])
        factor = system.handbook.threshold("relief_accumulation")
        yield pressure(
            "pressure with the relief valve open",
            factor.value * setting + column_pa(pump.spec.elevation),
            f"{factor.value:g} · setting + ρ · g · (zpump - zlow)",
            Input("setting", setting, "pressure", opens),
        )


def displacement_pumps(system: System) -> Iterator[Device]:
    return (pump for pump in system.water.pumps if displacement(pump))
