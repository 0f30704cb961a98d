"""Rules on what a controller takes in and gives out: volts, amperes, start, hold point, battery."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import pumps
from specc.rules._limits import keeps_to, reaches
from specc.rules._questions import Question, ask
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import need, need_part
from specc.system.model import Device, Port
from specc.system.system import System
from specc.system.walk import Source


def _inputs(system: System) -> Iterator[tuple[Device, Port]]:
    """Input ports of controllers that something feeds."""
    for port in system.connected.ports:
        if port.device.kind == "controller" and port.does == "takes" and system.walked.feeds(port):
            yield port.device, port


def _outputs(system: System) -> Iterator[tuple[Device, Source]]:
    """Outputs of controllers that drive something else than a battery."""
    for source in system.walked.sources:
        if source.kind == "converter" and _driven(system, source):
            yield source.ports[0].device, source


def _alone(system: System) -> Iterator[tuple[Device, Source]]:
    """Outputs that feed what they drive without the help of a battery beside them."""
    for device, source in _outputs(system):
        if not any(port.device.kind == "battery" for port in system.electrical.fed_by(source)):
            yield device, source


def _driven(system: System, source: Source) -> tuple[Port, ...]:
    return tuple(p for p in system.electrical.fed_by(source) if p.device.kind in ("pump", "controller"))


def _motors(system: System, source: Source) -> tuple[Device, ...]:
    return tuple(p.device for p in _driven(system, source) if p.device.kind == "pump")


def _tags(devices: tuple[Device, ...]) -> str:
    return ", ".join(device.tag for device in devices)


# -- input -----------------------------------------------------------------------------------------


def _fed_inputs(system: System) -> Iterator[tuple[Device, Source]]:
    return ((device, source) for device, port in _inputs(system) for source in system.walked.feeds(port))


def _input_voltage(system: System, subject: tuple[Device, Source]) -> Answer:
    device, source = subject
    limit = float(need_part(device, "max_input_voltage", "highest input voltage"))
    show = system.show
    highest = system.electrical.highest_voltage(source)
    required, actual = f"at most {show(limit, 'voltage')}", show(highest.value, "voltage")
    path = device.path + ("part",)
    if not keeps_to(highest.value, limit):
        fewer = _fewer_in_series(source, highest.value, limit)
        return violated(
            device.tag,
            path,
            f"{source.tag} can put {actual} on the input of {device.tag}, which stands "
            f"{show(limit, 'voltage')} ({highest.what}).",
            required=required,
            actual=actual,
            fix=fewer + f"take a controller for {actual} or more.",
            related=tuple(d.path + ("series",) for d in source.devices if d.kind == "panel"),
            calculations=(highest,),
        )
    return satisfied(
        device.tag,
        path,
        f"{source.tag} puts no more than {actual} on the input of {device.tag}.",
        required=required,
        actual=actual,
        calculations=(highest,),
    )


def _fewer_in_series(source: Source, highest_v: float, limit_v: float) -> str:
    """The advice to put fewer modules in series, where that helps."""
    if len(source.devices) != 1 or source.devices[0].kind != "panel":
        return "Lower the voltage of the source, or "
    series = source.devices[0].spec.series
    fitting = next((n for n in range(series, 0, -1) if keeps_to(highest_v * n / series, limit_v)), 0)
    return f"Put {fitting} in series instead of {series}, or " if fitting >= 1 else "For this array "


INPUT_VOLTAGE = Rule(
    id="booster.input-voltage",
    severity=Severity.DANGER,
    title="Array voltage too high for the controller",
    checks="Highest voltage of every source on the input <= highest input voltage of the controller; for an "
    "array Vmax = Ns · Voc · [1 + β · (Tmin - 25 °C)], open circuit on the coldest dawn.",
    why="At 25 °C all looks well; in the first frost, long after commissioning, the input is destroyed.",
    clauses={"us-2023": "690.7(A); 110.3(B)", "iec": "60364-7-712 Annex B; 62109-1"},
    look=_fed_inputs,
    examine=_input_voltage,
    fires=(
        Case(
            "limit 48 V: 44.0 V at 25 °C looks fine, 49.28 V at -15 °C",
            {"part:booster-r.max_input_voltage": "48 V"},
            subject="CB1",
        ),
        Case(
            "IEC, no coefficient, limit 52 V: 1.2 · 44 V = 52.8 V",
            {
                "job.rulebook": "iec",
                "part:panel-r.voc_coefficient": None,
                "part:booster-r.max_input_voltage": "52 V",
            },
        ),
    ),
    keeps_still=(
        Case("limit 50 V", {"part:booster-r.max_input_voltage": "50 V"}),
        Case(
            "US, no coefficient, limit 52 V: 1.16 · 44 V = 51.04 V",
            {"part:panel-r.voc_coefficient": None, "part:booster-r.max_input_voltage": "52 V"},
        ),
    ),
)


def _array_inputs(system: System) -> Iterator[tuple[Device, Port]]:
    return ((device, port) for device, port in _inputs(system) if _arrays_on(system, port))


def _arrays_on(system: System, port: Port) -> tuple[Source, ...]:
    return tuple(source for source in system.walked.feeds(port) if source.kind == "array")


def _input_current(system: System, subject: tuple[Device, Port]) -> Answer:
    device, port = subject
    limit = float(need_part(device, "max_input_current", "highest input current"))
    maximum = system.electrical.maximum_current(_arrays_on(system, port))
    show = system.show
    required, actual = f"at most {show(limit, 'current')}", show(maximum.value, "current")
    path = device.path + ("part",)
    if keeps_to(maximum.value, limit):
        return satisfied(
            device.tag,
            path,
            f"The array can drive {actual} into {device.tag}.",
            required=required,
            actual=actual,
            calculations=(maximum,),
        )
    clips = device.part.clips_input
    says = {
        True: "it clips the excess, which is lost",
        False: "its maker forbids it",
        None: "the catalogue does not say whether it clips or fails",
    }[clips]
    return violated(
        device.tag,
        path,
        f"The array can drive {actual} into {device.tag}, which takes {show(limit, 'current')}: {says}.",
        required=required,
        actual=actual,
        fix=f"Take fewer strings in parallel, or a controller for {actual} or more.",
        related=tuple(d.path + ("parallel",) for s in _arrays_on(system, port) for d in s.devices),
        severity=Severity.WARNING if clips else Severity.ERROR,
        calculations=(maximum,),
    )


INPUT_CURRENT = Rule(
    id="booster.input-current",
    severity=Severity.WARNING,
    title="Array current above the controller's input rating",
    checks="Imax = 1.25 · ΣIsc of the arrays on the input <= input current rating. A warning where the "
    "controller clips the excess; an error where its maker forbids it or does not say.",
    why="At the edge of a cloud an array gives more than its label. Many inputs only clip; some fail.",
    clauses={"us-2023": "690.8; 110.3(B)", "iec": "62109-1"},
    look=_array_inputs,
    examine=_input_current,
    acceptable=True,
    fires=(
        Case("limit 12 A: the array can drive 15.0 A", {"part:booster-r.max_input_current": "12 A"}),
        Case(
            "limit 12 A on an input that may not be overdriven",
            {"part:booster-r.max_input_current": "12 A", "part:booster-r.clips_input": False},
            severity=Severity.ERROR,
        ),
        Case(
            "limit 12 A, and the maker does not say whether it clips",
            {"part:booster-r.max_input_current": "12 A", "part:booster-r.clips_input": None},
            severity=Severity.ERROR,
        ),
        Case("IEC, limit 12 A", {"job.rulebook": "iec", "part:booster-r.max_input_current": "12 A"}),
    ),
    keeps_still=(Case("limit 15 A", {"part:booster-r.max_input_current": "15 A"}),),
)


# -- output ----------------------------------------------------------------------------------------


def _output_current(system: System, subject: tuple[Device, Source]) -> Answer:
    device, source = subject
    electrical, show = system.electrical, system.show
    given = device.part.hot_output_current or electrical.output_current_a(device)
    word = "on the hottest day" if device.part.hot_output_current else "continuously"
    loads = _driven(system, source)
    inputs = tuple(
        Input("Im", electrical.motor_current_a(p.device), "current", f"{p.device.tag}, label")
        if p.device.kind == "pump"
        else Input(
            "Iin", electrical.input_current_a(p.device, p), "current", f"{p.device.tag}, at rated output"
        )
        for p in loads
    )
    wanted = sum(i.value for i in inputs)
    load = Calculation(
        "current of the loads",
        device.tag,
        "Iload",
        wanted,
        "current",
        "sum of the loads",
        inputs,
        "makers' labels",
    )
    names = _tags(tuple(p.device for p in loads))
    required, actual = f"at least {show(wanted, 'current')}", show(given, "current")
    if not reaches(given, wanted):
        return violated(
            device.tag,
            device.path + ("part",),
            f"{device.tag} gives {actual} {word}, and {names} takes {show(wanted, 'current')}.",
            required=required,
            actual=actual,
            fix=f"Take a controller for {show(wanted, 'current')} or more, or lower the head that the pump "
            "works against.",
            related=tuple(p.device.path + ("part",) for p in loads),
            calculations=(load,),
        )
    return satisfied(
        device.tag,
        device.path + ("part",),
        f"{device.tag} gives the current of {names}.",
        required=required,
        actual=actual,
        calculations=(load,),
    )


OUTPUT_CURRENT = Rule(
    id="booster.output-current",
    severity=Severity.ERROR,
    title="Controller too small for the motor",
    checks="Continuous output current (the maker's hot figure where there is one) >= sum of the rated "
    "currents of the motors that hang on the output. A charging output beside its battery need not carry "
    "them.",
    why="The controller limits or trips, and the pump never reaches its flow at full head.",
    clauses={"us-2023": "430.83; 110.3(B)", "iec": "62109-1"},
    sees_not="Whether the pump draws less than its label at this head: the label counts.",
    look=_alone,
    examine=_output_current,
    fires=(
        Case("motor 13 A on a controller for 12 A", {"part:pump-r.rated_current": "13 A"}),
        Case("12 A when cool, 7.5 A when hot", {"part:booster-r.hot_output_current": "7.5 A"}),
    ),
    keeps_still=(Case("motor 12 A", {"part:pump-r.rated_current": "12 A"}),),
)


def _driven_motors(system: System) -> Iterator[tuple[Device, Source, Device]]:
    for device, source in _outputs(system):
        for motor in _motors(system, source):
            yield device, source, motor


def _output_voltage(system: System, subject: tuple[Device, Source, Device]) -> Answer:
    device, source, motor = subject
    show = system.show
    limit = float(need_part(motor, "max_voltage", "highest motor voltage"))
    highest = system.electrical.highest_voltage(source)
    required, actual = f"at most {show(limit, 'voltage')}", show(highest.value, "voltage")
    if not keeps_to(highest.value, limit):
        clamped = getattr(device.spec, "output_clamp", None) or device.part.max_output_voltage
        cause = "" if clamped else ", since its output has no clamp and in full sun passes on what it gets"
        return violated(
            device.tag,
            device.path + (("output_clamp",) if device.spec.output_clamp else ("part",)),
            f"{device.tag} can put {actual} on {motor.tag}, which stands {show(limit, 'voltage')}{cause}.",
            required=required,
            actual=actual,
            fix=f"Set or fit an output clamp of {show(limit, 'voltage')} or less.",
            related=(motor.path + ("part",),),
            calculations=(highest,),
        )
    return satisfied(
        device.tag,
        device.path + ("part",),
        f"{device.tag} puts no more than {actual} on {motor.tag}.",
        required=required,
        actual=actual,
        calculations=(highest,),
    )


OUTPUT_VOLTAGE = Rule(
    id="booster.output-voltage",
    severity=Severity.ERROR,
    title="Controller output too high for the motor",
    checks="Output clamp <= highest motor voltage. Without a clamp the output counts with the highest "
    "voltage of its input.",
    why="In full sun, unloaded, a controller without a clamp passes nearly all that it gets; the motor "
    "overspeeds and its insulation and brushes suffer.",
    clauses={"us-2023": "110.3(B)", "iec": "60034-1"},
    look=_driven_motors,
    examine=_output_voltage,
    fires=(
        Case("no clamp, motor 30 V: up to 49.28 V", {"part:booster-r.max_output_voltage": None}),
        Case("clamp set to 32 V in the job", {"controllers.CB1.output_clamp": "32 V"}),
    ),
    keeps_still=(
        Case("clamp 28 V", {}),
        Case("clamp set to 30 V, on the limit", {"controllers.CB1.output_clamp": "30 V"}),
    ),
)


# -- start and stall -------------------------------------------------------------------------------


def _starts_and_stalls(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    """Each controller with the start of its motors, and with the stall of each."""
    for device, source in _alone(system):
        motors = _motors(system, source)
        if motors:
            yield device, partial(_starts, motors=motors)
        if device.part.type == "current booster":
            for motor in motors:
                yield device, partial(_stalls, motor=motor)


def _starts(system: System, device: Device, motors: tuple[Device, ...]) -> Answer:
    show = system.show
    wanted = sum(float(need_part(m, "start_current", "starting current")) for m in motors)
    steady, peak = device.part.output_current, device.part.peak_output_current
    given = max((value for value in (steady, peak) if value is not None), default=None)
    if given is None or (given < wanted and peak is None):
        given = float(need_part(device, "peak_output_current", "peak output current"))
    names = _tags(motors)
    required, actual = f"at least {show(wanted, 'current')}", show(given, "current")
    path = device.path + ("part",)
    if not reaches(given, wanted):
        return violated(
            device.tag,
            path,
            f"{device.tag} gives {actual} at most, and {names} needs {show(wanted, 'current')} to start.",
            required=required,
            actual=actual,
            fix=f"Take a controller that gives {show(wanted, 'current')} or more, or fit an unloader so "
            "that the pump starts without its standing head.",
            related=tuple(m.path + ("part",) for m in motors),
        )
    return satisfied(device.tag, path, f"{device.tag} can start {names}.", required=required, actual=actual)


def _stalls(system: System, device: Device, motor: Device) -> Answer:
    """A limited current opens no fuse: a stalled motor then needs a cut-out of its own."""
    show = system.show
    setting = motor.spec.overload_setting or motor.part.overload_setting
    limit = device.part.peak_output_current or system.electrical.output_current_a(device)
    path = motor.path + (("overload_setting",) if motor.spec.overload_setting else ("part",))
    if motor.part.built_in_protector:
        return satisfied(motor.tag, path, f"{motor.tag} has a protector of its own against stalling.")
    if setting is not None and setting < limit:
        return satisfied(
            motor.tag,
            path,
            f"The overload device of {motor.tag} opens when it stalls.",
            required=f"below {show(limit, 'current')}",
            actual=show(setting, "current"),
        )
    if setting is None:
        need(
            motor.part.built_in_protector,
            f"{motor.tag}: whether its motor has a built-in protector (catalogue part {motor.part.id})",
            motor.path + ("part",),
            "built_in_protector",
        )
    armature = float(need_part(motor, "armature_resistance", "armature resistance"))
    stall = pumps.stall_current_a(motor.part.nominal_voltage, armature)
    worked = Calculation(
        "current of the stalled motor",
        motor.tag,
        "Istall",
        stall,
        "current",
        "V / Ra",
        (
            Input("V", motor.part.nominal_voltage, "voltage", f"{motor.tag}, catalogue part {motor.part.id}"),
            Input("Ra", armature, "resistance", f"{motor.tag}, catalogue part {motor.part.id}"),
        ),
        "Ohm's law, no back voltage at rest",
    )
    if limit >= stall:
        return satisfied(
            motor.tag,
            path,
            f"{device.tag} does not limit the stall current of {motor.tag}.",
            calculations=(worked,),
        )
    heat = pumps.locked_rotor_heat_w(limit, armature)
    has = "no overload cut-out" if setting is None else f"a cut-out set at {show(setting, 'current')}"
    return violated(
        motor.tag,
        path,
        f"{device.tag} limits to {show(limit, 'current')}, below the {show(stall, 'current')} of "
        f"{motor.tag} when stalled: no fuse ever opens, {show(heat, 'power', 2)} stays in the motor, and it "
        f"has {has} that would open.",
        required="a thermal or stall cut-out that opens below the limit",
        actual=has,
        fix="Fit a thermal cut-out in the motor, or an overload device set below the controller's limit.",
        related=(device.path + ("part",),),
        calculations=(worked,),
    )


START_CURRENT = Rule(
    id="booster.start-current",
    severity=Severity.ERROR,
    title="Controller cannot start the pump, or lets it burn when stalled",
    checks="Peak output >= starting current of the pump against its standing head. Where the limit lies "
    "below the stall current V / Ra, the motor has a built-in protector or an overload device set below the "
    "limit.",
    why="A limited current never opens a fuse: at 12 A and 0.6 Ω a blocked motor keeps 86 W in its windings "
    "until it burns.",
    clauses={"us-2023": "430.32; 430.83", "iec": "60034-1; 60034-11"},
    sees_not="A thermal switch on the pump's wet head: it does not feel the windings.",
    look=_starts_and_stalls,
    examine=ask,
    fires=(
        Case("starting current 16 A on 12 A", {"part:pump-r.start_current": "16 A"}, subject="CB1"),
        Case("no motor overload device", {"part:pump-r.built_in_protector": False}, subject="P1"),
        Case(
            "overload device set at 12 A, where the controller gives 12 A",
            {"part:pump-r.built_in_protector": False, "pumps.P1.overload_setting": "12 A"},
            subject="P1",
        ),
    ),
    keeps_still=(
        Case("starting current 11 A, overload protector present", {}),
        Case(
            "overload device set at 9 A",
            {"part:pump-r.built_in_protector": False, "pumps.P1.overload_setting": "9 A"},
        ),
    ),
)


# -- hold point ------------------------------------------------------------------------------------


def _held_inputs(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    """Each booster with the hold point and the headroom of each array on it."""
    for device, port in _array_inputs(system):
        if device.part.type == "current booster":
            for source in _arrays_on(system, port):
                yield device, partial(_hold_point, port=port, source=source)
                yield device, partial(_headroom, port=port, source=source)


def _hold_setting(device: Device, open_v: Callable[[Device], float], devices: Iterable[Device]) -> float:
    """Voltage at which the input is held [V]; ``open_v``: that of each device of its source, unloaded."""
    share = device.part.hold_share
    if share is not None and not (device.spec.hold_voltage or device.part.hold_voltage):
        return float(share) * sum(open_v(d) for d in devices)
    return float(
        device.spec.hold_voltage or need_part(device, "hold_voltage", "voltage at which the input is held")
    )


def _hold_path(device: Device) -> tuple[str | int, ...]:
    return device.path + (("hold_voltage",) if device.spec.hold_voltage else ("part",))


def _hold_point(system: System, device: Device, port: Port, source: Source) -> Answer:
    hold, show = _hold_setting(device, system.electrical.hot_open_v, source.devices), system.show
    hot = tuple(system.electrical.hot_voltage(d) for d in source.devices)
    there = _hot_voltage_at(system, port, source)
    path = _hold_path(device)
    required, actual = f"at most {show(there.value, 'voltage')}", show(hold, "voltage")
    numbers = (*hot, there)
    open_v = sum(float(d.part.voc) * int(d.spec.series) for d in source.devices)
    never = open_v < hold
    if not keeps_to(hold, there.value):
        return violated(
            device.tag,
            path,
            f"{device.tag} holds its input at {actual}; on a hot day {source.tag} works at "
            f"{show(there.value, 'voltage')} there, after the drop on the way"
            + (
                f", and even open it shows {show(open_v, 'voltage')} only: the pump never runs."
                if never
                else "."
            ),
            required=required,
            actual=actual,
            fix=f"Lower the setting to {show(there.value, 'voltage')} or less, or add a module in series.",
            related=tuple(d.path + ("series",) for d in source.devices),
            calculations=numbers,
            severity=Severity.ERROR if never else None,
        )
    return satisfied(
        device.tag,
        path,
        f"{device.tag} holds below the hot working voltage of {source.tag}.",
        required=required,
        actual=actual,
        calculations=numbers,
    )


def _hot_voltage_at(system: System, port: Port, source: Source) -> Calculation:
    """What is left of the hot working voltage at the controller's input."""
    point = system.design_point()
    ends = _end_terminals(system, source, port)
    lost = [
        need(
            point.drop_v(a, b), f"{source.tag}: its drop to {port.device.tag}", source.devices[0].path, "runs"
        )
        for a, b in ends
    ]
    at_array = sum(system.electrical.hot_voltage(d).value for d in source.devices)
    return Calculation(
        "hot working voltage at the controller",
        port.device.tag,
        "Vhot",
        at_array - sum(lost),
        "voltage",
        "Vmp,hot - drop",
        (
            Input("Vmp,hot", at_array, "voltage", source.tag),
            Input("drop", sum(lost), "voltage", "solved network, both conductors, at Imp"),
        ),
        "nodal analysis",
    )


