"""The rule on values that look mistyped: bands of the trade, and pairs that must stand in order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from specc.diagnostics import Severity
from specc.physics import hydraulics, pumps, water
from specc.rules._limits import keeps_to
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.model import Device, Path, Pipe, Run
from specc.system.system import System


@dataclass(frozen=True)
class Value:
    """A value to be held against a band. ``band`` names a row of the handbook's plausible bands."""

    tag: str
    path: Path
    what: str
    value: float
    band: str
    dimension: str  # how value and band print
    severity: Severity | None = None
    hint: str = ""
    possible: str = ""  # a wider band, outside of which no such thing is: then it is an error


@dataclass(frozen=True)
class _Order:
    """Two values of which the first must not exceed the second."""

    tag: str
    path: Path
    lower: str
    low: float
    upper: str
    high: float
    dimension: str
    strict: bool = False
    severity: Severity = Severity.WARNING


def _questions(system: System) -> Iterator[tuple[Any, Question[Any]]]:
    yield from each(_values(system), _judged)
    yield from each(system.of_kind("pump"), _levels, _lengths, _velocities)


def _values(system: System) -> Iterator[Value | _Order]:
    yield from _of_site(system)
    yield from _of_frost(system)
    yield from _of_placing(system)
    yield from _covers(system)
    for device in system.devices.values():
        yield from OF_KIND.get(device.kind, _nothing)(device)
        if device.table == "source":
            yield from _of_source(device)
        if device.table == "tank":
            yield from _of_tank(device)


def _nothing(device: Device) -> Iterator[Value]:
    return iter(())


def _of_site(system: System) -> Iterator[Value | _Order]:
    site = system.site
    for month, hours in enumerate(site.sun or ()):
        yield Value("", ("site", "sun", month), "peak sun hours", hours, "peak_sun_hours", "number")
    if site.coldest_air is not None:
        yield Value(
            "", ("site", "coldest_air"), "coldest air", site.coldest_air, "coldest_air_k", "temperature"
        )
        if site.hottest_air is not None:
            yield _Order(
                "",
                ("site", "coldest_air"),
                "coldest air",
                site.coldest_air,
                "hottest air",
                site.hottest_air,
                "temperature",
                strict=True,
                # The highest voltage of every array rests on the lower of the two.
                severity=Severity.ERROR,
            )
    if site.hottest_air is not None:
        yield Value(
            "",
            ("site", "hottest_air"),
            "hottest air",
            site.hottest_air,
            "hottest_air_k",
            "temperature",
            hint="Check its sign and its unit (degF for degC).",
        )


# No ground freezes so deep where it is never colder than the band says. Of a lesser depth nothing is said:
# where frost is mild, pipes are laid deeper than it goes.
_FROSTS = ((1.0, "coldest_air_with_deep_frost_k"), (0.3, "coldest_air_with_frost_k"))


def _of_frost(system: System) -> Iterator[Value]:
    site = system.site
    if site.coldest_air is None or site.frost_depth is None:
        return
    band = next((name for least, name in _FROSTS if site.frost_depth >= least), None)
    if band is not None:
        depth = system.show(site.frost_depth, "short_length")
        yield Value(
            "",
            ("site", "coldest_air"),
            f"coldest air, where the ground freezes {depth} deep,",
            site.coldest_air,
            band,
            "temperature",
            hint="Is its minus sign missing? The highest voltage of the array rests on it.",
        )


_TILTED_RAD = math.radians(15.0)  # flatter panels face no side
_TROPICS_RAD = math.radians(25.0)  # nearer to the equator the sun stands on either side


def _of_placing(system: System) -> Iterator[Value]:
    """Panels turned away from the noon sun."""
    latitude = system.site.latitude
    if latitude is None or abs(math.radians(latitude)) < _TROPICS_RAD:
        return
    noon_rad = math.pi if latitude > 0.0 else 0.0
    for panels in system.of_kind("panel"):
        tilt, azimuth = panels.spec.tilt, panels.spec.azimuth
        if tilt is None or azimuth is None or not abs(tilt) >= _TILTED_RAD:
            continue
        away = abs((azimuth - noon_rad + math.pi) % math.tau - math.pi)
        yield Value(
            panels.tag,
            panels.path + ("azimuth",),
            "turn of the panels away from the noon sun",
            away,
            "panels_off_noon_rad",
            "angle",
            hint="North is 0 deg, east 90, south 180, west 270; north of the tropics panels look south.",
        )


def _of_tank(device: Device) -> Iterator[Value]:
    part, said = device.part, device.spec.capacity
    if part is not None and said is not None:
        yield Value(
            device.tag,
            device.path + ("capacity",),
            "capacity in the job / capacity of its part",
            said / part.capacity,
            "capacity_over_part",
            "number",
            hint="One of the two is mistyped, or in another unit (L for gal).",
        )


