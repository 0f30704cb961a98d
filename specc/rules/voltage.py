"""Rules on voltage: what suits the motor, what every device is rated for, what a hand may touch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import panels, pumps
from specc.physics.constants import STANDARD_CELL_TEMPERATURE_K, STANDARD_IRRADIANCE_W_M2
from specc.rules._edits import BATTERY, METRIC, PV_DIRECT
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._settling import in_bright_sun, uniform
from specc.rules._variants import FLOATING
from specc.system import worst
from specc.system.earthing import earthed_nets
from specc.system.every_state import READY
from specc.system.missing import HOW_LAID, MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Path, Pole, Port, Run
from specc.system.system import System
from specc.system.walk import Crossing, Source, rated_voltage

# -- nominal voltages ------------------------------------------------------------------------------


def _meetings(system: System) -> Iterator[tuple[Device, Crossing]]:
    """Where voltages must agree: loads on batteries and controllers, and pumps on arrays."""
    seen: set[frozenset[Device]] = set()
    for pair in system.walked.pairs:
        load = pair.load.device
        direct = pair.source.kind == "array" and load.kind == "pump"
        agreed = pair.source.kind != "array" and getattr(load.part, "type", "") != "current booster"
        ends = frozenset((*pair.source.devices, load))
        if (direct or agreed) and (ends not in seen):
            seen.add(ends)
            yield load, pair


def _nominal_mismatch(system: System, subject: tuple[Device, Crossing]) -> Iterable[Answer]:
    load, pair = subject
    if pair.source.kind == "array":
        arrays = tuple(s for s in system.walked.feeds(pair.load) if s.kind == "array")
        if arrays[0] is pair.source:  # arrays in parallel are judged together, once
            yield from _driven_by_arrays(system, load, arrays)
    elif load.kind == "pump":
        yield _fed_motor(system, load, pair)
    else:
        yield _same_class(system, load, pair)


def _given_voltage(pair: Crossing) -> float:
    """Nominal voltage that a battery or controller gives; a lower output clamp is what it gives [V]."""
    ports = pair.source.ports
    if pair.source.kind == "battery":
        return sum(rated_voltage(port) for port in ports)
    device = ports[0].device
    nominal = float(need_part(device, "nominal_output", "nominal output voltage"))
    clamp = device.spec.output_clamp or device.part.max_output_voltage
    return min(nominal, clamp) if clamp else nominal


def _fed_motor(system: System, motor: Device, pair: Crossing) -> Answer:
    show = system.show
    given, wanted = _given_voltage(pair), float(motor.part.nominal_voltage)
    band = system.handbook.threshold("nominal_voltage_mismatch_fraction").value
    highest = motor.part.max_voltage
    fits = keeps_to(abs(given - wanted), band * wanted)
    if not fits and given > wanted:
        fits = given <= float(need_part(motor, "max_voltage", "highest motor voltage"))
    limit = f", at most {show(highest, 'voltage')}" if highest is not None else ""
    return _nominal_answer(
        system,
        motor,
        pair.source,
        fits,
        f"{motor.tag} is for {show(wanted, 'voltage')}{limit}",
        given,
        f"{show(wanted, 'voltage')} nominal{limit}",
    )


def _same_class(system: System, load: Device, pair: Crossing) -> Answer:
    """A battery and the controller that charges it, or that it feeds."""
    given = _given_voltage(pair)
    if load.kind == "battery":
        wanted = sum(rated_voltage(p) for p in _whole_battery(system, load))
    else:
        wanted = float(need_part(load, "nominal_output", "nominal voltage"))
    band = system.handbook.threshold("nominal_voltage_mismatch_fraction").value
    shown = system.show(wanted, "voltage")
    return _nominal_answer(
        system,
        load,
        pair.source,
        keeps_to(abs(given - wanted), band * wanted),
        f"{load.tag} is for {shown}",
        given,
        f"{shown} nominal",
    )


def _whole_battery(system: System, device: Device) -> tuple[Port, ...]:
    return next(s.ports for s in system.walked.sources if device in s.devices)


def _nominal_answer(
    system: System, load: Device, source: Source, fits: bool, wants: str, given: float, required: str
) -> Answer:
    shown = system.show(given, "voltage")
    path, told = load.path + ("part",), f"{wants}; {source.tag} gives {shown} nominal."
    if fits:
        return satisfied(load.tag, path, told, required=required, actual=f"{shown} nominal")
    return violated(
        load.tag,
        path,
        told,
        required=required,
        actual=f"{shown} nominal",
        fix=f"Take a part for {shown} as {load.tag}, or change {source.tag} to {required}.",
        related=(source.devices[0].path + ("part",),),
    )


def _driven_by_arrays(system: System, motor: Device, arrays: tuple[Source, ...]) -> Iterable[Answer]:
    """The motor's volts where the array curve meets the pump, in bright sun, cold and at 25 °C."""
    show, path = system.show, motor.path + ("part",)
    highest = float(need_part(motor, "max_voltage", "highest motor voltage"))
    array = uniform(arrays)
    if array is None:
        yield unchecked(
            motor.tag,
            path,
            f"{motor.tag} hangs on unlike modules; where it settles on them is not worked out.",
        )
        return
    device, series, strings = array
    settled = tuple(
        _settles(system, motor, device, series, strings, cell_k)
        for cell_k in (system.electrical.coldest_k, STANDARD_CELL_TEMPERATURE_K)
    )
    highest_settled = max(settled, key=lambda c: c.value)
    required, actual = f"at most {show(highest, 'voltage')}", show(highest_settled.value, "voltage")
    cell = show(highest_settled.inputs[2].value, "temperature")
    told = (
        f"In bright sun, cells at {cell}, {motor.tag} settles at {actual} on {device.tag}; it stands "
        f"{show(highest, 'voltage')}."
    )
    if not keeps_to(highest_settled.value, highest):
        yield violated(
            motor.tag,
            path,
            told,
            required=required,
            actual=actual,
            fix="Put fewer modules in series, take a motor for a higher voltage, or set a current booster "
            "between.",
            related=tuple(s.devices[0].path + ("series",) for s in arrays),
            calculations=settled,
        )
        return
    yield satisfied(motor.tag, path, told, required=required, actual=actual, calculations=settled)
    unloaded = max((system.electrical.highest_voltage(s) for s in arrays), key=lambda c: c.value)
    if not keeps_to(unloaded.value, highest):
        yield violated(
            motor.tag,
            path,
            f"Run dry or unloaded, {motor.tag} speeds up towards {show(unloaded.value, 'voltage')}, the "
            "open-circuit "
            f"voltage of the array; it stands {show(highest, 'voltage')}.",
            required=required,
            actual=f"up to {show(unloaded.value, 'voltage')} unloaded",
            fix="Let a low-water switch stop the pump before it runs dry.",
            severity=Severity.ADVICE,
            calculations=(unloaded,),
        )


