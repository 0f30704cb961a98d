"""Rules on the pump motor: starting on an array alone, overload, duty, power in weak light."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics, panels, protection, pumps
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2
from specc.rules._edits import PV_DIRECT
from specc.rules._limits import keeps_to, reaches
from specc.rules._questions import Question, ask
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import need, need_part
from specc.system.model import Device, Port
from specc.system.system import System
from specc.system.walk import Source


def _pumps(system: System) -> tuple[Device, ...]:
    return system.of_kind("pump")


def _motor_port(system: System, pump: Device) -> Port:
    return system.connected.ports_of(pump)[0]


# -- starting on an array alone --------------------------------------------------------------------


def _on_arrays_alone(system: System) -> Iterator[tuple[Device, tuple[Source, ...]]]:
    for pump in _pumps(system):
        feeds = system.walked.feeds(_motor_port(system, pump))
        if feeds and all(source.kind == "array" for source in feeds):
            yield pump, feeds


def _pv_direct_start(system: System, subject: tuple[Device, tuple[Source, ...]]) -> Answer:
    pump, arrays = subject
    start = float(need_part(pump, "start_current", "starting current"))
    total = sum(system.electrical.short_circuit_a(source) for source in arrays)
    limit = system.handbook.threshold("start_irradiance_w_m2")
    light = panels.start_irradiance_w_m2(start, total)
    show = system.show
    worked = Calculation(
        "light in which the pump starts",
        pump.tag,
        "Gstart",
        light,
        "irradiance",
        "1000 W/m² · Istart / ΣIsc",
        (
            Input("Istart", start, "current", f"{pump.tag}, catalogue part {pump.part.id}"),
            Input("ΣIsc", total, "current", ", ".join(source.tag for source in arrays)),
        ),
        "current in proportion to irradiance, IEC 60891",
    )
    required, actual = f"at most {show(limit.value, 'irradiance')}", show(light, "irradiance", 3)
    path = pump.path + ("part",)
    if not keeps_to(light, limit.value):
        wanted = start * STANDARD_IRRADIANCE_W_M2 / limit.value
        waits = (
            "until then it stands stalled and heats"
            if pump.part.type == "positive displacement"
            else "and delivers only well above that"
        )
        return violated(
            pump.tag,
            path,
            f"{pump.tag} hangs on the array alone and starts at {actual}; {waits}.",
            required=required,
            actual=actual,
            fix=f"Put a current booster before it, add strings up to {show(wanted, 'current')} of "
            "short-circuit current, or fit an unloader.",
            related=tuple(d.path + ("parallel",) for source in arrays for d in source.devices),
            calculations=(worked,),
        )
    return satisfied(
        pump.tag,
        path,
        f"{pump.tag} starts at {actual}.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


PV_DIRECT_START = Rule(
    id="motor.pv-direct-start",
    severity=Severity.WARNING,
    title="Array alone starts the pump too late",
    checks="With the motor on the array directly, the light that gives the starting current, "
    "G = 1000 W/m² · Istart / ΣIsc, is at most 500 W/m².",
    why="Torque is current. A positive-displacement pump against a full line stalls all morning at "
    "short-circuit current; a centrifugal one turns early but lifts nothing until its speed makes the head.",
    clauses={"us-2023": "common practice, no source", "iec": "61702; 62253"},
    acceptable=True,
    look=_on_arrays_alone,
    examine=_pv_direct_start,
    fires=(
        Case(
            "no booster, start 10 A on 12 A of short-circuit current: 833 W/m²",
            {**PV_DIRECT, "part:pump-r.start_current": "10 A"},
        ),
    ),
    keeps_still=(
        Case(
            "centrifugal pump, start 5 A: 417 W/m²",
            {**PV_DIRECT, "part:pump-r.type": "centrifugal", "part:pump-r.start_current": "5 A"},
        ),
        Case("start 6 A, on the limit: 500 W/m²", {**PV_DIRECT, "part:pump-r.start_current": "6 A"}),
    ),
)


# -- overload --------------------------------------------------------------------------------------


def _overload(system: System, pump: Device) -> Answer:
    part, show = pump.part, system.show
    setting = pump.spec.overload_setting or part.overload_setting
    path = pump.path + (("overload_setting",) if pump.spec.overload_setting else ("part",))
    if part.built_in_protector:
        return satisfied(pump.tag, path, f"{pump.tag} has a built-in motor protector.")
    if setting is None:
        need(
            part.built_in_protector,
            f"{pump.tag}: whether its motor has a built-in protector (catalogue part {part.id})",
            pump.path + ("part",),
            "built_in_protector",
        )
    rated = system.electrical.motor_current_a(pump)
    marked = (
        part.rise_40 or (part.service_factor or 1.0) >= system.book.factor("overload_service_factor").value
    )
    factor = system.book.factor("overload_marked" if marked else "overload_other")
    limit = protection.motor_limit_a(rated, factor.value)
    worked = Calculation(
        "highest overload setting",
        pump.tag,
        "Iset",
        limit,
        "current",
        f"{factor.value:g} · Im",
        (Input("Im", rated, "current", f"{pump.tag}, label"),),
        factor.source,
    )
    required = f"at most {show(limit, 'current')}, or a built-in protector"
    if setting is None:
        return violated(
            pump.tag,
            path,
            f"Nothing protects the motor of {pump.tag} against running overloaded.",
            required=required,
            actual="none",
            fix=f"Fit an overload device set at {show(limit, 'current')} or less, better a pump with a "
            "built-in protector.",
            calculations=(worked,),
        )
    actual = show(setting, "current")
    if not keeps_to(setting, limit):
        return violated(
            pump.tag,
            path,
            f"The overload device of {pump.tag} is set at {actual}, {setting / rated:.1%} of the "
            f"{show(rated, 'current')} of its label; {factor.value:.0%} is the most.",
            required=required,
            actual=actual,
            fix=f"Set it at {show(limit, 'current')} or less.",
            calculations=(worked,),
        )
    return satisfied(
        pump.tag,
        path,
        f"The overload device of {pump.tag} is set at {actual}.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


_UNPROTECTED = {"part:pump-r.built_in_protector": False}

OVERLOAD = Rule(
    id="motor.overload",
    severity=Severity.DANGER,
    title="Motor without a fitting overload device",
    checks="A built-in protector, or an overload device set at 125 % of the label current at most (service "
    "factor 1.15 or more, or marked for a rise of 40 K), 115 % for other motors.",
    why="A fuse large enough to start the motor lets it cook when it is overloaded, dry or half blocked.",
    clauses={"us-2023": "430.32", "iec": "60034-11; 60947-4-1"},
    look=_pumps,
    examine=_overload,
    fires=(
        Case("12 A setting on 8 A (150 %)", {**_UNPROTECTED, "pumps.P1.overload_setting": "12 A"}),
        Case("no overload device at all", _UNPROTECTED),
        Case(
            "IEC, 12 A setting on 8 A",
            {**_UNPROTECTED, "job.rulebook": "iec", "pumps.P1.overload_setting": "12 A"},
        ),
    ),
    keeps_still=(
        Case("9 A setting (112.5 %)", {**_UNPROTECTED, "pumps.P1.overload_setting": "9 A"}),
        Case("built-in protector", {}),
        Case(
            "10 A setting (125 %) with a service factor of 1.15",
            {**_UNPROTECTED, "pumps.P1.overload_setting": "10 A", "part:pump-r.service_factor": 1.15},
        ),
    ),
)


# -- duty ------------------------------------------------------------------------------------------


def _run_time(system: System, pump: Device) -> Calculation | None:
    """How long the pump runs a day for the demand of its tanks, alone; None where it delivers nothing."""
    flow = system.water.flow(pump)
    if not flow.value > 0.0:
        return None
    tanks = tuple(dict.fromkeys(way.end for way in system.water.deliveries(pump)))
    stated = [tank for tank in tanks if tank.spec.demand is not None] or tanks
    demand = sum(need(t.spec.demand, f"{t.tag}: demand", t.path, "demand") for t in stated)
    return Calculation(
        "running time a day",
        pump.tag,
        "trun",
        demand * 86_400.0 / flow.value,
        "time",
        "demand a day / flow",
        (
            Input("demand", demand, "daily_flow", ", ".join(t.tag for t in stated)),
            Input("Q", flow.value, "flow", f"{pump.tag}, flow at rated voltage"),
        ),
        "volume balance",
    )


def _at_rest(pump: Device) -> Answer:
    return unchecked(
        pump.tag, pump.path, f"{pump.tag} delivers nothing at this head, so no running time follows."
    )


def _duties(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    for pump in _pumps(system):
        yield pump, _duty
        if pump.part.brush_life:
            yield pump, _brushes


def _duty(system: System, pump: Device) -> Answer:
    duty = str(need_part(pump, "duty", "duty type of its motor"))
    if duty == "S1":
        return satisfied(
            pump.tag,
            pump.path + ("part",),
            f"{pump.tag} is made to run continuously.",
            required="S1",
            actual=duty,
        )
    show, run = system.show, _run_time(system, pump)
    if run is None:
        return _at_rest(pump)
    permitted = float(need_part(pump, "duty_time", "how long its motor may run"))
    required = f"at most {show(permitted, 'short_time')} ({duty})"
    actual = show(run.value, "short_time")
    if not keeps_to(run.value, permitted):
        return violated(
            pump.tag,
            pump.path + ("part",),
            f"{pump.tag} runs {actual} a day for the demand; its motor ({duty}) may run "
            f"{show(permitted, 'short_time')} at a time.",
            required=required,
            actual=actual,
            fix="Take a pump for continuous duty (S1).",
            calculations=(run,),
        )
    return satisfied(
        pump.tag,
        pump.path + ("part",),
        f"{pump.tag} runs {actual} a day.",
        required=required,
        actual=actual,
        calculations=(run,),
    )


def _brushes(system: System, pump: Device) -> Answer:
    show, life, run = system.show, float(pump.part.brush_life), _run_time(system, pump)
    if run is None:
        return _at_rest(pump)
    a_year = run.value * 365.0
    required, actual = f"at least {show(a_year, 'time')}", show(life, "time")
    if not reaches(life, a_year):
        return violated(
            pump.tag,
            pump.path + ("part",),
            f"The brushes of {pump.tag} last {actual}; it runs {show(a_year, 'time')} a year.",
            required=required,
            actual=actual,
            fix="Keep spare brushes at hand, or take a pump with longer-lived ones.",
            severity=Severity.ADVICE,
            calculations=(run,),
        )
    return satisfied(
        pump.tag,
        pump.path + ("part",),
        f"The brushes of {pump.tag} last a year and more.",
        required=required,
        actual=actual,
        calculations=(run,),
    )


DUTY = Rule(
    id="motor.duty",
    severity=Severity.ERROR,
    title="Motor not made to run that long",
    checks="Running time a day, demand / flow, <= the time that an intermittent motor (S2, S3) may run; S1 "
    "always serves. Advice where the brushes do not last a year.",
    why="Motors sold for moving water from drum to drum burn when they run through a solar day.",
    clauses={"us-2023": "430.22(E)", "iec": "60034-1 (S1 to S3)"},
    sees_not="The first filling of an empty tank, which takes longer than a day's demand; pumps that share "
    "a demand.",
    look=_duties,
    examine=ask,
    fires=(
        Case("S2 30 min, run 150 min", {"part:pump-r.duty": "S2", "part:pump-r.duty_time": "30 min"}),
        Case(
            "brushes for 500 h, run 912 h a year",
            {"part:pump-r.brush_life": "500 h"},
            severity=Severity.ADVICE,
        ),
    ),
    keeps_still=(
        Case("S1", {}),
        Case("S2 160 min, run 150 min", {"part:pump-r.duty": "S2", "part:pump-r.duty_time": "160 min"}),
        Case("brushes for 3000 h", {"part:pump-r.brush_life": "3000 h"}),
    ),
)


# -- power -----------------------------------------------------------------------------------------


def _on_arrays(system: System) -> Iterator[tuple[Device, tuple[Source, ...]]]:
    """Pumps that arrays alone feed, directly or through controllers, with those arrays."""
    for pump in _pumps(system):
        above = system.electrical.upstream(_motor_port(system, pump))
        arrays = tuple(source for source in above if source.kind == "array")
        if arrays and not any(source.kind == "battery" for source in above):
            yield pump, arrays


def _power_balance(system: System, subject: tuple[Device, tuple[Source, ...]]) -> Answer:
    pump, arrays = subject
    show = system.show
    sharing = [other for other, theirs in _on_arrays(system) if set(theirs) & set(arrays)]
    idle = [other.tag for other in sharing if not system.water.operating(other, True).flow_m3_s > 0.0]
    if idle:
        return unchecked(pump.tag, pump.path, f"{', '.join(idle)} delivers nothing at this head.")
    wanted = [_power_wanted(system, other) for other in sharing]
    total = sum(c.value for c in wanted)
    given = _power_given(system, arrays)
    required, actual = f"at least {show(total, 'power')}", show(given.value, "power")
    path = arrays[0].devices[0].path + ("parallel",)
    names = " and ".join(other.tag for other in sharing)
    light = system.handbook.threshold("design_irradiance_w_m2").value
    numbers = (*wanted, given)
    if not reaches(given.value, total):
        return violated(
            pump.tag,
            path,
            f"At {show(light, 'irradiance')}, hot and dusty, {', '.join(s.tag for s in arrays)} gives "
            f"{actual}; {names} takes {show(total, 'power')} at full flow.",
            required=required,
            actual=actual,
            fix=f"Add modules up to {show(_label_power(arrays) * total / given.value, 'power')} of label "
            "power, or lower flow or head.",
            related=(pump.path,),
            calculations=numbers,
        )
    return satisfied(
        pump.tag,
        path,
        f"The array drives {names} at full flow in {show(light, 'irradiance')}.",
        required=required,
        actual=actual,
        calculations=numbers,
    )


def _power_wanted(system: System, pump: Device) -> Calculation:
    """What the pump takes from the array at full flow, filter dirty."""
    water = system.water
    point, head = water.operating(pump, True), water.total_head(pump, True)
    flow = point.flow_m3_s
    density = water.density_kg_m3(water.suction(pump).start)
    controllers = _efficiency(system, _motor_port(system, pump))
    inputs = [
        Input("Q", flow, "flow", f"{pump.tag}, filter dirty"),
        Input("H", head.value, "head", f"{pump.tag}, total head, filter dirty"),
        Input("ηcontroller", controllers, "number", "catalogue; 1 where there is none"),
    ]
    if pump.part.efficiency is not None:
        lifted = hydraulics.hydraulic_power_w(flow, max(0.0, head.value), density)
        value = pumps.input_power_w(lifted, pump.part.efficiency * controllers)
        inputs.append(
            Input("ηpump", pump.part.efficiency, "number", f"{pump.tag}, catalogue part {pump.part.id}")
        )
        formula = "ρ · g · Q · H / (ηpump · ηcontroller)"
    else:
        volts = pump.part.nominal_voltage
        value = pumps.input_power_w(volts * point.current_a, controllers)
        inputs.append(Input("I", point.current_a, "current", f"{pump.tag}, data sheet at this head"))
        formula = "V · I / ηcontroller"
    return Calculation(
        "power for full flow", pump.tag, "P", value, "power", formula, tuple(inputs), "power balance"
    )


def _efficiency(system: System, load: Port, passed: frozenset[Device] = frozenset()) -> float:
    """Efficiency of the controllers between arrays and a load, along the worst way.

    ``passed`` are the controllers already on the way: miswired, one may feed itself.
    """
    found = [1.0]
    for source in system.walked.feeds(load):
        device = source.ports[0].device
        if source.kind != "converter" or device in passed:
            continue
        own = float(need_part(device, "efficiency", "efficiency"))
        inputs = [p for p in system.connected.ports_of(device) if p.does == "takes"]
        found += [own * _efficiency(system, port, passed | {device}) for port in inputs] or [own]
    return min(found)


def _label_power(arrays: tuple[Source, ...]) -> float:
    """Power on the labels of all modules; Vmp · Imp where a label has none [W]."""
    devices = dict.fromkeys(device for source in arrays for device in source.devices)
    return float(
        sum((d.part.power or d.part.vmp * d.part.imp) * d.spec.series * d.spec.parallel for d in devices)
    )


def _power_given(system: System, arrays: tuple[Source, ...]) -> Calculation:
    light = system.handbook.threshold("design_irradiance_w_m2")
    share = system.handbook.threshold("hot_dirty_array_fraction")
    label = _label_power(arrays)
    return Calculation(
        "power of the array in weak light",
        ", ".join(source.tag for source in arrays),
        "Parray",
        label * light.value / STANDARD_IRRADIANCE_W_M2 * share.value,
        "power",
        "Plabel · G / 1000 W/m² · share",
        (
            Input("Plabel", label, "power", "all modules, catalogue"),
            Input("G", light.value, "irradiance", light.source),
            Input("share", share.value, "number", f"hot and dusty; {share.source}"),
        ),
        "power in proportion to irradiance",
    )


POWER_BALANCE = Rule(
    id="motor.power-balance",
    severity=Severity.WARNING,
    title="Array too small for full flow in ordinary light",
    checks="P = ρ · g · Q · H / (ηpump · ηcontroller) of all pumps on the array <= Parray · G / 1000 · 0.75 "
    "at G = 500 W/m², filter dirty.",
    why="An array that is enough at noon only pumps an hour or two a day.",
    clauses={"us-2023": "common practice, no source", "iec": "62253; 61702"},
    acceptable=True,
    look=_on_arrays,
    examine=_power_balance,
    fires=(Case("one string: 75 W against 144.9 W", {"panels.PV1.parallel": 1}),),
    keeps_still=(
        Case("two strings: 150 W against 144.9 W", {}),
        Case("no efficiency on the label: current of the data sheet", {"part:pump-r.efficiency": None}),
    ),
)

RULES = (PV_DIRECT_START, OVERLOAD, DUTY, POWER_BALANCE)