def _covers(system: System) -> Iterator[Value]:
    laid: list[Device | Run] = [*system.of_kind("raceway"), *system.connected.runs.values()]
    for thing in laid:
        if thing.spec.buried is not None:
            yield Value(
                thing.tag,
                thing.path + ("buried",),
                "cover over it",
                thing.spec.buried,
                "burial_cover_m",
                "short_length",
                hint="Check its unit: in for ft, mm for cm.",
            )


def _of_panel(device: Device) -> Iterator[Value]:
    part, path = device.part, device.path + ("part",)
    label = "Compare with the label: one of the two is mistyped."

    def ratio(
        what: str, above: float | None, below: float | None, band: str, possible: str = ""
    ) -> Iterator[Value]:
        if above is not None and below:
            yield Value(device.tag, path, what, above / below, band, "number", hint=label, possible=possible)

    yield from ratio("Voc / Vmp", part.voc, part.vmp, "voc_over_vmp", "possible_voc_over_vmp")
    yield from ratio("Isc / Imp", part.isc, part.imp, "isc_over_imp", "possible_isc_over_imp")
    yield from ratio(
        "label power / (Vmp · Imp)",
        part.power,
        part.vmp * part.imp,
        "pmax_over_vmp_imp",
        "possible_pmax_over_vmp_imp",
    )
    yield from ratio("maximum series fuse / Isc", part.series_fuse, part.isc, "series_fuse_over_isc")
    if part.voc_coefficient is not None:
        yield Value(
            device.tag,
            path,
            "temperature coefficient of Voc",
            part.voc_coefficient,
            "beta_voc_per_k",
            "voltage_coefficient",
            hint="Write it in %/K; a coefficient in V/K is to be divided by Voc.",
            possible="possible_beta_voc_per_k",
        )
    if part.cells in (36, 60, 72):
        yield Value(
            device.tag, path, f"Voc of {part.cells} cells", part.voc, f"voc_{part.cells}_cells_v", "voltage"
        )


def _of_controller(device: Device) -> Iterator[Value]:
    if device.part.efficiency is not None:
        yield Value(
            device.tag,
            device.path + ("part",),
            "efficiency of the controller",
            device.part.efficiency,
            "booster_efficiency",
            "fraction",
        )


def _of_battery(device: Device) -> Iterator[Value]:
    if device.part.internal_resistance is not None:
        yield Value(
            device.tag,
            device.path + ("part",),
            "internal resistance per 12 V",
            device.part.internal_resistance * 12.0 / device.part.nominal,
            "battery_resistance_ohm_per_12_v",
            "resistance",
            hint="Check whether it is in mohm or in ohm.",
            possible="possible_battery_resistance_ohm_per_12_v",
        )


def _of_pump(device: Device) -> Iterator[Value]:
    part, path = device.part, device.path + ("part",)
    if part.efficiency is not None:
        yield Value(
            device.tag, path, "wire-to-water efficiency", part.efficiency, "pump_efficiency", "fraction"
        )
    if part.armature_resistance and part.stall_current:
        yield Value(
            device.tag,
            path,
            "armature resistance / (rated voltage / stall current)",
            part.armature_resistance * part.stall_current / part.nominal_voltage,
            "armature_resistance_over_rated_v_per_stall_a",
            "number",
            hint="Check armature resistance and stall current on the label: one of the two is mistyped.",
        )
    if part.rated_current and (part.armature_resistance or part.stall_current):
        stall = part.stall_current or pumps.stall_current_a(part.nominal_voltage, part.armature_resistance)
        yield Value(
            device.tag,
            path,
            f"stall current{'' if part.stall_current else ' (V / Ra)'} / rated current",
            stall / part.rated_current,
            "stall_over_rated_current",
            "number",
            hint="Check rated current and armature resistance on the label.",
        )
    if part.table:
        yield Value(
            device.tag,
            path,
            "best wire-to-water efficiency of the data sheet",
            max(_row_efficiency(row) for row in part.table),
            "pump_efficiency",
            "fraction",
            hint="Check the units of head, flow and current in the table: psi for kPa, ft for m, gal for L.",
        )


def _row_efficiency(row: Any) -> float:
    """Hydraulic over electrical power of one row of a data sheet, cold water."""
    lifted = hydraulics.hydraulic_power_w(row.flow, row.head, water.density_kg_m3(288.15))
    taken = row.voltage * row.current
    return float(lifted / taken) if taken > 0.0 else 0.0