def _settles(
    system: System, motor: Device, array: Device, series: int, strings: int, cell_k: float
) -> Calculation:
    """Where array and pump meet, at the head of rated flow [V].

    Above its rated volts the pump makes more flow and so meets more head and draws more current: the
    volts read a little high.
    """
    points = in_bright_sun(array, cell_k)
    water = system.water
    head = max(0.0, water.total_head_m(motor, water.operating(motor, False).flow_m3_s, dirty=False))
    table, displacement = water.table(motor), motor.part.type == "positive displacement"
    armature = motor.part.armature_resistance

    def drawn_a(volts: float) -> float:
        if volts <= 0.0:
            return 0.0
        turning = pumps.pump_point(table, volts, head, displacement=displacement).current_a
        return min(turning, pumps.stall_current_a(volts, armature)) if armature else turning

    point = panels.load_crossing(points, series, strings, drawn_a)
    assert point is not None  # at 0 V nothing is drawn
    return Calculation(
        "motor voltage on the array",
        motor.tag,
        "V",
        point.voltage_v,
        "voltage",
        "I_array(V) = I_pump(V, H)",
        (
            Input(
                "Ns × Np",
                series * strings,
                "number",
                f"{array.tag}, {series} in series, {strings} in parallel",
            ),
            Input("G", STANDARD_IRRADIANCE_W_M2, "irradiance", "bright sun, standard conditions"),
            Input("Tc", cell_k, "temperature", "[site] coldest_air, or 25 °C"),
            Input("H", head, "head", f"{motor.tag}, total head at rated voltage, filter clean"),
            Input("I", point.current_a, "current", f"{motor.tag}, data sheet"),
        ),
        "explicit two-point array model; pump data sheet",
    )