def _end_terminals(system: System, source: Source, port: Port) -> tuple[tuple[str, str], tuple[str, str]]:
    """Terminals of array and controller that share a net, the two poles in turn."""
    ends = [end for p in source.ports for end in (p.plus, p.minus)]
    pairs = []
    for terminal in (port.plus, port.minus):
        net = system.walked.net(terminal)
        pairs.append((next(end for end in ends if system.walked.net(end) == net), terminal))
    return pairs[0], pairs[1]


def _headroom(system: System, device: Device, port: Port, source: Source) -> Answer:
    show, there = system.show, _hot_voltage_at(system, port, source)
    margin = system.handbook.threshold("booster_headroom_v")
    outputs = [s for d, s in _outputs(system) if d is device]
    volts = [m.part.nominal_voltage for s in outputs for m in _motors(system, s)]
    wanted = max(volts) if volts else float(need_part(device, "nominal_output", "nominal output voltage"))
    required = f"at least {show(wanted + margin.value, 'voltage')}"
    actual = show(there.value, "voltage")
    if not reaches(there.value, wanted + margin.value):
        return violated(
            device.tag,
            source.devices[0].path + ("series",),
            f"On a hot day {source.tag} works at {actual} at {device.tag}, which needs "
            f"{show(wanted + margin.value, 'voltage')} to give {show(wanted, 'voltage')}.",
            required=required,
            actual=actual,
            fix="Add a module in series.",
            calculations=(there,),
        )
    return satisfied(
        device.tag,
        source.devices[0].path + ("series",),
        f"{source.tag} leaves {device.tag} enough voltage on a hot day.",
        required=required,
        actual=actual,
    )