def _of_source(device: Device) -> Iterator[_Order]:
    spec = device.spec
    levels = [
        ("bottom", "the bottom", spec.bottom),
        ("intake", "the intake", spec.intake),
        ("low_water_level", "the low water level", spec.low_water_level),
        ("water_level", "the standing water level", spec.water_level),
        ("rim", "the rim", spec.rim),
    ]
    given = [level for level in levels if level[2] is not None]
    for (key, lower, low), (_, upper, high) in pairwise(given):
        # Every suction figure rests on these: depths written without their minus sign must not pass.
        path = device.path + (key,)
        yield _Order(device.tag, path, lower, low, upper, high, "elevation", severity=Severity.ERROR)


OF_KIND = {
    "panel": _of_panel,
    "controller": _of_controller,
    "battery": _of_battery,
    "pump": _of_pump,
}


def _judged(system: System, stated: Value | _Order) -> Answer:
    return _within(system, stated) if isinstance(stated, Value) else _ordered(system, stated)


def _levels(system: System, pump: Device) -> Iterator[Answer]:
    """Lift of the suction, and the tank above the water."""
    plumbing = system.water
    suction, delivery = plumbing.suction(pump), plumbing.delivery(pump)
    low, inlet = plumbing.pumping_level_m(suction.start), plumbing.inlet_m(delivery.end)
    lift = pump.spec.elevation - low
    place = pump.path + ("elevation",)
    yield _within(system, Value(pump.tag, place, "suction lift", lift, "suction_lift_m", "head"))
    yield _ordered(
        system,
        _Order(
            suction.start.tag,
            suction.start.path + ("low_water_level",),
            "the water",
            low,
            f"the inlet of {delivery.end.tag}",
            inlet,
            "elevation",
        ),
    )


def _lengths(system: System, pump: Device) -> Iterator[Answer]:
    """Pipes at least as long as they climb."""
    plumbing = system.water
    suction, delivery = plumbing.suction(pump), plumbing.delivery(pump)
    levels = plumbing.pumping_level_m(suction.start), pump.spec.elevation, plumbing.inlet_m(delivery.end)
    for way, (below, above) in zip((suction, delivery), pairwise(levels), strict=True):
        yield _ordered(
            system,
            _Order(
                way.pipes[-1].tag,
                way.pipes[-1].path + ("length",),
                f"the climb from {way.start.tag} to {way.end.tag}",
                abs(above - below),
                "the length of its pipes",
                sum(pipe.spec.length for pipe in way.pipes),
                "length",
            ),
        )


def _velocities(system: System, pump: Device) -> Iterator[Answer]:
    """The pump's flow, and how fast it makes the water run in each pipe."""
    flow = system.water.flow(pump).value
    if not flow > 0.0:
        yield unchecked(pump.tag, pump.path, f"{pump.tag} delivers nothing at this head.")
        return
    yield _within(
        system, Value(pump.tag, pump.path + ("part",), "flow at rated voltage", flow, "flow_m3_s", "flow")
    )
    for way in (system.water.suction(pump), system.water.delivery(pump)):
        for pipe in way.pipes:
            yield _within(system, _velocity(system, pipe, flow))


def _velocity(system: System, pipe: Pipe, flow_m3_s: float) -> Value:
    """A wide pipe is no fault in itself, so that slow water is advice alone."""
    value = system.water.velocity_m_s(pipe, flow_m3_s)
    slow = value < system.handbook.plausible("velocity_m_s").low
    return Value(
        pipe.tag,
        pipe.path + ("part",),
        "velocity of the water",
        value,
        "velocity_m_s",
        "velocity",
        severity=Severity.ADVICE if slow else None,
        hint="Check bore and flow; a wide pipe is no fault."
        if slow
        else "Check bore and flow, or take a wider pipe.",
    )


def _within(system: System, value: Value) -> Answer:
    band = system.handbook.plausible(value.band)
    show = system.show
    low, high = (show(x, value.dimension, 3) if abs(x) < float("inf") else "" for x in (band.low, band.high))
    required = f"{low} to {high}" if low else f"at most {high}"
    actual = show(value.value, value.dimension, 3)
    name = f"{value.what} of {value.tag}" if value.tag else value.what
    if not band.holds(value.value):
        can_be = not value.possible or system.handbook.plausible(value.possible).holds(value.value)
        odd = "not usual" if can_be else "not possible: every check that rests on it is worth nothing"
        return violated(
            value.tag,
            value.path,
            f"{name[:1].upper()}{name[1:]} is {actual}, which is {odd} "
            f"({'' if can_be else 'usual: '}{required}).",
            required=required,
            actual=actual,
            fix=_likely_unit(value, band.low, band.high) or value.hint or "Check the value and its unit.",
            severity=value.severity if can_be else Severity.ERROR,
        )
    return satisfied(
        value.tag, value.path, f"{name[:1].upper()}{name[1:]} is {actual}.", required=required, actual=actual
    )