NOMINAL_MISMATCH = Rule(
    id="voltage.nominal-mismatch",
    severity=Severity.ERROR,
    title="Voltages of source, controller and motor do not belong together",
    checks="On a battery or a controller: its nominal voltage agrees with that of its load, or lies between "
    "the motor's "
    "nominal and its maximum. On an array without a controller: the motor's volts where array curve and pump "
    "curve meet, in "
    "bright sun with cells at the coldest air and at 25 °C, <= the motor's maximum. Advice where the open "
    "array would exceed it.",
    why="A motor on too low a voltage hardly lifts; on too high a one it overspeeds, wears its brushes and "
    "burns.",
    clauses={"us-2023": "110.4", "iec": "60364-1; 62253"},
    look=_meetings,
    examine=_nominal_mismatch,
    fires=(
        Case(
            "12 V motor on a 24 V battery",
            {**BATTERY, "part:pump-r.nominal_voltage": "12 V", "part:pump-r.max_voltage": "15 V"},
            subject="P1",
        ),
        Case(
            "12 V motor behind a 24 V booster",
            {"part:pump-r.nominal_voltage": "12 V", "part:pump-r.max_voltage": "15 V"},
            subject="P1",
        ),
        Case("24 V motor on two modules in series without a booster: past 30 V", PV_DIRECT, subject="P1"),
        Case(
            "low-water switch aside, one unloaded module on the coldest day: 24.6 V on a 24 V maximum",
            {
                **PV_DIRECT,
                "panels.PV1.series": 1,
                "part:pump-r.nominal_voltage": "18 V",
                "part:pump-r.max_voltage": "23.5 V",
                "part:pump-r.table": [
                    {"voltage": "18 V", "head": "0 m", "flow": "10 L/min", "current": "9 A"},
                    {"voltage": "18 V", "head": "41.87 m", "flow": "9 L/min", "current": "10 A"},
                ],
            },
            severity=Severity.ADVICE,
        ),
    ),
    keeps_still=(
        Case("24 V motor, at most 30 V, on a battery that is charged at 28.8 V", BATTERY),
        Case("the reference job: 24 V motor behind a 24 V booster"),
        Case("24 V motor on one module: it never sees 30 V", {**PV_DIRECT, "panels.PV1.series": 1}),
    ),
    sees_not="Arrays of unlike modules on one motor; the drop in the conductors, which lowers the motor's "
    "volts a little.",
)


# -- device ratings --------------------------------------------------------------------------------


def _rated(system: System) -> Iterator[tuple[Any, tuple[Source, ...]]]:
    """Everything that a source's voltage stands on, with the sources that it sees."""
    electrical = system.electrical
    for device in electrical.devices_with_poles():
        yield device, _sources_of_poles(system, system.poles_of(device))
    surge_devices = [d for d in system.of_kind("grounding") if d.part.type == "surge device"]
    for device in (*system.of_kind("terminal_block"), *surge_devices):
        ends = [t.id for t in system.connected.terminals.values() if t.device is device]
        yield device, electrical.sources_at(*ends)
    for source in system.walked.sources:
        if source.kind == "array":
            yield from ((device, (source,)) for device in source.devices)
    for conductor in system.conductors:
        yield conductor, electrical.sources_on(conductor)


def _highest(system: System, what: Any, sources: tuple[Source, ...]) -> worst.Worst:
    """The highest voltage on a device or conductor, in any state of the switches."""
    if isinstance(what, Device) and what.kind == "panel":
        return worst.highest_voltage(system, sources)
    places = (what,) if isinstance(what, Conductor) else worst.places_of(system, what)
    found = worst.voltage_on(system, *places)
    assert found is not None
    return found