HOLD_VOLTAGE = Rule(
    id="booster.hold-voltage",
    severity=Severity.WARNING,
    title="Hold point above what a hot array gives",
    checks="Input hold setting <= hot Vmp - drop, and hot Vmp - drop >= motor voltage + headroom, with "
    "Vmp,hot = Ns · Vmp · [1 + γ · (Tcell - 25 °C)] and Tcell = Tmax + (NOCT - 20 °C) / 800 · 1000. A "
    "setting above Ns · Voc is an error.",
    why="On the hottest days, when water is wanted most, the array cannot reach the hold point and the pump "
    "starves.",
    clauses={"us-2023": "common practice, no source", "iec": "61215 and 61853 (NOCT); 62253"},
    acceptable=True,
    look=_held_inputs,
    examine=ask,
    fires=(
        Case("setting 32 V: hot Vmp 29.63 V less 0.9 V of drop", {"controllers.CB1.hold_voltage": "32 V"}),
        Case(
            "one module in series: hot Vmp 14.8 V for a 24 V motor, hold 12 V",
            {"panels.PV1.series": 1, "controllers.CB1.hold_voltage": "12 V"},
        ),
        Case(
            "setting 28 V, one module of 22 V open circuit", {"panels.PV1.series": 1}, severity=Severity.ERROR
        ),
    ),
    keeps_still=(Case("setting 28 V", {"controllers.CB1.hold_voltage": "28 V"}),),
)