# Units that are written for one another, with what the value becomes if the other was meant.
_MIXED = {
    "head": (("ft", "m", 0.3048), ("m", "ft", 1 / 0.3048)),
    "flow": (
        ("gal/min", "L/min", 3.785411784),
        ("L/min", "gal/min", 1 / 3.785411784),
        ("L/h", "L/min", 1 / 60),
    ),
    "resistance": (("mohm", "ohm", 1e-3),),
}


def _likely_unit(value: Value, low: float, high: float) -> str:
    """The unit that would make sense of the value, where there is one."""
    for meant, written, factor in _MIXED.get(value.dimension, ()):
        if low <= value.value * factor <= high:
            return f"Was {meant} meant where {written} stands? Check the unit."
    return ""


def _ordered(system: System, order: _Order) -> Answer:
    show = system.show
    low, high = show(order.low, order.dimension), show(order.high, order.dimension)
    right = order.low < order.high if order.strict else keeps_to(order.low, order.high)
    required = f"{order.lower} {'below' if order.strict else 'not above'} {order.upper} ({high})"
    if not right:
        return violated(
            order.tag,
            order.path,
            f"{order.lower[:1].upper()}{order.lower[1:]} ({low}) is "
            f"{'not below' if order.strict else 'more than'} {order.upper} ({high}).",
            required=required,
            actual=low,
            severity=order.severity,
            fix="Check both values, their signs and their units (ft for m); elevations share one datum, up "
            "is positive.",
        )
    return satisfied(
        order.tag,
        order.path,
        f"{order.lower[:1].upper()}{order.lower[1:]} is {low}.",
        required=required,
        actual=low,
    )


IMPLAUSIBLE = Rule(
    id="spec.implausible",
    severity=Severity.WARNING,
    title="A value that looks mistyped or in another unit",
    checks="Values lie in the bands that such things usually have; Tmin < Tmax; no deep frost where the "
    "coldest air is mild; levels of the source in order; the tank's inlet above the water; pipes as long as "
    "they climb; label power within 5 % of Vmp · Imp; panels turned to the noon sun; a tank as large as its "
    "part. What cannot be at all, and on which the highest voltage or current rests (Voc below Vmp, Isc "
    "below Imp, a coefficient or a resistance ten times off), is an error.",
    why="A slip of the decimal point or of the unit passes every other check with a wrong number.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    acceptable=True,
    look=_questions,
    examine=ask,
    fires=(
        Case("120 W on a label of 18.0 V · 5.56 A = 100.1 W", {"part:panel-r.power": "120 W"}, subject="PV1"),
        Case("coldest air above hottest", {"site.coldest_air": "39 degC"}, severity=Severity.ERROR),
        Case(
            "coldest air without its minus sign, in ground that freezes 0.9 m deep",
            {"site.coldest_air": "15 degC"},
        ),
        Case(
            "open-circuit voltage below the working one",
            {"part:panel-r.voc": "2.2 V"},
            severity=Severity.ERROR,
            subject="PV1",
        ),
        Case("panels that look north at 40° north", {"panels.PV1.azimuth": "0 deg"}, subject="PV1"),
        Case(
            "a tank of 5000 gal that its part makes 1500 gal",
            {"tank.TK1.part": "tank-pe-1500gal", "tank.TK1.capacity": "5000 gal"},
            subject="TK1",
        ),
        Case("18 ft of cover", {"raceways.C1.buried": "18 ft"}, subject="C1"),
        Case("suction lift of 34 m", {"source.WELL.low_water_level": "-34 m"}, subject="P1"),
        Case(
            "depths of the well written without their minus sign",
            {
                "source.WELL.rim": "0 m",
                "source.WELL.water_level": "3.0 m",
                "source.WELL.low_water_level": "3.4 m",
            },
            severity=Severity.ERROR,
            subject="WELL",
        ),
        Case("tank below the water", {"tank.TK1.inlet": "-10 m"}, subject="WELL"),
        Case("119 m of pipe written for a climb of 200 m", {"tank.TK1.inlet": "200 m"}, subject="D3"),
        Case(
            "data sheet with heads in feet taken for metres",
            {
                "part:pump-r.table": [
                    {"voltage": "24 V", "head": "33 m", "flow": "10 L/min", "current": "1.943 A"},
                    {"voltage": "24 V", "head": "137 m", "flow": "10 L/min", "current": "8.135 A"},
                ]
            },
            subject="P1",
        ),
        Case("pipe of 9 mm bore: 2.6 m/s", {"part:pipe-r.bore": "9 mm"}),
    ),
    keeps_still=(
        Case("100 W", {"part:panel-r.power": "100 W"}),
        Case("105 W, 4.9 % off", {"part:panel-r.power": "105 W"}),
        Case("panels that look east", {"panels.PV1.azimuth": "90 deg"}),
        Case("flat panels that look north", {"panels.PV1.azimuth": "0 deg", "panels.PV1.tilt": "10 deg"}),
    ),
)