def _on_sources(system: System) -> Iterator[tuple[Any, tuple[Source, ...], Any]]:
    """As rated: a fuse and its holder apart."""
    for what, sources in _rated(system):
        places = (what,) if isinstance(what, Conductor) else worst.places_of(system, what)
        if sources or worst.reached(system, *places):
            yield what, sources, None
            holder = _holder(system, what)
            if holder is not None:
                yield what, sources, holder


def _sources_of_poles(system: System, poles: Iterable[Pole]) -> tuple[Source, ...]:
    return tuple(dict.fromkeys(s for pole in poles for s in system.electrical.sources_on(pole)))


def _holder(system: System, what: Any) -> Any:
    """Catalogue part of a fuse's holder; None for all else."""
    if getattr(what, "table", "") != "fuses":
        return None
    part_id = what.spec.holder or what.part.holder
    return system.description.catalog.find(part_id) if part_id else None


def _rating(what: Any, holder: Any) -> tuple[str, float | None, Path]:
    """Name, DC rating [V] and place in the spec; None where a contact has an AC rating only."""
    if isinstance(what, Conductor):
        name, part, key, path = f"wire of {what.tag}", what.wire, "voltage", what.run.path + ("wire",)
    elif holder is not None:
        name, part, key, path = f"holder of {what.tag}", holder, "dc_voltage", what.path + ("part",)
    else:
        name, part, path = what.tag, what.part, what.path + ("part",)
        key = {"terminal_block": "voltage", "panel": "max_system_voltage"}.get(what.kind, "dc_voltage")
    rated = part.contact if part.kind == "switch" else part
    rating = getattr(rated, key)
    if rating is None and getattr(rated, "ac_voltage", None) is not None:
        return name, None, path
    return (
        name,
        need(rating, f"{name}: voltage rating (catalogue part {part.id}, key {key})", path, key),
        path,
    )


def _device_rating(system: System, subject: tuple[Any, tuple[Source, ...], Any]) -> Answer:
    what, sources, holder = subject
    show, (name, rating, path) = system.show, _rating(what, holder)
    if rating is None:
        return unchecked(
            what.tag, path, f"{name} has no DC rating at all; `voltage.no-dc-rating` tells of it."
        )
    highest = _highest(system, what, sources)
    voltage = highest.number
    required, actual = f"at least {show(voltage.value, 'voltage')} DC", f"{show(rating, 'voltage')} DC"
    state = "" if highest.state == READY else f", with {highest.state}"
    told = (
        f"{name} is rated for {actual}; {voltage.subject} can put {show(voltage.value, 'voltage')} on it "
        f"({highest.condition}{state})."
    )
    if reaches(rating, voltage.value):
        return satisfied(what.tag, path, told, required=required, actual=actual, calculations=(voltage,))
    return violated(
        what.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Take a part with a DC rating of {show(voltage.value, 'voltage')} or more for {name}.",
        calculations=(voltage,),
    )


_SURGE: dict[str, Any] = {
    "grounding.SP1": {"part": "surge-r", "location": "pump house"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.3 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "SP1.+", "to": "CB1.pv+", "color": "red"},
            {"from": "SP1.-", "to": "CB1.pv-", "color": "white"},
            {"from": "SP1.ground", "to": "BOX1.ground", "color": "green"},
        ],
    },
}
_FUSED_ARRAY = {"breakers.Q1": None, "fuses.Q1": {"part": "fuse-r"}}

