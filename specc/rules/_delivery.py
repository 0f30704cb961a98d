"""What several rules ask of a delivery: its pipes, what presses on them, what relieves the pump."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics, pumps
from specc.rules._rule import Answer, violated
from specc.rules._settling import driving_v
from specc.system.missing import need, need_part
from specc.system.model import Device, Pipe
from specc.system.once import once
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
    """Relief valves that nothing can cut off from the pump's outlet, nor keep from discharging."""
    return tuple(relief for relief, hindrance in reached_reliefs(system, pump) if hindrance is None)


def reached_reliefs(system: System, pump: Device) -> tuple[tuple[Device, Step | None], ...]:
    """Relief valves with nothing between them and the pump, each with what keeps it from discharging.

    That is the valve itself where it stands on its branch the wrong way round, or what can shut the pipe
    from its outlet; None where it is free.
    """
    water = system.water
    on_line = {device for way in water.ways_out(pump) for device in way.devices}
    found: dict[Device, Step | None] = {}
    for step, _, beyond in water.reached(f"{pump.tag}.out", lambda step: obstructs(system, step)):
        if isinstance(step, Device) and "relief valve" in water.duties(step) and step not in found:
            # On the line itself its outlet is no end of a pipe: where it discharges to, words say.
            found[step] = None if step in on_line else _hindrance(system, step, beyond)
    return tuple(found.items())


def _hindrance(system: System, relief: Device, outlet: str) -> Step | None:
    """What keeps a relief valve on a branch from discharging at ``outlet``."""
    if outlet == f"{relief.tag}.in":
        return relief

    def shuts(step: Step) -> bool:
        return step is relief or system.water.can_shut(step) or "drain cock" in system.water.duties(step)

    pieces = [p for p in system.water.reached(outlet, shuts) if p[0] is not relief]
    waters = {device.tag for device in system.of_kind("source", "tank")}

    def opens(node: str) -> bool:
        """Is a node open to the air: a source, a tank, or an end of the pipe?"""
        ends_here = {step for step, *ends in pieces if node in ends}
        return node in waters or len(ends_here) == (0 if node == outlet else 1)

    if opens(outlet) or any(opens(far) for step, _, far in pieces if not shuts(step)):
        return None
    return next(step for step, _, _ in pieces if shuts(step))


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

    level = water.standing_level_m(water.suction(pump).start)
    surge, top = water.surge(pipe, pump), max(water.top_m(way), level)
    yield pressure(
        "static pressure and surge",
        column_pa(top) + surge.value,
        "ρ · g · (ztop - zlow) + Δp",
        Input(
            "ztop",
            top,
            "elevation",
            f"{way.end.tag} inlet, high point of the delivery, or the source's water where higher",
        ),
        Input("Δp", surge.value, "pressure", surge.formula),
    )
    working = water.discharge(pump, True).value + column_pa(pump.spec.elevation)
    yield pressure("working pressure", working, "pressure at the pump outlet + ρ · g · (zpump - zlow)")
    if not displacement(pump):
        shut_off = float(need_part(pump, "shut_off_head", "head with the outlet shut"))
        rated_v, highest_v = float(pump.part.nominal_voltage), _shut_off_v(system, pump)
        yield pressure(
            "pressure with the outlet shut",
            column_pa(shut_off * (highest_v / rated_v) ** 2 + level),
            "ρ · g · (H0 · (Vmax / V)² + zwater - zlow)",
            Input("H0", shut_off, "head", f"{pump.tag}, catalogue part {pump.part.id}"),
            Input("V", rated_v, "voltage", f"{pump.tag}, catalogue part {pump.part.id}"),
            Input(
                "Vmax",
                highest_v,
                "voltage",
                f"highest that drives {pump.tag} with its outlet shut; affinity laws",
            ),
            Input("zwater", level, "elevation", f"{water.suction(pump).start.tag}, water_level"),
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


@once
def _shut_off_v(system: System, pump: Device) -> float:
    """The highest voltage that drives a centrifugal pump against a shut outlet; at least its rated one [V].

    It draws what its data sheet gives at its shut-off head, which grows with the square of the volts.
    """
    table, shut_off = system.water.table(pump), float(pump.part.shut_off_head)
    rated_v = float(pump.part.nominal_voltage)

    def drawn_a(volts: float) -> float:
        head = shut_off * (volts / rated_v) ** 2
        return pumps.pump_point(table, volts, head, displacement=False).current_a

    return max(rated_v, driving_v(system, pump, drawn_a))


def against_flow(device: Device, pump: Device, harm: str, severity: Severity) -> Answer:
    """What is said of a device that the water enters by its outlet."""
    return violated(
        device.tag,
        device.path,
        f"{device.tag} stands against the flow of {pump.tag}: {harm}.",
        required=f"water enters at {device.tag}.in",
        actual=f"water enters at {device.tag}.out",
        fix=f"Turn {device.tag} round: join the pipe that brings the water to {device.tag}.in.",
        severity=severity,
    )


def displacement_pumps(system: System) -> Iterator[Device]:
    return (pump for pump in system.water.pumps if displacement(pump))