def _held_arrays(system: System) -> Iterator[tuple[Device, Port, Source]]:
    for device, port in _array_inputs(system):
        if device.part.type == "current booster":
            for source in _arrays_on(system, port):
                yield device, port, source


def _held_low(system: System, subject: tuple[Device, Port, Source]) -> Answer:
    """An array held far below its working voltage gives its current there, and only that share of power."""
    device, port, source = subject
    hold = _hold_setting(device, system.electrical.hot_open_v, source.devices)
    there = _hot_voltage_at(system, port, source)
    least = system.handbook.threshold("booster_hold_share")
    show, path = system.show, _hold_path(device)
    wanted = least.value * there.value
    required, actual = f"at least {show(wanted, 'voltage')}", show(hold, "voltage")
    if not reaches(hold, wanted):
        lost = system.show(1.0 - hold / there.value, "fraction", 2)
        return violated(
            device.tag,
            path,
            f"{device.tag} holds its input at {actual}, where {source.tag} works at "
            f"{show(there.value, 'voltage')} even on a hot day: about {lost} of its power is never taken.",
            required=required,
            actual=actual,
            fix=f"Raise the setting towards {show(there.value, 'voltage')}, or take a controller that holds "
            "there, or put fewer modules in series and more in parallel.",
            related=tuple(d.path + ("series",) for d in source.devices),
            calculations=(there,),
        )
    return satisfied(
        device.tag,
        path,
        f"{device.tag} holds near the working voltage of {source.tag}.",
        required=required,
        actual=actual,
        calculations=(there,),
    )