DEVICE_RATING = Rule(
    id="voltage.device-rating",
    severity=Severity.DANGER,
    title="Rated for less than the voltage that can stand on it",
    checks="DC voltage rating of every breaker, fuse and holder, switch, terminal block, surge device, "
    "module and live conductor >= Vmax "
    "of its source: Ns · Voc · [1 + β(Tmin - 25 °C)] of an array, highest charge voltage of a battery, "
    "output clamp of a controller.",
    why="On the coldest clear morning an open array stands far above its name: past its rating a contact "
    "cannot put out the arc.",
    clauses={"us-2023": "690.7(A); Table 690.7(A)", "iec": "60364-7-712 712.512, Annex B; 62548-1"},
    look=_on_sources,
    examine=_device_rating,
    fires=(
        Case(
            "32 V fuse in the array circuit: 49.28 V",
            {**_FUSED_ARRAY, "part:fuse-r.dc_voltage": "32 V"},
            subject="Q1",
        ),
        Case(
            "51.5 V fuse by the metric book, modules without a coefficient: 1.2 · 44 V = 52.8 V",
            {
                **METRIC,
                **_FUSED_ARRAY,
                "part:panel-r.voc_coefficient": None,
                "part:fuse-r.dc_voltage": "51.5 V",
            },
            subject="Q1",
        ),
        Case(
            "a surge device for 48 V on the array: it would conduct on a cold morning",
            {**_SURGE, "part:surge-r.dc_voltage": "48 V"},
            subject="SP1",
        ),
    ),
    keeps_still=(
        Case("58 V fuse in the array circuit", _FUSED_ARRAY),
        Case("a surge device for 50 V on the array", {**_SURGE, "part:surge-r.dc_voltage": "50 V"}),
        Case(
            "51.5 V fuse by the US book, modules without a coefficient: 1.16 · 44 V = 51.04 V",
            {**_FUSED_ARRAY, "part:panel-r.voc_coefficient": None, "part:fuse-r.dc_voltage": "51.5 V"},
        ),
        Case(
            "32 V fuse behind the booster, whose output is clamped at 28 V",
            {"part:fuse-r.dc_voltage": "32 V"},
        ),
    ),
    sees_not="Connectors in module leads; the input limit of a controller (`booster.input-voltage`).",
)


# -- DC ratings ------------------------------------------------------------------------------------


def _breaking(system: System) -> Iterator[Device]:
    """Devices that make or break the current of a source."""
    for device in system.electrical.devices_with_poles():
        if _sources_of_poles(system, system.poles_of(device)):
            yield device


def _no_dc_rating(system: System, device: Device) -> Iterable[Answer]:
    rated = device.part.contact if device.kind == "switch" else device.part
    path = device.path + ("part",)
    if rated.dc_voltage is None:
        if rated.ac_voltage is None:
            raise MissingDatum(
                f"{device.tag}: DC voltage rating (catalogue part {device.part.id})", path, "dc_voltage"
            )
        ac = system.show(rated.ac_voltage, "voltage")
        yield violated(
            device.tag,
            path,
            f"{device.tag} is rated for {ac} AC and has no DC rating, yet it breaks direct current.",
            required="a DC rating",
            actual=f"{ac} AC only",
            fix="Take a device with a DC rating at or above the voltage of the circuit.",
        )
        return
    yield from _poles_as_labelled(system, device, float(rated.dc_voltage), path)


def _poles_as_labelled(system: System, device: Device, rating: float, path: Path) -> Iterable[Answer]:
    show, wanted = system.show, getattr(device.part, "poles_in_series", 1)
    if wanted == 1:
        yield satisfied(
            device.tag,
            path,
            f"{device.tag} has a DC rating of {show(rating, 'voltage')}.",
            required="a DC rating",
        )
        return
    for poles in _in_one_circuit(system, device):
        voltage = system.electrical.highest_of(_sources_of_poles(system, poles))
        carried = rating * min(len(poles), wanted) / wanted
        shown = show(voltage.value, "voltage")
        required = f"{wanted} poles in series for {show(rating, 'voltage')} DC"
        actual = f"{len(poles)} in series, {show(carried, 'voltage')} for {shown}"
        told = (
            f"{device.tag} holds {show(rating, 'voltage')} DC with {wanted} poles in series; here "
            f"{len(poles)} in series break the circuit, good for {show(carried, 'voltage')}, and {shown} can "
            "stand on them."
        )
        if reaches(carried, voltage.value):
            yield satisfied(device.tag, path, told, required=required, actual=actual, calculations=(voltage,))
        else:
            yield violated(
                device.tag,
                path,
                told,
                required=required,
                actual=actual,
                fix=f"Wire {wanted} poles of {device.tag} in series, as its label shows, or take a device "
                f"for {shown} on one pole.",
                calculations=(voltage,),
            )


def _in_one_circuit(system: System, device: Device) -> list[tuple[Pole, ...]]:
    """Poles of a device that break one and the same circuit, one after the other; each such set once.

    Poles side by side count as one. A fault to earth goes round the poles of an earthed leg, so they do
    not add to those of the other leg.
    """
    walked, earthed = system.walked, earthed_nets(system)
    series: dict[Crossing, list[Pole]] = {}
    gone_round: dict[Crossing, list[Pole]] = {}
    alone = []
    for pole in system.poles_of(device):
        branch = walked.branch(pole)
        pairs = walked.crossings(branch) if branch is not None and branch.sole else ()
        for pair in pairs:
            assert branch is not None
            (gone_round if branch.net in earthed else series).setdefault(pair, []).append(pole)
        if not pairs and system.electrical.sources_on(pole):
            alone.append((pole,))
    groups = {**gone_round, **series}.values()
    return list(dict.fromkeys([*map(tuple, groups), *alone]))


# A breaker good for 48 V a pole, 96 V with two poles in series.
_TWO_POLE = {
    "part:breaker-r.dc_voltage": "96 V",
    "part:breaker-r.poles_in_series": 2,
    "part:breaker-r.poles": [{"between": ["1", "2"]}, {"between": ["3", "4"]}],
    "part:breaker-r.terminals": [{"name": name} for name in ("1", "2", "3", "4")],
}

NO_DC_RATING = Rule(
    id="voltage.no-dc-rating",
    severity=Severity.DANGER,
    title="Breaks direct current without a rating for it",
    checks="Every device that makes or breaks the current of a source has a DC rating. Where the rating "
    "holds only with k "
    "poles in series, k poles stand in series in the circuit, or those that do hold their share of the "
    "rating.",
    why="Direct current does not pass through zero: a contact made for AC draws an arc that goes on burning.",
    clauses={
        "us-2023": "110.3(B); 240.83, 240.85; 404.14(A)",
        "iec": "60947-2; 60947-3 (DC-PV1, DC-PV2); 60898-1 is for AC only",
    },
    look=_breaking,
    examine=_no_dc_rating,
    fires=(
        Case(
            "250 V AC toggle without a DC mark as motor switch",
            {"part:isolator-r.dc_voltage": None, "part:isolator-r.ac_voltage": "250 V"},
            subject="DS1",
        ),
        Case("one pole of a breaker for 48 V DC a pole, at 49.28 V", _TWO_POLE, subject="Q1"),
    ),
    keeps_still=(
        Case(
            "two such poles in series: 96 V",
            {
                **_TWO_POLE,
                "runs.R2.conductors[0].from": "Q1.4",
                "runs.R2.conductors[3]": {"from": "Q1.2", "to": "Q1.3", "color": "red"},
            },
        ),
        Case(
            "one pole each in positive and negative of a floating array",
            {
                **FLOATING,
                **_TWO_POLE,
                "runs.R1.conductors[1]": {"from": "PV1.-", "to": "Q1.3", "color": "black"},
                "runs.R2.conductors[3]": {"from": "Q1.4", "to": "CB1.pv-", "color": "black"},
            },
        ),
    ),
    sees_not="How the maker shares the voltage among fewer poles than the label shows: equal shares are "
    "taken (common "
    "practice, no source). Contacts in remote loops on no source: see `float.contact-rating`.",
)


# -- touch -----------------------------------------------------------------------------------------


def _live_runs(system: System) -> Iterator[tuple[Run, tuple[Source, ...]]]:
    for run in system.connected.runs.values():
        sources = tuple(dict.fromkeys(s for c in run.conductors for s in system.electrical.sources_on(c)))
        if sources:
            yield run, sources