HOLD_LOW = Rule(
    id="booster.hold-low",
    severity=Severity.WARNING,
    title="Hold point far below what the array works at",
    checks="Input hold setting >= 0.75 of hot Vmp - drop. Below its best voltage an array gives hardly more "
    "current, so that the power taken falls with the voltage.",
    why="A booster for two modules on a string of four holds them at half their voltage: half of the panels "
    "was bought in vain, and the pump stands still in light that it could have used.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    acceptable=True,
    look=_held_arrays,
    examine=_held_low,
    fires=(
        Case(
            "setting 20 V: 0.75 of hot Vmp 28.7 V is 21.5 V",
            {"controllers.CB1.hold_voltage": "20 V"},
            subject="CB1",
        ),
        Case("0.4 of open circuit", {"part:booster-r.hold_voltage": None, "part:booster-r.hold_share": 0.4}),
    ),
    keeps_still=(
        Case("setting 22 V", {"controllers.CB1.hold_voltage": "22 V"}),
        Case(
            "0.76 of open circuit", {"part:booster-r.hold_voltage": None, "part:booster-r.hold_share": 0.76}
        ),
    ),
)


def _battery_inputs(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    """Each booster with the hold point and the low-voltage stop for each battery that feeds it."""
    for device, port in _inputs(system):
        if device.part.type == "current booster":
            for bank in _banks(system, port):
                yield device, partial(_hold_on_battery, bank=bank)
                yield device, partial(_low_voltage_stop, port=port, bank=bank)


def _banks(system: System, port: Port) -> tuple[Source, ...]:
    return tuple(source for source in system.electrical.upstream(port) if source.kind == "battery")


def _empty_v(device: Device) -> float:
    each = float(need_part(device, "empty_voltage", "voltage when empty"))
    return each * int(device.spec.series)


def _hold_on_battery(system: System, device: Device, bank: Source) -> Answer:
    show, path = system.show, _hold_path(device)
    hold = _hold_setting(device, _empty_v, bank.devices)
    lowest = sum(_empty_v(d) for d in bank.devices)
    required, actual = f"below {show(lowest, 'voltage')}", show(hold, "voltage")
    if not hold < lowest:
        return violated(
            device.tag,
            path,
            f"{device.tag} holds its input at {actual}, and {bank.tag} falls to {show(lowest, 'voltage')}: "
            "below the hold point it does not run.",
            required=required,
            actual=actual,
            fix=f"Set the hold point below {show(lowest, 'voltage')}, or feed the motor from the battery "
            "directly.",
            related=tuple(d.path + ("part",) for d in bank.devices),
        )
    return satisfied(
        device.tag,
        path,
        f"{device.tag} holds below the lowest voltage of {bank.tag}.",
        required=required,
        actual=actual,
    )


def _low_voltage_stop(system: System, device: Device, port: Port, bank: Source) -> Answer:
    on_the_way = [s.ports[0].device for s in system.electrical.upstream(port) if s.kind == "converter"]
    stops = [d for d in (device, *on_the_way) if getattr(d.spec, "stops_below", None) or d.part.stops_below]
    if stops:
        return satisfied(
            device.tag, device.path, f"{stops[0].tag} stops {device.tag} before {bank.tag} is emptied."
        )
    return violated(
        device.tag,
        device.path,
        f"Nothing stops {device.tag} before {bank.tag} is empty: a booster takes whatever it is given.",
        required="a low-voltage stop",
        actual="none",
        fix=f"Put a low-voltage disconnect between {bank.tag} and {device.tag}.",
        related=tuple(d.path for d in bank.devices),
    )


# The array's place taken by two 12 V batteries in series.
_BANK: dict[str, Any] = {
    "panels.PV1": None,
    "batteries.BT1": {"part": "battery-r", "series": 2, "location": "array"},
    "runs.R1.conductors": [
        {"from": "BT1.+", "to": "Q1.1", "color": "red"},
        {"from": "BT1.-", "to": "CB1.pv-", "color": "white"},
    ],
}

ON_BATTERY = Rule(
    id="booster.on-battery",
    severity=Severity.WARNING,
    title="Current booster on a battery",
    checks="Where a battery feeds a current booster: hold setting < lowest battery voltage, and something "
    "on the way stops below a set voltage.",
    why="The hold point is meant for an array. Above the battery's voltage the booster never runs; below "
    "it, it happily empties the bank.",
    clauses={"us-2023": "110.3(B)", "iec": "62509"},
    look=_battery_inputs,
    examine=ask,
    fires=(
        Case("24 V bank, hold 28 V", _BANK),
        Case("hold 22 V, without a low-voltage stop", {**_BANK, "controllers.CB1.hold_voltage": "22 V"}),
    ),
    keeps_still=(
        Case(
            "hold 22 V, with a low-voltage stop",
            {**_BANK, "controllers.CB1.hold_voltage": "22 V", "controllers.CB1.stops_below": "22.8 V"},
        ),
    ),
)

RULES = (
    INPUT_VOLTAGE,
    INPUT_CURRENT,
    OUTPUT_CURRENT,
    OUTPUT_VOLTAGE,
    START_CURRENT,
    HOLD_VOLTAGE,
    HOLD_LOW,
    ON_BATTERY,
)