def _touch_limit(system: System, subject: tuple[Run, tuple[Source, ...]]) -> Answer:
    run, sources = subject
    book, show, voltage = system.book, system.show, system.electrical.highest_of(sources)
    limit = book.threshold(_touch_threshold(system, run, any(s.kind == "array" for s in sources)))
    path = run.path + ("laid",)
    required = f"out of reach or enclosed above {show(limit.value, 'voltage')}"
    actual = show(voltage.value, "voltage")
    if keeps_to(voltage.value, limit.value):
        return satisfied(
            run.tag,
            path,
            f"{run.tag} sees at most {actual}, within {show(limit.value, 'voltage')} that may be touched.",
            required=required,
            actual=actual,
            calculations=(voltage,),
        )
    laid = (
        "in raceway"
        if run.raceway is not None
        else need(run.spec.laid, f"{run.tag}: {HOW_LAID}", run.path, "laid")
    )
    if laid != "within reach":
        return satisfied(
            run.tag,
            path,
            f"{run.tag} sees up to {actual} and lies {laid}.",
            required=required,
            actual=f"{actual}, {laid}",
            calculations=(voltage,),
        )
    beyond = book.threshold("extra_low_voltage_v").value
    more = (
        f" Above {show(beyond, 'voltage')} low voltage is no protection at all."
        if voltage.value > beyond
        else ""
    )
    return violated(
        run.tag,
        path,
        f"{run.tag} can carry {actual} within reach; above {show(limit.value, 'voltage')} its conductors "
        f"must be guarded.{more}",
        required=required,
        actual=f"{actual}, within reach",
        fix="Lay it in raceway, fence it off or raise it out of reach, and take finger-safe terminals.",
        calculations=(voltage,),
    )


def _touch_threshold(system: System, run: Run, array: bool) -> str:
    """Name of the limit: array circuits have their own, others go by whether the place is wet."""
    if array:
        return "touch_guard_v"
    place = system.connected.places.locations.get(run.spec.location or "")
    return "touch_wet_v" if place is None or place.wet or place.outdoors else "touch_dry_v"


_OPEN = {"runs.R1.raceway": None, "runs.R1.laid": "within reach"}
# Four 12 V blocks in series, charged at 57.6 V, in open wiring.
_FOUR_BLOCKS = {**BATTERY, "batteries.BT1.series": 4, "runs.R3.raceway": None, "runs.R3.laid": "within reach"}

TOUCH_LIMIT = Rule(
    id="voltage.touch-limit",
    severity=Severity.WARNING,
    title="Live conductors within reach above the voltage that may be touched",
    checks="Where Vmax of an array circuit exceeds the rulebook's limit (30 V), or that of another circuit "
    "the limit for its "
    "place, the conductors lie in raceway, enclosure, ground or out of reach.",
    why="The idea that low voltage is harmless holds for dry skin: at a well hands are wet.",
    clauses={"us-2023": "690.31(A); 110.27; 250.162(A)", "iec": "60364-4-41 414.4.5"},
    look=_live_runs,
    examine=_touch_limit,
    fires=(
        Case("open single conductors 1 m above ground: 49.28 V", _OPEN, subject="R1"),
        Case(
            "a bank of 57.6 V in open wiring outdoors, metric book",
            {**_FOUR_BLOCKS, "job.rulebook": "iec"},
            subject="R3",
        ),
        Case(
            "a 48 V bank that equalises at 62 V in open wiring",
            {**_FOUR_BLOCKS, "part:battery-r.highest_charge_voltage": "15.5 V"},
            subject="R3",
        ),
    ),
    keeps_still=(
        Case("a lone 12 V-class module in open wiring: 24.64 V", {**_OPEN, "panels.PV1.series": 1}),
        Case("the same conductors out of reach", {**_OPEN, "runs.R1.laid": "out of reach"}),
        Case("a bank of 57.6 V in open wiring, US book: 60 V is its limit", _FOUR_BLOCKS),
    ),
    acceptable=True,
    sees_not="Open terminals and plugs; fences.",
)

RULES = (NOMINAL_MISMATCH, DEVICE_RATING, NO_DC_RATING, TOUCH_LIMIT)
